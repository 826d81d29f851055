"""Thiessen areas and means against published examples and against a raster."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from geosand.rates.thiessen import thiessen_areas_m2, thiessen_means

SQUARE = shapely.box(0, 0, 10, 10)


def areas(polygons, points, polygon):
    return thiessen_areas_m2(
        np.array(polygons, dtype=object), np.array(points, float), np.array(polygon)
    )


def test_weighted_mean_of_five_gauges():
    # Chow, Maidment & Mays, Applied Hydrology, 1988, example 3.4.1 (from memory): 31.1 mm, the
    # arithmetic mean being 30
    rain = np.array([10.0, 20.0, 30.0, 40.0, 50.0])
    area = np.array([0.22, 4.02, 1.35, 1.60, 1.95])
    mean, share = thiessen_means(rain, area, np.zeros(5, dtype=int), 1)
    assert mean[0] == pytest.approx(31.1, abs=0.05)
    assert share[0] == pytest.approx(4.02 / 9.14)


def test_two_points_divide_a_square_half_way():
    found = areas([SQUARE], [(2, 5), (7, 5)], [0, 0])
    assert found == pytest.approx([45.0, 55.0], abs=1e-12)
    mean, _ = thiessen_means(np.array([1.0, 3.0]), found, np.array([0, 0]), 1)
    assert mean[0] == pytest.approx(2.1, abs=1e-12)


def test_four_quadrants():
    found = areas([SQUARE], [(2.5, 2.5), (7.5, 2.5), (2.5, 7.5), (7.5, 7.5)], [0] * 4)
    assert found == pytest.approx([25.0] * 4, abs=1e-12)


def test_a_surface_with_a_hole_against_a_raster():
    polygon = shapely.Polygon(
        [(0, 0), (20, 0), (24, 9), (12, 15), (-3, 11)], [[(8, 4), (11, 4), (11, 8), (8, 8)]]
    )
    rng = np.random.default_rng(1)
    points = np.column_stack([rng.uniform(0, 20, 6), rng.uniform(0, 11, 6)])
    found = areas([polygon], points, [0] * 6)
    x, y = np.meshgrid(np.arange(-3, 24, 0.05) + 0.025, np.arange(0, 15, 0.05) + 0.025)
    inside = shapely.contains_xy(polygon, x, y)
    cells = np.stack([x[inside], y[inside]], axis=1)
    nearest = np.hypot(*(cells[:, None] - points).transpose(2, 0, 1)).argmin(axis=1)
    assert found == pytest.approx(np.bincount(nearest, minlength=6) * 0.05**2, abs=0.3)
    assert found.sum() == pytest.approx(polygon.area, rel=1e-9)


def test_many_surfaces_in_one_call_are_as_one_by_one():
    rng = np.random.default_rng(2)
    shapes = [shapely.affinity.translate(SQUARE, 30 * k, 5 * k) for k in range(5)]
    polygon = np.array([3, 0, 4, 0, 3, 1, 4, 0, 3, 1])
    points = rng.uniform(0, 10, (10, 2)) + np.column_stack([30 * polygon, 5 * polygon])
    together = areas(shapes, points, polygon)
    for k in (0, 1, 3, 4):
        mine = polygon == k
        alone = areas([shapes[k]], points[mine], np.zeros(mine.sum(), dtype=int))
        assert together[mine] == pytest.approx(alone, rel=1e-12)


def test_catches_at_one_place_share_their_ground():
    found = areas([SQUARE], [(2, 5), (7, 5), (2, 5)], [0, 0, 0])
    assert found == pytest.approx([22.5, 55.0, 22.5])
    assert areas([SQUARE], [(2, 5), (2, 5)], [0, 0]) == pytest.approx([50.0, 50.0])


def test_a_line_of_catches():
    found = areas([SQUARE], [(1, 5), (5, 5), (9, 5)], [0, 0, 0])
    assert found == pytest.approx([30.0, 40.0, 30.0])


def test_a_place_outside_its_surface_counts_for_the_ground_nearest_to_it():
    found = areas([SQUARE], [(-1, 5), (5, 5)], [0, 0])
    assert found == pytest.approx([20.0, 80.0])
    assert areas([SQUARE], [(-50, 5), (5, 5)], [0, 0]) == pytest.approx([0.0, 100.0])


def test_nothing_at_all():
    assert areas([SQUARE], np.empty((0, 2)), np.empty(0, dtype=int)).tolist() == []
    mean, share = thiessen_means(np.empty(0), np.empty(0), np.empty(0, dtype=int), 2)
    assert np.isnan(mean).all()
    assert np.isnan(share).all()
