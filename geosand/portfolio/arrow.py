"""Columns of a portfolio's tables as Arrow arrays, each made in one go for all sites of a chunk."""

from __future__ import annotations

import sys
from collections.abc import Mapping
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import shapely

from geosand.areas.rings import Rings, rings_of
from geosand.columns import Geometries, Ints, Strings


class _Hidden:
    """A finder of modules that says of pandas that it is not installed."""

    def find_spec(self, name: str, path: object = None, target: object = None) -> None:
        if name == "pandas":
            raise ModuleNotFoundError(name)


def without_pandas() -> None:
    """Let pyarrow do without pandas, which it loads with its first value: half of a short run.

    It looks once whether there is one, and has no switch for that; a frame that is asked for later
    is made all the same. To be called where no other thread runs; nothing happens where pandas is
    loaded. None in ``sys.modules`` would do for Python's own import, not for that of Cython.
    """
    if "pandas" in sys.modules:
        return
    hidden = _Hidden()
    sys.meta_path.insert(0, hidden)
    try:
        pa.scalar(0)
    finally:
        sys.meta_path.remove(hidden)


def arrow_table(table: Mapping[str, Any]) -> Any:
    """Columns of NumPy, or lists of texts, as an Arrow table; nan and NaT become nulls.

    Columns that are Arrow stay as they are.
    """
    return pa.table({name: _array(column) for name, column in table.items()})


def _array(column: Any) -> Any:
    if isinstance(column, list):
        return pa.array(column, pa.string())
    if not isinstance(column, np.ndarray):
        return column
    return pa.array(column, from_pandas=True)


def named(words: Strings, row: Ints) -> Any:
    """``words[row]``: each word is made once, however many rows have it."""
    return pa.array(words.tolist(), pa.string()).take(pa.array(row))


def well_known_binary(shapes: Geometries) -> Any:
    """Geometries (n,) as GeoParquet and Arrow keep them.

    Those of polygons Arrow lays out, in half the time that GEOS takes.
    """
    plain = (shapely.get_type_id(shapes) == shapely.GeometryType.POLYGON) & ~shapely.has_z(shapes)
    plain &= ~shapely.is_empty(shapes)
    polygons = _polygons(rings_of(shapes[plain]))
    if plain.all():
        return polygons
    others = pa.array(shapely.to_wkb(shapes[~plain]), pa.binary())
    place = np.argsort(np.argsort(~plain, kind="stable"))  # where each row is among the two
    return pa.concat_arrays([polygons, others]).take(pa.array(place))


def _polygons(rings: Rings) -> Any:
    """Polygons with rings as well-known binary (OGC 06-103r4, 8.2.7), the least byte first."""
    number, corners = np.bincount(rings.surface), rings.last - rings.first + 1
    head = np.zeros(len(number), dtype=[("order", "u1"), ("type", "<u4"), ("rings", "<u4")])
    head["order"], head["type"], head["rings"] = 1, shapely.GeometryType.POLYGON, number
    counts, points = corners.astype("<u4"), rings.position.astype("<f8", copy=False)
    ring = pc.binary_join_element_wise(
        _pieces(counts, np.full(len(corners), 4)), _pieces(points, 16 * corners), b""
    )
    body = pc.binary_join(pa.ListArray.from_arrays(pa.array(_ends(number)), ring), b"")
    return pc.binary_join_element_wise(_pieces(head, np.full(len(number), 9)), body, b"")


def _pieces(content: Any, sizes: Ints) -> Any:
    """The bytes of an array as a column of binary with so many in each row."""
    buffers = [None, pa.py_buffer(_ends(sizes)), pa.py_buffer(content)]
    return pa.Array.from_buffers(pa.binary(), len(sizes), buffers)


def _ends(sizes: Ints) -> Any:
    return np.concatenate([[0], np.cumsum(sizes)]).astype(np.int32)
