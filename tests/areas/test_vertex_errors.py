"""What independent errors of vertices do to an area: closed forms, derivatives, random draws."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from geosand.areas.ellipsoid import ellipsoid_areas_m2, rounding_spread_m2, vertex_spread_m2
from geosand.areas.plane import Plane
from tests.references import areas as published

PLANE = Plane(longitude_deg=11.3, latitude_deg=-37.0)


@pytest.fixture
def holed() -> tuple[np.ndarray, np.ndarray]:
    """An irregular shell of 23 corners and a hole, in metres."""
    angle = np.sort(np.random.default_rng(20260301).uniform(0, 2 * np.pi, 23))
    shell = 20 * np.column_stack([1.5 * np.cos(angle), np.sin(angle)])
    return shell, shell[::2] / 3


def test_the_traverse_that_the_plane_is_laid_on(column):
    """The published corners have the printed sums, and on the ground the exact area."""
    north, east = np.array(published.TRAVERSE_FT).T
    sums = (north * np.roll(east, -1)).sum(), (east * np.roll(north, -1)).sum()
    assert sorted(sums) == pytest.approx(sorted(published.TRAVERSE_SUMS_FT2), abs=1)
    points = (np.column_stack([east, north]) - [2350, 1430]) * 0.3048
    # an edge of 60 m straight in the plan lies off the one straight in lon/lat by 1 ppm of the area
    laid = PLANE.to_lonlat(shapely.segmentize(column(shapely.Polygon(points)), 1.0))
    area = ellipsoid_areas_m2(laid)[0] / 0.3048**2
    assert area == pytest.approx(published.TRAVERSE_AREA_FT2, abs=1e-3)
    assert area == pytest.approx(38_970, abs=5)  # the printed answer


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


def test_vertices_less_sure_in_one_direction_by_monte_carlo(holed):
    """u 0.05 m east, 0.2 m north, as a satellite receiver under trees has it."""
    shell, hole = holed
    drawn = PLANE.to_lonlat(np.array([shapely.Polygon(shell, [hole])], dtype=object))
    random = np.random.default_rng(20260302)
    error = np.array([0.05, 0.2])
    outer, inner = (
        _shoelace(*np.moveaxis(ring + error * random.normal(0, 1, (100_000, *ring.shape)), -1, 0))
        for ring in (shell, hole)
    )
    u = vertex_spread_m2(drawn, 0.05, 0.2)[0]
    assert u == pytest.approx(np.std(outer - inner), rel=0.01)
    assert vertex_spread_m2(drawn, 0.2, 0.05)[0] != pytest.approx(u, rel=0.1)
    assert vertex_spread_m2(drawn, 0.1, 0.1) == pytest.approx(vertex_spread_m2(drawn, 0.1))


def test_vertices_by_differentiation(holed):
    """Each corner is moved 5 cm either way, east and north; u adds up what the area does."""
    shell, hole = holed
    step, accuracy = 0.05, np.array([0.07, 0.03])
    moves = [
        (ring, corner, axis, sign * step)
        for ring in (0, 1)
        for corner in range(len((shell, hole)[ring]))
        for axis in (0, 1)
        for sign in (1, -1)
    ]
    shapes = np.empty(len(moves), dtype=object)
    for k, (ring, corner, axis, by) in enumerate(moves):
        rings = [shell.copy(), hole.copy()]
        rings[ring][corner, axis] += by
        shapes[k] = shapely.Polygon(rings[0], [rings[1]])
    area = ellipsoid_areas_m2(PLANE.to_lonlat(shapes)).reshape(-1, 2, 2)
    slope = (area[..., 0] - area[..., 1]) / (2 * step)  # corners, east and north
    drawn = PLANE.to_lonlat(np.array([shapely.Polygon(shell, [hole])], dtype=object))
    u = vertex_spread_m2(drawn, *accuracy)[0]
    assert u == pytest.approx(np.sqrt(((slope * accuracy) ** 2).sum()), rel=1e-5)


def test_an_offset_of_all_vertices_changes_no_area(holed):
    """A receiver's common offset, 1.5 m east and 2 m south, moves a surface and keeps its area."""
    shell, hole = holed
    here, there = (
        PLANE.to_lonlat(np.array([shapely.Polygon(shell + by, [hole + by])], dtype=object))
        for by in (np.zeros(2), np.array([1.5, -2.0]))
    )
    # edges straight in the plane are not quite so in lon/lat: 1e-9
    assert ellipsoid_areas_m2(there) == pytest.approx(ellipsoid_areas_m2(here), rel=2e-8)


def test_common_vertices_err_against_each_other():
    """A green and its collar share a ring: what one gains the other loses (Forest Science 51(4):

    347-356, 2005, covariance between polygons that share vertices). Adding variances would be
    half too much for the sum, and too little for the difference.
    """
    random = np.random.default_rng(7)
    angle = np.arange(40) * 2 * np.pi / 40
    circle = np.column_stack([np.cos(angle), np.sin(angle)])
    inner, outer = (
        radius * circle + random.normal(0, 0.1, (20_000, 40, 2)) for radius in (12.0, 13.0)
    )
    green = _shoelace(inner[..., 0], inner[..., 1])
    collar = _shoelace(outer[..., 0], outer[..., 1]) - green
    assert np.corrcoef(green, collar)[0, 1] < -0.6
    drawn = PLANE.to_lonlat(
        np.array(
            [
                shapely.Polygon(12 * circle),
                shapely.Polygon(13 * circle, [12 * circle]),
                shapely.Polygon(13 * circle),
            ],
            dtype=object,
        )
    )
    u_green, u_collar, u_both = vertex_spread_m2(drawn, 0.1)
    assert [u_green, u_collar] == pytest.approx([np.std(green), np.std(collar)], rel=0.02)
    assert u_both == pytest.approx(np.std(green + collar), rel=0.02)
    assert np.hypot(u_green, u_collar) > 1.5 * u_both


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
