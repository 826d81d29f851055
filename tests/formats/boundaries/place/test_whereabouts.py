"""Where a file lies: missing, wrong, swapped and approximate coordinate reference systems."""

import json
import re

import geopandas
import numpy as np
import pyproj
import pytest
import shapely

from geosand.formats.boundaries import read_boundaries
from geosand.formats.boundaries.place.whereabouts import middle_of
from tests.formats.boundaries.conftest import LAT, LON, UTM, blob, feature, to_lon_lat
from tests.formats.boundaries.refusals import text_of


@pytest.fixture
def bare_shapefile(tmp_path):
    """A Shapefile without its .prj."""
    table = geopandas.GeoDataFrame({"kind": ["green"]}, geometry=[blob(0, 0, 13)])
    table.to_file(tmp_path / "bare.shp")
    return tmp_path / "bare.shp"


def test_missing_crs_is_refused_with_likely_ones(bare_shapefile):
    text = text_of(bare_shapefile)
    assert "does not say in which coordinate reference system it is" in text
    assert "said with --crs" in text
    assert "UTM, EPSG:32601 to 32660 north" in text


def test_near_names_the_zone(bare_shapefile):
    text = text_of(bare_shapefile, near=(LON, LAT))
    assert "EPSG:25832, ETRS89 / UTM zone 32N, in m (" in text
    assert "km from the place given" in text
    assert "EPSG:25833" not in text


def test_crs_given_by_the_user_is_used(bare_shapefile):
    found = read_boundaries(bare_shapefile, crs=UTM)
    assert found.source_crs == UTM
    west, south, _, _ = shapely.total_bounds(found.features.geometry)
    assert (west, south) == pytest.approx((LON, LAT), abs=0.05)


def zones_told(path, **wishes):
    findings = read_boundaries(path, **wishes).findings
    return [f.text for f in findings if "fit its neighbours" in f.text]


def test_zones_that_take_the_same_numbers_are_told(bare_shapefile):
    """Zones of UTM are 6° wide; each says of the numbers what is read with it."""
    (told,) = zones_told(bare_shapefile, crs="EPSG:32632")
    assert told.startswith("--crs says WGS 84 / UTM zone 32N, and the same numbers fit")
    assert told.endswith("--near LON LAT checks the place")
    for zone, code in (("31N", 32631), ("33N", 32633), ("32S", 32732)):
        there = read_boundaries(bare_shapefile, crs=f"EPSG:{code}", believe_place=True)
        lon, lat = middle_of(list(there.features.geometry))
        half = "S" if lat < 0 else "N"
        (where,) = re.findall(rf"in zone {zone} (?:the site would lie )?at (.+?° E)", told)
        said = [float(number) for number in re.findall(r"[\d.]+(?=°)", where)]
        assert said == pytest.approx([abs(lat), lon], abs=2e-4) and f"° {half}, " in where


def test_zones_are_not_told_where_the_place_is_known(bare_shapefile):
    for wishes in ({"near": (LON, LAT)}, {"believe_place": True}):
        assert zones_told(bare_shapefile, crs=UTM, **wishes) == []


def test_a_zone_that_puts_the_site_into_the_ocean_is_asked_about(bare_shapefile):
    text = text_of(bare_shapefile, crs="EPSG:32627")
    assert "20.0997° W, in the sea: no land is known within a quarter of a degree. Check" in text
    assert "Check the zone; if it is right, say so with --believe-place" in text
    assert read_boundaries(bare_shapefile, crs="EPSG:32627", believe_place=True).tally.read == 1


def test_a_zone_that_puts_the_site_into_a_sea_of_its_own_area_is_asked_about(bare_shapefile):
    """Zone 31 is in use on both sides of the North Sea: only where land is can tell."""
    text = text_of(bare_shapefile, crs="EPSG:25831")
    assert "3.9" in text and "in the sea: no land is known" in text
    assert (
        "; in zone 30N the site would lie at 53.2998° N, 2.0997° W; in zone 32N at 53.2998° N, 9.9"
        in text
    )


def test_columns_of_latitude_and_longitude_contradict_a_wrong_zone(course, write_geojson):
    crs = {"type": "name", "properties": {"name": "EPSG:25833"}}  # Poland: on land
    rows = [feature(shape, kind=kind, Lat=LAT, Lon=LON) for _, _, kind, shape in course]
    path = write_geojson(rows, crs=crs)
    text = text_of(path)
    assert "399 km from 53.3000° N, 9.9000° E, as its columns of latitude and longitude say" in text
    assert len(read_boundaries(path, believe_place=True).features) == len(course)
    assert len(read_boundaries(path, crs=UTM).features) == len(course)


