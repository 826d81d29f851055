"""The polygons of many sites out of GeoParquet files of a set, beside geopandas.

Read a chunk at a time as ``geosand many`` reads them: once to outlines and columns, once to whole
checked sites, which have nothing but these polygons and a row of settings each. Two sets hold the
same polygons: natively encoded, as the generator writes them, and in well-known binary compressed
by Snappy, as geopandas writes by default, but in row groups of 100 sites. geopandas reads the file
of each set, and a third one that its ``to_parquet`` wrote by default.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import geopandas
import pyarrow.parquet as pq
import shapely

from geosand.portfolio.run import chunks_of
from geosand.portfolio.site_set import SiteSet, find_set
from geosand.portfolio.typed_columns import Typed, typed
from tests.benchmarks.case import Case
from tests.benchmarks.portfolio_generator import BINARY, NATIVE, Extent, write_set
from tests.benchmarks.scale import outlines

SITES, ROWS_OF_A_SITE = 1000, 72
SHARE = 20  #: of the sites the slow formats hold so many times fewer; their time is scaled up
AIM = 1.7


def polygons(folder: Path) -> list[Case]:
    """Two cases of each file: decoded only, and checked."""
    native = _set_of_polygons(folder / "native", NATIVE)
    frame = geopandas.read_parquet(folder / "native" / "surfaces.parquet")
    frame.to_parquet(folder / "default.parquet")
    few = frame.iloc[: len(frame) // SHARE]
    few.to_file(folder / "few.gpkg")
    few.to_file(folder / "few.geojson")
    binary = _set_of_polygons(folder / "binary", BINARY)
    path, rows = folder / "binary" / "surfaces.parquet", 100 * ROWS_OF_A_SITE
    pq.write_table(pq.read_table(path), path, row_group_size=rows, compression="snappy")
    return [
        *_cases(folder, native, folder / "native", "native, LZ4", frame),
        *_cases(folder, binary, folder / "binary", "well-known binary, Snappy", frame),
    ]


def _cases(folder: Path, source: SiteSet, root: Path, words: str, frame: Any) -> list[Case]:
    path, chunks = root / "surfaces.parquet", chunks_of(source.keys())

    def decoded(_: int) -> list[Typed]:
        table = source.tables["surfaces"]
        return [typed("surfaces", table.rows_of(keys), table.file) for keys in chunks]

    def checked(_: int) -> list[Any]:
        return [one.site for keys in chunks for one in source.read(keys, {})]

    def by_default(_: int) -> Any:
        return geopandas.read_parquet(folder / "default.parquet")

    def same_file(_: int) -> Any:
        return geopandas.read_parquet(path)

    def gpkg(_: int) -> Any:
        return geopandas.read_file(folder / "few.gpkg")

    def geojson(_: int) -> Any:
        return geopandas.read_file(folder / "few.geojson")

    shapes = [shape for part in decoded(0) for shape in part.shapes.tolist()]
    off = int((~shapely.equals_identical(shapes, frame.geometry.to_numpy())).sum())
    size = f"{len(frame):,} polygons of {SITES:,} sites, GeoParquet, {words}"
    size += f", {path.stat().st_size / 1e6:.0f} MB"
    limit = ("the columns by Arrow, no outlines", lambda _: list(_columns(path)), 1.0)
    return [
        Case(
            what=f"reading polygons, {words}",
            size=size,
            mine=decoded,
            others=(
                ("geopandas.read_parquet of geopandas' default file", by_default, 1.0, AIM),
                ("geopandas.read_parquet of the same file", same_file, 1.0, AIM),
                ("pyarrow and shapely", lambda _: list(map(outlines, _columns(path))), 1.0, None),
                ("geopandas.read_file of a GeoPackage", gpkg, float(SHARE), None),
                ("geopandas.read_file of GeoJSON", geojson, float(SHARE), None),
            ),
            limit=limit,
            difference=f"{off} outlines differ in any bit; nothing is checked",
            agree=off == 0,
        ),
        Case(
            what=f"reading polygons with all checks, {words}",
            size=size,
            mine=checked,
            others=(
                ("geopandas.read_parquet of geopandas' default file", by_default, 1.0, None),
                ("geopandas.read_parquet of the same file", same_file, 1.0, None),
            ),
            limit=limit,
            difference="geosand checks every cell and outline, takes each site's digest and makes"
            " its tables",
            agree=all(site is not None for site in checked(0)),
        ),
    ]


def _set_of_polygons(folder: Path, encoding: str) -> SiteSet:
    """Sites with settings and surfaces, and nothing measured."""
    write_set(folder, SITES, extent=Extent(dressings=1, catches=1), encoding=encoding)
    for name in ("dressings", "loads", "catches"):
        (folder / f"{name}.parquet").unlink()
    source = find_set(folder)
    assert source is not None
    return source


def _columns(path: Path) -> Iterator[Any]:
    with pq.ParquetFile(path) as file:
        for group in range(file.num_row_groups):
            yield file.read_row_group(group, use_threads=False)
