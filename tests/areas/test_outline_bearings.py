"""Outlines seen from a middle of their own, each against shapely or the angles themselves."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from geosand.areas.outline_bearings import (
    bearing,
    bends_of,
    edge_towards,
    edges_towards,
    outlines_of,
    sums_by_ring,
)
from tests.balance.rings.test_parts import many
from tests.balance.rings.thrown import SQUARE, column


def test_edges_towards_a_bearing_are_those_a_line_from_the_middle_meets() -> None:
    bay = shapely.box(-9, -9, 9, 9).difference(shapely.box(-2, -3, 2, 9))
    shapes = column([bay, *many(2, 40)])
    outlines, corners = outlines_of(shapes)
    assert outlines.ordered.sum() > 30
    assert not outlines.ordered[0]
    rng = np.random.default_rng(3)
    ring = rng.choice(np.flatnonzero(outlines.ordered), 500)
    angle = rng.uniform(0, 2 * np.pi, 500)
    there = bearing(np.cos(angle), np.sin(angle))
    edge, count = edges_towards(outlines, corners, ring, there, there)
    assert (count == 1).all()
    np.testing.assert_array_equal(edge, edge_towards(outlines, corners, ring, there))
    begin = outlines.first[ring] + edge % outlines.edges[ring]
    places = np.stack([np.column_stack((corners.x[k], corners.y[k])) for k in (begin, begin + 1)])
    edges = shapely.linestrings(places.transpose(1, 0, 2))
    ends = 99 * np.column_stack((np.cos(angle), np.sin(angle)))
    lines = shapely.linestrings(np.stack((np.zeros_like(ends), ends), axis=1))
    assert (shapely.distance(lines, edges) < 1e-9).all()


def test_bearings_grow_with_the_angle_and_stay_below_four() -> None:
    angle = np.linspace(0, 2 * np.pi, 1001)[:-1]
    got = bearing(np.cos(angle), np.sin(angle))
    assert (np.diff(got) > 0).all()
    assert bearing(np.array([1.0, 0.0]), np.array([-1e-300, 0.0])).tolist() == [0.0, 0.0]


def test_rings_begin_at_their_lowest_bearing_whatever_their_turn_and_start() -> None:
    rolled = shapely.Polygon(np.roll(shapely.get_coordinates(SQUARE)[:-1], 2, axis=0))
    _, one = outlines_of(column([SQUARE]))
    for other in (rolled, shapely.Polygon(shapely.get_coordinates(SQUARE)[::-1])):
        _, got = outlines_of(column([other]))
        np.testing.assert_array_equal(got.x, one.x)
        np.testing.assert_array_equal(got.y, one.y)


def test_bends_are_lengths_turns_and_distances_from_the_middle() -> None:
    bay = shapely.box(-9, -9, 9, 9).difference(shapely.box(-2, -3, 2, 9))
    shapes = column([bay, *many(9, 30), shapely.Polygon([(0, 0), (4, 0), (4, 3)])])
    outlines, corners = outlines_of(shapes)
    bends = bends_of(outlines, corners)
    np.testing.assert_allclose(
        sums_by_ring(outlines, bends.length_m), shapely.length(shapes), rtol=1e-12
    )
    turn = 2 * np.arctan(bends.half_tan)
    np.testing.assert_allclose(sums_by_ring(outlines, turn), 2 * np.pi, rtol=1e-9)
    np.testing.assert_allclose(
        sums_by_ring(outlines, bends.half_before), sums_by_ring(outlines, bends.half_tan)
    )
    # half the length of each edge times its distance from the middle is the area
    area = sums_by_ring(outlines, bends.length_m * bends.from_middle_m / 2)
    np.testing.assert_allclose(area, shapely.area(shapes), rtol=1e-9)
    last = outlines.first[-1]
    triangle = bends.half_tan[last : last + 3]
    assert sorted(triangle) == pytest.approx(sorted(np.tan((np.pi - a) / 2) for a in angles()))


def angles() -> list[float]:
    """Of a triangle with sides of 3, 4 and 5."""
    return [np.pi / 2, np.arctan2(3, 4), np.arctan2(4, 3)]


def test_corners_twice_in_one_place_have_no_turn_that_is_known() -> None:
    outlines, corners = outlines_of(column([shapely.Polygon([(0, 0), (4, 0), (4, 0), (4, 3)])]))
    assert np.isnan(bends_of(outlines, corners).half_tan).any()
