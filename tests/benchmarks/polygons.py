"""The polygons of many sites out of the GeoParquet file of a set, beside geopandas.

Read a chunk at a time as ``geosand many`` reads them: once to outlines and columns, once to whole
checked sites, which have nothing but these polygons and a row of settings each.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import geopandas
import pyarrow.parquet as pq
import shapely

from geosand.portfolio.run import chunks_of
from geosand.portfolio.site_set import SiteSet, find_set
from geosand.portfolio.typed_columns import Typed, typed
from tests.benchmarks.portfolio_generator import Extent, write_set

if TYPE_CHECKING:
    from tests.benchmarks.workloads import Case

SITES = 1000
SHARE = 20  #: of the sites the slow formats hold so many times fewer; their time is scaled up
AIM = 1.7


def polygons(folder: Path) -> list[Case]:
    """Two cases of one file: decoded only, and checked."""
    from tests.benchmarks.workloads import Case

    source = _set_of_polygons(folder)
    path, chunks = folder / "surfaces.parquet", chunks_of(source.keys())
    frame = geopandas.read_parquet(path)
    few = frame.iloc[: len(frame) // SHARE]
    slow = {end: folder / f"few.{end}" for end in ("gpkg", "geojson")}
    for place in slow.values():
        few.to_file(place)

    def decoded(_: int) -> list[Typed]:
        table = source.tables["surfaces"]
        return [typed("surfaces", table.rows_of(keys), table.file) for keys in chunks]

    def checked(_: int) -> list[Any]:
        return [one.site for keys in chunks for one in source.read(keys, {})]

    def parquet(_: int) -> Any:
        return geopandas.read_parquet(path)

    def gpkg(_: int) -> Any:
        return geopandas.read_file(slow["gpkg"])

    def geojson(_: int) -> Any:
        return geopandas.read_file(slow["geojson"])

    shapes = [shape for part in decoded(0) for shape in part.shapes.tolist()]
    off = int((~shapely.equals_identical(shapes, frame.geometry.to_numpy())).sum())
    assert all(site is not None for site in checked(0))
    size = f"{len(frame):,} polygons of {SITES:,} sites, GeoParquet"
    limit = ("the columns by Arrow, no outlines", lambda _: list(_columns(path)), 1.0)
    return [
        Case(
            what="reading polygons",
            size=size,
            mine=decoded,
            others=(
                ("geopandas.read_parquet of the same file", parquet, 1.0, AIM),
                ("pyarrow and shapely.from_wkb", lambda _: list(_parsed(path)), 1.0, None),
                ("geopandas.read_file of a GeoPackage", gpkg, float(SHARE), None),
                ("geopandas.read_file of GeoJSON", geojson, float(SHARE), None),
            ),
            limit=limit,
            difference=f"{off} outlines differ in any bit; nothing is checked",
        ),
        Case(
            what="reading polygons, with all checks",
            size=size,
            mine=checked,
            others=(("geopandas.read_parquet, nothing checked", parquet, 1.0, None),),
            limit=limit,
            difference="geosand checks every cell and outline, takes each site's digest and makes"
            " its tables",
        ),
    ]


def _set_of_polygons(folder: Path) -> SiteSet:
    """Sites with settings and surfaces, and nothing measured."""
    write_set(folder, SITES, extent=Extent(dressings=1, catches=1))
    for name in ("dressings", "loads", "catches"):
        (folder / f"{name}.parquet").unlink()
    source = find_set(folder)
    assert source is not None
    return source


def _columns(path: Path) -> Iterator[Any]:
    with pq.ParquetFile(path) as file:
        for group in range(file.num_row_groups):
            yield file.read_row_group(group, use_threads=False)


def _parsed(path: Path) -> Iterator[Any]:
    for table in _columns(path):
        yield table, shapely.from_wkb(table["geometry"].to_numpy())
