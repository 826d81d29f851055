"""One site of a set by itself: its rows as the cells of a site folder, so that faults are told."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from geosand.errors import Faults
from geosand.portfolio.arrow_columns import cells_in, written_out
from geosand.portfolio.read_at_once import NOT_SAID, edition_day
from geosand.portfolio.set_tables import FileTable
from geosand.portfolio.typed_columns import (
    GEOMETRY,
    POINTS,
    POLYGONS,
    is_apart,
    positions,
    shapes_of,
)
from geosand.site.assemble import RawSite
from geosand.site.cells import RECORDS, Cell, RawTable, parse_day, parse_number, quoted
from geosand.site.editions import RawEdition

STRAIGHT = "a Polygon or MultiPolygon without curves"
#: Columns whose rows are told one by one where they hold nothing.
_NEEDED = ("dressing", "date", "surfaces", "load", "count", "catch", "id", "kind")


def raw_site(
    key: str, parts: Mapping[str, Any], tables: Mapping[str, FileTable], faults: Faults
) -> RawSite:
    """The rows of a site as the site folder's tables."""
    records = {
        name: _cells(parts[name], tables[name].file)
        if name in parts
        else RawTable(file=tables[name].file if name in tables else name, rows=[], columns={})
        for name in RECORDS
        if name in parts or name != "deliveries"
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
    """Columns as cells; what holds nothing and may be left out is, nan is nothing."""
    columns: dict[str, Sequence[Cell]] = {}
    for name, column in zip(rows.column_names, rows.columns, strict=True):
        if name in ("site", "row") or (column.null_count == len(column) and name not in _NEEDED):
            continue
        if name == GEOMETRY:
            columns[name] = [None] * len(column)
            continue
        filled = written_out(column)
        if pa.types.is_floating(column.type) and pc.any(pc.is_nan(column)).as_py():
            filled = pc.if_else(pc.is_nan(column), None, column)
        columns[name] = cells_in(filled)
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
    geometry, told = _shapes(rows, table, faults, POLYGONS, STRAIGHT)
    table = replace(table, told=told)
    days = [edition_day(d) for d in table.columns.get("valid_from", [None] * len(table.rows))]
    editions = []
    for day in sorted(set(days), key=lambda d: d or "9999-12-31"):
        mine = [k for k, d in enumerate(days) if d == day]
        read = parse_day(day) if day else NOT_SAID
        if read is None:
            found, row, allowed = f"'{day}' is not a date", table.rows[mine[0]], "2026-04-30"
            faults.add(file, found, row=row, column="valid_from", allowed=allowed)
            read = NOT_SAID
        some = _rows(table, mine)
        editions.append(RawEdition(table=some, geometry=geometry[mine], valid_from=read))
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
    """Points as the columns ``lon`` and ``lat``, which count where there is no point."""
    points, told = _shapes(rows, table, faults, POINTS, "a Point")
    columns = {name: cells for name, cells in table.columns.items() if name != GEOMETRY}
    for name, values in positions(points, {}).items():
        own = columns.get(name, [None] * len(values))
        said = np.array([np.nan if (v := parse_number(cell)) is None else v for cell in own])
        for row in np.flatnonzero(is_apart(said, values)).tolist():
            found = f"{said[row]:.9g} is not that of its point, {values[row]:.9g}"
            remedy = "keep one of the two: leave out lon and lat, or the points"
            faults.add(table.file, found, row=table.rows[row], column=name, remedy=remedy)
        pairs = zip(values.tolist(), own, strict=True)
        columns[name] = [cell if np.isnan(value) else value for value, cell in pairs]
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
    shapes, wrong = shapes_of(rows[GEOMETRY], types)
    for row in np.flatnonzero(wrong).tolist():
        found = "is no geometry" if shapes[row] is None else f"is a {shapes[row].geom_type}"
        faults.add(table.file, found, row=table.rows[row], column=GEOMETRY, allowed=allowed)
    shapes[wrong] = None
    return shapes, frozenset(np.flatnonzero(wrong).tolist())
