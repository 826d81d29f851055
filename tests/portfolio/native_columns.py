"""Geometries as the native columns of GeoParquet 1.1, made by hand, and sets written with them."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import shapely


def native(shapes: Any, *, interleaved: bool = False, large: bool = False) -> pa.Array:
    """A column as ``shapely.to_ragged_array`` and Arrow lay it out."""
    shapes = np.asarray(shapes, dtype=object)
    kind, corners, offsets = shapely.to_ragged_array(shapes)
    array = coordinates(corners, interleaved=interleaved)
    if kind == shapely.GeometryType.POINT:
        rows = pa.array(np.where(shapely.is_missing(shapes), None, np.arange(len(shapes))))
        return array.take(rows.cast(pa.int64()))
    made, number = (pa.LargeListArray, np.int64) if large else (pa.ListArray, np.int32)
    for offset in offsets[:-1]:
        array = made.from_arrays(pa.array(offset.astype(number)), array)
    blank = pa.array(shapely.is_missing(shapes))
    return made.from_arrays(pa.array(offsets[-1].astype(number)), array, mask=blank)


def coordinates(corners: Any, *, interleaved: bool = False) -> pa.Array:
    """Coordinates (N, 2 or 3) beside each other or axis by axis."""
    size = corners.shape[1]
    if interleaved:
        return pa.FixedSizeListArray.from_arrays(pa.array(corners.ravel()), size)
    return pa.StructArray.from_arrays([pa.array(corners[:, k]) for k in range(size)], "xyz"[:size])


def of_rings(rings: list[Any]) -> Any:
    """What ``pa.array`` makes the polygon of such rings of."""
    return [None if ring is None else [_corner(c) for c in ring] for ring in rings]


def _corner(corner: Any) -> Any:
    return None if corner is None else dict(zip("xyz", corner, strict=False))


CORNER = pa.struct([("x", pa.float64()), ("y", pa.float64())])
POLYGON = pa.list_(pa.list_(CORNER))


def write(path: Path, table: pa.Table, encoding: str, **options: Any) -> Path:
    """A GeoParquet file that says this encoding of its column ``geometry``, whatever that holds."""
    column = {"encoding": encoding, "geometry_types": []}
    geo = {"version": "1.1.0", "primary_column": "geometry", "columns": {"geometry": column}}
    pq.write_table(table.replace_schema_metadata({b"geo": json.dumps(geo)}), path, **options)
    return path


def with_geometry(table: pa.Table, column: pa.Array) -> pa.Table:
    """The table with another column ``geometry``."""
    names = table.column_names
    if "geometry" not in names:
        return table.append_column("geometry", column)
    return table.set_column(names.index("geometry"), "geometry", column)
