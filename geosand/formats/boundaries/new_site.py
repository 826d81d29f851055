"""A new site folder: built whole beside its place, checked by reading it, then renamed."""

from __future__ import annotations

import datetime
import os
import shutil
import tempfile
from pathlib import Path

import numpy as np

from geosand.errors import Finding, Refused
from geosand.formats.boundaries.drawn import refused
from geosand.formats.boundaries.naming import clean
from geosand.formats.boundaries.record_workbook import empty_workbook
from geosand.formats.boundaries.site_text import RECORD_COLUMNS, empty_csv, site_toml
from geosand.formats.boundaries.surfaces_file import head_of, rows_of, surfaces_bytes
from geosand.formats.boundaries.tables import Boundaries
from geosand.formats.site_folder import read_site
from geosand.formats.writing import write_whole
from geosand.site.cells import parse_day


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
) -> tuple[Finding, ...]:
    """Set up a complete site folder, ready to fill; the findings of the boundaries come back.

    Without a season it is the current calendar year, to be changed in ``site.toml``. Raises Refused
    where the folder holds something already, can not be written, or could not be read again; then
    nothing is left behind.
    """
    target = Path(os.path.abspath(folder))
    _check(target, units, (season_start, season_end, valid_from), boundaries)
    year = datetime.date.today().year
    start = season_start or f"{year}-01-01"
    end = season_end or f"{start[:4]}-12-31"
    files = _files(boundaries, clean(name) or target.name, workbook, units, start, end, valid_from)
    staged: Path | None = None
    try:
        staged = Path(tempfile.mkdtemp(prefix=f".{target.name}.new-", dir=target.parent))
        for inner, content in files.items():
            write_whole(staged / inner, content)
        _check_readable(staged, boundaries)
        staged.chmod(0o755)
        if target.is_dir():
            target.rmdir()  # it is empty: not every system renames over an empty folder
        os.rename(staged, target)
    except OSError as problem:
        found = f"can not be written: {problem.strerror}"
        raise refused(str(folder), found, remedy="choose a place where you may write") from problem
    finally:
        if staged is not None and staged.is_dir():
            shutil.rmtree(staged, ignore_errors=True)
    return boundaries.findings if boundaries is not None else ()


def _check(
    target: Path, units: str, days: tuple[str | None, ...], boundaries: Boundaries | None
) -> None:
    if target.is_file():
        raise refused(target.name, "is a file", remedy="name a folder that is not there yet")
    if target.is_dir() and any(target.iterdir()):
        shown = ", ".join(sorted(p.name for p in target.iterdir())[:5])
        raise refused(
            target.name,
            f"there is something in it already ({shown})",
            allowed="a folder that is not there yet, or is empty",
            remedy="to bring a new survey into a site, use geosand bring FILE --into FOLDER",
        )
    if not target.parent.is_dir():
        raise refused(str(target.parent), "there is no such folder", remedy="make it first")
    if units not in ("metric", "us"):
        raise refused("--units", f"{units[:20]!r} is not known", allowed="metric, us")
    for day in days:
        if day is not None and parse_day(day) is None:
            raise refused("dates", f"{day[:20]!r} is not a date", allowed="2026-04-30")
    if boundaries is not None and not len(boundaries.features):
        raise refused(
            boundaries.file,
            f"no surface in it: {boundaries.tally}",
            remedy="draw polygons, or raise --close-tolerance where lines do not meet",
        )


def _files(
    boundaries: Boundaries | None,
    name: str,
    workbook: bool,
    units: str,
    start: str,
    end: str,
    valid_from: str | None,
) -> dict[str, bytes]:
    rows = rows_of(boundaries.features) if boundaries is not None else []
    kinds = sorted({str(row.properties["kind"]) for row in rows})
    heights = [row.properties["elevation_m"] for row in rows if "elevation_m" in row.properties]
    elevation = float(np.mean(heights)) if heights else None  # type: ignore[arg-type]
    files = {
        "site.toml": site_toml(
            name, start=start, end=end, units=units, elevation_m=elevation, kinds=kinds
        ),
        "surfaces.geojson": surfaces_bytes(head_of(boundaries, valid_from), rows),
    }
    if workbook:
        ids = [str(row.properties["id"]) for row in rows]
        return files | {"records.xlsx": empty_workbook(ids, kinds)}
    return files | {f"{table}.csv": empty_csv(table) for table in RECORD_COLUMNS}


def _check_readable(staged: Path, boundaries: Boundaries | None) -> None:
    """What was written is read as any site is; only a site still without surfaces may fail."""
    if boundaries is None:
        return
    try:
        read_site(staged)
    except Refused as refusal:
        faults = [f for f in refusal.faults if f.file.startswith("surfaces.geojson")]
        if faults:
            raise Refused(faults) from refusal
        raise
