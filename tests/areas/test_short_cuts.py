"""Short cuts of the overlay give what the whole overlay gives."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from geosand.areas.ownership import filled_holes, owned_geometries
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
