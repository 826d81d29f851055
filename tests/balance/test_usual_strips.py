"""How strips scatter about those of their own kinds of bags, worked by hand."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from geosand.balance.reconciliation.evidence import _kinds_of_bags, _scatter, evidence, usual_strips
from tests.balance.seasons import Plan, season

TWO_KINDS = np.array([1.0, 1.1, 0.9, 2.0, 2.2, 1.7])


@pytest.mark.parametrize(
    ("each", "kinds", "square", "freedom"),
    [
        # about 1.0 and 2.0: 0, 0.01, 0.01, 0, 0.04 and the one farthest off, 0.09, left out
        (TWO_KINDS, [0, 0, 0, 3, 3, 3], 0.06, 5 - 2),
        # all of one kind about the spreader's own 1.5, without the 0.49 farthest off
        (TWO_KINDS, [2] * 6, 0.25 + 0.16 + 0.36 + 0.25 + 0.04, 5 - 1),
        # two of three of a kind leave one degree of freedom: about 1.5, and none is left out
        (np.array([1.0, 1.2, 2.0]), [0, 0, 1], 0.25 + 0.09 + 0.25, 3 - 1),
        (np.array([1.3]), [0], 0.04, 0),
    ],
)
def test_squares_by_hand(each: np.ndarray, kinds: list[int], square: float, freedom: int) -> None:
    assert _scatter(each, np.array(kinds), 1.5) == pytest.approx((square, freedom))


def test_kinds_of_bags_are_numbered_by_the_set_of_them(tmp_path: Path) -> None:
    one = season(tmp_path, Plan(bags=(25.0, 20.0)), 4)
    known = evidence(one.balance)
    assert _kinds_of_bags(known).tolist() == [0, 1, 0, 1, 0, 1]


def test_each_spreader_has_the_strip_of_its_own_dressings(tmp_path: Path) -> None:
    """As if those of the other spreader had not been."""
    one = season(tmp_path, Plan(dressings=9), 4)
    spreader = np.array(["disc", "belt", "disc", "disc", "belt", "disc", "belt", "disc", "belt"])
    site = replace(one.site, dressings=replace(one.site.dressings, spreader=spreader))
    known = evidence(replace(one.balance, site=site))
    median, between = usual_strips(known)
    for k, name in enumerate(known.spreaders.tolist()):
        mine = np.flatnonzero(spreader == name)
        alone = replace(
            known,
            dressing=known.dressing[mine],
            spreaders=np.array([name]),
            spreader=np.zeros(len(mine), dtype=np.int64),
            spread=known.spread.rows(mine),
            on_surfaces=known.on_surfaces.rows(mine),
            edge_kg=known.edge_kg[mine],
        )
        own = known.overthrow_kg[mine] / known.edge_kg[mine]
        assert median[k] == pytest.approx(np.median(own))
        assert (median[k], between[k]) == pytest.approx([c[0] for c in usual_strips(alone)])
        assert 0 < between[k] < median[k]


def test_the_strip_of_one_dressing_alone_varies_by_a_quarter(tmp_path: Path) -> None:
    median, between = usual_strips(evidence(season(tmp_path, Plan(dressings=1), 4).balance))
    assert between == pytest.approx(0.25 * median, rel=1e-12)


def test_a_larger_site_has_the_same_strips(tmp_path: Path) -> None:
    """Ten times the sand along ten times the edge; some of the scatter is that of catches."""
    known = evidence(season(tmp_path, Plan(dressings=8, strip_scatter=0.5), 4).balance)
    larger = replace(
        known,
        spread=known.spread.scaled(10.0),
        on_surfaces=known.on_surfaces.scaled(10.0),
        edge_kg=10.0 * known.edge_kg,
    )
    found = usual_strips(known)
    assert np.stack(usual_strips(larger)) == pytest.approx(np.stack(found), rel=1e-9)
    without = {k: 0.0 * v for k, v in known.on_surfaces.effects.items()}
    sure = replace(known, on_surfaces=replace(known.on_surfaces, effects=without))
    assert usual_strips(sure)[1][0] > 1.02 * found[1][0]
