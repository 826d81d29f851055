"""The survey that is in force at a site, and how it is kept when a new one follows."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from geosand.columns import Geometries
from geosand.errors import Faults, refused
from geosand.formats.boundaries.sites.surfaces_file import ACCURACIES, SurfaceRow
from geosand.formats.json_text import read_json, twice_told
from geosand.formats.site_folder import SURFACES, parse_site
from geosand.site.cells import parse_number
from geosand.site.read_settings import SiteText, read_settings

_UNREADABLE = (ValueError, KeyError, TypeError, RecursionError)


def site_text(root: Path) -> SiteText:
    """What ``site.toml`` says; its own faults are told when the site is read."""
    try:
        document = tomllib.loads((root / "site.toml").read_text(encoding="utf-8-sig"))
    except (OSError, tomllib.TOMLDecodeError, UnicodeDecodeError, RecursionError):
        document = {}
    return read_settings(document, Faults())


def accuracies_in_force(head: Mapping[str, Any], settings: SiteText) -> dict[str, float]:
    """Accuracies of the survey that is in force until now."""
    stated = {key: parse_number(head.get(key)) for key in ACCURACIES}
    return {k: getattr(settings, k) if v is None else v for k, v in stated.items()}


def survey_in_force(root: Path) -> tuple[dict[str, Any], list[SurfaceRow]]:
    """Head and surfaces of the survey in force. Raises Refused where it can not be read."""
    path = root / SURFACES
    if not path.is_file():
        raise refused(
            str(root),
            f"there is no {SURFACES} in it",
            allowed="a site folder",
            remedy="set up a new one with geosand new FOLDER --boundaries FILE",
        )
    try:
        document, twice = read_json(path.read_text(encoding="utf-8-sig"))
        if twice:
            raise ValueError(twice_told(twice[0][1]))
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


def catch_positions(root: Path) -> Geometries:
    """Points of a site's catches; what can not be read is told when the site is read."""
    columns = parse_site(root).raw.catches.columns
    pairs = zip(columns.get("lon", ()), columns.get("lat", ()), strict=False)  # one may be missing
    places = [(parse_number(lon), parse_number(lat)) for lon, lat in pairs]
    known = [place for place in places if None not in place]
    return np.asarray(shapely.points(np.array(known).reshape(-1, 2)), dtype=object)


def edition_kept(
    root: Path, head: dict[str, Any], old: list[SurfaceRow], settings: SiteText
) -> tuple[str, bytes]:
    """File and content of the survey that goes out of force, with its accuracy written down."""
    if not old:
        return "", b""
    folder = root / "editions"
    earlier = sorted(folder.glob("*.geojson")) if folder.is_dir() else []
    kept = dict(head)
    if not kept.get("valid_from") and earlier and not np.isnat(settings.season_start):
        kept["valid_from"] = str(settings.season_start)
    kept.setdefault("source_crs", "")
    for key in ACCURACIES:  # site.toml may be changed for the new survey
        kept.setdefault(key, getattr(settings, key))
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
