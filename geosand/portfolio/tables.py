"""The finished tables: GeoParquet and CSV, the same bytes however the work was divided."""

from __future__ import annotations

import json
import os
import re
import tempfile
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from itertools import chain
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv
import pyarrow.parquet as pq

from geosand.formats.workbook_writing import FORMULA
from geosand.portfolio.chunk import TABLES
from geosand.portfolio.figures import BOUNDS
from geosand.portfolio.parts import Parts

GROUP = 100  #: sites in a row group of the finished files
LEVEL = -5  #: of zstd: half the time of level 1, files a sixth larger
_FORMULA = f"^([{re.escape(''.join(FORMULA))}])"
SKETCHED = "sketch"  #: a column for the index page only
HIDDEN = (SKETCHED, *BOUNDS)  #: columns that the finished tables do not have


def write_tables(
    parts: Parts, keys: Sequence[str], out: Path, *, threads: int = 1
) -> dict[str, list[str]]:
    """Write each table below ``out`` as ``.parquet`` and ``.csv``; file names by table.

    Areas and ledger carry the owned polygons, balances and sites the site's middle, in lon/lat.
    Each file is written beside its place and renamed.
    """
    out.mkdir(parents=True, exist_ok=True)
    with ThreadPoolExecutor(min(threads, len(TABLES))) as pool:  # Arrow needs no lock of Python's
        files = pool.map(lambda name: _write(parts, name, keys, out), TABLES)
        return dict(zip(TABLES, files, strict=True))


def _write(parts: Parts, name: str, keys: Sequence[str], out: Path) -> list[str]:
    names = [f"{name}.parquet", f"{name}.csv"]
    made = [_beside(out / one) for one in names]
    try:
        some = _stream(parts.table(name, keys, GROUP), name, *made)
        for path, final in zip(made, names, strict=True):
            if some:
                os.chmod(path, 0o644)
                os.replace(path, out / final)
            else:  # what an earlier run left would be taken for this one's
                (out / final).unlink(missing_ok=True)
    finally:
        for path in made:
            path.unlink(missing_ok=True)
    return names if some else []


def _stream(tables: Iterator[Any], name: str, parquet_path: Path, csv_path: Path) -> bool:
    """Write all groups to both files; False where there is none."""
    first = next(tables, None)
    if first is None:
        return False
    schema, plain = _with_points(_shown(first)).schema, _plain(first).schema
    bounds = np.array([np.inf, np.inf, -np.inf, -np.inf])
    texts = [column.name for column in schema if pa.types.is_string(column.type)]
    with (
        pq.ParquetWriter(
            parquet_path,
            schema,
            compression="zstd",
            compression_level=LEVEL,
            use_dictionary=texts,
        ) as parquet,
        pyarrow.csv.CSVWriter(csv_path, plain) as csv,
    ):
        for table in chain([first], tables):
            bounds = _widened(bounds, table)
            placed = _with_points(_shown(table))
            parquet.write_table(placed, row_group_size=max(1, len(placed)))
            csv.write_table(_plain(table))
        if "geometry" in schema.names:
            parquet.add_key_value_metadata({"geo": _geo(name, bounds)})
    return True


def _shown(table: Any) -> Any:
    return table.drop_columns([c for c in HIDDEN if c in table.column_names])


def _plain(table: Any) -> Any:
    """What goes to CSV: texts that a spreadsheet would take for a formula have an apostrophe."""
    left = [c for c in (*HIDDEN, "geometry") if c in table.column_names]
    table = table.drop_columns(left)
    for number, name in enumerate(table.column_names):
        if pa.types.is_string(table[name].type):
            column = table[name]
            begins = pc.utf8_slice_codeunits(column, 0, 1)
            if pc.any(pc.is_in(begins, value_set=pa.array(FORMULA))).as_py():
                column = pc.replace_substring_regex(column, _FORMULA, r"'\1")
                table = table.set_column(number, name, column)
    return table


def _beside(path: Path) -> Path:
    handle, made = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
    os.close(handle)
    return Path(made)


def _with_points(table: Any) -> Any:
    """The site's middle as geometry where a table has one, as lon and lat, and no polygons."""
    import shapely

    if "geometry" in table.column_names or "lon" not in table.column_names:
        return table
    lon, lat = (table[c].to_numpy().astype(float) for c in ("lon", "lat"))
    points = shapely.points(lon, lat)
    points[~np.isfinite(lon)] = None
    return table.append_column("geometry", pa.array(shapely.to_wkb(points), pa.binary()))


def _widened(bounds: Any, table: Any) -> Any:
    """The bounds with those of the table's polygons, or of the middles of its sites."""
    names = BOUNDS if BOUNDS[0] in table.column_names else ("lon", "lat", "lon", "lat")
    if not set(names) <= set(table.column_names):
        return bounds
    ends = (np.fmin, np.fmin, np.fmax, np.fmax)
    return np.array(
        [
            widen.reduce(table[name].to_numpy().astype(np.float64), initial=bound)
            for bound, widen, name in zip(bounds, ends, names, strict=True)
        ]
    )


def _geo(name: str, bounds: Any) -> str:
    """File metadata by the GeoParquet specification 1.1.0; no crs means longitude, latitude."""
    types = ["Polygon", "MultiPolygon"] if name in ("areas", "ledger") else ["Point"]
    column: dict[str, Any] = {"encoding": "WKB", "geometry_types": types}
    if np.isfinite(bounds).all():
        column["bbox"] = bounds.tolist()
    return json.dumps(
        {"version": "1.1.0", "primary_column": "geometry", "columns": {"geometry": column}}
    )
