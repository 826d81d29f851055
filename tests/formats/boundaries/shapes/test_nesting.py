"""Outlines of drawings that lie in others of their layer, some of them drawn twice."""

from __future__ import annotations

import itertools
from collections.abc import Collection

import numpy as np
import pytest
import shapely

from geosand.formats.boundaries.drawn import Drawn
from geosand.formats.boundaries.shapes.nesting import nested

A, B, C = shapely.box(0, 0, 30, 30), shapely.box(5, 5, 25, 25), shapely.box(10, 10, 20, 20)


def left(*shapes: shapely.Polygon, named: Collection[shapely.Polygon] = ()) -> list[float]:
    """Areas of what is left of outlines of one layer, the smallest first."""
    drawn = [
        Drawn(place=str(k), folder="turf", geometry=shape, name="own" * (shape in named))
        for k, shape in enumerate(shapes)
    ]
    things, _, _ = nested(drawn, as_holes=True, hint=False)
    found = np.array([thing.geometry for thing in things], dtype=object)
    assert shapely.is_valid(found).all()
    return sorted(shapely.area(found).tolist())


@pytest.mark.parametrize("inner", [(B,), (B, B.reverse())], ids=["once", "twice"])
def test_an_island_in_a_hole_is_a_surface_in_any_order(inner):
    for order in itertools.permutations((A, *inner, C)):
        assert left(*order) == [100.0, 500.0]


def test_an_outer_outline_drawn_twice_is_one_level():
    for order in itertools.permutations((A, A.reverse(), B)):
        assert left(*order) == [500.0, 500.0]


@pytest.mark.parametrize(("twice", "found"), [((), []), ((B.reverse(),), [300.0])])
def test_a_hole_in_a_named_surface_goes_down_to_what_lies_beneath(twice, found):
    # B lies on A, which is drawn whole; what B leaves free is no ground of A either
    for order in itertools.permutations((A, B, *twice, C)):
        assert left(*order, named=[*twice, B][:1]) == [*found, 300.0, 800.0]


D = shapely.box(12, 12, 18, 18)


@pytest.mark.parametrize("order", [*itertools.permutations((A, B, C, D))])
def test_levels_go_on_below_a_named_surface(order):
    assert left(*order, named=[B]) == [36.0, 300.0, 800.0]  # an island in the hole of both
    assert left(*order, named=[C]) == [64.0, 500.0]  # C stands in a hole of A, D is a hole of C
    assert left(*order, named=[A, B, C, D]) == [36.0, 100.0, 400.0, 900.0]
