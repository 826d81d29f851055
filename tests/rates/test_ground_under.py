"""Which polygon each point lies on: against a comparison of every point with every polygon."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from geosand.rates.ground_under import BoxGrid, surfaces_under


def compared(x, y, edition, surfaces, surface_edition):
    """The first row that meets each point; -1 for none."""
    meets = shapely.intersects_xy(surfaces[None, :], x[:, None], y[:, None])
    meets &= edition[:, None] == surface_edition[None, :]
    return np.where(meets.any(axis=1), meets.argmax(axis=1), -1)


def parcels(rng, side_m=40.0, cells=5, editions=3):
    """Ground cut up without gaps, some of it nobody's, each edition about the same middle."""
    shapes, of = [], []
    for edition in range(editions):
        spots = shapely.MultiPoint(rng.uniform(-side_m, side_m, (cells**2, 2)))
        cut = shapely.get_parts(shapely.voronoi_polygons(spots))
        window = shapely.box(-side_m, -side_m, side_m, side_m)
        cut = shapely.intersection(cut, window)
        cut[rng.integers(len(cut), size=3)] = shapely.Polygon()
        shapes.append(rng.permutation(cut))
        of.append(np.full(len(cut), edition))
    return np.concatenate(shapes), np.concatenate(of)


@pytest.mark.parametrize("seed", range(4))
def test_as_every_point_with_every_polygon(seed: int) -> None:
    rng = np.random.default_rng(seed)
    surfaces, of = parcels(rng)
    x, y = rng.uniform(-50, 50, (2, 3000))
    edition = rng.integers(0, 4, 3000)  # the last has no surfaces
    corners = shapely.get_coordinates(surfaces)[::7]
    owner = of[np.repeat(np.arange(len(of)), shapely.get_num_coordinates(surfaces))[::7]]
    x, y = np.append(x, corners[:, 0]), np.append(y, corners[:, 1])
    edition = np.append(edition, owner)
    expected = compared(x, y, edition, surfaces, of)
    assert (expected >= 0).mean() > 0.3
    assert (expected < 0).mean() > 0.2
    np.testing.assert_array_equal(surfaces_under(x, y, edition, surfaces, of), expected)
    guesses = rng.integers(-1, len(surfaces), len(x))
    right = np.where(rng.random(len(x)) < 0.5, expected, guesses)
    for likely in (guesses, right):
        found = surfaces_under(x, y, edition, surfaces, of, likely)
        np.testing.assert_array_equal(found, expected)


def test_on_a_common_edge_the_first_in_the_table_counts() -> None:
    west, east = shapely.box(0, 0, 1, 1), shapely.box(1, 0, 2, 1)
    surfaces, none = np.array([shapely.box(5, 5, 6, 6), east, west]), np.zeros(3, dtype=np.int64)
    x, y = np.array([1.0, 1.0, 0.0, 0.5, 3.0]), np.array([0.5, 1.0, 0.5, 0.5, 0.5])
    found = surfaces_under(x, y, np.zeros(5, dtype=np.int64), surfaces, none)
    assert found.tolist() == [1, 1, 2, 2, -1]
    declared = np.array([2, 2, -1, 2, 2])
    found = surfaces_under(x, y, np.zeros(5, dtype=np.int64), surfaces, none, declared)
    assert found.tolist() == [1, 1, 2, 2, -1]


def test_nothing_lies_on_nothing() -> None:
    no, none = np.array([], dtype=np.int64), np.array([], dtype=object)
    one = np.zeros(1, dtype=np.int64)
    assert surfaces_under(np.zeros(1), np.zeros(1), one, none, no).tolist() == [-1]
    box = np.array([shapely.box(0, 0, 1, 1)])
    assert surfaces_under(np.zeros(0), np.zeros(0), no, box, one).tolist() == []
    empty = np.array([shapely.Polygon(), None], dtype=object)
    both = np.zeros(2, dtype=np.int64)
    assert surfaces_under(np.zeros(1), np.zeros(1), one, empty, both, one).tolist() == [-1]


def test_a_cell_meets_all_boxes_that_hold_its_points() -> None:
    """Also boxes of no width, of the width of the world, and points beyond all of them."""
    rng = np.random.default_rng(3)
    low = rng.uniform(-1000, 1000, (60, 2))
    bounds = np.column_stack([low, low + rng.exponential(30, (60, 2))])
    bounds[0] = [-1e7, -1e7, 1e7, 1e7]
    bounds[1, 2:] = bounds[1, :2]
    bounds[2] = np.nan
    key = rng.integers(0, 3, 60)
    x, y = rng.uniform(-1500, 1500, (2, 500))
    x[:60], y[:60] = bounds[:, 0], bounds[:, 3]  # in corners
    x[2] = y[2] = 0.0
    of = np.append(key, rng.integers(0, 3, 440))
    grid = BoxGrid(bounds, key, 3)
    cell = grid.cells(x, y, of)
    for point in range(500):
        start = grid.start[cell[point]]
        mine = grid.boxes[start : start + grid.count[cell[point]]]
        holds = (bounds[:, :2] <= [x[point], y[point]]) & (bounds[:, 2:] >= [x[point], y[point]])
        expected = np.flatnonzero(holds.all(axis=1) & (key == of[point]))
        assert set(expected.tolist()) <= set(mine.tolist())
        assert (key[mine] == of[point]).all()
        size = ((bounds[mine, 2] - bounds[mine, 0]) * (bounds[mine, 3] - bounds[mine, 1])).tolist()
        assert size == sorted(size)
        held = mine[grid.holds(mine, np.full(len(mine), x[point]), np.full(len(mine), y[point]))]
        assert sorted(held.tolist()) == expected.tolist()
