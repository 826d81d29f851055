"""Columns of Arrow tables as arrays for the readers, without a look at each cell."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pyarrow as pa
import shapely

from geosand.columns import Bools, Floats, Geometries, Ints
from geosand.portfolio.arrow_columns import cells_in, in_words
from geosand.portfolio.arrow_geometries import geometries
from geosand.portfolio.rows_by_site import SiteRows
from geosand.portfolio.sound_sites import NotAlikeError
from geosand.site.cells import RawTable, parse_number
from geosand.site.raw_columns import Column, Texts, any_written, as_floats, cells_of, written

GEOMETRY = "geometry"
#: About 2 m: two ways of writing a position that are less apart are one, as in single precision.
APART_DEG = 2e-5
ROUNDED_DEG = 5.001e-5  #: the same of a number with four decimals, as half of the last one
OWN = ("site", "row")  #: columns of the set, not of its sites
POLYGONS, POINTS = (3, 6), (0,)  #: shapely's numbers of the types
EXACT = 1e15  #: smaller whole numbers are the same text as a float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Typed:
    """One table of a chunk, its columns as arrays."""

    file: str
    sites: int
    rows: Ints  #: where each stands in the file
    member: Ints  #: the number of its site
    columns: dict[str, Column]
    present: dict[str, Bools]  #: columns that hold blanks which are not left out: sites with any
    shapes: Geometries | None
    odd_sites: Bools  #: with a cell that only a look at it alone can judge

    def rows_by_site(self) -> Ints:
        """How many rows each site has."""
        return np.bincount(self.member, minlength=self.sites)

    def of(self, group: Ints, among: Bools | None = None) -> RawTable:
        """The rows of some of the sites, which are then counted from 0; if ``among`` these."""
        kept = self._kept(group, among)
        columns = {name: _taken(column, kept) for name, column in self.columns.items()}
        present = {name: mine[group] for name, mine in self.present.items()}
        if len(group) == 1:  # a column that one site leaves out is no column of it
            columns = {
                name: column
                for name, column in columns.items()
                if (present[name][0] if name in present else any_written(column))
            }
        rows = self.rows if kept is None else self.rows[kept]
        member = self.member if kept is None else np.searchsorted(group, self.member[kept])
        return RawTable(
            file=self.file,
            rows=rows,  # type: ignore[arg-type]  # whole numbers all the same
            columns=columns,
            member=member,
            members=len(group),
            present=present,
        )

    def shapes_of(self, group: Ints, among: Bools | None = None) -> Geometries:
        """Their geometries."""
        assert self.shapes is not None
        kept = self._kept(group, among)
        return self.shapes if kept is None else self.shapes[kept]

    def _kept(self, group: Ints, among: Bools | None) -> Ints | None:
        whole = len(group) == self.sites and (among is None or bool(among.all()))
        if whole:
            return None
        wanted = np.isin(self.member, group)
        return np.flatnonzero(wanted if among is None else wanted & among)


def _taken(column: Column, rows: Ints | None) -> Column:
    if rows is None:
        return column
    if isinstance(column, Texts):
        return column.take(rows)
    assert isinstance(column, np.ndarray)
    return column[rows]


def typed(name: str, rows: SiteRows, file: str) -> Typed:
    """A table of a set (``name``). Points become the columns ``lon`` and ``lat``.

    Raises NotAlikeError where its sites can not be read at once.
    """
    table, member = rows.table, rows.member()
    sites = len(rows.bounds) - 1
    if len(set(table.column_names)) < len(table.column_names):
        raise NotAlikeError("columns of one name")
    columns: dict[str, Column] = {}
    present: dict[str, Bools] = {}
    odd = np.zeros(len(member), dtype=np.bool_)
    for column, values in zip(table.column_names, table.columns, strict=True):
        if column in (*OWN, GEOMETRY) or values.null_count == len(values):
            continue
        columns[column] = _column(values, exact=name == "surfaces")
        if (blank := _blanks(columns[column], values)) is not None:
            said = np.asarray(values.is_valid())
            present[column] = np.bincount(member[said], minlength=sites) > 0
            if name == "sites":
                odd |= blank
    if name == "surfaces" and GEOMETRY not in table.column_names:
        raise NotAlikeError("surfaces without geometry")
    shapes = None
    if name in ("surfaces", "catches") and GEOMETRY in table.column_names:
        shapes, wrong = shapes_of(table[GEOMETRY], POLYGONS if name == "surfaces" else POINTS)
        odd |= wrong
        if name == "catches":
            placed = positions(shapes, columns)
            odd |= apart(placed, columns)
            columns |= placed
    return Typed(
        file=file,
        sites=sites,
        rows=table["row"].to_numpy(),
        member=member,
        columns=columns,
        present=present,
        shapes=shapes,
        odd_sites=np.bincount(member, odd, minlength=sites) > 0,
    )


def _column(values: Any, *, exact: bool) -> Column:
    """Floats and texts as arrays, other things as cells; ``exact`` keeps whole numbers as such."""
    kind = values.type
    if pa.types.is_floating(kind):
        floats: Floats = values.to_numpy().astype(np.float64, copy=False)
        return floats
    if pa.types.is_integer(kind) and not exact:
        numbers: Floats = values.cast(pa.float64(), safe=False).to_numpy()
        if np.nanmax(np.abs(numbers), initial=0) < EXACT:
            return numbers
    if (coded := in_words(values)) is not None:
        words = cells_in(coded.dictionary)
        if values.null_count and "" not in words:
            words.append("")
        nothing = words.index("") if values.null_count else 0
        code = coded.indices.fill_null(nothing).to_numpy(zero_copy_only=False).astype(np.int64)
        return Texts(words=words, code=code)
    cells = np.empty(len(values), dtype=np.object_)
    for row, cell in enumerate(values.to_pylist()):
        cells[row] = cell
    return cells


def _blanks(column: Column, values: Any) -> Bools | None:
    """True for cells that are not left out and yet hold nothing; None where there is none."""
    blank = ~written(column)
    if int(blank.sum()) == values.null_count:
        return None
    odd: Bools = blank & np.asarray(values.is_valid())
    return odd


def shapes_of(values: Any, types: tuple[int, ...]) -> tuple[Geometries, Bools]:
    """Geometries, and True for those that are none or of another type."""
    shapes = geometries(values)
    given = ~np.asarray(values.is_null())
    return shapes, given & ~np.isin(shapely.get_type_id(shapes), types)


def apart(placed: Mapping[str, Floats], said: Mapping[str, Column]) -> Bools:
    """True (n,) for points that do not lie where the numbers in ``lon`` and ``lat`` say."""
    far = np.zeros(len(placed["lon"]), dtype=np.bool_)
    for name, degrees in placed.items():
        if name in said:
            far |= is_apart(_numbers(said[name]), degrees)
    return far


def is_apart(said: Floats, degrees: Floats) -> Bools:
    """True (n,) for what is ``said`` of a position and is not that of its point, though rounded."""
    ticks = said * 1e4
    rounded = np.abs(ticks - np.round(ticks)) < 1e-6
    return np.abs(said - degrees) > np.where(rounded, ROUNDED_DEG, APART_DEG)


def _numbers(column: Column) -> Floats:
    """Cells as numbers (n,), nan for what is none."""
    if (values := as_floats(column)) is not None:
        return values
    cells = column.words if isinstance(column, Texts) else cells_of(column)
    read = (parse_number(cell) for cell in cells)
    values = np.array([np.nan if value is None else value for value in read])
    return values[column.code] if isinstance(column, Texts) else values


def positions(points: Geometries, said: Mapping[str, Column]) -> dict[str, Floats]:
    """``lon`` and ``lat`` (n,) of points, else as numbers ``said``; nan for none.

    GEOS raises of empty ones; well-known binary has a point of nan as such.
    """
    there = ~shapely.is_empty(points) & ~shapely.is_missing(points)
    found = {}
    for name, of in (("lon", shapely.get_x), ("lat", shapely.get_y)):
        own = said.get(name)
        numbers = isinstance(own, np.ndarray) and own.dtype.kind == "f"
        found[name] = np.array(own) if numbers else np.full(len(points), np.nan)
        found[name][there] = of(points[there])
    return found
