"""Files of other programs and countries: encodings, code pages, measures, heights of any shape."""

import json
import re
import sqlite3
from math import nan

import geopandas
import pyproj
import pytest
import shapely

from geosand.errors import Refused
from geosand.formats.boundaries import read_boundaries
from tests.formats.boundaries.conftest import UTM, blob
from tests.formats.boundaries.kml_files import kml, placemark, square


def solid():
    """Two outlines with heights: one in several parts, one in one, so of no one type."""
    shapes = [shapely.MultiPolygon([blob(0, 0, 13), blob(60, 0, 9)]), blob(0, 90, 13)]
    return geopandas.GeoDataFrame(
        {"id": ["g1", "g2"], "kind": ["green", "green"]},
        geometry=[shapely.force_3d(shape, 12.0) for shape in shapes],
        crs=UTM,
    )


@pytest.mark.parametrize(("z", "m"), [(1, 0), (0, 1), (1, 1)])
def test_a_geopackage_of_any_shapes_with_heights_or_measures(tmp_path, z, m):
    """As it is made of a file of mixed outlines with heights (OGC 12-128r18, 1.1.3)."""
    path = tmp_path / "s.gpkg"
    solid().to_file(path, layer="s")
    with sqlite3.connect(path) as base:
        base.execute(
            f"update gpkg_geometry_columns set geometry_type_name='GEOMETRY', z={z}, m={m}"
        )
    base.close()
    found = read_boundaries(path).features
    assert found.id.tolist() == ["g1", "g2"]
    assert found.elevation_m.tolist() == [12.0, 12.0]


@pytest.mark.parametrize("encoding", ["utf-16", "windows-1250", "gb2312", "shift_jis"])
@pytest.mark.parametrize("ending", ["kml", "gml"])
def test_xml_in_the_encodings_of_other_countries(tmp_path, encoding, ending):
    """XML 1.0, 4.3.3: a document says its encoding at its head."""
    name = {"gb2312": "果岭 1", "shift_jis": "グリーン 1"}.get(encoding, "Zeleň 1")
    text = kml(tmp_path, placemark(name, square(1))).read_text(encoding="utf-8")
    if ending == "gml":
        ring = " ".join(f"{x!r},{y!r}" for x, y in shapely.get_coordinates(square(1)).tolist())
        text = (
            '<?xml version="1.0" encoding="UTF-8"?><c xmlns:gml="http://www.opengis.net/gml">'
            f"<gml:featureMember><s><name>{name}</name><g>"
            '<gml:Polygon srsName="EPSG:4326"><gml:outerBoundaryIs><gml:LinearRing>'
            f"<gml:coordinates>{ring}</gml:coordinates></gml:LinearRing></gml:outerBoundaryIs>"
            "</gml:Polygon></g></s></gml:featureMember></c>"
        )
    head = f'<?xml version="1.0" encoding="{encoding}"?>'
    text = re.sub(r"^<\?xml.*?\?>", "", text)
    path = tmp_path / f"b.{ending}"
    path.write_bytes((head + text).encode(encoding))
    assert read_boundaries(path).features.name.tolist() == [name]
    if encoding == "utf-16":  # some programs say so and save in UTF-8
        path.write_bytes((head + text).encode())
        assert read_boundaries(path).features.name.tolist() == [name]
    else:
        path.write_bytes(path.read_bytes().replace(name.encode(encoding), b"\x81\xff\xff"))
        with pytest.raises(Refused, match=r"which it is not|is not whole XML"):
            read_boundaries(path)


@pytest.mark.parametrize("nothing", [None, "NaN"])
@pytest.mark.parametrize("heights", [True, False])
def test_measures_of_a_feature_service_that_are_none_cost_no_outline(tmp_path, nothing, heights):
    """JSON of feature services: positions are x, y, z, m, and m may be null or "NaN"."""
    points = shapely.get_coordinates(blob(0, 0, 13))[::-1].tolist()
    ring = [[x, y, *([12.0] if heights else []), nothing] for x, y in points]
    document = {
        "geometryType": "esriGeometryPolygon",
        "spatialReference": {"wkid": 25832},
        "hasZ": heights,
        "hasM": True,
        "features": [{"attributes": {"id": "g1"}, "geometry": {"rings": [ring]}}],
    }
    (tmp_path / "a.json").write_text(json.dumps(document))
    found = read_boundaries(tmp_path / "a.json")
    assert not found.tally.left_out
    assert found.features.elevation_m.tolist() == pytest.approx(
        [12.0 if heights else nan], nan_ok=True
    )
    for position in ring:  # a measure is no height
        position[-1] = 57.0
    (tmp_path / "a.json").write_text(json.dumps(document))
    again = read_boundaries(tmp_path / "a.json").features.elevation_m
    assert again.tolist() == pytest.approx([12.0 if heights else nan], nan_ok=True)


