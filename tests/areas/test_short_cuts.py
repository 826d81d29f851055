"""Short cuts of the overlay give what the whole overlay gives."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from geosand.areas.ellipsoid import ellipsoid_areas_m2
from geosand.areas.ownership import (
    _meeting,
    cut_ground,
    filled_holes,
    owned_geometries,
    precedence_ranks,
)
from geosand.areas.rings import rings_of

DEGREE_M = 111_320.0


def blob(rng, x, y, radius, corners=60):
    angle = np.arange(corners) * 2 * np.pi / corners
    far = radius * (1 + 0.15 * np.sin(3 * angle + rng.uniform(0, 6)) + rng.normal(0, 0.01, corners))
    return shapely.Polygon(np.column_stack([x + far * np.cos(angle), y + far * np.sin(angle)]))


def annulus(outer, *inner):
    return shapely.Polygon(outer.exterior, [one.exterior for one in inner])


def test_a_hole_and_what_is_drawn_in_it(column):
    rng = np.random.default_rng(1)
    green, outer, other = blob(rng, 0, 0, 10), blob(rng, 0, 0, 16), blob(rng, 40, 0, 10)
    turned = shapely.Polygon(np.roll(shapely.get_coordinates(green)[:-1][::-1], 7, axis=0))
    nearly = shapely.transform(turned, lambda p: p + 1e-6)
    shapes = column(annulus(outer, green), turned, other, nearly)
    survey = np.zeros(4, dtype=np.int64)
    assert [one.tolist() for one in filled_holes(rings_of(shapes), survey)] == [[0], [1]]
    assert [one.tolist() for one in filled_holes(rings_of(shapes), np.array([0, 1, 0, 0]))] == [
        [],
        [],
    ]


@pytest.mark.parametrize("case", ["plain", "hole in the green", "second hole", "no green beneath"])
def test_ground_beneath_a_collar_and_its_green(column, case):
    """Approach less collar and green, however they are drawn."""
    rng = np.random.default_rng(5)
    green, outer = blob(rng, 0, 0, 10), blob(rng, 0, 0, 16)
    hole = shapely.box(-1, -9, 1, -5)
    away = shapely.box(-0.3, -12.8, 0.3, -12.2)
    collar = annulus(outer, green, away) if case == "second hole" else annulus(outer, green)
    top = annulus(green, hole) if case == "hole in the green" else green
    approach = shapely.box(-4, -30, 4, -11 if case == "no green beneath" else -3)
    drawn = shapely.transform(column(approach, collar, top), lambda p: p / DEGREE_M)
    kinds = np.array(["approach", "collar", "green"])
    owned = owned_geometries(drawn, kinds, np.zeros(3, dtype=np.int64))
    want = shapely.difference(drawn[0], shapely.union(drawn[1], drawn[2]))
    assert owned[1] is drawn[1] and owned[2] is drawn[2]
    assert shapely.area(shapely.symmetric_difference(owned[0], want)) * DEGREE_M**2 < 1e-6


def test_pairs_with_ground_in_common_are_those_of_the_relation(column):
    """Across, within, around, with an edge or a corner in common, in a hole of each other."""
    rng = np.random.default_rng(9)
    shapes = [blob(rng, *rng.uniform(-20, 20, 2), rng.uniform(2, 12)) for _ in range(30)]
    shapes = [*shapes, annulus(blob(rng, 0, 0, 30), shapes[3].buffer(1)), shapely.box(0, 0, 9, 9)]
    shapes += [shapely.box(9, 0, 12, 9), shapely.box(12, 9, 14, 14), shapely.box(9, 2, 10, 3)]
    shapes = column(*shapes, shapely.MultiPolygon([shapely.box(-60, 0, -50, 9), shapes[-1]]))
    lower, upper = np.nonzero(~np.eye(len(shapes), dtype=bool))
    bounds = shapely.bounds(shapes)[upper]
    found = _meeting(rings_of(shapes), lower, bounds, shapes[lower], shapes[upper])
    expected = shapely.relate_pattern(shapes[lower], shapes[upper], "T********")
    assert found.tolist() == expected.tolist()
    assert 100 < expected.sum() < len(expected) - 100


def test_areas_of_what_is_left(column):
    """Of one piece, of two, of none, and less a sliver."""
    fields = [shapely.box(20 * k, 0, 20 * k + 10, 10) for k in range(4)]
    tops = [shapely.box(-1, -1, 4, 11), shapely.box(24, -1, 26, 11), shapely.box(39, -1, 51, 11)]
    tops += [shapely.box(59, -1, 69.9, 9.9999), shapely.box(59, 9.9999, 69.99999, 11)]
    shapes = shapely.transform(column(*fields, *tops), lambda p: p / DEGREE_M)
    kinds, rings = np.array(["lawn"] * 4 + ["green"] * 5), rings_of(shapes)
    drawn = ellipsoid_areas_m2(rings)
    rank = precedence_ranks(kinds, drawn)
    cut, left, left_m2 = cut_ground(shapes, rank, np.zeros(9, dtype=np.int64), rings)
    assert cut.tolist() == [0, 1, 2, 3]
    assert shapely.get_num_geometries(left).tolist() == [1, 2, 1, 1]
    assert shapely.is_empty(left).tolist() == [False, False, True, False]
    assert left_m2 == pytest.approx(ellipsoid_areas_m2(left), rel=1e-15)
