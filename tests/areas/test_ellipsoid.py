"""Areas, perimeters and vertex errors on the ellipsoid."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from geosand.areas.crosscheck import geodesic_areas_m2
from geosand.areas.ellipsoid import (
    authalic_q,
    ellipsoid_areas_m2,
    perimeters_m,
    vertex_spread_m2,
)
from geosand.areas.plane import Plane

PLACES = [(3.0, 45.0), (4.62, 45.0), (6.0, 45.0), (-2.8, 56.0), (-70.3, -53.1), (179.9, 0.01)]
GON_AREA_M2 = 499.3656219769  # 36 · 12.6156626101008² · sin(5°)


def test_a_sphere():
    assert authalic_q(np.array([0.3]), 0.0)[0] == pytest.approx(0.6)  # 2 sin(lat)


@pytest.mark.parametrize(("lon", "lat"), PLACES)
def test_set_out_polygon_has_its_planar_area(gon, lon, lat):
    # constructed: 72-gon of 499.3656219769 m² set out with geodesics; geodesic noise 2e-3 m²
    # (GeographicLib, PolygonArea header: 0.0013 m² below 10 km of perimeter)
    assert ellipsoid_areas_m2(gon(lon, lat))[0] == pytest.approx(GON_AREA_M2, rel=1e-8)
    assert geodesic_areas_m2(gon(lon, lat))[0] == pytest.approx(GON_AREA_M2, abs=0.002)
    side = 2 * 12.6156626101008 * np.sin(np.radians(2.5))
    assert perimeters_m(gon(lon, lat))[0] == pytest.approx(72 * side, rel=1e-9)


@pytest.mark.parametrize(("lon", "lat"), [*PLACES, (20.0, 89.2), (-2.8, -0.00005)])
def test_greens_agree_with_forty_digits(exact_area_m2, column, lon, lat):
    random = np.random.default_rng(1)
    angle = np.sort(random.uniform(0, 2 * np.pi, 12))
    plane = Plane(longitude_deg=lon, latitude_deg=lat)
    wobble = random.uniform(0.6, 1.4, 12)

    def ring(radius: float) -> np.ndarray:
        x, y = radius * wobble * np.cos(angle), radius * wobble * np.sin(angle)
        return np.column_stack(plane.inverse(x, y))

    green = shapely.Polygon(ring(13.0), [ring(4.0)])
    collar = shapely.Polygon(ring(14.0), [ring(13.0)])
    other = shapely.transform(green, lambda points: points + np.array([-0.01, 0.004]))
    drawn = column(green, collar, shapely.MultiPolygon([green, other]))
    areas = ellipsoid_areas_m2(drawn)
    for polygon, area in zip(drawn, areas, strict=True):
        assert area == pytest.approx(exact_area_m2(polygon), rel=1e-12)  # 1e-6 ppm


@pytest.mark.parametrize("degrees", [0.002, 0.09, 0.19, 0.21, 1.0, 20.0])
def test_larger_rings_agree_with_forty_digits(exact_area_m2, column, degrees):
    shape = np.array([(0, 0), (1, 0.1), (0.8, 0.5), (1.1, 1), (-0.2, 0.7)])
    polygon = shapely.Polygon(shape * degrees + [-2.8, 56.0])
    area = ellipsoid_areas_m2(column(polygon))[0]
    assert area == pytest.approx(exact_area_m2(polygon), rel=2e-12)


def test_winding_start_vertex_and_parts_change_nothing(column):
    shell = np.array([(-2.8, 56.0), (-2.799, 56.0), (-2.799, 56.001), (-2.8, 56.001)])
    hole = (shell - [-2.7995, 56.0005]) / 2 + [-2.7995, 56.0005]
    way = [
        shapely.Polygon(np.roll(shell, k, axis=0)[::turn], [hole[::hole_turn]])
        for k in range(4)
        for turn in (1, -1)
        for hole_turn in (1, -1)
    ]
    areas = ellipsoid_areas_m2(column(*way))
    assert areas == pytest.approx(areas[0], rel=1e-13)
    alone = ellipsoid_areas_m2(column(shapely.Polygon(shell), shapely.Polygon(hole)))
    assert areas[0] == pytest.approx(alone[0] - alone[1], rel=1e-12)
    halves = [shapely.box(-2.8, 56, -2.7996, 56.001), shapely.box(-2.7996, 56, -2.799, 56.001)]
    assert ellipsoid_areas_m2(column(shapely.MultiPolygon(halves)))[0] == pytest.approx(alone[0])


def test_turning_round_the_globe_and_mirroring_change_nothing(gon, column):
    here = gon(3.0, 45.0)
    turned = shapely.transform(here, lambda points: points + np.array([64.0, 0.0]))
    mirrored = shapely.transform(here, lambda points: points * [1, -1])
    areas = ellipsoid_areas_m2(np.concatenate([here, turned, mirrored]))
    # turning by 64 degrees costs decimals of longitude: 1e-14 degree
    assert areas == pytest.approx(areas[0], rel=1e-9)


def test_missing_empty_and_strange_rows(column):
    box = shapely.box(3, 45, 3.001, 45.001)
    drawn = column(
        None, box, shapely.Polygon(), shapely.MultiPolygon([box]), shapely.MultiPolygon()
    )
    areas = ellipsoid_areas_m2(drawn)
    assert (areas > 0).tolist() == [False, True, False, True, False]
    assert drawn[0] is None
    assert (perimeters_m(drawn) > 0).tolist() == [False, True, False, True, False]
    assert vertex_spread_m2(drawn, 0.1)[[0, 2, 4]].tolist() == [0, 0, 0]
    for nothing in (column(), column(None, None), column(shapely.Polygon())):
        assert ellipsoid_areas_m2(nothing).tolist() == [0.0] * len(nothing)
        assert perimeters_m(nothing).tolist() == [0.0] * len(nothing)
    with pytest.raises(
        ValueError, match=r"rows \[1\] are not polygons but Point; allowed: Polygon"
    ):
        ellipsoid_areas_m2(column(box, shapely.Point(3, 45)))


@pytest.mark.parametrize(("decimals", "error_m2"), [(7, 0.015), (6, -0.19), (5, -2.0)])
def test_rounded_coordinates_cost_area(gon, decimals, error_m2):
    # constructed: the 72-gon at -2.8, 56 with rounded coordinates; RFC 7946, 11.2 has 6 decimals
    drawn = gon(-2.8, 56.0)
    rounded = shapely.transform(drawn, lambda points: points.round(decimals))
    change = (ellipsoid_areas_m2(rounded) - ellipsoid_areas_m2(drawn))[0]
    assert change == pytest.approx(error_m2, rel=0.06)
