"""Numbers that can not lie where a file says: swapped, cut short, of another system."""

import geopandas
import numpy as np
import pyproj
import pytest
import shapely

from geosand.areas.ellipsoid import ellipsoid_areas_m2
from geosand.errors import Refused
from geosand.formats.boundaries import read_boundaries
from tests.formats.boundaries.conftest import LAT, UTM, blob, feature, to_lon_lat
from tests.formats.boundaries.refusals import text_of


def test_grid_numbers_labelled_lon_lat(write_geojson):
    path = write_geojson([feature(blob(0, 0, 13), kind="green")])
    text = text_of(path)
    assert "is labelled lon/lat, but these are numbers of a grid" in text
    assert "say which with --crs" in text.lower()
    assert read_boundaries(path, crs=UTM).source_crs == UTM


def test_swapped_beyond_the_globe(write_geojson):
    # lon 120, lat 40 written the wrong way round can not be a latitude
    shape = shapely.transform(to_lon_lat(blob(0, 0, 13)), lambda p: p[:, ::-1] + (0, 90))
    text = text_of(write_geojson([feature(shape, kind="green")]))
    assert "they look swapped" in text
    assert "--swap" in text


def test_swapped_where_the_numbers_are_legal(write_geojson):
    # 40 N, 75 W swapped lies in Antarctica
    right = shapely.box(-75.0006, 40.0, -75.0, 40.0004)
    wrong = shapely.transform(right, lambda p: p[:, ::-1])
    path = write_geojson([feature(wrong, kind="green", id="g1")])
    text = text_of(path)
    assert "the site would lie at 75.0003° S, 40.0002° E, beyond 66° of latitude" in text
    assert "with the two axes swapped it would lie at 40.0002° N, 75.0003° W" in text
    found = read_boundaries(path, swap_axes=True)
    assert found.features.geometry[0].equals(right)
    kept = read_boundaries(path, believe_place=True)
    assert kept.features.geometry[0].equals(wrong)


def test_swapped_at_low_latitudes_is_seen_by_the_catches(write_geojson):
    # 12 N, 30 E and 30 N, 12 E are both good places for turf
    right = shapely.box(30.0, 12.0, 30.0004, 12.0004)
    wrong = shapely.transform(right, lambda p: p[:, ::-1])
    path = write_geojson([feature(wrong, kind="green")])
    assert len(read_boundaries(path).features) == 1
    text = text_of(path, near=(30.0, 12.0))
    assert "km from 12.0000° N, 30.0000° E, where it should be" in text
    assert "use --swap" in text


def test_swapped_easting_and_northing(tmp_path):
    table = geopandas.GeoDataFrame(
        {"kind": ["green"]},
        geometry=[shapely.transform(blob(0, 0, 13), lambda p: p[:, ::-1])],
        crs=UTM,
    )
    table.to_file(tmp_path / "s.gpkg")
    assert "--swap" in text_of(tmp_path / "s.gpkg")
    found = read_boundaries(tmp_path / "s.gpkg", swap_axes=True)
    assert shapely.bounds(found.features.geometry[0])[1] == pytest.approx(LAT, abs=0.05)


def test_infinite_places_are_refused(tmp_path):
    table = geopandas.GeoDataFrame(
        {"kind": ["green"]}, geometry=[shapely.box(1e30, 1e30, 2e30, 2e30)], crs=UTM
    )
    table.to_file(tmp_path / "s.gpkg")
    assert "is no place in ETRS89 / UTM zone 32N" in text_of(tmp_path / "s.gpkg")
    assert "can not be places in" in text_of(tmp_path / "s.gpkg", believe_place=True)


def test_one_feature_far_away_costs_itself(course, write_geojson):
    rows = [feature(to_lon_lat(g), id=i, name=n, kind=k) for i, n, k, g in course]
    rows.append(feature(shapely.box(0, 0, 0.0001, 0.0001), id="null", kind="green"))
    found = read_boundaries(write_geojson(rows))
    assert len(found.features) == 4
    (left,) = found.tally.left_out
    assert left.place == "feature 5"
    assert "it lies far from the others, at lon 0.0000, lat 0.0000" in left.reason


def test_where_most_outlines_lie_far_apart_none_is_the_odd_one(write_geojson):
    """As a map of a country: going on without each of them left nothing; ``new`` refuses it."""
    shifts = ((0, 0), (5, 5), (-5, -5), (-5, 0), (0, 0.01))
    green = to_lon_lat(blob(0, 0, 13))
    apart = [shapely.affinity.translate(green, *shift) for shift in shifts]
    path = write_geojson([feature(shape, kind="green") for shape in apart])
    assert len(read_boundaries(path, believe_place=True).features) == len(apart)


def test_small_numbers_are_told_to_be_a_site_grid_perhaps(tmp_path):
    lines = "".join(f"{k},{1000 + n},{1000 + e},5,GREEN\n" for k, (n, e) in enumerate(CORNERS))
    (tmp_path / "own.txt").write_text("point,northing,easting,elevation,code\n" + lines)
    told = text_of(tmp_path / "own.txt")
    assert "Numbers so small often are a grid of the site's own" in told
    assert "--crs '+proj=tmerc +lat_0=LAT" in told
    table = geopandas.GeoDataFrame({"kind": ["green"]}, geometry=[blob(0, 0, 9)])
    table.to_file(tmp_path / "far.shp")
    assert "a grid of the site's own" not in text_of(tmp_path / "far.shp")


