"""GeoParquet (OGC 24-013, 1.0 and 1.1) by geopandas: shapes as binary or native."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import shapely

from geosand.formats.boundaries.drawn import (
    MAXIMUM_FEATURES,
    Drawn,
    Layer,
    attribute,
    refused,
)


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

    try:
        too_many = ParquetFile(path).metadata.num_rows > MAXIMUM_FEATURES
        table = None if too_many else geopandas.read_parquet(path)
    except (ArrowException, OSError, ValueError, TypeError, KeyError) as problem:
        found = f"can not be read as GeoParquet: {str(problem).partition(chr(10))[0][:120]}"
        remedy = "export it again as GeoParquet, or as GeoPackage"
        raise refused(shown, found, remedy=remedy) from problem
    if table is None:
        found = f"has more than {MAXIMUM_FEATURES:,} features"
        raise refused(shown, found, remedy="export only the surfaces of this site")
    others = [c for c in table.columns if c != table.geometry.name]
    columns = {str(name): table[name].to_numpy(dtype=object) for name in others}
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


def _cell(value: Any) -> Any:
    """A plain cell; lists and tags come as arrays, missing ones as values of pandas."""
    import pandas

    if isinstance(value, np.ndarray):
        value = value.tolist()
    plain = isinstance(value, (str, list, dict)) or not pandas.isna(value)
    return attribute(value) if plain else None


def _problem(shape: Any) -> str:
    if shape is None:
        return "it has no geometry"
    return "it is empty" if shapely.is_empty(shape) else ""
