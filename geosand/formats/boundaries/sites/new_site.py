"""A new site folder: built whole beside its place, checked by reading it, then renamed."""

from __future__ import annotations

import datetime
import os
import shutil
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from geosand.errors import Fault, Refused, Undecided, printable, refused
from geosand.formats.boundaries.shapes.mendable import CLOSED, NOT_CLOSED
from geosand.formats.boundaries.sites.questions import Choice
from geosand.formats.boundaries.sites.record_workbook import empty_workbook
from geosand.formats.boundaries.sites.settling import Settled, settle, with_known_around
from geosand.formats.boundaries.sites.site_text import empty_csv, record_columns, site_toml
from geosand.formats.boundaries.sites.surfaces_file import (
    SurfaceRow,
    head_of,
    rows_of,
    surfaces_bytes,
)
from geosand.formats.boundaries.tables import Boundaries
from geosand.formats.boundaries.words.naming import clean
from geosand.formats.site_folder import read_site
from geosand.formats.writing import put_in_place, write_whole
from geosand.site.cells import parse_day
from geosand.site.reading import DAYS


def new_site(
    folder: str | Path,
    boundaries: Boundaries | None,
    *,
    name: str,
    workbook: bool = False,
    units: str = "metric",
    season_start: str | None = None,
    season_end: str | None = None,
    valid_from: str | None = None,
    accuracies: Mapping[str, float] | None = None,
    choice: Choice | None = None,
) -> Settled | None:
    """Set up a complete site folder, ready to fill; what was made of the boundaries comes back.

    Without a season it is the current calendar year, to be changed in ``site.toml``, where the
    ``accuracies`` (keys of ACCURACIES) are written too. Columns and keys are in ``units``, as
    results are. Raises Refused where the boundaries ask for a decision that ``choice`` does not
    give, where the folder holds something already, can not be written, or could not be read again;
    then nothing is left behind.
    """
    target = Path(os.path.abspath(folder))
    _check(target, units)
    start, end = _season(season_start, season_end)
    if valid_from is not None:
        read_day("--valid-from", valid_from)
    settled = None if boundaries is None else _settled(boundaries, choice or Choice())
    rows = [] if settled is None else list(settled.rows)
    files = {
        "surfaces.geojson": surfaces_bytes(head_of(boundaries, valid_from), rows),
        "site.toml": site_toml(
            clean(name) or printable(target.name),
            start=start,
            end=end,
            units=units,
            elevation_m=mean_elevation_m(rows),
            kinds=_kinds(rows),
            accuracies=accuracies or {},
        ),
        **_records(rows, workbook, units),
    }
    staged: Path | None = None
    try:
        staged = Path(tempfile.mkdtemp(prefix=f".{target.name}.new-", dir=target.parent))
        for inner, content in files.items():
            write_whole(staged / inner, content)
        _check_readable(staged, settled)
        staged.chmod(0o755)
        if target.is_dir():
            target.rmdir()  # it is empty: not every system renames over an empty folder
        put_in_place(staged, target)
    except OSError as problem:
        found = f"can not be written: {problem.strerror}"
        raise refused(str(folder), found, remedy="choose a place where you may write") from problem
    finally:
        if staged is not None and staged.is_dir():
            shutil.rmtree(staged, ignore_errors=True)
    return settled


def mean_elevation_m(rows: Sequence[SurfaceRow]) -> float | None:
    """Mean of the heights that surfaces state; None where none does."""
    heights = [row.properties["elevation_m"] for row in rows if "elevation_m" in row.properties]
    return float(np.mean(heights)) if heights else None  # type: ignore[arg-type]


def _settled(boundaries: Boundaries, choice: Choice) -> Settled:
    """The boundaries as they will be written; Refused while they ask for a decision."""
    height = mean_elevation_m(rows_of(boundaries.features))
    settled = settle(boundaries, choice, float("nan") if height is None else height)
    if settled.faults and not choice.accept:
        raise Undecided(settled.faults)
    if not settled.rows:
        raise no_surface(settled.boundaries)
    rows, findings = with_known_around(
        list(settled.rows), {str(i) for i in settled.boundaries.features.id}
    )
    return replace(settled, rows=tuple(rows), findings=(*findings, *settled.findings))