@pytest.mark.parametrize("page", ["ANSI 936", "936", "OEM 936", "GBK"])
def test_code_pages_in_the_words_of_other_programs(tmp_path, page):
    table = geopandas.GeoDataFrame({"name": ["果岭 1"]}, geometry=[blob(0, 0, 13)], crs=UTM)
    table.to_file(tmp_path / "a.shp", encoding="GBK")
    (tmp_path / "a.cpg").write_text(page)
    assert read_boundaries(tmp_path / "a.shp").features.name.tolist() == ["果岭 1"]


def test_a_code_page_that_names_none_counts_as_not_said(tmp_path):
    table = geopandas.GeoDataFrame({"name": ["Grün 1"]}, geometry=[blob(0, 0, 13)], crs=UTM)
    table.to_file(tmp_path / "a.shp", encoding="UTF-8")
    (tmp_path / "a.cpg").write_text("OEM")
    found = read_boundaries(tmp_path / "a.shp")
    assert found.features.name.tolist() == ["Grün 1"]
    told = "its table does not say its encoding (.cpg says OEM): read as UTF-8; look at accents"
    assert told in [f.text for f in found.findings]


def test_a_table_of_shapes_that_names_its_separator_first(tmp_path):
    text = f'sep=;\nid;kind;wkt\ng1;green;"{blob(0, 0, 13).wkt}"\n'
    (tmp_path / "a.csv").write_text(text)
    assert read_boundaries(tmp_path / "a.csv", crs=UTM).features.id.tolist() == ["g1"]


@pytest.mark.parametrize(
    ("ellipsoid", "south_m"), [("bessel", 0), ("clrk80", 5_600_000), ("clrk66", -1_000_000)]
)
def test_areas_change_with_an_ellipsoid_whose_datum_is_not_known(tmp_path, ellipsoid, south_m):
    """Degrees taken over: the same cell of degrees on both ellipsoids, by PROJ's geodesics."""
    grid = f"+proj=tmerc +lon_0=9 +x_0=500000 +k=1 +ellps={ellipsoid} +units=m"
    shape = shapely.affinity.translate(blob(0, 0, 13), 0, -south_m)
    x, y = pyproj.Transformer.from_crs(grid, grid_of(grid), always_xy=True).transform(
        *shapely.get_coordinates(shape.centroid)[0]
    )
    cell = shapely.box(x, y, x + 1e-3, y + 1e-3)
    here, there = (
        pyproj.Geod(ellps=e).geometry_area_perimeter(cell)[0] for e in (ellipsoid, "WGS84")
    )
    table = geopandas.GeoDataFrame({"id": ["g1"]}, geometry=[shape], crs=grid)
    table.to_file(tmp_path / "a.gpkg")
    texts = " ".join(
        f.text for f in read_boundaries(tmp_path / "a.gpkg", believe_place=True).findings
    )
    told = float(re.search(r"and areas by (\d+) parts in a million", texts)[1])
    assert told == pytest.approx(abs(there / here - 1) * 1e6, abs=1.5)
    assert "areas do not change" not in texts


def grid_of(crs):
    """The longitudes and latitudes that a grid is made of."""
    return pyproj.CRS(crs).geodetic_crs


@pytest.mark.parametrize("page", ["ANSI 28591", "ANSI 99999", "OEM 0"])
def test_numbers_of_code_pages_that_are_none_cost_no_table(tmp_path, page):
    table = geopandas.GeoDataFrame({"name": ["Grün 1"]}, geometry=[blob(0, 0, 13)], crs=UTM)
    table.to_file(tmp_path / "a.shp", encoding="CP1252")
    (tmp_path / "a.cpg").write_text(page)
    assert read_boundaries(tmp_path / "a.shp").features.name.tolist() == ["Grün 1"]


@pytest.mark.parametrize(
    ("head", "encoding"),
    [
        ('<?xml version="1.0" encoding="utf-16"?>', "utf-16-be"),  # without its mark
        ('<?xml version="1.0" encoding="iso-8859-1"?>', "utf-8-sig"),  # the mark is right
        ("<!-- encoding='gb2312' -->", "utf-8"),  # no head at all
    ],
)
def test_xml_whose_head_does_not_say_its_encoding(tmp_path, head, encoding):
    path = kml(tmp_path, placemark("Zeleň 1", square(1)))
    text = re.sub(r"^<\?xml.*?\?>", "", path.read_text(encoding="utf-8"))
    path.write_bytes((head + text).encode(encoding))
    assert read_boundaries(path).features.name.tolist() == ["Zeleň 1"]


def test_rings_that_nest_without_end_are_refused(tmp_path):
    deep = "[" * 900 + "1" + "]" * 900
    (tmp_path / "a.json").write_text(
        '{"geometryType": "esriGeometryPolygon", "hasM": true, "features":'
        ' [{"attributes": {}, "geometry": {"rings": ' + deep + "}}]}"
    )
    with pytest.raises(Refused, match="can not be read"):
        read_boundaries(tmp_path / "a.json")
