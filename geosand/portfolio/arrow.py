"""Columns of a portfolio's tables as Arrow arrays, each made in one go for all sites of a chunk."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from geosand.columns import Geometries, Ints, Strings

BLOCK = 1000  #: polygons whose bytes are put together at once: they fit the processor's memory


def arrow_table(table: Mapping[str, Any]) -> Any:
    """Columns of NumPy, or lists of texts, as an Arrow table; nan and NaT become nulls.

    Columns that are Arrow stay as they are.
    """
    import pyarrow as pa

    return pa.table({name: _array(column) for name, column in table.items()})


def _array(column: Any) -> Any:
    import pyarrow as pa

    if isinstance(column, list):
        return pa.array(column, pa.string())
    if not isinstance(column, np.ndarray):
        return column
    if column.dtype.kind == "U":
        return pa.array(column.tolist(), pa.string())
    if column.dtype.kind == "M":
        return pa.array(column.astype("datetime64[D]"), pa.date32())
    if column.dtype.kind == "f":
        return pa.array(column, pa.float64(), from_pandas=True)
    return pa.array(column)


def named(words: Strings, row: Ints) -> Any:
    """``words[row]``: each word is made once, however many rows have it."""
    import pyarrow as pa

    return pa.array(words.tolist(), pa.string()).take(pa.array(row))


def texts_of(letters: NDArray[np.uint8], sizes: Ints) -> Any:
    """One text after the other, of ``sizes`` ASCII letters each."""
    import pyarrow as pa

    starts, content = pa.py_buffer(_offsets(sizes)), pa.py_buffer(letters.tobytes())
    return pa.StringArray.from_buffers(len(sizes), starts, content)


def lists_of(words: Strings, sizes: Ints, between: str = ", ") -> Any:
    """The words of one row after the other, ``sizes`` of them each, as one text a row."""
    import pyarrow as pa
    import pyarrow.compute as pc

    every = pa.array(words.tolist(), pa.string())
    return pc.binary_join(pa.ListArray.from_arrays(pa.array(_offsets(sizes)), every), between)


def well_known_binary(shapes: Geometries) -> Any:
    """Geometries as GeoParquet and Arrow keep them: what ``shapely.to_wkb`` gives, sooner.

    Polygons go into one buffer; the library, one geometry at a time, writes only what else there
    is.
    """
    import pyarrow as pa

    plain = shapely.get_type_id(shapes) == shapely.GeometryType.POLYGON
    plain &= ~shapely.is_empty(shapes) & ~shapely.has_z(shapes)
    simple = shapes[plain]
    blocks = [_polygons(simple[k : k + BLOCK]) for k in range(0, len(simple), BLOCK)]
    blocks.append(pa.array(shapely.to_wkb(shapes[~plain]), pa.binary()))
    together = pa.concat_arrays(blocks)
    if plain.all():
        return together
    row = np.where(plain, np.cumsum(plain), plain.sum() + np.cumsum(~plain)) - 1
    return together.take(pa.array(row))


def _polygons(shapes: Geometries) -> Any:
    """Order of bytes, kind and number of rings, then each ring: its number of points, the points.

    OGC 06-103r4, Simple feature access, part 1, clause 8.2.
    """
    import pyarrow as pa
    import pyarrow.compute as pc

    holes = shapely.get_num_interior_rings(shapes)
    holed, points = np.repeat(holes > 0, holes + 1), shapely.get_num_coordinates(shapes)
    size = np.zeros(len(holed), dtype=np.int64)  # of each ring
    size[~holed] = points[holes == 0]
    size[holed] = shapely.get_num_coordinates(shapely.get_rings(shapes[holes > 0]))
    words = shapely.get_coordinates(shapes).astype("<f8", copy=False).view("<u4").ravel()
    rings = np.insert(words, 4 * (np.cumsum(size) - size), size)
    head = np.zeros(len(shapes), dtype=[("order", "u1"), ("kind", "<u4"), ("rings", "<u4")])
    head["order"], head["kind"], head["rings"] = 1, shapely.GeometryType.POLYGON, holes + 1
    return pc.binary_join_element_wise(
        _binary(head, np.full(len(shapes), head.itemsize)),
        _binary(rings, 4 * (holes + 1) + 16 * points),
        pa.scalar(b"", pa.binary()),
    )


def _binary(content: NDArray[Any], sizes: Ints) -> Any:
    """The bytes of an array cut into values of ``sizes`` bytes each."""
    import pyarrow as pa

    buffers = [None, pa.py_buffer(_offsets(sizes)), pa.py_buffer(content)]
    return pa.Array.from_buffers(pa.binary(), len(sizes), buffers)


def _offsets(sizes: Ints) -> NDArray[np.int32]:
    return np.append(0, np.cumsum(sizes)).astype(np.int32)
