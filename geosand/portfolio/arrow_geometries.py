"""Geometries out of Arrow columns: well-known binary, and the native encodings of GeoParquet 1.1.

Natively a point is its coordinates, a polygon a list of rings, a multipolygon a list of polygons,
as GeoArrow lays them out: ``struct`` of x, y and perhaps z, or lists of two or three numbers. All
are made by GEOS; what is checked here is that the lists are such as it can be given.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pyarrow as pa
import shapely

from geosand.areas.rings import joined
from geosand.columns import Bools, Floats, Geometries, Ints
from geosand.portfolio.arrow_columns import is_list, one_array, places_of
from geosand.tuples import NamedTuple

BINARY = "WKB"
LISTS = {"point": 0, "polygon": 2, "multipolygon": 3}  #: about the coordinates, by native encoding
LAYOUTS = {
    BINARY: "a column of bytes",
    "point": "coordinates x, y in 64-bit floats",
    "polygon": "lists of rings, which are lists of coordinates x, y in 64-bit floats",
    "multipolygon": "lists of polygons, which are lists of rings of coordinates x, y in 64-bit"
    " floats",
}
LEAST_CORNERS = 4  #: of a ring, its first one counted again at its end


def is_encoded(kind: Any, encoding: str) -> bool:
    """True where a column of this Arrow type can hold geometries of this encoding."""
    lists, inner = _lists_about(kind)
    if encoding == BINARY:
        return lists == 0 and not _is_nested(inner)
    return lists == LISTS[encoding] and _are_coordinates(inner)


def geometries(values: Any) -> Geometries:
    """What a column holds (n,); None for blanks and for what is no geometry."""
    if not _is_nested(values.type):
        return _of_binary(values.to_numpy())
    array = one_array(values)
    levels = _levels(array)
    sound = array.is_valid().to_numpy(zero_copy_only=False) & _sound(levels)
    if not sound.all():
        levels = _levels(array.filter(sound))
    shapes: Geometries = np.full(len(array), None, dtype=object)
    shapes[sound] = _made(levels)
    return shapes


def _of_binary(cells: Any) -> Geometries:
    """Each cell's geometry; None for none. For one curve shapely would raise for all of them."""
    try:
        return np.asarray(shapely.from_wkb(cells, on_invalid="ignore"))
    except NotImplementedError:
        if len(cells) == 1:
            return np.array([None], dtype=object)
    half = len(cells) // 2
    return np.concatenate([_of_binary(cells[:half]), _of_binary(cells[half:])])


class _Levels(NamedTuple):
    """A native column: its lists, the outermost first, and what is within all of them."""

    offsets: list[Ints]  #: where each list begins in the next level, and where the last ends
    blank: list[Bools]  #: True for lists that are none
    corners: Floats  #: (N, 2 or 3)
    rows: int


def _levels(array: Any) -> _Levels:
    offsets, blank, rows = list[Ints](), list[Bools](), len(array)
    while is_list(array.type):
        blank.append(array.is_null().to_numpy(zero_copy_only=False))
        begun = places_of(array).astype(np.int64)
        array = array.values.slice(begun[0], begun[-1] - begun[0])
        offsets.append(begun - begun[0])
    return _Levels(offsets=offsets, blank=blank, corners=_coordinates(array), rows=rows)


def _sound(levels: _Levels) -> Bools:
    """False (n,) for rows with a ring that is none, or a blank within: GEOS would end the process.

    A ring has no corner or at least four, and ends where it begins; holes need an outline.
    """
    if not levels.offsets:
        return np.ones(levels.rows, dtype=np.bool_)
    *_, rings, ends = levels.offsets
    size = np.diff(ends)
    there = size > 0
    bad = there & (size < LEAST_CORNERS)
    first, last = ends[:-1][there], ends[1:][there] - 1
    bad[there] |= (levels.corners[first, :2] != levels.corners[last, :2]).any(axis=1)
    outline = rings[:-1][np.diff(rings) > 1]
    bad[outline] |= size[outline] == 0
    lists = zip(reversed(levels.offsets[:-1]), reversed(levels.blank[1:]), strict=True)
    for begun, blank in lists:
        bad = np.bincount(_owner(begun), bad | blank, len(begun) - 1) > 0
    return ~bad


def _made(levels: _Levels) -> Geometries:
    """The geometries of a column in which all are sound; one polygon alone is a Polygon."""
    if not levels.offsets:
        return np.asarray(shapely.from_ragged_array(shapely.GeometryType.POINT, levels.corners))
    *several, rings, ends = levels.offsets
    if levels.corners.shape[1] == 3:
        _close_heights(levels)
    made = shapely.from_ragged_array(shapely.GeometryType.POLYGON, levels.corners, (ends, rings))
    parts: Geometries = np.asarray(made)
    return joined(parts, _owner(several[0]), levels.rows) if several else parts


def _close_heights(levels: _Levels) -> None:
    """Each ring ends at the height at which it begins, or it would get a corner more at its end.

    In a column with heights those of a surface without any are nan, which equals nothing; they are
    0 where one is not known, as all 0 are none (``mean_height_m``).
    """
    ends, height = levels.offsets[-1], levels.corners[:, 2]
    row = _owner(ends)
    for begun in reversed(levels.offsets[:-1]):
        row = _owner(begun)[row]
    height[(np.bincount(row, np.isnan(height), levels.rows) > 0)[row]] = 0.0
    there = np.diff(ends) > 0
    height[ends[1:][there] - 1] = height[ends[:-1][there]]


def _coordinates(array: Any) -> Floats:
    """Coordinates (N, 2 or 3), a copy; blank ones are nan."""
    if pa.types.is_struct(array.type):
        named = dict(zip((f.name for f in array.type), array.flatten(), strict=True))
        axes = [named[axis] for axis in "xyz" if axis in named]
        return np.column_stack([axis.to_numpy(zero_copy_only=False) for axis in axes])
    size = array.type.list_size
    numbers = array.values.slice(array.offset * size, len(array) * size)
    table: Floats = numbers.to_numpy(zero_copy_only=False).reshape(-1, size).copy()
    table[array.is_null().to_numpy(zero_copy_only=False)] = np.nan
    return table


def _are_coordinates(kind: Any) -> bool:
    """True for x, y or x, y, z by name, or two or three in a row, of 64 bits each."""
    if pa.types.is_fixed_size_list(kind):
        return kind.list_size in (2, 3) and bool(pa.types.is_float64(kind.value_type))
    if not pa.types.is_struct(kind):
        return False
    doubles = all(pa.types.is_float64(field.type) for field in kind)
    return doubles and sorted(field.name for field in kind) in (["x", "y"], ["x", "y", "z"])


def _lists_about(kind: Any) -> tuple[int, Any]:
    """How many lists deep a type is, and the type within."""
    lists = 0
    while is_list(kind):
        lists, kind = lists + 1, kind.value_type
    return lists, kind


def _is_nested(kind: Any) -> bool:
    return bool(pa.types.is_nested(kind))


def _owner(offsets: Ints) -> Ints:
    """The number of the list that each member is of."""
    return np.repeat(np.arange(len(offsets) - 1), np.diff(offsets))