def test_a_zone_in_the_name_of_the_file_contradicts_that_of_its_crs(course, write_geojson):
    crs = {"type": "name", "properties": {"name": "EPSG:25833"}}
    rows = [feature(shape, kind=kind) for _, _, kind, shape in course]
    text = text_of(write_geojson(rows, crs=crs, name="turf_UTM32.geojson"))
    assert "it is called 'UTM32', and its numbers are read in ETRS89 / UTM zone 33N" in text
    for name in ("turf_utm33.geojson", "mga94.geojson", "UTM20260401.geojson"):
        assert len(read_boundaries(write_geojson(rows, crs=crs, name=name)).features)


def test_zones_of_a_state_are_told(tmp_path):
    """Two zones of one state around meridians of their own take the same numbers."""
    there = {}
    for code in (2222, 2223):  # Arizona East and Central, international feet
        at = pyproj.Transformer.from_crs("EPSG:4269", code, always_xy=True).transform(-110.4, 34.2)
        there[code] = shapely.Point(*at).buffer(60)
    path = tmp_path / "state.gpkg"
    geopandas.GeoDataFrame({"kind": ["green"]}, geometry=[there[2222]]).to_file(path)
    (told,) = zones_told(path, crs="EPSG:2223")
    assert "in EPSG:2222, NAD83 / Arizona East (ft), the site would lie at 34.2" in told


def test_unknown_crs(bare_shapefile):
    text = text_of(bare_shapefile, crs="EPSG:999999")
    assert "'EPSG:999999' is not a coordinate reference system that is known" in text
    assert "heights only" in text_of(bare_shapefile, crs="EPSG:5773")


def test_datum_shift_without_its_grid_is_said(tmp_path):
    # NAD27: 10 m or more without the grid
    place = to_lon_lat(blob(0, 0, 13)).centroid
    green = shapely.box(-75.001, 40.0, -75.0, 40.001)
    assert place is not None
    table = geopandas.GeoDataFrame({"kind": ["green"]}, geometry=[green], crs="EPSG:4267")
    table.to_file(tmp_path / "s.gpkg")
    found = read_boundaries(tmp_path / "s.gpkg")
    assert found.datum_accuracy_m >= 5
    assert "good to" in found.datum_note
    assert "which is not here" in found.datum_note
    assert any(found.datum_note.startswith(f.text[:40]) for f in found.findings)


def test_no_shift_is_said_as_none(course_file):
    found = read_boundaries(course_file)
    assert (found.datum_accuracy_m, found.source_crs) == (0.0, "")
    assert found.datum_note == "lon/lat in WGS 84: no datum shift"


def _state_plane(tmp_path, code):
    """A green at 2,000,000 and 600,000 feet, in the CRS of that code."""
    shape = shapely.box(6_300_000, 2_000_000, 6_300_100, 2_000_100)
    table = geopandas.GeoDataFrame({"kind": ["green"]}, geometry=[shape], crs=code)
    table.to_file(tmp_path / f"{code[5:]}.gpkg")
    return tmp_path / f"{code[5:]}.gpkg"


def test_survey_feet_are_said_and_not_mistaken(tmp_path):
    # NAD83 / California zone 1 (ftUS)
    found = read_boundaries(_state_plane(tmp_path, "EPSG:2225"))
    text = next(f.text for f in found.findings if "feet" in f.text)
    assert "US survey feet (1200/3937 m)" in text
    # 2 parts in a million of hypot(6.3, 2.0) million feet is 4.03 m
    assert "as international feet the site would lie 4.03 m away" in text


def test_unit_given_by_the_user_converts_to_that_of_the_crs(tmp_path):
    """The same text read in both feet differs by two parts in a million of its coordinates."""
    rows = ["P,N,E,Z,D"] + [
        f"{k},{2_000_000 + n},{6_300_000 + e},100.0,GRN{' CL' if k == 4 else ''}"
        for k, (e, n) in enumerate([(0, 0), (100, 0), (100, 100), (0, 100)], start=1)
    ]
    (tmp_path / "walk.csv").write_text("\n".join(rows))
    survey = read_boundaries(tmp_path / "walk.csv", crs="EPSG:2225", unit="us_survey_ft")
    plain = read_boundaries(tmp_path / "walk.csv", crs="EPSG:2225", unit="ft")
    unsaid = read_boundaries(tmp_path / "walk.csv", crs="EPSG:2225")
    assert unsaid.features.geometry[0].equals(survey.features.geometry[0])
    a, b = (np.array(f.features.geometry[0].centroid.coords[0]) for f in (survey, plain))
    moved = np.hypot(*((a - b) * [111_320 * np.cos(np.radians(a[1])), 111_000]))
    assert moved == pytest.approx(4.03, abs=0.05)
    assert survey.features.elevation_m[0] == pytest.approx(100 * 1200 / 3937)
    assert "the unit 'rod' is not known" in text_of(
        tmp_path / "walk.csv", crs="EPSG:2225", unit="rod"
    )


