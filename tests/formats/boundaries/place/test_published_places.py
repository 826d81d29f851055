"""Published points of projections, in a file of that CRS, read to the published lon/lat.

Sources: IOGP Publication 373-7-2 (Guidance Note 7-2), the worked examples of EPSG methods 9820
(Lambert azimuthal equal area), 9822 (Albers), 9807 (transverse Mercator) and 1024 (popular
visualisation pseudo-Mercator), as quoted in public conformance tests; GIGS tests 5109 and 5110
(v2.0, 28 June 2011) as stored with PROJ (test/gigs). Positions of GeoJSON: RFC 7946.
"""

import json

import geopandas
import numpy as np
import pytest
import shapely
from pyproj import Geod, Transformer

from geosand.errors import Refused
from geosand.formats.boundaries import read_boundaries
from tests.formats.boundaries.conftest import feature

IOGP, GIGS_5109, GIGS_5110 = "IOGP 373-7-2", "GIGS 5109", "GIGS 5110"
#: CRS, easting, northing, lon, lat on the CRS's own datum, that datum, tolerance in m, source.
PUBLISHED = [
    ("EPSG:3035", 3962799.451, 2999718.853, 5.0, 50.0, "EPSG:4258", 0.01, IOGP),
    ("EPSG:3174", 1466493.492, 702903.006, -78.75, 42.75, "EPSG:4269", 0.01, IOGP),
    ("EPSG:27700", 577274.99, 69740.50, 0.5, 50.5, "EPSG:4277", 0.011, IOGP),
    ("EPSG:3857", -11169055.58, 2800000.00, -100 - 20 / 60, 24 + 22 / 60 + 54.433 / 3600,
     "EPSG:4326", 0.02, IOGP),
    ("EPSG:3035", 4127824.658, 5214090.649, 5.0, 70.0, "EPSG:4258", 0.05, GIGS_5110),
    ("EPSG:3035", 4041548.130, 4109791.660, 5.0, 60.0, "EPSG:4258", 0.05, GIGS_5110),
    ("EPSG:3035", 3892127.020, 1892578.962, 5.0, 40.0, "EPSG:4258", 0.05, GIGS_5110),
    ("EPSG:3035", 3606514.430, 3036305.967, 0.0, 50.0, "EPSG:4258", 0.05, GIGS_5110),
    ("EPSG:3035", 4177612.521, 2989464.315, 8.0, 50.0, "EPSG:4258", 0.05, GIGS_5110),
    ("EPSG:3577", 0.0, -2926820.890, 132.0, -27.0, "EPSG:4283", 0.05, GIGS_5109),
    ("EPSG:3577", 832799.360, -2170181.930, 140.0, -20.0, "EPSG:4283", 0.05, GIGS_5109),
    ("EPSG:3577", 693250.210, -4395794.490, 140.0, -40.0, "EPSG:4283", 0.05, GIGS_5109),
    ("EPSG:3577", 1273067.747, -6476375.276, 150.0, -60.0, "EPSG:4283", 0.05, GIGS_5109),
]  # fmt: skip
IDS = [f"{crs[5:]} {lon:.4g} {lat:.4g}" for crs, _, _, lon, lat, *_ in PUBLISHED]


def in_geojson(crs, shape, folder):
    member = {"type": "name", "properties": {"name": crs}}
    rows = [feature(shape, kind="green", id="g1")]
    (folder / "p.geojson").write_text(
        json.dumps({"type": "FeatureCollection", "crs": member, "features": rows})
    )
    return folder / "p.geojson", None


def in_geopackage(crs, shape, folder):
    frame = geopandas.GeoDataFrame({"id": ["g1"], "kind": ["green"]}, geometry=[shape], crs=crs)
    frame.to_file(folder / "p.gpkg")
    return folder / "p.gpkg", None


def in_survey_text(crs, shape, folder):
    points = shapely.get_coordinates(shape)[:-1].tolist()
    rows = [f"{y!r},{x!r},GRN{' CL' if k == len(points) - 1 else ''}"
            for k, (x, y) in enumerate(points)]  # fmt: skip
    (folder / "p.txt").write_text("\n".join(["N,E,D", *rows]))
    return folder / "p.txt", crs


@pytest.mark.parametrize("write", [in_geojson, in_geopackage, in_survey_text])
@pytest.mark.parametrize(
    ("crs", "east", "north", "lon", "lat", "datum", "tolerance_m", "source"), PUBLISHED, ids=IDS
)
def test_published_points(crs, east, north, lon, lat, datum, tolerance_m, source, write, tmp_path):
    corners = np.array([(0, 0), (20, 0), (20, 20), (0, 20)]) + np.array([east, north])
    path, said = write(crs, shapely.Polygon(corners), tmp_path)
    found = read_boundaries(path, crs=said, believe_place=True)
    read = shapely.get_coordinates(found.features.geometry[0])
    # what is published is on the datum of the CRS; from there on the shift is the same for both
    expected = Transformer.from_crs(datum, "OGC:CRS84", always_xy=True).transform(lon, lat)
    geod = Geod(ellps="WGS84")
    apart = min(geod.inv(*expected, *place)[2] for place in read.tolist())
    assert apart <= tolerance_m, source
    if datum != "EPSG:4277":  # all but OSGB36 lie on WGS 84 as far as PROJ shifts them
        assert expected == pytest.approx((lon, lat), abs=2e-5)


