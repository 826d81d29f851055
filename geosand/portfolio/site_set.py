"""A portfolio in a few files: tables with a column ``site`` beside the site folder's own columns.

``surfaces`` and, where catches have geometry, ``catches`` are GeoParquet (well-known binary, or the
native encodings polygon, multipolygon and point of its version 1.1) or GeoPackage, in WGS 84;
``dressings``, ``loads``, ``deliveries`` and ``sites`` are Parquet or layers. ``sites`` has what
site.toml says, one row a site, a table's name before its key: ``sands.dried.bulk_density_g_cm3``,
``catches.u_tray_percent``, ``targets_mm.green``; an empty cell is a key left out. A column
``valid_from`` of ``surfaces`` tells boundary editions apart. Either a folder holds
``surfaces.parquet`` (or ``.gpkg``) and so on, or one GeoPackage has layers of these names.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from hashlib import sha256
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from geosand.errors import Fault, Faults, Finding, Refused
from geosand.portfolio.arrow_columns import written_out
from geosand.portfolio.arrow_geometries import geometries
from geosand.portfolio.fingerprints import fingerprints
from geosand.portfolio.parquet_tables import parquet_table
from geosand.portfolio.read_at_once import edition_day, read_at_once
from geosand.portfolio.rows_by_site import SiteRows
from geosand.portfolio.set_tables import (
    FileTable,
    Stamp,
    geopackage_layers,
    look_alikes,
    stamp,
    told_of,
)
from geosand.portfolio.site_read import SiteRead
from geosand.portfolio.typed_columns import GEOMETRY
from geosand.site.assemble import RawSite, assemble
from geosand.site.cells import Cell, RawTable, parse_day, quoted
from geosand.site.editions import RawEdition
from geosand.site.settings_document import FILE as SETTINGS

NAMES = ("sites", "surfaces", "dressings", "loads", "catches", "deliveries")
NEEDED = ("sites", "surfaces")


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteSet:
    """Tables by name and the keys of all sites that any of them has."""

    tables: Mapping[str, FileTable]
    found: Mapping[str, int]  #: about how many bytes each, in the order of ``surfaces``
    alike: Mapping[str, str] = field(default_factory=dict)  #: by name, another one that looks so
    listed: Mapping[Path, Stamp] = field(default_factory=dict)  #: its files as they were then

    def keys(self) -> list[str]:
        return sorted(self.found)

    def as_they_stand(self) -> Mapping[str, int]:
        """So that chunks follow each other in the files, whatever order names come in."""
        return self.found

    def changed(self) -> list[str]:
        return [path.name for path, then in self.listed.items() if _stamp_now(path) != then]

    def read(self, keys: Sequence[str], known: dict[str, str]) -> Iterator[SiteRead]:
        """The sites of a chunk, from the row groups that hold them.

        All are read at once. Only a site in which anything is wrong is read by itself, which says
        what.
        """
        try:
            parts = {name: _rows_of(table, keys) for name, table in self.tables.items()}
        except Refused as refusal:
            told = str(refusal).splitlines()
            yield from (SiteRead(key=k, fingerprint="", site=None, refused=told) for k in keys)
            return
        told_now = fingerprints(parts, len(keys))
        marks = [known.get(key, "") for key in keys]
        fresh = [
            k
            for k, (key, now) in enumerate(zip(keys, told_now, strict=True))
            if marks[k] != now and (not marks[k] or marks[k] != self._refused(key, now, k, parts))
        ]
        kept = set(range(len(keys))).difference(fresh)
        files, unforeseen = {n: t.file for n, t in self.tables.items()}, list[str]()
        sites = read_at_once(keys, fresh, parts, files, unforeseen)
        for number, (key, fingerprint) in enumerate(zip(keys, told_now, strict=True)):
            if number in kept:
                yield SiteRead(key=key, fingerprint=fingerprint, site=None)
            elif number in sites:
                yield SiteRead(key=key, fingerprint=fingerprint, site=sites.pop(number))
            else:
                alone = self._alone(key, number, parts, fingerprint)
                yield replace(alone, unforeseen=next(iter(unforeseen), ""))

    def _alone(
        self, key: str, number: int, parts: Mapping[str, SiteRows], fingerprint: str
    ) -> SiteRead:
        """One site by itself, or why it is refused."""
        mine = {name: rows.of(number) for name, rows in parts.items()}
        mine = {name: rows for name, rows in mine.items() if len(rows)}
        faults, findings = Faults(), list[Finding]()
        try:
            if (other := self.alike.get(key)) and not mine.keys() >= {*NEEDED}:
                both = f"{quoted(key)} and {quoted(other)} differ only in capitals, spaces or the"
                remedy = "write both alike, or tell them apart by more than that"
                place = self.tables[next(iter(mine))].file
                faults.add(place, f"{both} form of letters", column="site", remedy=remedy)
            site = assemble(_raw(key, mine, self.tables, faults), faults, findings)
        except Refused as refusal:
            file, rows = self.tables["sites"].file, parts["sites"].of(number)["row"].to_pylist()
            here = Refused(_in_the_table(fault, file, rows) for fault in refusal.faults)
            told, mark = str(here).splitlines(), self._refused(key, fingerprint, number, parts)
            return SiteRead(key=key, fingerprint=mark, site=None, refused=told)
        return SiteRead(key=key, fingerprint=fingerprint, site=site)

    def _refused(
        self, key: str, fingerprint: str, number: int, parts: Mapping[str, SiteRows]
    ) -> str:
        """The fingerprint of a refused site: why it is names what others can change.

        Rows, which others before it can move, and another site that looks like it.
        """
        digest = sha256(fingerprint.encode())
        for rows in parts.values():
            digest.update(np.asarray(rows.of(number)["row"]).tobytes())
        digest.update(self.alike.get(key, "").encode())
        return digest.hexdigest()


def _in_the_table(fault: Fault, file: str, rows: Sequence[int]) -> Fault:
    """A fault of what would be a site.toml where the set has it: in a column of ``sites``."""
    if fault.file != SETTINGS:
        return fault
    place = str(fault.row or "")
    path = [place.strip("[]")] if place.startswith("[") else []
    column = ".".join([*path, *filter(None, [fault.column])])
    return fault._replace(file=file, row=next(iter(rows), None), column=column)


def _stamp_now(path: Path) -> Stamp | None:
    try:
        return stamp(path)
    except OSError:
        return None


def _rows_of(table: FileTable, keys: Sequence[str]) -> SiteRows:
    with told_of(table.file):
        return table.rows_of(keys)


def find_set(root: Path) -> SiteSet | None:
    """The set in ``root``; None where there is none. Raises Refused for one that is not whole."""
    tables = _tables_in(root)
    if tables is None:
        return None
    faults = [
        Fault(file=root.name, found=f"there is no table {name}", remedy=f"add {name}.parquet")
        for name in NEEDED
        if name not in tables
    ]
    listed = {path: stamp(path) for path in dict.fromkeys(t.path for t in tables.values())}
    keys: dict[str, int] = {}
    for table in sorted(tables.values(), key=lambda table: table is not tables.get("surfaces")):
        with told_of(table.file):
            found, without = table.sites()
        for key, size in found.items():
            keys[key] = keys.get(key, 0) + size
        if without:
            said = f"{'1 row names' if without == 1 else f'{without} rows name'} no site"
            remedy = "write in each row which site it is of"
            faults.append(Fault(file=table.file, column="site", found=said, remedy=remedy))
        if ended := [key for key in found if "\0" in key]:
            said = f"{quoted(min(ended))} holds the sign NUL, at which many programs end a text"
            remedy = "write the site's name without it"
            faults.append(Fault(file=table.file, column="site", found=said, remedy=remedy))
    if faults:
        raise Refused(faults)
    return SiteSet(tables=tables, found=keys, alike=look_alikes(keys), listed=listed)


def _tables_in(root: Path) -> dict[str, FileTable] | None:
    """The tables of a folder, a Parquet file before a GeoPackage, or those of one GeoPackage."""
    if root.is_file() and root.suffix.lower() == ".gpkg":
        with told_of(root.name):
            return geopackage_layers(root, NAMES)
    if not any((root / f"surfaces{end}").is_file() for end in (".parquet", ".gpkg")):
        return None
    tables: dict[str, FileTable] = {}
    for name in NAMES:
        if (path := root / f"{name}.parquet").is_file():
            with told_of(path.name):
                tables[name] = parquet_table(path)
        elif (path := root / f"{name}.gpkg").is_file():
            with told_of(path.name):
                tables |= geopackage_layers(path, (name,))
    return tables


def _raw(
    key: str,
    parts: Mapping[str, Any],
    tables: Mapping[str, FileTable],
    faults: Faults,
) -> RawSite:
    """The rows of a site as the site folder's tables."""
    records = {
        name: _cells(parts[name], tables[name].file)
        if name in parts
        else RawTable(file=tables[name].file if name in tables else name, rows=[], columns={})
        for name in NAMES
        if name in parts or name in ("dressings", "loads", "catches")
    }
    catches = records["catches"]
    if GEOMETRY in catches.columns:
        catches = _with_positions(catches, parts["catches"], faults)
    return RawSite(
        settings=_settings(key, parts, tables, faults),
        editions=_editions(key, parts, tables, faults),
        dressings=records["dressings"],
        loads=records["loads"],
        catches=catches,
        deliveries=records.get("deliveries"),
    )


