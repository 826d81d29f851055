"""What is known before balances are reconciled: each source once, strips, degrees of freedom."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from geosand.balance.account import site_balance
from geosand.balance.reconciliation.evidence import _rings, evidence
from geosand.balance.throw_fit import U_SHAPE, throw_fit
from geosand.columns import Runs
from geosand.effects import category
from geosand.rates.over_time import sum_over_surfaces
from geosand.rates.surface_rates import site_rates
from tests.balance.seasons import Plan, Season, season


def test_catches_bring_the_degrees_of_freedom_of_their_scatter(tmp_path: Path) -> None:
    """The default's 2 and one for each further tray on a green; up to 8 by other dressings."""
    one = season(tmp_path, Plan(catches=2, greens=3, dressings=4), 3)
    known = evidence(one.balance)
    assert known.freedom["sampling: catches: D2"] == 2 + 3
    assert known.freedom["sampling: surface: g1"] == 3 + 1
    spreader = np.full(4, "disc")
    site = replace(one.site, dressings=replace(one.site.dressings, spreader=spreader))
    rates = site_rates(site, one.areas)
    known = evidence(site_balance(site, one.areas, rates))
    assert known.freedom["sampling: catches: D2"] == 8 + 3


def test_strips_by_ring_catches_leave_the_shape_of_the_throw_out(tmp_path: Path) -> None:
    """u² of their strips less what the shape adds; parts of a dressing by rate·perimeter."""
    one = season(tmp_path, Plan(ring_trays=2), 8)
    fit = throw_fit(one.balance)
    known = evidence(one.balance, fit=fit)
    strip, u = fit.from_catches.strip_width_m, fit.from_catches.u_strip_width_m
    alone = np.sqrt(u**2 - (U_SHAPE * strip) ** 2)
    assert known.ring.tolist() == list(range(6))
    assert known.ring_strip_m == pytest.approx(strip)
    assert known.u_ring_strip_m == pytest.approx(alone)
    # the same trays as two parts of one dressing each: (0, 1), (2, 3), (4, 5)
    halves = replace(fit, dressing=np.arange(6) // 2)
    _, mean, spread = _rings(halves, np.arange(3), 6)
    weight = fit.edge_kg.reshape(3, 2) / fit.edge_kg.reshape(3, 2).sum(axis=1, keepdims=True)
    assert mean == pytest.approx((weight * strip.reshape(3, 2)).sum(axis=1))
    assert spread == pytest.approx(np.hypot(*(weight * alone.reshape(3, 2)).T))


def uneven(one: Season) -> Season:
    """The season with fewer catches on some greens than on others, and none on the last."""
    catches, last = one.site.catches, len(one.site.ids) - 1
    number = np.arange(len(catches.used))
    used = catches.used & ((number % 3 > 0) | (catches.declared == 0)) & (catches.declared < last)
    site = replace(one.site, catches=replace(catches, used=used))
    rates = site_rates(site, one.areas)
    return replace(one, site=site, rates=rates, balance=site_balance(site, one.areas, rates))


def test_every_source_enters_once(tmp_path: Path) -> None:
    """Split into single errors, each category keeps the u that the balance's own table has.

    Greens are caught on unevenly, the last one never: where all are alike nothing of their own
    deviations is left in a sum over all of them.
    """
    one = uneven(season(tmp_path, Plan(bags=(20.0, 25.0), greens=5), 12))
    known = evidence(one.balance)
    dressed, rates = one.site.dressed, one.rates
    edge = one.areas.perimeter_m[dressed.surface]
    runs = Runs(dressed.dressing, 6)
    for errors, table in (
        (known.spread_errors, one.balance.spread),
        (known.on_errors, one.balance.on_surfaces),
        (
            known.edge_errors,
            sum_over_surfaces(rates.rate, rates.in_mean, dressed.dressing, edge, runs),
        ),
    ):
        squares: dict[str, np.ndarray] = {}
        for name, effect in errors.items():
            kind = category(name)
            squares[kind] = squares.get(kind, np.zeros(6)) + effect**2
        parts = {k: v for k, v in table.by_category().items() if v.any()}
        assert {k for k, v in squares.items() if v.any()} == set(parts)
        for kind, part in parts.items():
            assert np.sqrt(squares[kind]) == pytest.approx(part), kind
