"""GeoParquet (OGC 24-013) as geopandas writes it in its versions, and as others do."""

import datetime
import json
import sys
import warnings

import geopandas
import pandas
import pyarrow.parquet
import pyproj
import pytest
import shapely

from geosand.areas.ellipsoid import ellipsoid_areas_m2
from geosand.errors import Refused
from geosand.formats.boundaries import read_boundaries
from tests.formats.boundaries.conftest import UTM, blob, to_lon_lat

SHAPES = [blob(0, 0, 13), blob(60, 0, 9), blob(120, 0, 8, hole=True)]


def frame(crs=UTM):
    table = geopandas.GeoDataFrame(
        {
            "id": ["g1", "g2", "t1"],
            "kind": pandas.Categorical(["green", "green", "tee"]),
            "target_mm": [9.0, None, None],
            "cuts": [[3, 5], [], None],
        },
        geometry=SHAPES,
        crs=UTM,
    )
    return table.to_crs(crs)


def as_expected(found):
    assert found.features.id.tolist() == ["g1", "g2", "t1"]
    assert found.features.kind.tolist() == ["green", "green", "tee"]
    geod = pyproj.Geod(ellps="WGS84")
    areas = ellipsoid_areas_m2(found.features.geometry).tolist()
    for area, shape in zip(areas, SHAPES, strict=True):
        there = to_lon_lat(shape)
        hole = sum(
            abs(geod.geometry_area_perimeter(shapely.Polygon(r))[0]) for r in there.interiors
        )
        whole = abs(geod.geometry_area_perimeter(shapely.Polygon(there.exterior))[0])
        assert area == pytest.approx(whole - hole, rel=1e-6)


@pytest.mark.parametrize("crs", [UTM, "EPSG:4258", "EPSG:3035"])
@pytest.mark.parametrize("more", [{"schema_version": v} for v in ("0.4.0", "1.0.0", "1.1.0")])
def test_tables_of_each_version(tmp_path, crs, more):
    frame(crs).to_parquet(tmp_path / "a.parquet", **more)
    as_expected(read_boundaries(tmp_path / "a.parquet"))


def test_native_shapes_boxes_beside_them_and_another_ending(tmp_path):
    path = tmp_path / "a.geoparquet"
    frame().to_parquet(path, geometry_encoding="geoarrow", write_covering_bbox=True)
    found = read_boundaries(path)
    as_expected(found)
    assert found.source_crs == UTM
    assert found.features.attributes[0]["target_mm"] == 9
    assert found.features.attributes[1]["target_mm"] is None


def with_head(path, **changes):
    """The table with members of its head ``geo`` changed, those of None taken out."""
    table = pyarrow.parquet.read_table(path)
    geo = json.loads(table.schema.metadata[b"geo"])
    column = geo["columns"]["geometry"]
    for key, value in changes.items():
        column.pop(key, None)
        if value != "none":
            column[key] = value
    table = table.replace_schema_metadata({b"geo": json.dumps(geo).encode()})
    pyarrow.parquet.write_table(table, path, compression="zstd")


def test_a_table_without_a_crs_is_in_lon_lat_and_one_of_null_is_asked(tmp_path):
    """OGC 24-013, 7.2: without crs it is OGC:CRS84; null says that it is not known."""
    path = tmp_path / "a.parquet"
    frame("OGC:CRS84").to_parquet(path)
    with_head(path, crs="none")
    as_expected(read_boundaries(path))
    frame().to_parquet(path)
    with_head(path, crs=None)
    with pytest.raises(Refused, match="does not say in which coordinate reference system"):
        read_boundaries(path)
    as_expected(read_boundaries(path, crs=UTM))


def test_what_is_no_table_of_shapes_says_so(tmp_path, monkeypatch):
    path = tmp_path / "a.parquet"
    pandas.DataFrame({"id": ["g1"]}).to_parquet(path)
    with pytest.raises(Refused, match="can not be read as GeoParquet: Missing geo metadata"):
        read_boundaries(path)
    frame().to_parquet(path)
    path.write_bytes(path.read_bytes()[:-100])
    with pytest.raises(Refused, match="can not be read as GeoParquet"):
        read_boundaries(path)
    path.write_bytes(b"id,x,y\n")
    with pytest.raises(Refused, match="is no parquet file"):
        read_boundaries(path)
    frame().to_parquet(path)
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    with pytest.raises(Refused, match=r"pyarrow.*is not installed.*geosand\[many\]"):
        read_boundaries(path)


