"""The local metre frame against the published example, the conformance test and pyproj."""

from __future__ import annotations

import copy
import pickle

import mpmath
import numpy as np
import pytest
import shapely

from geosand.areas.ellipsoid import ellipsoid_areas_m2
from geosand.areas.plane import Plane

# ETRS89-extended / LAEA Europe, EPSG:3035: GRS 80, origin 52 N 10 E
EUROPE = Plane(
    longitude_deg=10.0, latitude_deg=52.0, axis_m=6378137.0, flattening=1 / 298.257222101
)
FALSE_EAST_M, FALSE_NORTH_M = 4321000.0, 3210000.0
PLACES = [(-2.8, 56.0), (3.0, 45.0), (151.2, -33.9), (-80.0, 0.0), (179.99, 65.0), (25.0, 80.0)]


def test_published_example():
    # EPSG method 9820, Lambert Azimuthal Equal Area: IOGP Publication 373-7-2, EPSG:3035 example
    x, y = EUROPE.forward(np.array([5.0]), np.array([50.0]))
    assert x[0] + FALSE_EAST_M == pytest.approx(3962799.45, abs=0.01)
    assert y[0] + FALSE_NORTH_M == pytest.approx(2999718.85, abs=0.01)
    longitude, latitude = EUROPE.inverse(
        np.array([3962799.45 - FALSE_EAST_M]), np.array([2999718.85 - FALSE_NORTH_M])
    )
    assert longitude[0] == pytest.approx(5.0, abs=1e-7)
    assert latitude[0] == pytest.approx(50.0, abs=1e-7)


def test_conformance_points():
    # OSGeo/PROJ test/gigs/5110 (GIGS v2.0, 28 June 2011), EPSG:4258 to 3035
    x, y = EUROPE.forward(np.array([5.0, 5, 5, 0, 8]), np.array([70.0, 60, 40, 50, 50]))
    east = [4127824.658, 4041548.13, 3892127.02, 3606514.43, 4177612.521]
    north = [5214090.649, 4109791.66, 1892578.962, 3036305.967, 2989464.315]
    assert x + FALSE_EAST_M == pytest.approx(east, abs=0.05)
    assert y + FALSE_NORTH_M == pytest.approx(north, abs=0.05)


@pytest.mark.parametrize(("lon", "lat"), PLACES)
def test_a_site_agrees_with_pyproj(lon, lat):
    from pyproj import Proj

    plane = Plane(longitude_deg=lon, latitude_deg=lat)
    x, y = np.random.default_rng(3).uniform(-5000, 5000, (2, 500))
    x[0] = y[0] = 0.0
    longitude, latitude = plane.inverse(x, y)
    east, north = Proj(proj="laea", ellps="WGS84", lon_0=lon, lat_0=lat)(longitude, latitude)
    assert np.abs(np.concatenate([east - x, north - y])).max() < 1e-6
    back = plane.forward(longitude, latitude)
    assert np.abs(np.concatenate([back[0] - x, back[1] - y])).max() < 1e-7


def exactly(lon: float, lat: float, centre: tuple[float, float]) -> tuple[float, float]:
    """The note's formulas in 40 digits."""
    with mpmath.workdps(40):
        flattening = 1 / mpmath.mpf("298.257223563")
        e2 = flattening * (2 - flattening)
        e = mpmath.sqrt(e2)

        def q(sine: mpmath.mpf) -> mpmath.mpf:
            return (1 - e2) * (sine / (1 - e2 * sine**2) + mpmath.atanh(e * sine) / e)

        turn = mpmath.radians(mpmath.mpf(lon) - mpmath.mpf(centre[0]))
        sine, sine_of_centre = (mpmath.sin(mpmath.radians(mpmath.mpf(v))) for v in (lat, centre[1]))
        beta, middle = (mpmath.asin(q(v) / q(1)) for v in (sine, sine_of_centre))
        radius = 6378137 * mpmath.sqrt(q(mpmath.mpf(1)) / 2)
        parallel = 6378137 * mpmath.sqrt((1 - sine_of_centre**2) / (1 - e2 * sine_of_centre**2))
        scale = parallel / (radius * mpmath.cos(middle))
        level = mpmath.cos(beta) * mpmath.cos(turn)
        both = mpmath.sin(middle) * mpmath.sin(beta) + mpmath.cos(middle) * level
        b = radius * mpmath.sqrt(2 / (1 + both))
        x = b * scale * mpmath.cos(beta) * mpmath.sin(turn)
        y = b / scale * (mpmath.cos(middle) * mpmath.sin(beta) - mpmath.sin(middle) * level)
        return float(x), float(y)


