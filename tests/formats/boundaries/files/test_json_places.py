"""JSON-FG (OGC 21-045r1) as GDAL writes it, and by hand: outlines in the CRS that it names."""

import json

import geopandas
import pyogrio
import pyproj
import pytest
import shapely

from geosand.areas.ellipsoid import ellipsoid_areas_m2
from geosand.errors import Refused
from geosand.formats.boundaries import read_boundaries
from tests.formats.boundaries.conftest import UTM, blob, feature, to_lon_lat

GREEN = blob(0, 0, 13)


def written(tmp_path, crs):
    table = geopandas.GeoDataFrame({"id": ["g1"], "kind": ["green"]}, geometry=[GREEN], crs=UTM)
    path = tmp_path / "in.json"
    pyogrio.write_dataframe(table.to_crs(crs), path, driver="JSONFG")
    return path


def one(system, **members):
    """A document with one green in UTM 32, ``coordRefSys`` as given."""
    made = feature(to_lon_lat(GREEN), id="g1", kind="green")
    made |= {"place": feature(GREEN)["geometry"], "coordRefSys": system, **members}
    return {"type": "FeatureCollection", "features": [made]}


def saved(tmp_path, document):
    path = tmp_path / "in.json"
    path.write_text(json.dumps(document))
    return path


def area_m2(path, **wishes):
    found = read_boundaries(path, **wishes)
    return found, float(ellipsoid_areas_m2(found.features.geometry)[0])


# by easting, by northing first, by latitude first, in feet
@pytest.mark.parametrize("crs", ["EPSG:25832", "EPSG:31467", "EPSG:4258", "EPSG:27700"])
def test_outlines_in_their_own_system_are_exact(tmp_path, crs):
    found, area = area_m2(written(tmp_path, crs), believe_place=True)
    there = to_lon_lat(GREEN)
    expected = abs(pyproj.Geod(ellps="WGS84").geometry_area_perimeter(there)[0])
    # the datum shift from DHDN turns and scales by some ppm; 7 decimals would be 100 ppm off
    assert area == pytest.approx(
        expected, rel=2e-5 if crs in ("EPSG:31467", "EPSG:27700") else 1e-7
    )
    assert found.source_crs == crs
    apart = shapely.hausdorff_distance(found.features.geometry[0], there)
    assert apart < 5e-5
    assert f"its outlines are taken from their members 'place' (JSON-FG), in {crs}" in [
        f.text for f in found.findings
    ]


@pytest.mark.parametrize(
    "system",
    [
        "http://www.opengis.net/def/crs/EPSG/0/25832",
        "[EPSG:25832]",
        {"type": "Reference", "href": "[EPSG:25832]", "epoch": 2024.1},
        ["[EPSG:25832]", "http://www.opengis.net/def/crs/EPSG/0/7837"],
    ],
)
@pytest.mark.parametrize("level", ["place", "feature", "collection"])
def test_the_system_is_named_at_any_level(tmp_path, system, level):
    document = one(system)
    made = document["features"][0]
    holder = {"place": made["place"], "feature": made, "collection": document}[level]
    holder["coordRefSys"] = made.pop("coordRefSys")
    if level != "collection":
        document["coordRefSys"] = "[EPSG:25833]"
    found, area = area_m2(saved(tmp_path, document))
    assert found.source_crs == UTM
    assert area == pytest.approx(
        abs(pyproj.Geod(ellps="WGS84").geometry_area_perimeter(to_lon_lat(GREEN))[0]), rel=1e-7
    )


def test_heights_are_in_the_unit_of_the_heights_system(tmp_path):
    raised = shapely.force_3d(GREEN, 100.0)
    document = one(["[EPSG:25832]", "[EPSG:8228]"], place=feature(raised)["geometry"])  # feet
    found = read_boundaries(saved(tmp_path, document))
    assert found.features.elevation_m.tolist() == pytest.approx([30.48])


def test_outlines_in_lon_lat_contradict_a_wrong_zone(tmp_path):
    path = saved(tmp_path, one("[EPSG:25833]"))
    with pytest.raises(
        Refused, match=r"399 km from 53\.2998° N, 9\.9003° E, as its outlines in lon/lat"
    ):
        read_boundaries(path)
    assert read_boundaries(path, crs=UTM).source_crs == UTM