def no_surface(boundaries: Boundaries) -> Refused:
    """The refusal of a file without any surface, to be raised."""
    lines = any("does not close" in item.reason for item in boundaries.tally.left_out)
    table = boundaries.file.lower().partition("/")[0].endswith((".csv", ".txt", ".xlsx"))
    points = table and all(item.reason == "a point" for item in boundaries.tally.left_out)
    remedy = "raise --close-tolerance where lines do not meet" if lines else "draw polygons"
    if any(item.reason == CLOSED for item in boundaries.tally.left_out):
        remedy = "name the column of kinds of its closed lines with --kind, or say --one-kind"
    if points and boundaries.tally.left_out:
        remedy += ", or name in a column surface what each point is a corner of"
    if any(not why.startswith(NOT_CLOSED) for why in boundaries.broken_why):
        remedy = "mend what crosses itself, in the drawing or with --repair"
    elif len(boundaries.broken):
        remedy = "close these lines in the drawing or with --repair"
    return refused(boundaries.file, f"no surface in it: {boundaries.tally}", remedy=remedy)


def _season(start: str | None, end: str | None) -> tuple[str, str]:
    """Its first and last day, else those of a calendar year."""
    year = datetime.date.today().year
    first = str(read_day("--season-start", start or f"{year}-01-01"))
    last = str(read_day("--season-end", end or f"{first[:4]}-12-31"))
    if last <= first:
        found = f"the season would end ({last}) before it starts ({first})"
        remedy = "check both dates" if end else "say --season-end; else it is 31 December"
        raise refused("--season-end", found, remedy=remedy)
    return first, last


def _check(target: Path, units: str) -> None:
    if target.is_file():
        raise refused(target.name, "is a file", remedy="name a folder that is not there yet")
    if target.is_dir() and any(target.iterdir()):
        shown = ", ".join(sorted(p.name for p in target.iterdir())[:5])
        raise refused(
            target.name,
            f"there is something in it already ({shown})",
            allowed="a folder that is not there yet, or is empty",
            remedy="delete it first where nothing is recorded in it yet; geosand bring FILE --into"
            " FOLDER puts a new survey of a site in force",
        )
    if not target.parent.is_dir():
        raise refused(str(target.parent), "there is no such folder", remedy="make it first")
    if units not in ("metric", "us"):
        raise refused("--units", f"{units[:20]!r} is not known", allowed="metric, us")


def read_day(place: str, text: str) -> np.datetime64:
    """The day that a person gave at ``place``; Refused for what is none, and for absurd years."""
    day = parse_day(text)
    if day is None:
        raise refused(place, f"{text[:20]!r} is not a date", allowed="2026-04-30")
    if not DAYS[0] <= day <= DAYS[1]:
        allowed, remedy = f"{DAYS[0]} to {DAYS[1]}", "look at the year"
        raise refused(place, f"{day} can not be right", allowed=allowed, remedy=remedy)
    return day


def _kinds(rows: Sequence[SurfaceRow]) -> list[str]:
    return sorted({str(row.properties["kind"]) for row in rows})


def _records(rows: Sequence[SurfaceRow], workbook: bool, units: str) -> dict[str, bytes]:
    """The empty tables of records, as one workbook or as CSV."""
    tables = record_columns(units)
    if workbook:
        ids = [str(row.properties["id"]) for row in rows]
        return {"records.xlsx": empty_workbook(tables, ids, _kinds(rows))}
    return {f"{table}.csv": empty_csv(columns) for table, columns in tables.items()}


def _check_readable(staged: Path, settled: Settled | None) -> None:
    """What was written is read as any site is; only a site still without surfaces may fail."""
    if settled is None:
        return
    try:
        read_site(staged)
    except Refused as refusal:
        places = settled.boundaries.features.place.tolist()
        faults = [in_source(f, settled.boundaries.file, places) for f in refusal.faults]
        raise Refused(faults) from refusal


def in_source(fault: Fault, file: str, places: Sequence[str]) -> Fault:
    """A fault of the written ``surfaces.geojson`` as one of the file that it came from."""
    if fault.file != "surfaces.geojson":
        return fault
    number = str(fault.row).rpartition("feature ")[2]
    known = number.isdigit() and 0 < int(number) <= len(places)
    return fault._replace(file=file, row=places[int(number) - 1] if known else fault.row)