def _cells(rows: Any, file: str) -> RawTable:
    """Columns as cells; what holds nothing is left out, nan is nothing."""
    import pyarrow as pa
    import pyarrow.compute as pc

    columns: dict[str, Sequence[Cell]] = {}
    for name, column in zip(rows.column_names, rows.columns, strict=True):
        if name in ("site", "row") or column.null_count == len(column):
            continue
        if name == GEOMETRY:
            columns[name] = [None] * len(column)
            continue
        filled = written_out(column)
        if pa.types.is_floating(column.type) and pc.any(pc.is_nan(column)).as_py():
            filled = pc.if_else(pc.is_nan(column), None, column)
        columns[name] = filled.to_pylist()
    return RawTable(file=file, rows=rows["row"].to_pylist(), columns=columns)


def _settings(
    key: str, parts: Mapping[str, Any], tables: Mapping[str, FileTable], faults: Faults
) -> Mapping[str, Any] | None:
    """One row of ``sites`` as site.toml would say it; None, with a fault, where it is not one."""
    rows = parts.get("sites")
    if rows is None or len(rows) != 1:
        count = "no row" if rows is None else f"{len(rows)} rows"
        found = f"has {count} for {quoted(key)}"
        remedy = "" if rows is not None else "add it, or write the site as the other tables do"
        faults.add(tables["sites"].file, found, allowed="one row a site", remedy=remedy)
        return None
    settings: dict[str, Any] = {}
    for name, cells in _cells(rows, tables["sites"].file).columns.items():
        *path, last = name.split(".")
        inner = settings
        for step in path:
            inner = inner.setdefault(step, {}) if isinstance(inner, dict) else inner
        if not isinstance(inner, dict) or last in inner:
            found = "is a value where other columns have a table"
            remedy = "keep the value or the columns with points in their names"
            faults.add(tables["sites"].file, found, column=name, remedy=remedy)
            continue
        inner[last] = cells[0]
    return {"name": key} | settings