def test_a_crs_member_that_names_nothing(write_geojson, course):
    rows = [feature(to_lon_lat(course[0][3]), kind="green")]
    path = write_geojson(rows, crs={"type": "link", "properties": {"href": "http://x.invalid"}})
    said = "its crs member does not name a CRS: it is a link, which is not followed. Say the CRS"
    assert said in text_of(path)


def test_stated_crs_overruled_by_the_user_is_said(tmp_path):
    table = geopandas.GeoDataFrame({"kind": ["green"]}, geometry=[blob(0, 0, 9)], crs="EPSG:25833")
    table.to_file(tmp_path / "s.gpkg")
    found = read_boundaries(tmp_path / "s.gpkg", crs=UTM)
    (text,) = [f.text for f in found.findings if "it says ETRS89 / UTM zone 33N" in f.text]
    # one zone is 6 degrees of longitude: 6 · 111.32 km · cos 53.3° = 399 km
    assert text.endswith("; its own puts it 399 km away, at 53.2998° N, 15.9003° E")
    assert found.source_crs == UTM


def test_names_of_areas_are_cut_between_words(tmp_path):
    path = tmp_path / "t.gpkg"
    table = geopandas.GeoDataFrame({"kind": ["green"]}, geometry=[blob(0, 0, 9)], crs="EPSG:2277")
    table.to_file(path)
    assert "counties of Anderson; Angelina; Bastrop; Bell; …)" in text_of(path)


def test_layers_in_different_systems_meet(tmp_path):
    one, two = blob(0, 0, 13), blob(80, 0, 14)
    for name, shape, crs in (("a", one, UTM), ("b", to_lon_lat(two), "EPSG:4326")):
        geopandas.GeoDataFrame({"kind": ["green"]}, geometry=[shape], crs=crs).to_file(
            tmp_path / "m.gpkg", layer=name
        )
    found = read_boundaries(tmp_path / "m.gpkg")
    assert len(found.features) == 2
    centres = [g.centroid for g in found.features.geometry]
    assert abs(centres[0].x - centres[1].x) < 0.01
    assert any("2 reference systems" in f.text for f in found.findings)
    assert json.dumps(found.source_crs)


def test_options_that_say_nothing_about_a_file_are_told(write_geojson):
    green = shapely.box(LON, LAT, LON + 2e-4, LAT + 2e-4)
    found = read_boundaries(
        write_geojson([feature(green, kind="green")]),
        point_order="PNEZD",
        unit="ft",
        split_parts=True,
        close_tolerance_m=0.5,
        kind="tee",
        kind_column="kind",
    )
    assert {f.text for f in found.findings if "is not used" in f.text} == {
        "--unit is not used: WGS 84 (CRS84) is in degrees",
        "--point-order is not used: it is for survey text",
        "--close-tolerance is not used: it is for drawings, tracks and survey text",
        "--kind is not used: --one-kind says one kind for all",
        "--split-parts is not used: nothing has several parts",
    }


def test_feet_of_the_crs_are_not_told_of_numbers_in_another_unit(tmp_path):
    """New York Long Island is in US survey feet; the controller exported metres."""
    rows = [(300_830, 64_617), (300_850, 64_617), (300_850, 64_637), (300_830, 64_637)]
    lines = [f"{n},{e},GRN{' CL' if k == 3 else ''}" for k, (e, n) in enumerate(rows)]
    path = tmp_path / "walk.csv"
    path.write_text("Northing_m,Easting_m,Code\n" + "\n".join(lines))
    said = [f.text for f in read_boundaries(path, crs="EPSG:2263").findings]
    assert "its heads say m; they are converted" in said
    assert not any("coordinates are read in" in text for text in said)


def test_layers_that_name_other_zones_and_lie_far_apart_are_asked_about(course, tmp_path):
    frame = geopandas.GeoDataFrame(
        {"id": [row[0] for row in course], "kind": [row[2] for row in course]},
        geometry=[row[3] for row in course],
        crs=UTM,
    )
    path = tmp_path / "s.gpkg"
    frame[:3].to_file(path, layer="greens")
    frame[3:].set_crs("EPSG:25833", allow_override=True).to_file(path, layer="rest")
    text = text_of(path)
    assert text.startswith("s.gpkg: layer 'rest' lies at 53.")
    assert "399 km from layer 'greens' at 53." in text
    assert "and they name different CRS" in text
    assert len(read_boundaries(path, believe_place=True).features) == 4
    frame[3:].to_crs("EPSG:31467").to_file(path, layer="rest")  # another CRS in the same place
    assert len(read_boundaries(path).features) == 4
