"""Ground that bends: against sand on a fine lattice, each point with its nearest surface."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray
from shapely.affinity import rotate, translate

from geosand.balance.rings.throw_off import throw_off
from tests.balance.rings.thrown import spread

Floats = NDArray[np.float64]
EACH, TOGETHER = 2.5e-3, 1e-3  #: relative; the lattice itself is good to some 5e-4 of a surface
POINTS = 250_000


def on_lattice(surfaces: list[Any], reach_m: float, zone: Any = None) -> Floats:
    """kg at 1 kg/m² beside each surface (within a zone), none of whose points is another's."""
    whole = shapely.union_all(surfaces)
    left, low, right, high = shapely.bounds(shapely.buffer(whole, reach_m))
    step = np.sqrt((right - left) * (high - low) / POINTS)
    middle, far = np.array([left + right, low + high]) / 2, np.hypot(right - left, high - low) / 2
    side = np.arange(-far, far, step)
    cos, sin = np.cos(0.35), np.sin(0.35)  # along no edge
    u, v = (axis.ravel() for axis in np.meshgrid(side, side))
    x, y = middle[0] + u * cos - v * sin, middle[1] + u * sin + v * cos
    inside = (x > left) & (x < right) & (y > low) & (y < high)
    shapely.prepare(whole)
    inside[inside] = ~shapely.contains_xy(whole, x[inside], y[inside])
    if zone is not None:
        shapely.prepare(zone)
        inside[inside] = shapely.contains_xy(zone, x[inside], y[inside])
    points = shapely.points(x[inside], y[inside])
    away = np.stack([shapely.distance(points, surface) for surface in surfaces])
    nearest = away.argmin(axis=0)
    taper = np.clip(1 - away.min(axis=0) / reach_m, 0.0, None)
    return np.bincount(nearest, taper, len(surfaces)) * step**2


def bay_with_tongue() -> list[Any]:
    bay = shapely.Polygon([(0, 0), (12, 0), (12, 12), (9, 12), (9, 3), (3, 3), (3, 12), (0, 12)])
    return [rotate(g, 17, origin=(0, 0)) for g in (bay, shapely.box(5.2, 6.0, 6.6, 16.0))]


def crumb_beside_green() -> list[Any]:
    return [shapely.Point(0, 0).buffer(8, quad_segs=8), shapely.Point(9.2, 1).buffer(0.5, 3)]


def sliver_along_star() -> list[Any]:
    angle = np.linspace(0, 2 * np.pi, 10, endpoint=False)
    radius = np.where(np.arange(10) % 2, 3.5, 9.0)
    star = shapely.Polygon(np.column_stack((radius * np.cos(angle), radius * np.sin(angle))))
    return [star, translate(rotate(shapely.box(0, 0, 11, 0.1), 63), 3.5, -6.5).difference(star)]


def touching_angles() -> list[Any]:
    angle = shapely.Polygon([(0, 0), (11, 0), (11, 4), (4, 4), (4, 11), (0, 11)])
    other = rotate(angle, 205, origin=(0, 0))
    other = translate(other, 15.0, 9.0).difference(angle)
    return [angle, max(shapely.get_parts(other), key=shapely.area)]


@pytest.mark.parametrize("reach", [0.8, 4.0, 30.0])
@pytest.mark.parametrize(
    "make", [bay_with_tongue, crumb_beside_green, sliver_along_star, touching_angles]
)
def test_each_surface_has_the_ground_that_is_nearest_to_it(make: Any, reach: float) -> None:
    surfaces = make()
    thrown = on_lattice(surfaces, reach)
    result = throw_off(**spread(surfaces, float(thrown.sum())))
    found = result.collar_kg + result.surrounds_kg + result.farther_kg
    assert result.reach_m[0] == pytest.approx(reach, rel=TOGETHER)
    np.testing.assert_allclose(found, thrown, rtol=EACH)


def test_a_collar_that_is_a_hook_holds_what_lies_in_it() -> None:
    turn = np.linspace(0.3, 4.3, 40)
    along = shapely.LineString(np.column_stack((6.5 * np.cos(turn), 6.5 * np.sin(turn))))
    green = shapely.Point(0, 0).buffer(6, quad_segs=10)
    collar = along.buffer(1.1, quad_segs=4).difference(green)
    thrown = on_lattice([green], 0.7)
    result = throw_off(**spread([green], float(thrown.sum()), collars=[collar]))
    held = on_lattice([green], 0.7, collar)
    np.testing.assert_allclose(result.collar_kg, held, rtol=4e-3)


def test_layouts_in_fields_of_their_own_are_as_alone() -> None:
    layouts = [bay_with_tongue(), crumb_beside_green(), sliver_along_star(), touching_angles()]
    kg = np.array([60.0, 900.0, 25.0, 140.0])
    of = np.repeat(np.arange(4), [len(layout) for layout in layouts])
    every = [surface for layout in layouts for surface in layout]
    none = np.empty(0, np.int64)
    both = throw_off(**spread(every, kg, group=of, dressing=of), field=of, hazard_field=none)
    for k, layout in enumerate(layouts):
        alone, mine = throw_off(**spread(layout, kg[k])), of == k
        assert both.reach_m[k] == alone.reach_m[0]
        for name in ("collar_kg", "surrounds_kg", "farther_kg", "collar_area_m2"):
            assert getattr(both, name)[mine].tolist() == getattr(alone, name).tolist(), name


def toothed(corners: int, seed: int, x: float) -> Any:
    """An outline as a dense survey or an image traced by cells leaves it, with teeth of 2 mm."""
    angle = np.linspace(0, 2 * np.pi, corners, endpoint=False)
    radius = 8 * (1 + 0.15 * np.cos(2 * angle + 1) + 0.08 * np.cos(3 * angle))
    radius += np.random.default_rng(seed).normal(0, 0.002, corners)
    return shapely.Polygon(np.column_stack((x + radius * np.cos(angle), radius * np.sin(angle))))


def test_thousands_of_teeth_are_not_each_off_by_a_little() -> None:
    surfaces = [toothed(1600, 1, 0.0), toothed(1600, 2, 18.5)]
    union = shapely.union_all(surfaces)
    result = throw_off(**spread(surfaces, 100.0))
    first = shapely.buffer(union, 0.1)  # of two steps, the first of which leaves few corners
    collar, outer = (shapely.buffer(first, wide - 0.1, quad_segs=48).area for wide in (0.9, 4.9))
    assert result.collar_area_m2.sum() == pytest.approx(collar - union.area, rel=2e-3)
    # each strip by itself within 0.01 % left surrounds 3 % too small
    assert result.surrounds_area_m2.sum() == pytest.approx(outer - collar, rel=2e-3)
