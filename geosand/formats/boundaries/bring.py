"""A new survey into an existing site: the old edition is kept, surfaces keep their ids."""

from __future__ import annotations

import json
import shutil
import tempfile
import tomllib
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from geosand.errors import Finding, Refused
from geosand.formats.boundaries.drawn import refused
from geosand.formats.boundaries.matching import Matches, match
from geosand.formats.boundaries.surfaces_file import (
    SurfaceRow,
    head_of,
    rows_of,
    surfaces_bytes,
)
from geosand.formats.boundaries.tables import Boundaries
from geosand.formats.boundaries.whereabouts import NEAR_KM, distance_km, middle, place_words
from geosand.formats.site_folder import read_site
from geosand.formats.writing import write_whole
from geosand.site.cells import parse_day

SURFACES = "surfaces.geojson"
DEFAULT_EDGE_M = 0.30
_UNREADABLE = (ValueError, KeyError, TypeError, RecursionError)
#: What a matched surface keeps from before where the new survey says nothing of it.
KEPT = ("around", "target_mm", "slope_percent", "elevation_m")
_COPIED = (
    *("site.toml", "records.xlsx", "catches.geojson", "editions"),
    *("dressings.csv", "loads.csv", "catches.csv", "deliveries.csv"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Brought:
    """What a new survey did to a site."""

    edition: str  #: file that keeps the survey in force until now; "" = there was none
    by_id: tuple[str, ...]
    by_overlap: tuple[str, ...]
    new: tuple[str, ...]
    gone: tuple[str, ...]
    findings: tuple[Finding, ...]


def place_of(folder: str | Path) -> tuple[float, float] | None:
    """Middle (lon, lat) of a site's surfaces, for ``near`` of an import; None where it has none."""
    _, rows = _old(Path(folder))
    if not rows:
        return None
    lon, lat = middle(np.array([row.geometry for row in rows], dtype=object)).tolist()
    return (lon, lat)


def bring_into(
    folder: str | Path,
    boundaries: Boundaries,
    *,
    valid_from: str,
    edge_accuracy_m: float | None = None,
) -> Brought:
    """Put a new survey in force from a day on; the one before is kept in ``editions/``.

    Surfaces are matched by id, else by overlap (more than half of their common ground, see
    :func:`match`), so that their history goes on. First the edition is written, then
    ``surfaces.geojson`` is replaced, each whole: killed at any moment, the old or the new survey is
    in force. Raises Refused, with the folder as it was, where the site could not be read afterwards
    for a reason that was not there before.
    """
    root = Path(folder)
    head, old = _old(root)
    if not len(boundaries.features):
        found = f"no surface in it: {boundaries.tally}"
        raise refused(boundaries.file, found, remedy="nothing was changed")
    _check_day(root, head, valid_from)
    _check_near(boundaries, old)
    matches = match(boundaries.features, old)
    rows = _carried(rows_of(boundaries.features), matches, old)
    new_head = head_of(boundaries, valid_from)
    if edge_accuracy_m is not None:
        new_head["edge_accuracy_m"] = edge_accuracy_m
    content = surfaces_bytes(new_head, rows)
    edition, kept = _edition(root, head, old)
    _check_readable(root, content, edition, kept)
    try:
        if edition:
            write_whole(root / edition, kept)
        write_whole(root / SURFACES, content)
    except OSError as problem:
        found = f"can not be written: {problem.strerror}"
        raise refused(str(folder), found, remedy="the survey in force is as it was") from problem
    return Brought(
        edition=edition,
        by_id=matches.by_id,
        by_overlap=matches.by_overlap,
        new=matches.new,
        gone=matches.gone,
        findings=(*boundaries.findings, *matches.findings),
    )


def _old(root: Path) -> tuple[dict[str, Any], list[SurfaceRow]]:
    """Head and surfaces of the survey in force."""
    path = root / SURFACES
    if not path.is_file():
        raise refused(
            str(root),
            f"there is no {SURFACES} in it",
            allowed="a site folder",
            remedy="set up a new one with geosand new FOLDER --boundaries FILE",
        )
    try:
        document = json.loads(path.read_text(encoding="utf-8-sig"))
        features = document["features"]
        rows = [
            SurfaceRow(
                properties={**({"id": f["id"]} if "id" in f else {}), **(f["properties"] or {})},
                geometry=shapely.from_geojson(json.dumps(f["geometry"])),
            )
            for f in features
        ]
    except (*_UNREADABLE, shapely.errors.GEOSException) as problem:
        raise refused(
            SURFACES,
            "the survey in force can not be read",
            remedy="run geosand check on the site and mend it first",
        ) from problem
    head = {k: v for k, v in document.items() if k not in ("type", "features")}
    days = {str(row.properties["valid_from"]) for row in rows if row.properties.get("valid_from")}
    if len(days) == 1:
        head.setdefault("valid_from", days.pop())
    return head, rows


def _check_day(root: Path, head: dict[str, Any], valid_from: str) -> None:
    day = parse_day(valid_from)
    if day is None:
        raise refused("--valid-from", f"{valid_from[:20]!r} is not a date", allowed="2026-04-30")
    before = parse_day(head["valid_from"]) if head.get("valid_from") else None
    if before is not None and day <= before:
        raise refused(
            "--valid-from",
            f"{valid_from} is not later than {before}, from when the survey in force holds",
            remedy="give the day from which the new survey holds",
        )


def _check_near(boundaries: Boundaries, old: list[SurfaceRow]) -> None:
    if not old:
        return
    here = tuple(middle(boundaries.features.geometry).tolist())
    there = tuple(middle(np.array([row.geometry for row in old], dtype=object)).tolist())
    apart = distance_km(here, there)
    if apart > NEAR_KM:
        raise refused(
            boundaries.file,
            f"lies at {place_words(*here)}, {apart:,.0f} km from the site at {place_words(*there)}",
            remedy="check its CRS and the order of its axes, and that it is of this site",
        )


def _carried(rows: list[SurfaceRow], matches: Matches, old: list[SurfaceRow]) -> list[SurfaceRow]:
    """Rows under the ids they keep, with what was said of the surface before."""
    renamed = {str(row.properties["id"]): made for row, made in zip(rows, matches.ids, strict=True)}
    there = set(matches.ids)
    out = []
    for row, made, before in zip(rows, matches.ids, matches.old, strict=True):
        cells = {**row.properties, "id": made}
        if "around" in cells:
            cells["around"] = renamed.get(str(cells["around"]), cells["around"])
        if before >= 0:
            earlier = old[before].properties
            cells = {**{k: earlier[k] for k in KEPT if earlier.get(k) is not None}, **cells}
            if cells["kind"] == "other" and earlier.get("kind"):
                cells["kind"] = earlier["kind"]
        if cells.get("around") not in there:
            cells.pop("around", None)
        order = ("id", "name", "kind", *KEPT)
        out.append(replace(row, properties={k: cells[k] for k in order if k in cells}))
    return out


def _edition(root: Path, head: dict[str, Any], old: list[SurfaceRow]) -> tuple[str, bytes]:
    """File and content of the survey that goes out of force, with its accuracy written down."""
    if not old:
        return "", b""
    settings: dict[str, Any] = {}
    with suppress(OSError, tomllib.TOMLDecodeError, UnicodeDecodeError):  # read_site tells these
        settings = tomllib.loads((root / "site.toml").read_text(encoding="utf-8-sig"))
    folder = root / "editions"
    earlier = sorted(folder.glob("*.geojson")) if folder.is_dir() else []
    kept = dict(head)
    if not kept.get("valid_from") and earlier and settings.get("season_start"):
        kept["valid_from"] = str(settings["season_start"])
    kept.setdefault("source_crs", "")
    kept.setdefault("edge_accuracy_m", settings.get("edge_accuracy_m", DEFAULT_EDGE_M))
    document = json.loads((root / SURFACES).read_text(encoding="utf-8-sig"))
    content = json.dumps(
        {"type": "FeatureCollection", **kept, "features": document["features"]}, ensure_ascii=False
    ).encode()
    for path in earlier:
        if _same_survey(path, head, document["features"]):
            return f"editions/{path.name}", path.read_bytes()
    # the date of a file's name is read as its day: the first survey of a site may have none
    stem = str(kept.get("valid_from") or "first-survey")
    name, number = f"{stem}.geojson", 1
    while (folder / name).exists() and (folder / name).read_bytes() != content:
        number += 1
        name = f"{stem}-edition-{number}.geojson"
    return f"editions/{name}", content


def _same_survey(path: Path, head: dict[str, Any], features: Any) -> bool:
    """True for the edition that an import wrote before it was stopped."""
    try:
        kept = json.loads(path.read_text(encoding="utf-8-sig"))
        day = kept.get("valid_from")
        return bool(kept["features"] == features and head.get("valid_from") in (None, day))
    except (*_UNREADABLE, AttributeError, OSError):
        return False


def _check_readable(root: Path, content: bytes, edition: str, kept: bytes) -> None:
    """Read the site as it would be, in a copy; refuse for faults that it does not have now."""
    with tempfile.TemporaryDirectory(prefix="geosand-") as place:
        staged = Path(place) / "site"
        staged.mkdir()
        for name in _COPIED:
            if (root / name).is_file():
                shutil.copyfile(root / name, staged / name)
            elif (root / name).is_dir():
                shutil.copytree(root / name, staged / name)
        (staged / SURFACES).write_bytes(content)
        if edition:
            (staged / "editions").mkdir(exist_ok=True)
            (staged / edition).write_bytes(kept)
        before, after = _faults(root), _faults(staged)
    fresh = [fault for text, fault in after.items() if text not in before]
    if fresh:
        raise Refused(fresh)


def _faults(root: Path) -> dict[str, Any]:
    try:
        read_site(root)
    except Refused as refusal:
        return {str(fault): fault for fault in refusal.faults}
    return {}