@pytest.mark.parametrize(("west", "south"), [(262.3, 30.3), (179.9999, -16.8)])
def test_longitudes_from_0_to_360_are_taken_and_told(write_geojson, west, south):
    square = shapely.box(west, south, west + 0.0002, south + 0.0002)
    found = read_boundaries(write_geojson([feature(square, kind="green")]))
    assert any("longitudes run on beyond 180°" in f.text for f in found.findings)
    there = shapely.box(170.0, south, 170.0002, south + 0.0002)  # the same degrees, not across 180°
    pair = np.array([found.features.geometry[0], there], dtype=object)
    measured, expected = ellipsoid_areas_m2(pair)
    assert measured == pytest.approx(expected, rel=1e-9)
    bounds = found.features.geometry[0].bounds
    assert bounds[0] >= -180 and bounds[2] <= 180


def test_metres_that_look_like_0_to_360_are_no_longitudes(write_geojson):
    square = shapely.box(200, 20, 230, 50)  # 30 m of a grid of the site's own
    assert "these are numbers of a grid" in text_of(write_geojson([feature(square, kind="green")]))


#: Corners of a square of 20 m, closed.
CORNERS = ((0, 0), (0, 20), (20, 20), (20, 0), (0, 0))


def test_degrees_of_a_turned_pole_are_no_longitudes(write_geojson):
    """A derived CRS on WGS 84: its numbers look like lon/lat and are others. Oracle: pyproj."""
    turned = (
        "+proj=ob_tran +o_proj=longlat +o_lon_p=-162 +o_lat_p=39.25 +lon_0=180"
        " +to_meter=0.0174532925199433 +datum=WGS84 +type=crs"
    )
    there = pyproj.Transformer.from_crs("OGC:CRS84", turned, always_xy=True)
    shape = shapely.transform(
        to_lon_lat(blob(0, 0, 13)), lambda p: np.column_stack(there.transform(*p.T))
    )
    path = write_geojson(
        [feature(shape, kind="green")], crs={"type": "name", "properties": {"name": turned}}
    )
    bounds = shapely.total_bounds(read_boundaries(path).features.geometry)
    assert bounds == pytest.approx(to_lon_lat(blob(0, 0, 13)).bounds, abs=1e-7)


def test_places_from_the_centre_of_the_earth_are_told(write_geojson):
    path = write_geojson(
        [feature(blob(0, 0, 13))], crs={"type": "name", "properties": {"name": "EPSG:4978"}}
    )
    with pytest.raises(Refused, match="X, Y and Z from the centre of the earth"):
        read_boundaries(path)


def test_degrees_that_are_labelled_as_a_grid_are_asked_about(tmp_path):
    # near the origin of a grid with land there: its centimetres would be a place to believe
    shape = shapely.box(139.6, 36.2, 139.6003, 36.2002)
    table = geopandas.GeoDataFrame({"kind": ["green"]}, geometry=[shape], crs="EPSG:6677")
    table.to_file(tmp_path / "a.gpkg")
    assert "these look like degrees" in text_of(tmp_path / "a.gpkg")
    found = read_boundaries(tmp_path / "a.gpkg", crs="EPSG:4326")
    assert found.features.kind.tolist() == ["green"]


def test_a_point_near_the_origin_of_a_grid_is_no_degree(tmp_path):
    # as the benchmark of a site's own grid, in a layer of its own
    grid = "+proj=tmerc +lat_0=53.3 +lon_0=9.9 +ellps=GRS80 +units=m"
    for layer, shape in (
        ("greens", shapely.box(100, 50, 130, 80)),
        ("marks", shapely.Point(50, 40)),
    ):
        frame = geopandas.GeoDataFrame({"kind": ["green"]}, geometry=[shape], crs=grid)
        frame.to_file(tmp_path / "a.gpkg", layer=layer)
    assert len(read_boundaries(tmp_path / "a.gpkg").features) == 1


CUT_SHORT = "Point,Easting,Northing,Code\n" + "".join(
    f"{k},{20_137.838 + x},{67_033.395 + y},Green 1{end}\n"
    for k, (x, y, end) in enumerate([(0, 0, ""), (20, 0, ""), (20, 25, ""), (0, 25, " CL")])
)


@pytest.mark.parametrize(
    ("near", "told"),
    [
        ((-1.702, 53.21), "with 400,000 added to x and 300,000 to y"),
        (None, "if its leading digits were cut off, --near LON LAT finds them"),
    ],
)
def test_numbers_without_their_leading_digits_are_told(tmp_path, near, told):
    """E 420137.838, N 367033.395 of the British grid is 53.2° N, 1.7° W, by PROJ."""
    (tmp_path / "a.csv").write_text(CUT_SHORT)
    with pytest.raises(Refused) as refusal:
        read_boundaries(tmp_path / "a.csv", crs="EPSG:27700", near=near)
    assert told in str(refusal.value)


def test_another_place_is_no_want_of_digits(tmp_path):
    (tmp_path / "a.csv").write_text(CUT_SHORT)
    with pytest.raises(Refused) as refusal:
        read_boundaries(tmp_path / "a.csv", crs="EPSG:27700", near=(-2.4, 52.8))
    assert "cut off" not in str(refusal.value)