@pytest.mark.parametrize("crs", [{"type": "x"}, "nonsense", 5])
def test_a_crs_that_nobody_knows_is_refused(tmp_path, crs):
    frame().to_parquet(tmp_path / "a.parquet")
    with_head(tmp_path / "a.parquet", crs=crs)
    with pytest.raises(Refused, match="can not be read as GeoParquet: Invalid projection"):
        read_boundaries(tmp_path / "a.parquet")


def test_shapes_that_are_none_and_heads_of_another_sort_are_refused(tmp_path):
    path = tmp_path / "a.parquet"
    frame().to_parquet(path)
    table = pyarrow.parquet.read_table(path)
    k = table.schema.get_field_index("geometry")
    bad = table.set_column(k, table.schema.field(k), pyarrow.array([b"zz"] * 3))
    for odd in (bad, table.replace_schema_metadata({b"geo": b"[1]"})):
        pyarrow.parquet.write_table(odd, path)
        with pytest.raises(Refused, match="can not be read as GeoParquet"):
            read_boundaries(path)


def test_ids_in_the_index_lists_of_days_and_edges_of_circles(tmp_path):
    path = tmp_path / "a.parquet"
    days = [[datetime.date(2026, 3, 1)], [], None]
    frame().assign(days=days).set_index("id").to_parquet(path)
    with_head(path, edges="spherical")
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        as_expected(read_boundaries(path))


def test_few_bytes_that_stand_for_many(tmp_path):
    path = tmp_path / "a.parquet"
    table = pyarrow.table({"id": pyarrow.array(["x" * 1_000_000] * 1_200)})
    pyarrow.parquet.write_table(table, path, compression="zstd")
    assert path.stat().st_size < 100_000
    with pytest.raises(Refused, match="more than 1,000 MB when it is unpacked"):
        read_boundaries(path)


def native(ring):
    """Coordinates as GeoArrow lays them out."""
    return [{"x": x, "y": y} for x, y in shapely.get_coordinates(ring).tolist()]


@pytest.mark.parametrize("outline", [[], None])
@pytest.mark.parametrize("several", [False, True])
def test_a_native_hole_without_an_outline_is_refused(tmp_path, outline, several):
    """GEOS ends the process at it."""
    path = tmp_path / "a.parquet"
    frame().to_parquet(path, geometry_encoding="geoarrow")
    table = pyarrow.parquet.read_table(path)
    k = table.schema.get_field_index("geometry")
    point = pyarrow.struct([("x", pyarrow.float64()), ("y", pyarrow.float64())])
    kind = pyarrow.list_(pyarrow.list_(point))
    rows = [[native(SHAPES[0])], [outline, native(SHAPES[1])], [native(SHAPES[2].exterior)]]
    if several:
        kind, rows = pyarrow.list_(kind), [[row] for row in rows]
    table = table.set_column(k, "geometry", pyarrow.array(rows, kind))
    pyarrow.parquet.write_table(table, path)
    with_head(path, encoding="multipolygon" if several else "polygon")
    with pytest.raises(Refused, match="a polygon has a hole, and no outline about it"):
        read_boundaries(path)


def test_lists_of_lists_beside_the_outlines_are_no_holes(tmp_path):
    path = tmp_path / "a.parquet"
    frame().to_parquet(path)
    table = pyarrow.parquet.read_table(path)
    depths = pyarrow.array([[[], [9.0]], None, [[8.0]]])
    pyarrow.parquet.write_table(table.append_column("depths", depths), path)
    as_expected(read_boundaries(path))


def test_texts_as_bytes_and_texts_that_are_none(tmp_path):
    path = tmp_path / "a.parquet"
    frame().to_parquet(path)
    table = pyarrow.parquet.read_table(path)
    table = table.replace_schema_metadata({"geo": table.schema.metadata[b"geo"]})  # not by pandas
    k, ids = table.schema.get_field_index("id"), pyarrow.array([b"g1", b"g2", b"t1"])
    pyarrow.parquet.write_table(table.set_column(k, "id", ids), path)
    as_expected(read_boundaries(path))
    broken = pyarrow.array([b"g1", b"g\xff", b"t1"]).view(pyarrow.string())
    pyarrow.parquet.write_table(table.set_column(k, "id", broken), path)
    with pytest.raises(Refused, match="a text in it is not UTF-8"):
        read_boundaries(path)