def test_ids_that_are_numbers_and_lists_are_kept(tmp_path):
    """As servers of features give them (RFC 7946, 3.2: an id is a string or a number)."""
    document = one("[EPSG:25832]")
    (thing,) = document["features"]
    thing["id"] = 7
    thing["properties"] = {"kind": "green", "cut": [3, 5], "made": {"by": "x"}}
    found = read_boundaries(saved(tmp_path, document))
    assert (found.source_crs, found.features.id.tolist()) == (UTM, ["7"])
    assert any("from their members 'place' (JSON-FG)" in f.text for f in found.findings)


def test_shapes_that_are_not_read_give_way_to_lon_lat(tmp_path):
    document = one("[EPSG:25832]")
    document["features"][0]["place"]["type"] = "CurvePolygon"
    found = read_boundaries(saved(tmp_path, document))
    assert found.source_crs == "" and found.features.id.tolist() == ["g1"]
    assert any("of feature 1 has a shape that is not read" in f.text for f in found.findings)
    document["features"][0]["geometry"] = None
    (left,) = read_boundaries(saved(tmp_path, document)).tally.left_out
    assert left.lost and left.reason == "'CurvePolygon' is no geometry of GeoJSON"
    document["features"][0]["geometry"] = {"type": ["Polygon"], "coordinates": []}
    (left,) = read_boundaries(saved(tmp_path, document)).tally.left_out
    assert left.lost


@pytest.mark.parametrize("bad", [float("nan"), "x", None])
def test_one_place_that_is_not_read_costs_no_other(tmp_path, bad):
    """A corner that is no number: this outline is taken in lon/lat, the others in their own CRS."""
    document = one("[EPSG:25832]")
    other = one("[EPSG:25832]", place=feature(blob(60, 0, 9))["geometry"])["features"][0]
    other["geometry"] = feature(to_lon_lat(blob(60, 0, 9)))["geometry"]
    other["properties"] = {"id": "g2", "kind": "green"}
    other["place"]["coordinates"][0][1] = [bad, 0]
    document["features"].append(other)
    found = read_boundaries(saved(tmp_path, document))
    areas = dict(zip(found.features.id, ellipsoid_areas_m2(found.features.geometry), strict=True))
    for ident, shape in (("g1", GREEN), ("g2", blob(60, 0, 9))):
        area = abs(pyproj.Geod(ellps="WGS84").geometry_area_perimeter(to_lon_lat(shape))[0])
        assert areas[ident] == pytest.approx(area, rel=1e-7)
    told = [f.text for f in found.findings if "JSON-FG" in f.text]
    assert any("of feature 2 has a shape that is not read" in text for text in told)
    assert any("'place' (JSON-FG), in EPSG:25832" in text for text in told)


def test_types_of_features_tell_kinds(tmp_path):
    """A member featureType, of the collection or of each feature (OGC 21-045r1, 7.2)."""
    document = one("[EPSG:25832]", featureType="Greens")
    del document["features"][0]["properties"]["kind"]
    assert read_boundaries(saved(tmp_path, document)).features.kind.tolist() == ["green"]
    document["featureType"] = document["features"][0].pop("featureType")
    assert read_boundaries(saved(tmp_path, document)).features.kind.tolist() == ["green"]


def test_features_with_and_without_a_place(tmp_path):
    document = one("[EPSG:25832]")
    other = feature(to_lon_lat(blob(60, 0, 9)), id="g2", kind="green")
    document["features"].append(other | {"place": None})
    found = read_boundaries(saved(tmp_path, document))
    assert sorted(found.features.id.tolist()) == ["g1", "g2"]
    assert not found.tally.left_out


def test_a_ring_of_a_place_that_was_closed_is_told(tmp_path):
    document = one("[EPSG:25832]")
    document["features"][0]["place"]["coordinates"][0].pop()
    found = read_boundaries(saved(tmp_path, document))
    assert any("1 outline does not return to the first corner" in f.text for f in found.findings)


