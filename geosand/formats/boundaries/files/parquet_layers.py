"""GeoParquet (OGC 24-013, 1.0 and 1.1) by geopandas: shapes as binary or native."""

from __future__ import annotations

import warnings
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from geosand.errors import refused
from geosand.formats.boundaries.drawn import (
    MAXIMUM_BYTES,
    MAXIMUM_FEATURES,
    Drawn,
    Layer,
    attribute,
)

_UNASKED = (TypeError, KeyError, AttributeError)
_ODD = (ValueError, *_UNASKED)  #: of the library at an odd head


def read_parquet(path: Path, shown: str) -> list[Layer]:
    """The rows of a table in its own CRS. Raises Refused without pyarrow, or shapes."""
    try:
        from pyarrow import ArrowException
        from pyarrow.parquet import ParquetFile
    except ImportError as problem:
        found = "is GeoParquet, and pyarrow, which reads it, is not installed"
        remedy = "install geosand with the extra many: pip install 'geosand[many]'"
        raise refused(shown, found, remedy=remedy) from problem
    import geopandas
    from pyproj.exceptions import CRSError

    too_much = ""
    try:
        with ParquetFile(path) as file:
            too_much = _too_much(file)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # edges along great circles: straight here
            table = None if too_much else geopandas.read_parquet(path)
        columns = {} if table is None else _columns(table)
    except MemoryError:  # no fault of the file
        raise
    except (ArrowException, CRSError, shapely.errors.ShapelyError, OSError, *_ODD) as problem:
        found = f"can not be read as GeoParquet: {_said(problem)}"
        remedy = "export it again as GeoParquet, or as GeoPackage"
        raise refused(shown, found, remedy=remedy) from problem
    if table is None:
        raise refused(shown, too_much, remedy="export only the surfaces of this site")
    drawn = tuple(
        Drawn(
            place=f"row {row + 1}",
            geometry=shape,
            attributes={name: _cell(cells[row]) for name, cells in columns.items()},
            problem=_problem(shape),
        )
        for row, shape in enumerate(np.asarray(table.geometry.array, dtype=object))
    )
    crs = "" if table.crs is None else table.crs.to_wkt()
    return [Layer(name="", drawn=drawn, crs=crs)]


def _said(problem: Exception) -> str:
    """What is wrong, in words; the library looks some things up without asking first."""
    if isinstance(problem, _UNASKED):
        return "what it says of its columns (geo) does not fit them"
    text = str(problem).partition("\n")[0][:120]
    return "a text in it is not UTF-8" if "Wrapping" in text else text


def _columns(table: Any) -> dict[str, Any]:
    """The cells by column, those of a named index among them."""
    if named := [name for name in table.index.names if name is not None]:
        table = table.reset_index(level=[n for n in named if n not in table.columns])
    others = [c for c in table.columns if c != table.geometry.name]
    return {str(name): table[name].to_numpy(dtype=object) for name in others}


def _too_much(file: Any) -> str:
    """What is too much of a table: few bytes can stand for many gigabytes of one long word.

    Raises ValueError for native polygons at which GEOS would end the process.
    """
    if file.metadata.num_rows > MAXIMUM_FEATURES:
        return f"has more than {MAXIMUM_FEATURES:,} features"
    nested = [k for k, field in enumerate(file.schema_arrow) if field.type.num_fields]
    size = 0
    for batch in file.iter_batches(batch_size=64):
        if any(_has_hole_alone(batch.column(k)) for k in nested):
            raise ValueError("a polygon has a hole, and no outline about it")
        size += batch.nbytes
        if size > 5 * MAXIMUM_BYTES:
            return f"holds more than {5 * MAXIMUM_BYTES // 1_000_000:,} MB when it is unpacked"
    return ""


def _has_hole_alone(array: Any) -> bool:
    """Whether the first ring of a native polygon is none, and another follows."""
    from pyarrow import compute, types

    def is_list(kind: Any) -> bool:
        return bool(types.is_list(kind) or types.is_large_list(kind))

    kind = array.type
    while is_list(kind) and is_list(kind.value_type) and is_list(kind.value_type.value_type):
        array, kind = array.flatten(), kind.value_type
    point = kind.value_type.value_type if is_list(kind) and is_list(kind.value_type) else None
    if point is None or not (types.is_struct(point) or types.is_fixed_size_list(point)):
        return False
    rings = compute.list_value_length(array).fill_null(0)
    outlines = compute.list_element(array.filter(compute.greater(rings, 1)), 0)
    corners = compute.list_value_length(outlines).fill_null(0)
    return bool(compute.any(compute.equal(corners, 0)).as_py())


def _cell(value: Any) -> Any:
    """A plain cell; lists and tags come as arrays, missing ones as values of pandas."""
    import pandas

    if isinstance(value, bytes):  # texts of writers that do not say so
        value = value.decode(errors="replace")
    if isinstance(value, np.ndarray):
        value = value.tolist()
    plain = isinstance(value, (str, list, dict)) or not pandas.isna(value)
    try:
        return attribute(value) if plain else None
    except TypeError:  # a list of days or the like
        return str(value)[:2000]


def _problem(shape: Any) -> str:
    if shape is None:
        return "it has no geometry"
    return "it is empty" if shapely.is_empty(shape) else ""
