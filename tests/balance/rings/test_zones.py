"""Sums by zone against going through every crossing, and against numerical integration."""

from __future__ import annotations

from itertools import permutations

import numpy as np
import pytest

from geosand.balance.rings.strips import Crossings, Strips, mass_share
from geosand.balance.rings.zones import Asked, ZoneCells, zone_cells
from geosand.columns import Floats, Ints, take

STANDS, CAP = 6, 8.0


def crossings(seed: int, *, cut: bool) -> Crossings:
    """Strips of six stands that cross two zones; ``cut``: some end before the cap, slanting."""
    rng = np.random.default_rng(seed)
    count = 300
    start, end = (np.full(count, CAP) for _ in range(2))
    if cut:
        short = rng.random(count) < 0.3
        start[short], end[short] = rng.uniform(0, CAP, (2, int(short.sum())))
    return Crossings(
        strips=Strips(
            row=np.sort(rng.integers(0, STANDS, count)),
            width_m=rng.uniform(0, 2, count),
            turn_rad=rng.uniform(-0.1, 0.12, count),
            cut_start_m=start,
            cut_end_m=end,
        ),
        limit_m=rng.uniform(0.5, 5.0, count),
        sign=rng.choice([-1.0, 1.0], count),
        zone=rng.integers(0, 2, count),
    )


def share(cells: ZoneCells, zone: int, stand: Ints, reach: Floats, inverse: Floats) -> Floats:
    return cells.shares([Asked(zone, stand, reach, inverse)])[0]


@pytest.mark.parametrize("cut", [False, True])
@pytest.mark.parametrize("reach", [0.2, 0.7, 2.0, 4.9, 6.0, 8.0])
def test_sums_are_those_of_the_single_crossings(reach, cut):
    given = crossings(7, cut=cut)
    cells = zone_cells(given, STANDS)
    stand = np.array([3, 0, 5, 3])
    reaches = np.full(4, reach)
    got = np.column_stack([share(cells, z, stand, reaches, 1 / reaches) for z in (0, 1)])
    limit = np.minimum(given.limit_m, reach)
    each = given.sign * mass_share(given.strips, limit, np.full(len(limit), 1 / reach))
    for row, one in enumerate(stand):
        for zone in (0, 1):
            mine = (given.strips.row == one) & (given.zone == zone)
            assert got[row, zone] == pytest.approx(each[mine].sum(), rel=1e-11, abs=1e-11)


def test_reaches_asked_together_hold_what_each_holds_alone():
    """Of some all crossings lie within, of some none, and of some a part."""
    cells = zone_cells(crossings(9, cut=True), STANDS)
    stand, reach = np.tile(np.arange(STANDS), 6), np.repeat([0.2, 0.7, 2.0, 4.9, 6.0, 8.0], STANDS)
    for zone in (0, 1):
        alone = [
            share(cells, zone, stand[k], reach[k], 1 / reach[k])[0]
            for k in (slice(n, n + 1) for n in range(len(stand)))
        ]
        assert share(cells, zone, stand, reach, 1 / reach).tolist() == alone


def test_one_strip_holds_the_integral_of_the_taper():
    """∫₀ˡ (1 − x/L)(width + turn·x) dx by Gauss-Legendre quadrature."""
    one = take(crossings(1, cut=False).strips, np.array([0]))
    cells = zone_cells(
        Crossings(
            strips=Strips(
                row=np.zeros(1, np.int64),
                width_m=one.width_m,
                turn_rad=one.turn_rad,
                cut_start_m=one.cut_start_m,
                cut_end_m=one.cut_end_m,
            ),
            limit_m=np.array([1.5]),
            sign=np.ones(1),
            zone=np.zeros(1, np.int64),
        ),
        1,
    )
    nodes, weights = np.polynomial.legendre.leggauss(8)
    for reach in (1.0, 1.5, 4.0):
        end = min(1.5, reach)
        x = (nodes + 1) / 2 * end
        density = (1 - x / reach) * (one.width_m + one.turn_rad * x)
        got = share(cells, 0, np.zeros(1, np.int64), np.array([reach]), np.array([1 / reach]))
        assert got[0] == pytest.approx((weights * density).sum() * end / 2, rel=1e-12)


def test_without_crossings_zones_hold_nothing_and_an_unknown_reach_stays_unknown():
    none = np.empty(0, np.int64)
    given = crossings(2, cut=False)
    empty = Crossings(
        strips=take(given.strips, none),
        limit_m=np.empty(0),
        sign=np.empty(0),
        zone=none,
    )
    stand = np.array([0, 1])
    reach = np.array([2.0, 3.0])
    for zone in (0, 1, 2):
        assert not share(zone_cells(empty, STANDS), zone, stand, reach, 1 / reach).any()
        unknown = share(zone_cells(given, STANDS), zone, stand, np.array([2.0, np.nan]), 1 / reach)
        assert np.isfinite(unknown).tolist() == [True, False]


def test_crossings_at_one_distance_may_stand_in_any_order():
    """Widths of 0.7, 0.1 and 0.2 add up to 1 or, by the order, to less in the last digit."""
    row, one, held = np.zeros(3, dtype=np.int64), np.ones(3), []
    for order in permutations([0.7, 0.1, 0.2]):
        strips = Strips(row, np.array(order), 0 * one, CAP * one, CAP * one)
        cells = zone_cells(Crossings(strips, limit_m=one / 3, sign=one, zone=row), 1)
        held.append((cells.unit.tolist(), cells.whole.tolist()))
    assert all(other == held[0] for other in held)


def test_what_a_stand_holds_does_not_depend_on_the_others_in_the_last_digit():
    """Many stands before it, some of them a million times as large."""
    given = crossings(5, cut=True)
    alone = zone_cells(given, STANDS)
    reach, stand = np.array([0.3, 1.1, 4.9, 7.0, 2.2, 8.0]), np.arange(STANDS)
    want = [share(alone, zone, stand, reach, 1 / reach).tolist() for zone in (0, 1)]
    strips, n = given.strips, len(given.zone)
    many, large = 5000, 1e6
    row = np.concatenate([np.sort(np.arange(n) * 7 % many), strips.row + many])
    size = np.concatenate([np.geomspace(1e-3, large, n), np.ones(n)])
    twice = np.tile(np.arange(n), 2)
    together = Crossings(
        strips=Strips(
            row=row,
            width_m=strips.width_m[twice] * size,
            turn_rad=strips.turn_rad[twice] * size,
            cut_start_m=strips.cut_start_m[twice],
            cut_end_m=strips.cut_end_m[twice],
        ),
        limit_m=given.limit_m[twice],
        sign=given.sign[twice],
        zone=given.zone[twice],
    )
    cells = zone_cells(together, many + STANDS)
    got = [share(cells, zone, stand + many, reach, 1 / reach).tolist() for zone in (0, 1)]
    assert got == want