def test_a_system_that_nobody_knows_gives_way_to_the_users_word(tmp_path):
    path = saved(tmp_path, one("[EPSG:0]"))
    assert read_boundaries(path).source_crs == ""  # in lon/lat, see below
    assert read_boundaries(path, crs=UTM).source_crs == UTM


def test_a_system_without_a_code_is_there_itself(tmp_path):
    """As GDAL writes one that no register knows."""
    own = "+proj=tmerc +lat_0=53 +lon_0=9.9 +k=1 +x_0=1000 +y_0=2000 +ellps=GRS80 +units=m"
    found, area = area_m2(written(tmp_path, own))
    expected = pyproj.Geod(ellps="WGS84").geometry_area_perimeter(to_lon_lat(GREEN))[0]
    assert area == pytest.approx(abs(expected), rel=1e-7)
    (said,) = [f.text for f in found.findings if "JSON-FG" in f.text]
    assert len(said) < 120 and "PROJCRS" not in said


def test_a_compound_reference_names_its_parts(tmp_path):
    base = "http://www.opengis.net/def/crs"
    named = f"{base}-compound?1={base}/EPSG/0/25832&2={base}/EPSG/0/7837"
    found, _ = area_m2(saved(tmp_path, one(named)))
    assert found.source_crs == UTM


@pytest.mark.parametrize("named", ["EPSG:999999", [None], {"type": "Reference"}, "somewhere"])
def test_where_a_system_is_not_known_lon_lat_is_taken_and_told(tmp_path, named):
    document = one(named)
    found, area = area_m2(saved(tmp_path, document))
    expected = pyproj.Geod(ellps="WGS84").geometry_area_perimeter(to_lon_lat(GREEN))[0]
    assert found.source_crs == "" and area == pytest.approx(abs(expected), rel=1e-7)
    assert any("not a coordinate reference system that is known" in f.text for f in found.findings)
    document["features"][0]["geometry"] = None
    document["features"] += one(named, id="g2")["features"]  # no outline is lost for another's sake
    with pytest.raises(Refused, match="not a coordinate reference system that is known"):
        read_boundaries(saved(tmp_path, document))


def test_a_place_needs_no_outline_in_lon_lat_beside_it(tmp_path):
    """OGC 21-045r1: a feature with a place may have null for its geometry."""
    document = one("[EPSG:25832]")
    document["features"][0]["geometry"] = None
    found, area = area_m2(saved(tmp_path, document))
    expected = pyproj.Geod(ellps="WGS84").geometry_area_perimeter(to_lon_lat(GREEN))[0]
    assert found.source_crs == UTM and area == pytest.approx(abs(expected), rel=1e-6)


def test_an_empty_list_names_no_system(tmp_path):
    document = one([])
    assert area_m2(saved(tmp_path, document))[0].source_crs == ""  # as it is in lon/lat
    document["coordRefSys"] = "[EPSG:25832]"
    assert area_m2(saved(tmp_path, document))[0].source_crs == UTM


def test_a_member_place_of_another_sort_is_no_outline(tmp_path):
    document = one("[EPSG:25832]")
    document["features"][0]["place"] = {"name": "Hole 3"}
    found = read_boundaries(saved(tmp_path, document))
    assert not [f.text for f in found.findings if "JSON-FG" in f.text]


def test_heights_of_places_in_degrees_are_told(tmp_path):
    raised = shapely.force_3d(shapely.transform(to_lon_lat(GREEN), lambda p: p[:, ::-1]), 30.0)
    document = one("[EPSG:4937]", place=feature(raised)["geometry"])
    found = read_boundaries(saved(tmp_path, document))
    assert found.features.elevation_m.tolist() == [30.0]
    assert any("its heights are kept as elevations" in f.text for f in found.findings)


def test_open_rings_are_told_of_the_shape_that_is_used(tmp_path):
    document = one("nowhere")
    document["features"][0]["geometry"] = json.loads(
        json.dumps(document["features"][0]["geometry"])
    )
    document["features"][0]["geometry"]["coordinates"][0].pop()
    found = read_boundaries(saved(tmp_path, document))
    assert any("does not return to the first corner" in f.text for f in found.findings)
