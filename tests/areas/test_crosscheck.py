"""Geodesic and grid areas by pyproj; published polygons are in ``test_published``."""

from __future__ import annotations

import subprocess
import sys

import numpy as np
import pytest
import shapely

from geosand.areas.crosscheck import (
    geodesic_areas_m2,
    grid_areas_m2,
    grid_scale,
    web_mercator_scale,
)
from geosand.areas.ellipsoid import ellipsoid_areas_m2

GON_AREA_M2 = 499.3656219769


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
    assert web_mercator_scale(lat) == pytest.approx(ratio, abs=6e-6)
    for crs in (
        3857,
        "EPSG:3857",
        "epsg:900913",
        "ESRI:102100",
        "EPSG:3785",
        "+proj=merc +a=6378137 +b=6378137 +units=m +type=crs",  # a sphere, by its plain method
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
