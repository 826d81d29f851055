"""Geodesic and grid areas by pyproj; published geodesic polygons."""

from __future__ import annotations

import subprocess
import sys

import numpy as np
import pytest
import shapely

from geosand.areas.crosscheck import geodesic_areas_m2, grid_areas_m2, grid_scale
from geosand.areas.ellipsoid import ellipsoid_areas_m2

GON_AREA_M2 = 499.3656219769


def _ring(latitudes: list[float], longitudes: list[float]) -> shapely.Polygon:
    return shapely.Polygon(list(zip(longitudes, latitudes, strict=True)))


ANTARCTICA = shapely.Polygon(
    np.column_stack(
        [
            np.fromstring(
                "-74 -102 -102 -131 -163 163 172 140 113 88 59 25 -4 -14 -33 -46 -61", sep=" "
            ),
            np.fromstring(
                "-72.9 -71.9 -74.9 -74.3 -77.5 -77.4 -71.7 -65.9 -65.7 -66.6 -66.9 -69.8 -70 -71 "
                "-77.3 -77.9 -74.7",
                sep=" ",
            ),
        ]
    )
)


@pytest.mark.parametrize(
    ("ring", "area_m2", "tolerance_m2"),
    [
        # pyproj docstring of Geod.polygon_area_perimeter (GeographicLib's Antarctica example)
        (ANTARCTICA, 13376856682207.4, 0.1),
        # geographiclib (Python) tests: test_Planimeter0 (the first three) and 15
        (_ring([89, 89, 89, 89], [0, 90, 180, 270]), 24952305678.0, 1),
        (_ring([0, -1, 0, 1], [-1, 0, 1, 0]), 24619419146.0, 1),
        (_ring([90, 0, 0], [0, 0, 90]), 63758202715511.0, 1),
        (_ring([2, 1, 3], [1, 2, 3]), 18454562325.45119, 0.5),
    ],
)
def test_published_geodesic_areas(column, ring, area_m2, tolerance_m2):
    backwards = shapely.reverse(ring)
    areas = geodesic_areas_m2(column(ring, backwards))
    assert areas == pytest.approx([area_m2, area_m2], abs=tolerance_m2)


def test_slit_over_the_pole_has_no_area(column):
    # geographiclib (Python), test_Planimeter12: there and back over the pole, area 0 m². pyproj
    # gives 0 or half the ellipsoid (2.55e14 m², geographiclib's a0/2), as the slit is walked.
    slit = _ring([66.562222222] * 3, [0, 180, 360])
    areas = geodesic_areas_m2(column(slit, shapely.reverse(slit)))
    assert sorted(areas) == pytest.approx([0, 510065621724088.5 / 2], abs=1)
    assert ellipsoid_areas_m2(column(slit))[0] == 0  # a parallel is straight in lon/lat


@pytest.mark.parametrize("hole", [[(1, 2), (3, 4), (5, 2)], [(5, 2), (3, 4), (1, 2)]])
def test_hole_subtracts_whatever_its_winding(column, hole):
    # pyproj docstring of Geod.geometry_area_perimeter
    polygon = shapely.Polygon([(1, 1), (10, 1), (10, 10), (1, 10)], [hole])
    assert geodesic_areas_m2(column(polygon))[0] == pytest.approx(944373881400, abs=1)


def test_grid_area_is_not_ground_area(column):
    # UTM 18N square E 500000-600000, N 4400000-4500000: geodesic area 10007388597.191 m²,
    # Planimeter manual example, also in GeographicLib.NET PolygonAreaTests; ratio 1.000739
    from pyproj import Transformer

    to_lonlat = Transformer.from_crs(32618, 4326, always_xy=True)
    x, y = to_lonlat.transform([5e5, 6e5, 6e5, 5e5], [4.4e6, 4.4e6, 4.5e6, 4.5e6])
    square = column(shapely.Polygon(np.column_stack([x, y])))
    assert geodesic_areas_m2(square)[0] == pytest.approx(10007388597.191, abs=1e-3)
    assert grid_areas_m2(square, "EPSG:32618")[0] == pytest.approx(1e10, abs=1)
    assert geodesic_areas_m2(square)[0] / 1e10 == pytest.approx(1.000739, abs=5e-7)


@pytest.mark.parametrize(
    ("lon", "lat", "crs", "ratio"),
    [  # constructed; 0.9996² on the central meridian of UTM
        (3.0, 45.0, 32631, 0.99920016),
        (4.62, 45.0, 32631, 0.99960096),
        (6.0, 45.0, 32631, 1.00057508),
        (-2.8, 56.0, 32630, 0.99920398),
    ],
)
def test_scale_of_the_grid(gon, lon, lat, crs, ratio):
    drawn = gon(lon, lat)
    area = grid_areas_m2(drawn, crs)
    assert area[0] / GON_AREA_M2 == pytest.approx(ratio, abs=1e-8)
    assert area / grid_scale(drawn, crs) ** 2 == pytest.approx(ellipsoid_areas_m2(drawn), rel=1e-7)


@pytest.mark.parametrize(("lon", "lat", "ratio"), [(-2.8, 56.0, 3.18998), (3.0, 45.0, 2.00002)])
def test_why_web_mercator_is_refused(gon, lon, lat, ratio):
    # constructed: the plane area in EPSG:3857 over the true one; here by pyproj alone
    from pyproj import Transformer

    transformer = Transformer.from_crs(4326, 3857, always_xy=True)
    points = shapely.get_coordinates(gon(lon, lat))
    plan = shapely.Polygon(np.column_stack(transformer.transform(*points.T)))
    assert plan.area / GON_AREA_M2 == pytest.approx(ratio, abs=6e-6)
    for crs in (
        3857,
        "EPSG:3857",
        "epsg:900913",
        "ESRI:102100",
        "EPSG:3785",
        transformer.target_crs,
    ):
        with pytest.raises(ValueError, match="Web Mercator: areas are never measured in it; give"):
            grid_areas_m2(gon(lon, lat), crs)
        with pytest.raises(ValueError, match="never measured"):
            grid_scale(gon(lon, lat), crs)


def test_what_is_no_grid_is_refused(gon):
    for crs, words in (
        (4326, "is geographic, in degrees"),
        (4978, "not projected"),
        ("x", "is not a"),
    ):
        with pytest.raises(ValueError, match=f"{words}.*give the projected CRS"):
            grid_areas_m2(gon(3, 45), crs)


def test_feet_and_compound_systems(gon, column):
    drawn = np.concatenate([gon(-73.9, 40.8), column(None)])
    metres, feet = grid_areas_m2(drawn, 32118), grid_areas_m2(drawn, 2263)
    assert feet == pytest.approx(metres, rel=1e-9)  # New York Long Island in m and in survey feet
    assert metres[1] == 0 and np.isnan(grid_scale(drawn, 32118)[1])
    assert grid_areas_m2(gon(-2.8, 56), "EPSG:27700+5701") == pytest.approx(
        grid_areas_m2(gon(-2.8, 56), 27700), rel=1e-12
    )


def test_missing_rows(gon, column):
    areas = geodesic_areas_m2(np.concatenate([column(None, shapely.Polygon()), gon(3, 45)]))
    assert areas == pytest.approx([0, 0, GON_AREA_M2], abs=0.002)


def test_areas_do_not_load_pyproj():
    code = (
        "import sys, geosand.areas.audit, geosand.areas.crosscheck, geosand.areas.ground, "
        "geosand.areas.plane, geosand.areas.uncertainty; "
        "print(sorted({'pyproj', 'pandas', 'geopandas', 'scipy'} & set(sys.modules)))"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == "[]"
