"""A new survey into an existing site: the old edition is kept, surfaces keep their ids."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from geosand.areas.register import area_register
from geosand.errors import Fault, Finding, Refused, Undecided, refused
from geosand.formats.boundaries.place.whereabouts import (
    NEAR_KM,
    distance_km,
    middle_of,
    place_words,
)
from geosand.formats.boundaries.sites.carrying_on import (
    carried,
    decisions,
    met,
    moved_alike,
    unchanged,
)
from geosand.formats.boundaries.sites.in_force import (
    accuracies_in_force,
    catch_positions,
    edition_kept,
    site_text,
    survey_in_force,
)
from geosand.formats.boundaries.sites.matching import match
from geosand.formats.boundaries.sites.new_site import in_source, no_surface, read_day
from geosand.formats.boundaries.sites.questions import Choice
from geosand.formats.boundaries.sites.settling import Settled, settle, with_known_around
from geosand.formats.boundaries.sites.surfaces_file import (
    ACCURACIES,
    SurfaceRow,
    head_of,
    surfaces_bytes,
)
from geosand.formats.boundaries.tables import Boundaries
from geosand.formats.locking import held
from geosand.formats.site_folder import FILES, SURFACES, read_site
from geosand.formats.writing import sweep, write_whole
from geosand.rates.assignment import assign
from geosand.site.cells import parse_day


@dataclass(frozen=True, slots=True, kw_only=True)
class Brought:
    """What a new survey did to a site."""

    edition: str  #: file that keeps the survey in force until now; "" = there was none
    by_id: tuple[str, ...]
    by_overlap: tuple[str, ...]
    new: tuple[str, ...]
    gone: tuple[str, ...]
    carried_on: tuple[str, ...]  #: surfaces that the file does not name, as they were
    settled: Settled
    rows: tuple[SurfaceRow, ...]  #: as they were written
    accepted: tuple[Fault, ...]  #: what asked for a decision and was accepted
    accuracies: Mapping[str, float]  #: of the new survey, from its head or ``site.toml``
    findings: tuple[Finding, ...]


def place_of(folder: str | Path) -> tuple[float, float] | None:
    """Middle (lon, lat) of a site's surfaces, else of its catches, for ``near`` of an import.

    None where it has neither.
    """
    _, rows = survey_in_force(Path(folder))
    shapes = [row.geometry for row in rows] or list(catch_positions(Path(folder)))
    return middle_of(shapes) if shapes else None


def bring_into(
    folder: str | Path,
    boundaries: Boundaries,
    *,
    valid_from: str,
    accuracies: Mapping[str, float] | None = None,
    choice: Choice | None = None,
    partial: bool = False,
) -> Brought:
    """Put a new survey in force from a day on; the one before is kept in ``editions/``.

    Surfaces are matched by id, else by overlap (more than half of their common ground, see
    :func:`match`), so that their history goes on. Surfaces that the file does not name hold it up,
    unless it is ``partial`` (they go on as they are) or ``choice`` accepts that they end.
    First the edition is written, then ``surfaces.geojson`` is replaced, each whole: killed at any
    moment, the old or the new survey is in force. Raises Refused, with the folder as it was, where
    something asks for a decision, another process is changing the site, or the site could not be
    read afterwards for a reason that was not there before.
    """
    with held(folder):
        return _bring(
            Path(folder),
            boundaries,
            valid_from,
            dict(accuracies or {}),
            choice or Choice(),
            partial,
        )


def _bring(
    root: Path,
    boundaries: Boundaries,
    valid_from: str,
    said: dict[str, float],
    choice: Choice,
    partial: bool,
) -> Brought:
    head, old = survey_in_force(root)
    settings = site_text(root)
    _check_day(head, valid_from)
    settled = settle(boundaries, choice, settings.elevation_m)
    taken = settled.boundaries
    _check_near(taken, old)
    matches = match(taken.features, old, partial=partial)
    alike = moved_alike(matches, taken, old, str(head.get("source_crs") or ""))
    faults = [*settled.faults, *decisions(matches, taken, old, partial)]
    if matches.doubts:  # that they lie elsewhere is asked about already: this may be why
        faults += [Fault(file=told.about, found=told.text) for told in alike]
    rows, lost = carried(list(settled.rows), matches, old)
    if partial:
        rows += unchanged(old, matches, accuracies_in_force(head, settings), said, settings)
        faults += met(rows, len(settled.rows), taken)
    if faults and not choice.accept:
        raise Undecided(faults)
    if not settled.rows:
        raise no_surface(taken)
    rows, nameless = with_known_around(rows, {str(row.properties["id"]) for row in rows})
    content = surfaces_bytes({**head_of(taken, valid_from), **said}, rows)
    edition, kept = edition_kept(root, head, old, settings)
    _check_readable(root, content, edition, kept, taken)
    _put_in_force(root, edition, kept, content)
    gone = () if partial else matches.gone
    told = (*alike, *matches.findings, *lost, *nameless, *settled.findings)
    return Brought(
        edition=edition,
        by_id=matches.by_id,
        by_overlap=matches.by_overlap,
        new=matches.new,
        gone=gone,
        carried_on=matches.gone if partial else (),
        settled=settled,
        rows=tuple(rows),
        accepted=tuple(faults),
        accuracies={key: said.get(key, getattr(settings, key)) for key in ACCURACIES},
        findings=(*taken.findings, *told),
    )


def _put_in_force(root: Path, edition: str, kept: bytes, content: bytes) -> None:
    """The edition first, then the new survey: killed in between, the old one is still in force."""
    try:
        for place in (root, root / "editions"):
            sweep(place, ".geojson")
        if edition:
            write_whole(root / edition, kept)
        write_whole(root / SURFACES, content)
    except OSError as problem:
        found = f"can not be written: {problem.strerror}"
        raise refused(str(root), found, remedy="the survey in force is as it was") from problem


def _check_day(head: dict[str, Any], valid_from: str) -> None:
    day = read_day("--valid-from", valid_from)
    before = parse_day(head["valid_from"]) if head.get("valid_from") else None
    if before is not None and day <= before:
        raise refused(
            "--valid-from",
            f"{valid_from} is not later than {before}, from when the survey in force holds",
            remedy="give the day from which the new survey holds",
        )


def _check_near(boundaries: Boundaries, old: list[SurfaceRow]) -> None:
    if not old or not len(boundaries.features):
        return
    here = middle_of(list(boundaries.features.geometry))
    there = middle_of([row.geometry for row in old])
    apart = distance_km(here, there)
    if apart > NEAR_KM:
        raise refused(
            boundaries.file,
            f"lies at {place_words(*here)}, {apart:,.0f} km from the site at {place_words(*there)}",
            remedy="check its CRS and the order of its axes, and that it is of this site",
        )


def _check_readable(
    root: Path, content: bytes, edition: str, kept: bytes, boundaries: Boundaries
) -> None:
    """Read the site as it would be, in a copy; refuse for faults that it does not have now."""
    with tempfile.TemporaryDirectory(prefix="geosand-") as place:
        staged = Path(place) / "site"
        staged.mkdir()
        for name in (*FILES, "editions"):
            if (root / name).is_file():
                shutil.copyfile(root / name, staged / name)
            elif (root / name).is_dir():
                hidden, copied = shutil.ignore_patterns(".*"), shutil.copyfile
                shutil.copytree(root / name, staged / name, ignore=hidden, copy_function=copied)
                (staged / name).chmod(0o700)  # rights of the folder come with it
        (staged / SURFACES).write_bytes(content)
        if edition:
            (staged / "editions").mkdir(exist_ok=True)
            (staged / edition).write_bytes(kept)
        before, after = _faults(root), _faults(staged)
    places = boundaries.features.place.tolist()
    fresh = [
        in_source(fault, boundaries.file, places)
        for text, fault in after.items()
        if text not in before
    ]
    if fresh:
        raise Refused(fresh)


def _faults(root: Path) -> dict[str, Any]:
    """What makes a site unreadable, or its catches lie on nothing, by the text of each fault."""
    try:
        site = read_site(root)
        if len(site.catches):
            assign(site, area_register(site.surfaces))
    except Refused as refusal:
        return {str(fault): fault for fault in refusal.faults}
    return {}
