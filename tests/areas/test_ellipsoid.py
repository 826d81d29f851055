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
    rounding_spread_m2,
    vertex_spread_m2,
)
from geosand.areas.plane import Plane

PLACES = [(3.0, 45.0), (4.62, 45.0), (6.0, 45.0), (-2.8, 56.0), (-70.3, -53.1), (179.9, 0.01)]
GON_AREA_M2 = 499.3656219769  # 36 · 12.6156626101008² · sin(5°)


def _densified(corners: list[tuple[float, float]], points: int) -> shapely.Polygon:
    """The ring of geodesics through ``corners`` (lon, lat) as many short edges."""
    from pyproj import Geod

    geod = Geod(ellps="WGS84")
    ring: list[tuple[float, float]] = []
    for begin, end in zip(corners, corners[1:] + corners[:1], strict=True):
        ring += [begin, *geod.npts(*begin, *end, points)]
    return shapely.Polygon(ring)


def test_whole_ellipsoid(column):
    # 510065621724088.5 m²: geographiclib (Python), Planimeter tests, a0; closed form
    # 2 pi a² (1 + (1 - e²)/e atanh e). One part in 1e15 of a double is 0.06 m² here.
    area = ellipsoid_areas_m2(column(shapely.box(-180, -90, 180, 90)))[0]
    assert area == pytest.approx(510065621724088.5, abs=0.3)


def test_octant(column):
    # 63758202715511.0 m²: geographiclib (Python), test_Planimeter0, the octant (90,0)(0,0)(0,90);
    # meridians and equator are straight in lon/lat too.
    octant = shapely.Polygon([(0, 0), (90, 0), (90, 90), (0, 90)])
    assert ellipsoid_areas_m2(column(octant))[0] == pytest.approx(63758202715511.0, abs=1)


def test_authalic_radius():
    # 6371007.1809 m: authalic radius of WGS 84, geographiclib (Python), Planimeter tests
    assert 6378137 * np.sqrt(authalic_q(np.array(1.0)) / 2) == pytest.approx(6371007.1809, abs=5e-5)
    assert authalic_q(np.array([0.3]), 0.0)[0] == pytest.approx(0.6)  # a sphere: 2 sin(lat)


def test_square_of_the_grid_from_densified_geodesics(column):
    # UTM 18N square E 500000-600000, N 4400000-4500000: 10007388597.191 m² and 400139.532959 m:
    # Planimeter manual example, also in GeographicLib.NET PolygonAreaTests.
    from pyproj import Transformer

    to_lonlat = Transformer.from_crs(32618, 4326, always_xy=True)
    x, y = to_lonlat.transform([5e5, 6e5, 6e5, 5e5], [4.4e6, 4.4e6, 4.5e6, 4.5e6])
    ring = column(_densified(list(zip(x, y, strict=True)), 30_000))
    assert ellipsoid_areas_m2(ring)[0] == pytest.approx(10007388597.191, abs=0.05)
    assert perimeters_m(ring)[0] == pytest.approx(400139.532959, abs=1e-4)


@pytest.mark.parametrize(
    ("corners", "area_m2", "perimeter_m"),
    [  # geographiclib (Python) tests, test_Planimeter0 and test_Planimeter15, as lon, lat
        ([(-1.0, 0.0), (0.0, -1.0), (1.0, 0.0), (0.0, 1.0)], 24619419146.0, 627598.2731),
        ([(1.0, 2.0), (2.0, 1.0), (3.0, 3.0)], 18454562325.45119, None),
    ],
)
def test_published_geodesic_polygons_from_densified_edges(column, corners, area_m2, perimeter_m):
    ring = column(_densified(corners, 20_000))
    assert ellipsoid_areas_m2(ring)[0] == pytest.approx(area_m2, abs=1)
    if perimeter_m:
        assert perimeters_m(ring)[0] == pytest.approx(perimeter_m, abs=1e-3)


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


