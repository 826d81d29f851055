"""A site folder to a Site: plain open files in, one list of faults out."""

from __future__ import annotations

import hashlib
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from geosand.columns import Floats
from geosand.errors import Faults, Finding, Refused
from geosand.formats.csv_table import read_csv
from geosand.formats.geojson import read_edition, read_points
from geosand.site.assemble import RawSite, assemble
from geosand.site.read_surfaces import RawEdition
from geosand.site.reading import Cell, RawTable, parse_number
from geosand.site.tables import Site

RECORDS = ("dressings", "loads", "catches", "deliveries")
MAXIMUM_BYTES = 200_000_000


def read_site(folder: str | Path) -> Site:
    """Read and check a site folder.

    Raises Refused with every fault of every file: where, what was found, what is allowed, what to
    do. Nothing is written. Unknown files in the folder are left alone.
    """
    root = Path(folder)
    if not root.is_dir():
        faults = Faults()
        faults.add(str(folder), "there is no such folder", remedy="name a site folder")
        faults.refuse()
    files = _Files(root)
    findings: list[Finding] = []
    settings = _settings(files)
    editions = _editions(files, findings)
    records = _records(files)
    catches, lon, lat = _catches(files, records, findings)
    if not editions:
        empty = RawTable(file="surfaces.geojson", rows=[], columns={})
        editions = [
            RawEdition(
                table=empty, geometry=np.array([], dtype=object), valid_from=np.datetime64("NaT")
            )
        ]
    raw = RawSite(
        settings=settings,
        editions=editions,
        dressings=records["dressings"],
        loads=records["loads"],
        catches=catches,
        catch_lon_degree=lon,
        catch_lat_degree=lat,
        deliveries=records.get("deliveries"),
        inputs=files.digests,
    )
    return assemble(raw, files.faults, findings)


class _Files:
    """Reads bytes once, remembers their SHA-256, and notes what can not be read."""

    def __init__(self, root: Path) -> None:
        self.root, self.faults = root, Faults()
        self.digests: dict[str, str] = {}

    def bytes_of(self, name: str, *, required: bool = False, remedy: str = "") -> bytes | None:
        path = self.root / name
        if not path.is_file():
            if required:
                self.faults.add(name, "the file is missing", remedy=remedy)
            return None
        try:
            if path.stat().st_size > MAXIMUM_BYTES:
                self.faults.add(
                    name, "larger than 200 MB", remedy="split the site or simplify lines"
                )
                return None
            content = path.read_bytes()
        except OSError as problem:
            self.faults.add(name, f"can not be read: {problem.strerror}")
            return None
        self.digests[name] = hashlib.sha256(content).hexdigest()
        return content


def _settings(files: _Files) -> Mapping[str, Any]:
    content = files.bytes_of("site.toml", required=True, remedy="it names the site and its sands")
    if content is None:
        return {"season_start": "2000-01-01", "sand": {"kiln_dried": True}}
    try:
        return tomllib.loads(content.decode("utf-8-sig"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, RecursionError) as problem:
        files.faults.add("site.toml", f"is not TOML: {problem}", remedy="mend that line")
        return {"season_start": "2000-01-01", "sand": {"kiln_dried": True}}


def _editions(files: _Files, findings: list[Finding]) -> list[RawEdition]:
    names = sorted(
        f"editions/{p.name}" for p in (files.root / "editions").glob("*.geojson") if p.is_file()
    )
    editions = []
    for name in [*names, "surfaces.geojson"]:
        content = files.bytes_of(
            name, required=name == "surfaces.geojson", remedy="it holds the surfaces' polygons"
        )
        edition = (
            read_edition(content, name, files.faults, findings) if content is not None else None
        )
        if edition is not None:
            editions.append(edition)
    return editions


def _records(files: _Files) -> dict[str, RawTable]:
    plain = [f"{n}.csv" for n in RECORDS if (files.root / f"{n}.csv").is_file()]
    if (files.root / "records.xlsx").is_file():
        if plain:
            files.faults.add(
                "records.xlsx",
                f"stands beside {', '.join(plain)}",
                remedy="keep the workbook or the CSV files, not both",
            )
        content = files.bytes_of("records.xlsx")
        if content is not None:
            from geosand.formats.workbook import read_records

            return _complete(
                read_records(content, "records.xlsx", RECORDS, files.faults), files, True
            )
        return _complete({}, files, True)
    tables: dict[str, RawTable] = {}
    for name in RECORDS:
        content = files.bytes_of(f"{name}.csv")
        if content is not None:
            tables[name] = read_csv(content, f"{name}.csv", files.faults)
    return _complete(tables, files, False)


def _complete(tables: dict[str, RawTable], files: _Files, workbook: bool) -> dict[str, RawTable]:
    for name in ("dressings", "loads"):
        if name not in tables:
            file = "records.xlsx" if workbook else f"{name}.csv"
            if name == "dressings":
                files.faults.add(file, "no dressings are recorded here", remedy=f"add {name}.csv")
            tables[name] = RawTable(file=file, rows=[], columns={})
    return tables


def _catches(
    files: _Files, records: dict[str, RawTable], findings: list[Finding]
) -> tuple[RawTable, Floats, Floats]:
    content = files.bytes_of("catches.geojson")
    if content is not None and "catches" in records:
        files.faults.add(
            "catches.geojson",
            f"stands beside {records['catches'].file}",
            remedy="keep one of the two, so that no catch counts twice",
        )
    if content is not None:
        return read_points(content, "catches.geojson", files.faults)
    empty = RawTable(file="catches.csv", rows=[], columns={})
    table = records.get("catches", empty)
    position = [_degrees(table, axis, files.faults) for axis in ("lon", "lat")]
    rest = {k: v for k, v in table.columns.items() if k not in ("lon", "lat")}
    return RawTable(file=table.file, rows=table.rows, columns=rest), position[0], position[1]


def _degrees(table: RawTable, axis: str, faults: Faults) -> Floats:
    cells: list[Cell] = list(table.columns.get(axis, [None] * len(table.rows)))
    out = np.full(len(cells), np.nan)
    for row, cell in enumerate(cells):
        value = parse_number(cell)
        if value is not None:
            out[row] = value
        elif cell not in (None, ""):
            faults.add(
                table.file,
                f"{cell!r:.40} is not a number",
                row=table.rows[row],
                column=axis,
                allowed="degrees with a decimal point",
            )
    return out


__all__ = ["Refused", "read_site"]
