"""Balances of many sites in one call: each row is what its site gets alone."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
import pytest

from geosand.balance.account import Methods
from geosand.balance.closing import Closing
from geosand.balance.stock import stock_witness, weighings
from geosand.results import work_out
from geosand.site.stack import stacked
from tests.row_by_row import Beside, assert_same, told, worked


@pytest.fixture(scope="module")
def beside() -> Beside:
    return worked()


COLUMNS = ("spread", "on_surfaces", "overthrow", "on_interval", "interval", "fraction", "verdict")


@pytest.mark.parametrize("name", [*COLUMNS, "dressed_area_m2"])
def test_each_dressing_has_the_balance_of_its_site_alone(beside: Beside, name: str) -> None:
    found = getattr(beside.together.balance, name)
    for k, alone in enumerate(beside.alone):
        rows = beside.together.site.of_dressing == k
        assert_same(found, rows, getattr(alone.balance, name), beside.names(k))


def test_the_sites_differ_in_what_is_compared(beside: Beside) -> None:
    balance, groups = beside.together.balance, len(beside.together.balance.dressing_of_group)
    assert len(set(balance.verdict.tolist())) >= 4
    assert groups > len(beside.together.site.dressings)
    assert sum(bool(ways) for ways in balance.closing) > 3
    assert np.isnan(balance.spread.value).any()
    assert set(balance.methods.agree) == {True, False, None}


@pytest.mark.parametrize("name", [f.name for f in fields(Methods)])
def test_methods_agree_within_what_their_site_allows(beside: Beside, name: str) -> None:
    found = getattr(beside.together.balance.methods, name)
    for k, alone in enumerate(beside.alone):
        rows = beside.together.site.of_dressing == k
        assert_same(found, rows, getattr(alone.balance.methods, name))


def test_what_would_close_a_balance(beside: Beside) -> None:
    closing, of = beside.together.balance.closing, beside.together.site.of_dressing
    for k, alone in enumerate(beside.alone):
        for row, ways in zip(np.flatnonzero(of == k), alone.balance.closing, strict=True):
            assert [w.input for w in closing[row]] == [w.input for w in ways]
            assert numbers(closing[row]) == pytest.approx(numbers(ways), rel=1e-12)


def numbers(ways: object) -> list[float]:
    assert isinstance(ways, list)
    assert all(isinstance(way, Closing) for way in ways)
    return [x for way in ways for x in (way.change_percent, way.sigmas or 0.0)]


def test_groups_of_loads_are_numbered_on(beside: Beside) -> None:
    site, balance = beside.together.site, beside.together.balance
    of_row, of_group = (
        site.of_dressing[column] for column in (site.dressed.dressing, balance.dressing_of_group)
    )
    for k, alone in enumerate(beside.alone):
        assert_same(balance.surface_mass, of_row == k, alone.balance.surface_mass, beside.names(k))
        assert_same(
            balance.group_overthrow.value, of_group == k, alone.balance.group_overthrow.value
        )
        groups = np.flatnonzero(of_group == k)
        dressings = np.flatnonzero(site.of_dressing == k)
        if len(dressings) == 0:
            assert len(groups) == 0
            continue
        mine = balance.group_of_row[of_row == k] - groups[0]
        assert mine.tolist() == alone.balance.group_of_row.tolist()
        mine = balance.dressing_of_group[groups] - dressings[0]
        assert mine.tolist() == alone.balance.dressing_of_group.tolist()


def test_findings_say_which_site_they_are_of(beside: Beside) -> None:
    for k, alone in enumerate(beside.alone):
        assert told(beside.together.balance.findings, k) == told(alone.balance.findings)
    assert len({f.member for f in beside.together.balance.findings}) > 4


def test_the_yards_keep_their_sand_apart(beside: Beside) -> None:
    stack = beside.together.site
    counted = [k for k, site in enumerate(beside.sites) if len(site.stock_counts)]
    # the same yard again, one ticket short: another site's tickets may not fill the gap
    assert counted
    found, sand = stock_witness(stack), stack.of_sand
    for k in counted:
        alone = stock_witness(beside.sites[k])
        rows = sand[found.sand] == k
        assert_same(found.missing, rows, alone.missing, beside.names(k))
        loads = stack.of_dressing[stack.loads.dressing] == k
        assert found.loads[rows][:, loads].tolist() == alone.loads.tolist()
        assert not found.loads[rows][:, ~loads].any()
        assert len(told(found.findings, k)) == len(alone.findings)


def test_weighed_loads(beside: Beside) -> None:
    stack = beside.together.site
    found = weighings(stack)
    of = stack.of_dressing[stack.loads.dressing[stack.weighed.load]]
    assert len(set(of.tolist())) >= 1
    for k, site in enumerate(beside.sites):
        alone = weighings(site)
        for name in ("load", "stated_kg", "u_stated_kg", "weighed_kg", "sigmas"):
            assert_same(getattr(found, name), of == k, getattr(alone, name))
        assert told(found.findings, k) == told(alone.findings)


def test_all_findings_of_a_stack_are_those_of_its_sites(beside: Beside) -> None:
    for k, alone in enumerate(beside.alone):
        mine = [f for f in beside.together.findings if f.member == k]
        # sands have numbers in a stack: of findings about them only how many is told
        assert len(mine) == len(alone.findings), beside.sites[k].name


def test_no_site_changes_what_another_gets(beside: Beside) -> None:
    """Bit by bit, whatever lies beside it: neither sums nor searches go over all rows."""
    first, *rest = beside.sites[:8]
    expected = work_out(stacked([first])).balance
    size = len(first.dressings)
    for others in (rest[:3], rest[2:]):
        found = work_out(stacked([first, *others])).balance
        for name in ("spread", "on_surfaces", "overthrow"):
            one, alone = getattr(found, name), getattr(expected, name)
            np.testing.assert_array_equal(one.value[:size], alone.value)
            np.testing.assert_array_equal(one.u()[:size], alone.u())
        for name in ("on_interval", "interval"):
            for one, alone in zip(getattr(found, name), getattr(expected, name), strict=True):
                np.testing.assert_array_equal(one[:size], alone)
        # that a dressing of another site is divided leaves its groups as they were
        assert len(found.dressing_of_group) > len(found.verdict)
        groups = len(expected.dressing_of_group)
        np.testing.assert_array_equal(
            found.group_overthrow.value[:groups], expected.group_overthrow.value
        )
        assert numbers([w for ways in found.closing[:size] for w in ways]) == numbers(
            [w for ways in expected.closing for w in ways]
        )


def test_a_stack_of_sites_without_dressings() -> None:
    bare = [site for site in worked().sites if not len(site.dressings)]
    assert bare
    found = work_out(stacked([bare[0], replace(bare[0])]))
    assert len(found.balance.verdict) == 0
    assert found.findings == () or {f.member for f in found.findings} <= {0, 1}
