"""How well rays follow drawn collars of many forms: against buffers cut by the collars.

By parts, ∫ (1 − x/L) dA over a zone is 1/L·∫₀ᴸ A(x) dx, with A(x) the zone's area within x of the
surface; so that buffers and a quadrature tell the mass to any accuracy, without rays.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
import shapely
from shapely.affinity import rotate, translate

from geosand.balance.rings.throw_off import throw_off
from tests.balance.rings.thrown import spread

REACH, WIDTH = 2.2, 1.0
EACH, TOGETHER = 2e-3, 2.5e-4  #: relative: of the worst surface, and of the sum over all


def greens_with_collars(seed: int, count: int) -> tuple[list[Any], list[Any]]:
    """Wavy greens of 40 to 120 corners, each far from the next; collars not quite parallel."""
    rng = np.random.default_rng(seed)
    greens, collars = [], []
    for k in range(count):
        angle = np.linspace(0, 2 * np.pi, int(rng.integers(40, 121)), endpoint=False)
        waves = [rng.normal(0, 0.9 / n) * np.cos(n * angle + rng.uniform(0, 6)) for n in (2, 3, 4)]
        radius = rng.uniform(11, 14) + sum(waves)
        middle = np.array([70.0 * k, 0.0])
        turn = np.column_stack((np.cos(angle), np.sin(angle)))
        wide = WIDTH + 0.2 * np.cos(2 * angle + rng.uniform(0, 6))
        shell = shapely.Polygon(middle + turn * (radius + wide)[:, None])
        greens.append(shapely.Polygon(middle + turn * radius[:, None]))
        collars.append(shell.difference(greens[-1]))
    return greens, collars


def by_buffers(green: Any, zone: Any) -> float:
    """Mass in a zone at a rate of 1 kg/m², the zone cut by 2 × 24 buffers."""
    nodes, weights = np.polynomial.legendre.leggauss(24)
    half = REACH / 2  # a kink where the collar ends would slow one span down
    x = np.concatenate([(nodes + 1) / 2 * half, half + (nodes + 1) / 2 * half])
    within = shapely.buffer(green, x, quad_segs=90)
    held = shapely.area(shapely.intersection(within, zone))
    return float((np.tile(weights, 2) / 2 * half * held).sum() / REACH)


@pytest.mark.parametrize("seed", [1, 2])
def test_collars_and_surrounds_hold_what_buffers_say(seed: int) -> None:
    greens, collars = greens_with_collars(seed, 16)
    n = len(greens)
    length, reach = shapely.length(np.array(greens)), REACH
    kg = length * reach / 2 + np.pi * reach**2 / 3
    each = np.arange(n)
    result = throw_off(**spread(greens, kg, group=each, dressing=each, collars=collars))
    np.testing.assert_allclose(result.reach_m, REACH, rtol=1e-3)
    collar = np.array([by_buffers(g, c) for g, c in zip(greens, collars, strict=True)])
    np.testing.assert_allclose(result.collar_kg, collar, rtol=EACH)
    assert result.collar_kg.sum() == pytest.approx(collar.sum(), rel=TOGETHER)
    areas = shapely.area(np.array(collars))
    np.testing.assert_allclose(result.collar_area_m2, areas, rtol=EACH)
    assert result.collar_area_m2.sum() == pytest.approx(areas.sum(), rel=2 * TOGETHER)
    whole = shapely.union(np.array(greens), np.array(collars))
    around = shapely.area(shapely.buffer(whole, 4.0, quad_segs=90)) - shapely.area(whole)
    # the outer edge of the surrounds is a buffer of chords itself
    np.testing.assert_allclose(result.surrounds_area_m2, around, rtol=EACH)


def test_coarse_outlines_add_no_sand() -> None:
    """Collars of 25 to 90 corners round greens of 20 to 90, each traced by itself."""
    rng = np.random.default_rng(11)
    greens, collars = [], []
    for k in range(60):
        radius, middle = rng.uniform(6, 14), np.array([90.0 * k, 0.0])
        rings = []
        for corners, r in ((rng.integers(20, 90), radius), (rng.integers(25, 90), radius + 1.5)):
            angle = np.linspace(0, 2 * np.pi, int(corners), endpoint=False) + rng.uniform(0, 1)
            rings.append(middle + r * np.column_stack((np.cos(angle), np.sin(angle))))
        greens.append(shapely.Polygon(rings[0]))
        collars.append(shapely.Polygon(rings[1], [rings[0]]))
    length = shapely.length(np.array(greens))
    kg, each = length * REACH / 2 + np.pi * REACH**2 / 3, np.arange(len(greens))
    result = throw_off(**spread(greens, kg, group=each, dressing=each, collars=collars))
    areas = shapely.area(np.array(collars))
    # lines in the middle of strips as long as the edges of such greens told 0.25 % too much
    assert result.collar_area_m2.sum() == pytest.approx(areas.sum(), rel=1.5e-3)
    np.testing.assert_allclose(result.collar_area_m2, areas, rtol=4e-3)
    collar = np.array([by_buffers(g, c) for g, c in zip(greens, collars, strict=True)])
    np.testing.assert_allclose(result.collar_kg, collar, rtol=4e-3)
    assert result.collar_kg.sum() == pytest.approx(collar.sum(), rel=1e-3)


def test_a_tongue_of_a_collar_moves_nothing_else() -> None:
    angle = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    turn = np.column_stack((np.cos(angle), np.sin(angle)))
    greens = [shapely.Polygon(r * turn + (120.0 * k, 0)) for k, r in enumerate((5, 8, 11, 14))]
    collars = []
    for k, r in enumerate((7, 10, 13, 16)):
        tongue = shapely.box(120.0 * k, -1, 120.0 * k + r + 18, 1)
        whole = shapely.union(shapely.Polygon(r * turn + (120.0 * k, 0)), tongue)
        collars.append(whole.difference(greens[k]))
    length = shapely.length(np.array(greens))
    kg, each = length * REACH / 2 + np.pi * REACH**2 / 3, np.arange(4)
    result = throw_off(**spread(greens, kg, group=each, dressing=each, collars=collars))
    held = np.array([by_buffers(g, c) for g, c in zip(greens, collars, strict=True)])
    np.testing.assert_allclose(result.collar_kg, held, rtol=4e-3)


def hollow(radius_m: float, half_rad: float) -> Any:
    """A band 6 m wide of 29 short edges round the origin, open to one side; off the axes."""
    along = np.exp(1j * (0.4 + np.linspace(-half_rad, half_rad, 30)))
    around = np.concatenate((radius_m * along, (radius_m + 6) * along[::-1]))
    return shapely.Polygon(np.column_stack((around.real, around.imag)))


def disc_in_hollow(gap_m: float) -> list[Any]:
    return [shapely.Point(0, 0).buffer(6, quad_segs=16), hollow(6 + gap_m, 1.2)]


def two_hollows(gap_m: float) -> list[Any]:
    """Concave sides towards each other, ``gap_m`` apart where they end."""
    apart = gap_m - 2 * 30 * np.cos(0.3)
    one = hollow(30, 0.3)
    other = translate(rotate(one, 180, origin=(0, 0)), -apart * np.cos(0.4), -apart * np.sin(0.4))
    return [one, other]


@pytest.mark.parametrize("gap_m", [0.3, 0.5, 1.5, 3.0])
@pytest.mark.parametrize("surfaces", [disc_in_hollow, two_hollows])
def test_concave_outlines_that_face_another(
    surfaces: Callable[[float], list[Any]], gap_m: float
) -> None:
    """Of one rate, both together hold what lies round their union, whoever's ground it is."""
    shapes = surfaces(gap_m)
    union = shapely.union_all(np.array(shapes))
    around = shapely.box(-100, -100, 100, 100).difference(union)
    result = throw_off(**spread(shapes, by_buffers(union, around)))
    assert result.reach_m[0] == pytest.approx(REACH, rel=TOGETHER)
    collars = shapely.area(shapely.buffer(union, 0.9, quad_segs=90)) - shapely.area(union)
    assert result.collar_area_m2.sum() == pytest.approx(collars, rel=TOGETHER)