def test_surveyed_traverse(column):
    # 38 965.8156 ft² from the northings and eastings of J. Mahun, Open Access Surveying Library,
    # Traverse computations, chapter G, solution 1 (printed 38 970 ± 5 ft²); here laid on the ground
    north_east = [(1541.207, 2215.890), (1373.915, 2336.574), (1299.818, 2350.205)]
    north_east += [(1343.189, 2523.212), (1569.360, 2359.080)]
    points = (np.array(north_east)[:, ::-1] - [2350, 1430]) * 0.3048
    plane = Plane(longitude_deg=-91.0, latitude_deg=41.6)
    # an edge of 60 m straight in the plan lies off the one straight in lon/lat by 1 ppm of the area
    laid = plane.to_lonlat(shapely.segmentize(column(shapely.Polygon(points)), 1.0))
    assert ellipsoid_areas_m2(laid)[0] / 0.3048**2 == pytest.approx(38965.8156, abs=1e-3)


def test_square_with_uncertain_corners(column):
    # constructed: sd(A) = s a sqrt(2); a = 100 m, s = 0.1 m: 14.142 m²
    plane = Plane(longitude_deg=-2.8, latitude_deg=56.0)
    square = plane.to_lonlat(column(shapely.box(0, 0, 100, 100)))
    assert vertex_spread_m2(square, 0.1)[0] == pytest.approx(14.142, abs=1e-3)


def test_polygon_with_uncertain_corners(gon):
    # constructed: the 72-gon of 499.4 m² with s = 0.3 m, independent: 2.80 m²
    assert vertex_spread_m2(gon(-2.8, 56.0), 0.3)[0] == pytest.approx(2.80, abs=0.005)


def _shoelace(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    return np.abs((x * np.roll(y, -1, -1) - np.roll(x, -1, -1) * y).sum(-1)) / 2


def test_vertex_spread_by_monte_carlo(column):
    random = np.random.default_rng(20260301)
    angle = np.sort(random.uniform(0, 2 * np.pi, 23))
    shell = 20 * np.column_stack([1.5 * np.cos(angle), np.sin(angle)])
    hole = shell[::2] / 3
    plane = Plane(longitude_deg=11.3, latitude_deg=-37.0)
    drawn = plane.to_lonlat(column(shapely.Polygon(shell, [hole]), shapely.Polygon(shell)))
    accuracy = np.array([0.2, 0.05])
    moved_shell = shell + random.normal(0, 1, (100_000, *shell.shape))
    moved_hole = hole + 0.2 * random.normal(0, 1, (100_000, *hole.shape))
    shells = [shell + s * (moved_shell - shell) for s in accuracy]
    outer = [_shoelace(points[..., 0], points[..., 1]) for points in shells]
    inner = _shoelace(moved_hole[..., 0], moved_hole[..., 1])
    drawn_u = vertex_spread_m2(drawn, accuracy)
    assert drawn_u == pytest.approx([np.std(outer[0] - inner), np.std(outer[1])], rel=0.01)


def test_rounding_spread_by_rounding(column):
    """Thousands of different irregular polygons, rounded to 6 decimals of a degree."""
    random = np.random.default_rng(7)
    angle = np.sort(random.uniform(0, 2 * np.pi, (6000, 25)), axis=1)
    corners = np.stack([2e-4 * np.cos(angle) - 2.8, 1e-4 * np.sin(angle) + 56], axis=-1)
    drawn = shapely.polygons(corners)
    rounded = shapely.transform(drawn, lambda points: points.round(6))
    errors = ellipsoid_areas_m2(rounded) - ellipsoid_areas_m2(drawn)
    ratio = errors / rounding_spread_m2(drawn, np.array(1e-6))
    assert np.sqrt(np.mean(ratio**2)) == pytest.approx(1, abs=0.03)


@pytest.mark.parametrize(("decimals", "error_m2"), [(7, 0.015), (6, -0.19), (5, -2.0)])
def test_rounded_coordinates_cost_area(gon, decimals, error_m2):
    # constructed: the 72-gon at -2.8, 56 with rounded coordinates; RFC 7946, 11.2 has 6 decimals
    drawn = gon(-2.8, 56.0)
    rounded = shapely.transform(drawn, lambda points: points.round(decimals))
    change = (ellipsoid_areas_m2(rounded) - ellipsoid_areas_m2(drawn))[0]
    assert change == pytest.approx(error_m2, rel=0.06)