@pytest.mark.parametrize(("lon", "lat"), [*PLACES, (-49.0, -1e-6), (12.0, 85.0)])
def test_no_digits_are_lost_near_the_centre(lon, lat):
    """Against 40 digits, on a site of 2 km."""
    rng = np.random.default_rng(8)
    east = lon + rng.uniform(-0.01, 0.01, 60) / np.cos(np.radians(lat))
    north = lat + rng.uniform(-0.01, 0.01, 60)
    want = np.array([exactly(*place, (lon, lat)) for place in zip(east, north, strict=True)])
    found = np.column_stack(Plane(longitude_deg=lon, latitude_deg=lat).forward(east, north))
    np.testing.assert_allclose(found, want, rtol=0, atol=1e-11)


def test_a_plane_that_was_copied_or_travelled_is_the_same():
    for other in (copy.copy(EUROPE), copy.deepcopy(EUROPE), pickle.loads(pickle.dumps(EUROPE))):
        assert type(other) is Plane
        assert other == EUROPE


def test_centre_axes_and_lengths():
    from pyproj import Geod

    plane = Plane(longitude_deg=-2.8, latitude_deg=56.0)
    x, y = plane.forward(np.array([-2.8, -2.7999, -2.8]), np.array([56.0, 56.0, 56.0001]))
    assert (x[0], y[0]) == pytest.approx((0, 0), abs=1e-8)
    geod = Geod(ellps="WGS84")
    east = geod.inv(-2.8, 56.0, -2.7999, 56.0)[2]
    north = geod.inv(-2.8, 56.0, -2.8, 56.0001)[2]
    assert (x[1], y[2]) == pytest.approx((east, north), abs=3e-8)
    assert (y[1], x[2]) == pytest.approx((0, 0), abs=1e-5)


@pytest.mark.parametrize(("lon", "lat"), PLACES)
def test_areas_are_true_anywhere_on_the_plane(gon, lon, lat):
    away = gon(lon, lat + 0.04)
    plane = Plane(longitude_deg=lon, latitude_deg=lat)
    # within 1e-10 of the set-out area of 499.3656219769 m² (constructed), centred on the polygon
    centred = Plane(longitude_deg=lon, latitude_deg=lat).to_plane(gon(lon, lat))
    assert shapely.area(centred)[0] == pytest.approx(499.3656219769, rel=1e-10)
    assert shapely.area(plane.to_plane(away))[0] == pytest.approx(499.3656219769, rel=1e-8)
    assert ellipsoid_areas_m2(away)[0] == pytest.approx(499.3656219769, rel=1e-8)


def test_geometries_there_and_back(gon, column):
    drawn = np.concatenate([gon(3, 45), gon(3.01, 45.02), column(None)])
    plane = Plane.around(drawn)
    assert (plane.longitude_deg, plane.latitude_deg) == pytest.approx((3.005, 45.01), abs=1e-4)
    back = plane.to_lonlat(plane.to_plane(drawn))
    assert back[2] is None
    apart = shapely.get_coordinates(back) - shapely.get_coordinates(drawn)
    assert np.abs(apart).max() < 1e-13


def test_what_has_no_centre_is_refused(column):
    with pytest.raises(ValueError, match="no geometry to centre on"):
        Plane.around(column(None, shapely.Polygon()))
    with pytest.raises(ValueError, match=r"latitudes within ±89\.9"):
        Plane(longitude_deg=0.0, latitude_deg=90.0)