def test_great_lakes_albers_is_read_on_nad83_not_nad27():
    """The same numbers on NAD27 lie 23 m away: that is what a wrong datum would cost."""
    to_nad27 = Transformer.from_crs("EPSG:3174", "EPSG:4267", always_xy=True)
    lon, lat = to_nad27.transform(1466493.492, 702903.006)
    assert Geod(ellps="WGS84").inv(lon, lat, -78.75, 42.75)[2] > 5


def test_positions_are_longitude_latitude_height(write_geojson):
    """RFC 7946, 3.1.1: easting before northing, a third number is the height, more are ignored."""
    ring = [[9.9, 53.3, 40.0, 7.0], [9.9003, 53.3, 41.0, 7.0], [9.9003, 53.3002, 42.0, 7.0],
            [9.9, 53.3, 40.0, 7.0]]  # fmt: skip
    shape = {"type": "Polygon", "coordinates": [ring]}
    row = {"type": "Feature", "properties": {"kind": "green"}, "geometry": shape}
    found = read_boundaries(write_geojson([row]))
    assert shapely.bounds(found.features.geometry[0]) == pytest.approx([9.9, 53.3, 9.9003, 53.3002])
    assert found.features.elevation_m[0] == pytest.approx(41.0)
    assert not shapely.has_z(found.features.geometry[0])


def test_latitudes_beyond_90_are_refused_as_swapped(write_geojson):
    """RFC 7946, 3.1.1 and 4: degrees of WGS 84 in that order; 151 can be no latitude."""
    shape = shapely.box(-33.86, 151.2, -33.8598, 151.2002)
    path = write_geojson([feature(shape, kind="green")])
    with pytest.raises(Refused, match="can not be longitude and latitude: they look swapped"):
        read_boundaries(path)
    found = read_boundaries(path, swap_axes=True)
    assert shapely.bounds(found.features.geometry[0])[:2] == pytest.approx([151.2, -33.86])


@pytest.mark.parametrize("turned", [False, True])
def test_rings_of_either_direction_are_read(write_geojson, turned):
    """RFC 7946, 3.1.6: parsers should not reject polygons against the right-hand rule."""
    box = shapely.box(9.9, 53.3, 9.9003, 53.3002, ccw=not turned)
    found = read_boundaries(write_geojson([feature(box, kind="green")]))
    assert found.features.geometry[0].equals(box)


@pytest.mark.parametrize("name", ["urn:ogc:def:crs:OGC:1.3:CRS84", "urn:ogc:def:crs:EPSG::4326"])
def test_old_crs_members_that_say_lon_lat(write_geojson, name):
    """The specification of 2008: x before y whatever the CRS itself says of its axes."""
    box = shapely.box(9.9, 53.3, 9.9003, 53.3002)
    member = {"type": "name", "properties": {"name": name}}
    found = read_boundaries(write_geojson([feature(box, kind="green")], crs=member))
    assert found.source_crs == ""
    assert shapely.bounds(found.features.geometry[0])[1] == 53.3


def test_web_mercator_is_never_measured_in(write_geojson):
    """At 56° north its areas are 3.2 times too large (a square of 100 m of it is 56 m wide)."""
    to_mercator = Transformer.from_crs("OGC:CRS84", "EPSG:3857", always_xy=True)
    x, y = to_mercator.transform(-2.8, 56.0)
    member = {"type": "name", "properties": {"name": "EPSG:3857"}}
    path = write_geojson([feature(shapely.box(x, y, x + 100, y + 100), kind="green")], crs=member)
    found = read_boundaries(path)
    from geosand.areas.crosscheck import geodesic_areas_m2

    (area,) = geodesic_areas_m2(found.features.geometry)
    # the sphere's scale at that latitude is 1/cos(56°); the ellipsoid changes it by 0.3 %
    assert area == pytest.approx(1e4 * np.cos(np.radians(56.0)) ** 2, rel=5e-3)
    assert any("re-projected and never measured in" in f.text for f in found.findings)


def test_every_value_is_finite_or_the_file_is_refused(write_geojson):
    member = {"type": "name", "properties": {"name": "EPSG:25832"}}
    path = write_geojson([feature(shapely.box(1e12, 1e12, 2e12, 2e12), kind="green")], crs=member)
    with pytest.raises(Refused, match="can not be places in ETRS89 / UTM zone 32N"):
        read_boundaries(path, believe_place=True)