def _editions(
    key: str, parts: Mapping[str, Any], tables: Mapping[str, FileTable], faults: Faults
) -> list[RawEdition]:
    """Surfaces by ``valid_from``, the newest, or those that say none, in force."""
    file = tables["surfaces"].file
    if "surfaces" not in parts:
        faults.add(file, f"has no surface of {quoted(key)}", remedy="draw the greens first")
        return []
    rows = parts["surfaces"]
    table = _cells(rows, file)
    geometry, told = _shapes(rows, table, faults, (3, 6), "a Polygon or MultiPolygon")
    table = replace(table, told=told)
    days = [edition_day(d) for d in table.columns.get("valid_from", [None] * len(table.rows))]
    editions = []
    for day in sorted(set(days), key=lambda d: d or "9999-12-31"):
        mine = [k for k, d in enumerate(days) if d == day]
        read = parse_day(day) if day else np.datetime64("NaT", "D")
        if read is None:
            allowed = "2026-04-30"
            row = table.rows[mine[0]]
            faults.add(
                file, f"'{day}' is not a date", row=row, column="valid_from", allowed=allowed
            )
            read = np.datetime64("NaT", "D")
        editions.append(
            RawEdition(table=_rows(table, mine), geometry=geometry[mine], valid_from=read)
        )
    return editions


def _rows(table: RawTable, kept: list[int]) -> RawTable:
    left = ("valid_from", GEOMETRY)
    place = {old: new for new, old in enumerate(kept)}
    return RawTable(
        file=table.file,
        rows=[table.rows[k] for k in kept],
        columns={n: [c[k] for k in kept] for n, c in table.columns.items() if n not in left},
        told=frozenset(place[k] for k in table.told if k in place),
    )


def _with_positions(table: RawTable, rows: Any, faults: Faults) -> RawTable:
    """Points as the columns ``lon`` and ``lat``."""
    points, told = _shapes(rows, table, faults, (0,), "a Point")
    lon, lat = shapely.get_x(points), shapely.get_y(points)
    columns = {name: cells for name, cells in table.columns.items() if name != GEOMETRY}
    for name, values in (("lon", lon), ("lat", lat)):
        columns[name] = [None if np.isnan(v) else v for v in values.tolist()]
    return replace(table, columns=columns, told=told)


def _shapes(
    rows: Any, table: RawTable, faults: Faults, types: tuple[int, ...], allowed: str
) -> tuple[Any, frozenset[int]]:
    """Geometries of a table, and the rows with one that is no geometry or another kind of it."""
    if GEOMETRY not in rows.column_names:
        faults.add(
            table.file, "has no geometry", allowed=f"a column {GEOMETRY} of well-known binary"
        )
        return np.full(len(rows), None, dtype=object), frozenset(range(len(rows)))
    shapes = geometries(rows[GEOMETRY])
    given = ~np.asarray(rows[GEOMETRY].is_null())
    wrong = given & ~np.isin(shapely.get_type_id(shapes), types)
    for row in np.flatnonzero(wrong).tolist():
        found = "is no geometry" if shapes[row] is None else f"is a {shapes[row].geom_type}"
        faults.add(table.file, found, row=table.rows[row], column=GEOMETRY, allowed=allowed)
    shapes[wrong] = None
    return shapes, frozenset(np.flatnonzero(wrong).tolist())
