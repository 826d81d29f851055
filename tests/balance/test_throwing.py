"""Drawn collars, as rings are laid beside them."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import shapely

from geosand.areas.thinning import MOST_CORNERS, thinned
from geosand.balance.throwing import drawn_collars


class Surfaces(SimpleNamespace):
    """The columns of them that collars are found by."""

    def __len__(self) -> int:
        return len(self.kind)


def collar_of(green: Any, *pieces: Any) -> Any:
    """The collar of a surface that is drawn in these pieces."""
    shapes = np.array([green, *pieces], dtype=object)
    row = np.arange(len(shapes))
    surfaces = Surfaces(
        kind=np.where(row > 0, "collar", "green"),
        around=np.where(row > 0, 0, -1),
        edition=0 * row,
        ground=row,
    )
    site: Any = SimpleNamespace(surfaces=surfaces)
    register: Any = SimpleNamespace(owned_plane=shapes, laid_plane=thinned(shapes))
    collars = drawn_collars(site, register)
    assert all(one is None for one in collars[1:])
    return collars[0]


def test_a_collar_in_two_pieces_is_the_whole_one_beside_a_jagged_edge() -> None:
    """And it meets the green, whose outline is thinned too, without gap or overlap."""
    turn = np.linspace(0, 2 * np.pi, 2 * MOST_CORNERS, endpoint=False)
    radius = 9 + np.random.default_rng(1).normal(0, 0.05, len(turn))
    green = shapely.Polygon(np.column_stack([radius * np.cos(turn), radius * np.sin(turn)]))
    collar = green.buffer(1.2).difference(green)
    halves = [collar.intersection(shapely.box(x, -20, x + 20, 20)) for x in (-20, 0)]
    whole, both = collar_of(green, collar), collar_of(green, *halves)
    assert shapely.area(shapely.symmetric_difference(whole, both)) < 1e-3
    (edge,) = thinned(np.array([green], dtype=object))
    assert shapely.get_num_coordinates(edge) < MOST_CORNERS
    assert shapely.Polygon(both.interiors[0]).symmetric_difference(edge).area < 1e-3
