"""Rings where dressed surfaces touch: against closed forms of the ground round both of them.

Ground within x of an outline is P·x + ½·θ·x² for each corner that turns out by θ, and less x² for
each that turns in by a right angle: there two strips of s wide at s from it are counted once. The
mass to the reach L is 1/L·∫₀ᴸ of it, at a rate of 1 kg/m².
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
import shapely
from shapely.affinity import rotate, scale, translate

from geosand.balance.rings.edges import edges_of
from geosand.balance.rings.joints import jointed
from geosand.balance.rings.throw_off import throw_off
from tests.balance.rings.thrown import agree_with_raster, column, spread, turned

HIGH = shapely.box(0, 0, 10, 20)
BOTH = np.array([0, 1]), np.array([1, 0])
#: Surfaces, and how much their free corners add to P·x, of x².
TOUCHING: dict[str, tuple[list[Any], float]] = {
    "straight on": ([HIGH, shapely.box(10, 0, 20, 20)], np.pi),
    "three in a row": ([HIGH, shapely.box(10, 0, 14, 20), shapely.box(14, 0, 30, 20)], np.pi),
    "three at a place": (
        [HIGH, shapely.box(10, 0, 20, 8), shapely.box(10, 8, 20, 20)],
        np.pi,
    ),
    "a hair between two": (  # as cutting one outline out of others may leave it
        [
            HIGH,
            shapely.box(10, 0, 20, 12),
            shapely.Polygon([(10, 5), (10 + 1e-10, 12), (20, 12), (20, 20), (10, 20)]),
        ],
        np.pi,
    ),
    "one step": ([HIGH, shapely.box(10, 0, 22, 17)], 5 * np.pi / 4 - 1),
    "two steps": ([HIGH, shapely.box(10, 3, 22, 17)], 6 * np.pi / 4 - 2),
    "corner to corner": ([HIGH, shapely.box(10, 20, 22, 27)], 6 * np.pi / 4 - 2),
    "a bay filled in part": (
        [shapely.union(HIGH, shapely.box(10, 0, 20, 10)), shapely.box(10, 10, 16, 20)],
        5 * np.pi / 4 - 1,
    ),
    "one round another": (
        [shapely.box(0, 0, 9, 9), shapely.box(-2, -2, 11, 11) - shapely.box(0, 0, 9, 9)],
        np.pi,
    ),
    "halves of a kite": (
        [
            shapely.Polygon([(0, 0), (10, -4), (10, 6)]),
            shapely.Polygon([(10, 6), (10, -4), (14, 2)]),
        ],
        np.pi,
    ),
}


@pytest.mark.parametrize("turn", [0, 31])
@pytest.mark.parametrize("name", TOUCHING)
def test_reach_round_surfaces_that_touch(name: str, turn: float) -> None:
    shapes, round_ = TOUCHING[name]
    length = shapely.length(shapely.union_all(column(shapes)))
    kg = length * 2.4 / 2 + round_ * 2.4**2 / 3
    result = throw_off(**spread([rotate(shape, turn, origin=(3, 4)) for shape in shapes], kg))
    assert result.reach_m[0] == pytest.approx(2.4, rel=1e-9)
    # zones too: collars are 0.9 m wide
    assert result.collar_area_m2.sum() == pytest.approx(length * 0.9 + round_ * 0.81, rel=1e-9)


def test_each_of_two_halves_has_half() -> None:
    """A fan that opens between two corners is divided midway."""
    half = shapely.Polygon([(0, 0), (10, -4), (10, 6)])
    other = scale(half, xfact=-1, origin=(10, 0))
    result = throw_off(**spread([half, other], 90.0))
    each = result.collar_kg + result.surrounds_kg + result.farther_kg
    np.testing.assert_allclose(each, 45.0, rtol=1e-12)
    assert result.surrounds_area_m2[0] == pytest.approx(result.surrounds_area_m2[1], rel=1e-12)


def test_fans_of_unequal_corners_and_of_three_at_a_place() -> None:
    wide = [(10, 6), (10, -4), (13, -9), (17, 0), (12, 9)]
    agree_with_raster(
        spread(turned(shapely.Polygon([(0, 0), (10, -4), (10, 6)]), shapely.Polygon(wide)), 90.0)
    )
    spikes = [[(0, 0), (10, -2), (10, 2)], [(0, 0), (2, 9), (-2, 10)], [(0, 0), (-10, 3), (-9, -3)]]
    agree_with_raster(spread(turned(*map(shapely.Polygon, spikes)), 90.0))


def test_curved_outlines_that_touch() -> None:
    """Surfaces drawn over each other, the ground of the lower one cut: corners in mid-edge."""
    angle = np.linspace(0, 2 * np.pi, 70, endpoint=False)
    radius = 9 + 0.5 * np.sin(2 * angle)
    round_ = shapely.Polygon(np.column_stack((np.cos(angle), np.sin(angle))) * radius[:, None])
    lower = translate(round_, 11, 3) - round_
    agree_with_raster(spread([round_, lower], 110.0, rate=[1.0, 0.7]))


def test_edges_that_all_but_touch() -> None:
    """An edge bends a little between planes: a corner against it is then not quite on it."""
    shapes, round_ = TOUCHING["two steps"]
    kg = shapely.length(shapely.union(*shapes)) * 1.2 + round_ * 2.4**2 / 3
    apart = [shapes[0], translate(shapes[1], 3e-4)]
    assert throw_off(**spread(apart, kg)).reach_m[0] == pytest.approx(2.4, rel=1e-4)
    over = [shapes[0], translate(shapes[1], -3e-4)]
    assert throw_off(**spread(over, kg)).reach_m[0] == pytest.approx(2.4, rel=1e-4)


def test_edges_are_divided_where_others_end() -> None:
    shapes = column(TOUCHING["one step"][0])
    edges, joints = jointed(edges_of(shapes), shapes, BOTH)
    of_high = edges.row == 0
    assert of_high.sum() == 5
    np.testing.assert_allclose(edges.length_m[joints.shared], [17, 17])
    step = of_high & (np.abs(edges.length_m - 3) < 1e-9)
    assert joints.start_rad[step] == pytest.approx([np.pi / 2])
    assert np.isinf(joints.end_rad[step]).all()
    below = of_high & (edges.along_x > 0.5)
    assert joints.end_rad[below] == pytest.approx([np.pi])
    turns = np.bincount(edges.row, edges.turn_rad)
    np.testing.assert_allclose(turns, 2 * np.pi)


def test_surfaces_that_do_not_touch_have_no_joints() -> None:
    shapes = column([HIGH, shapely.box(10.01, 0, 20, 20)])
    edges = edges_of(shapes)
    same, joints = jointed(edges, shapes, BOTH)
    assert same is edges
    assert not joints.shared.any()
    assert np.isinf([joints.start_rad, joints.end_rad]).all()
