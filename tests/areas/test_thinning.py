"""Outlines of very many corners: what is thinned, by how much, and what stays as it was."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
import shapely

from geosand.areas.thinning import (
    APART_M,
    FEW_CORNERS,
    MOST_CORNERS,
    MOST_THINNED_M,
    thinned,
)
from geosand.balance.rings.throw_off import throw_off
from tests.balance.rings.thrown import spread


def green(corners: int, noise_m: float = 0.0, x: float = 0.0, seed: int = 1) -> shapely.Polygon:
    """A wavy green about (x, 0), each corner off by normal noise along its radius."""
    turn = np.linspace(0, 2 * np.pi, corners, endpoint=False)
    radius = 13 + 1.2 * np.cos(3 * turn + 1) + 0.6 * np.cos(5 * turn)
    radius = radius + np.random.default_rng(seed).normal(0, noise_m, corners)
    return shapely.Polygon(np.stack([x + radius * np.cos(turn), radius * np.sin(turn)], axis=1))


def column(*shapes: Any) -> np.ndarray:
    out = np.empty(len(shapes), dtype=object)
    out[:] = shapes
    return out


def test_only_rings_of_very_many_corners_are_thinned() -> None:
    hole = shapely.Point(60, 0).buffer(9, quad_segs=30)  # 120 corners, in a ring of 4
    few = shapely.box(40, -20, 80, 20).difference(hole)
    several = column(None, few, green(2 * MOST_CORNERS), shapely.Polygon())
    out = thinned(several)
    assert all(out[k] is several[k] for k in (0, 1, 3))
    assert shapely.get_num_coordinates(out[2]) <= max(MOST_CORNERS, out[2].length / APART_M)
    assert shapely.hausdorff_distance(out[2], several[2]) < 5e-3
    # many rings of few corners each are no dense outline
    fairway = shapely.box(-50, -50, 1000, 50)
    holed = fairway.difference(shapely.multipolygons([green(90, x=30.0 * k) for k in range(30)]))
    assert shapely.get_num_coordinates(holed) > 4 * MOST_CORNERS
    assert thinned(column(holed))[0] is holed
    # nor is a long one that was surveyed at every metre
    long = shapely.segmentize(green(60).buffer(200), 1.0)
    assert shapely.get_num_coordinates(long) > 4 * MOST_CORNERS
    assert thinned(column(long))[0] is long


@pytest.mark.parametrize("noise_m", [0.0, 0.02])
def test_a_ring_that_two_have_stays_one(noise_m: float) -> None:
    """A green and the fairway it is cut out of, its hole drawn the other way from elsewhere."""
    inner = green(3000, noise_m)
    corners = np.roll(shapely.get_coordinates(inner)[:-1], 777, axis=0)[::-1]
    outer = shapely.Polygon(shapely.box(-40, -40, 40, 40).exterior, [corners])
    one, other = thinned(column(inner, outer))
    assert shapely.get_num_coordinates(one) <= max(MOST_CORNERS, inner.length / APART_M)
    assert shapely.equals(shapely.polygons(other.interiors[0]), one)
    assert set(map(tuple, other.interiors[0].coords)) == set(map(tuple, one.exterior.coords))


def test_what_is_thinned_does_not_depend_on_what_else_there_is() -> None:
    dense = [green(1500, 0.01, seed=k) for k in range(4)]
    together = thinned(column(*dense, green(80)))
    for k, alone in enumerate(dense):
        assert shapely.equals_exact(together[k], thinned(column(alone))[0])


def test_rings_nearer_than_they_are_thinned_by_do_not_cross() -> None:
    """A collar of 3 cm between two jagged outlines."""
    inner = green(4000, 0.004)
    outer = shapely.Polygon(shapely.get_coordinates(inner) * (1 + 0.03 / 13))
    collar = shapely.Polygon(outer.exterior, [green(4000, 0.004, seed=1).exterior])
    out = thinned(column(collar))[0]
    assert shapely.is_valid(out)
    assert shapely.get_num_coordinates(out) < 2 * MOST_CORNERS
    assert shapely.hausdorff_distance(out, collar) <= MOST_THINNED_M


@pytest.mark.parametrize("radius_m", [2.0, 13.0, 60.0])
def test_beside_a_smooth_outline_nothing_moves(radius_m: float) -> None:
    """A circle of 5,000 corners; its ring is in closed form: π·(r·L + L²/3) at 1 kg/m²."""
    reach = 2.4
    circle = shapely.Point(0, 0).buffer(radius_m, quad_segs=1250)
    thin = thinned(column(circle))
    assert shapely.get_num_coordinates(thin[0]) < 1500
    throw = throw_off(**spread(list(thin), np.pi * (radius_m * reach + reach**2 / 3)))
    beyond, width = reach - 0.9, 0.9  # of the collar, which is 0.9 m wide
    collar = np.pi * (radius_m * reach + reach**2 / 3)
    collar -= np.pi * ((radius_m + width) * beyond**2 + beyond**3 / 3) / reach
    assert throw.reach_m[0] == pytest.approx(reach, rel=1e-4)
    assert throw.collar_kg[0] == pytest.approx(collar, rel=1e-4)


@pytest.mark.parametrize(("corners", "seed"), [(1000, 3), (3000, 5)])
def test_rings_of_a_noisy_outline_are_nearer_to_those_of_the_edge_itself(
    corners: int, seed: int
) -> None:
    """The edge is known here: the outline without its noise of 2 cm a corner."""
    edge, traced = green(corners), green(corners, 0.02, seed=seed)
    found = [
        throw_off(**spread([shape], 100.0)) for shape in (edge, traced, thinned(column(traced))[0])
    ]
    for name, raw in (("strip_width_m", 0.03), ("collar_kg", 0.01), ("reach_m", 0.01)):
        true, as_drawn, thin = (float(getattr(one, name)[0]) for one in found)
        assert abs(as_drawn / true - 1) > raw, name
        assert abs(thin - true) < 0.7 * abs(as_drawn - true), name


@pytest.mark.parametrize("seed", [1, 2])
def test_a_small_jagged_ring_keeps_few_corners(seed: int) -> None:
    """A bunker of 3 m traced by machine: the edge is known, and three hundred are soon too many."""
    turn = np.linspace(0, 2 * np.pi, 500, endpoint=False)
    radius = 3 + 0.3 * np.cos(3 * turn + seed)
    noise = np.random.default_rng(seed).normal(0, 0.02, 500)
    edge, traced = (
        shapely.Polygon(np.column_stack((r * np.cos(turn), r * np.sin(turn))))
        for r in (radius, radius + noise)
    )
    smooth, thin = thinned(column(edge, traced))
    assert shapely.get_num_coordinates(thin) <= max(FEW_CORNERS, traced.length / APART_M)
    assert FEW_CORNERS < shapely.get_num_coordinates(smooth) <= MOST_CORNERS
    assert shapely.hausdorff_distance(smooth, edge) < 1e-3
    true, found = (float(throw_off(**spread([s], 20.0)).reach_m[0]) for s in (edge, thin))
    assert found == pytest.approx(true, rel=0.015)  # as many as of a smooth one leave 4 %


def test_a_jagged_ring_of_fewer_corners_is_thinned_and_a_smooth_one_stays() -> None:
    """A bunker of 4 m: as a curve of 240 corners, traced by machine, and off a picture of 10 cm."""
    smooth, traced = (
        shapely.transform(green(240, noise_m), lambda xy: xy * 0.3) for noise_m in (0.0, 0.06)
    )
    step = 0.1
    across = np.arange(-60, 60) * step
    x, y = (axis.ravel() for axis in np.meshgrid(across, across))
    inside = shapely.contains_xy(smooth, x + step / 2, y + step / 2)
    pixels = shapely.box(*np.rint(np.array([x, y, x + step, y + step])[:, inside] / step))
    stepped = shapely.transform(shapely.union_all(pixels).simplify(0), lambda xy: xy * step)
    kept, thin, even = thinned(column(smooth, traced, stepped))
    assert kept is smooth
    for drawn, fewer in ((traced, thin), (stepped, even)):
        assert shapely.get_num_coordinates(drawn) > FEW_CORNERS + 40
        assert shapely.get_num_coordinates(fewer) <= FEW_CORNERS + 1
        assert shapely.hausdorff_distance(fewer, drawn) <= MOST_THINNED_M
    # the throw beside the true edge is known: nearer to it than beside what was drawn
    true, drawn_at, thin_at = (
        float(throw_off(**spread([s], 20.0)).reach_m[0]) for s in (smooth, traced, thin)
    )
    assert abs(thin_at - true) < abs(drawn_at - true)
