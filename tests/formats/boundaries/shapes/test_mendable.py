"""Outlines that cross themselves: a few times they can be mended, a tangle is drawn again."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from geosand.areas import crossings as crossing_sides
from geosand.formats.boundaries.shapes import mendable


def walked_twice(corners: int) -> shapely.Polygon:
    """A green whose outline was walked twice, each time a few centimetres off."""
    noise = np.random.default_rng(7)
    angle = np.linspace(0, 4 * np.pi, 2 * corners, endpoint=False)
    radius = 1.5e-4 + noise.normal(0, 2e-7, len(angle))
    points = np.column_stack([9 + radius * np.cos(angle), 50.5 + radius * np.sin(angle)])
    return shapely.Polygon(points)


def scribble(corners: int) -> shapely.Polygon:
    points = np.random.default_rng(1).uniform(0, 3e-4, (corners, 2))
    return shapely.Polygon(points + np.array([9.0, 50.5]))


def crossings(outline: shapely.Polygon) -> int:
    """Counted side by side, by which side of each the ends of others lie."""
    a = shapely.get_coordinates(outline)[:-1]
    b = np.roll(a, -1, axis=0)

    def turn(p, q, r):
        return np.sign(
            (q[:, None, 0] - p[:, None, 0]) * (r[None, :, 1] - p[:, None, 1])
            - (q[:, None, 1] - p[:, None, 1]) * (r[None, :, 0] - p[:, None, 0])
        )

    met = (turn(a, b, a) * turn(a, b, b) < 0) & ((turn(a, b, a) * turn(a, b, b)).T < 0)
    return int(met.sum()) // 2


@pytest.mark.parametrize(
    ("outline", "tangled"),
    [(walked_twice(1000), False), (scribble(80), False), (scribble(180), True)],
)
def test_a_tangle_is_not_asked_about_and_one_walked_twice_is(monkeypatch, outline, tangled):
    """GEOS took 32 s for 400 random corners and 390 s for 800, measured here."""
    asked = []
    monkeypatch.setattr(mendable.shapely, "make_valid", lambda s: asked.append(s) or s.envelope)
    monkeypatch.setattr(crossing_sides, "_AT_ONCE", 7)
    assert (crossings(outline) > mendable.MOST_CROSSINGS) == tangled
    assert mendable.can_be_mended(outline) != tangled
    assert bool(asked) != tangled
