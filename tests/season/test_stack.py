"""Ledgers of many sites in one call: each row is what its site gets alone."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from geosand.errors import Refused
from geosand.formats.site_folder import read_site
from geosand.results import work_out
from geosand.season.ledger import NO_TARGET, NOT_MEASURED
from geosand.season.totals import season_totals, sums_of_dressings
from geosand.site.stack import stacked
from geosand.site.tables import Site
from tests.row_by_row import Beside, assert_same, told, worked
from tests.sites import table, write_site
from tests.stack_places import Place, dressing, greens, load, said, trays

COLUMNS = ("depth", "interval", "target_m", "target_so_far_m", "shortfall_m", "state")
COLUMNS += ("probability", "dressings", "measured", "own", "in_holes_m", "surface_m")
DAY = np.datetime64("2026-05-20")


@pytest.fixture(scope="module")
def beside() -> Beside:
    return worked()


@pytest.fixture(scope="module")
def in_may(beside: Beside) -> Beside:
    """The same account on a day before the last record of most."""
    return Beside(
        sites=beside.sites,
        together=work_out(stacked(beside.sites), as_of=DAY),
        alone=[work_out(site, as_of=DAY) for site in beside.sites],
    )


@pytest.mark.parametrize("name", COLUMNS)
@pytest.mark.parametrize("account", ["beside", "in_may"])
def test_each_surface_stands_as_in_its_site_alone(
    name: str, account: str, request: pytest.FixtureRequest
) -> None:
    beside: Beside = request.getfixturevalue(account)
    stack, ledger = beside.together.site, beside.together.ledger
    for k, alone in enumerate(beside.alone):
        rows = stack.of_surface[ledger.row] == k
        assert_same(getattr(ledger, name), rows, getattr(alone.ledger, name), beside.names(k))
        mine = ledger.row[rows] - np.flatnonzero(stack.of_surface == k)[0]
        assert mine.tolist() == alone.ledger.row.tolist()


def test_the_sites_differ_in_what_is_compared(beside: Beside) -> None:
    ledger = beside.together.ledger
    assert {NOT_MEASURED, NO_TARGET, "under-dressed"} < set(ledger.state.tolist())
    assert (ledger.in_holes_m > 0).any()
    assert np.isnat(beside.together.site.members.season_end).any()
    assert len(set(ledger.days.tolist())) > 4


def test_each_site_has_a_day_of_its_own(beside: Beside, in_may: Beside) -> None:
    days = beside.together.ledger.days
    assert days.tolist() == [alone.ledger.as_of.tolist() for alone in beside.alone]
    assert np.isnat(beside.together.ledger.as_of)
    assert set(in_may.together.ledger.days.tolist()) == {DAY.tolist()}
    for k, alone in enumerate(beside.alone):
        site = beside.together.site
        rows = site.of_dressing[site.dressed.dressing] == k
        assert_same(beside.together.ledger.counted, rows, alone.ledger.counted)


@pytest.mark.parametrize("name", ["id", "zone", "depth", "mass_kg"])
def test_each_ring_has_what_built_up_beside_its_surface(beside: Beside, name: str) -> None:
    rings, of_id = beside.together.ledger.rings, beside.together.site.of_id
    for k, alone in enumerate(beside.alone):
        rows = of_id[rings.ground] == k
        assert_same(getattr(rings, name), rows, getattr(alone.ledger.rings, name), beside.names(k))
    assert np.isfinite(rings.depth_m).any()
    assert np.isnan(rings.depth_m).any()


@pytest.mark.parametrize("name", ["spread", "on_surfaces", "overthrow"])
def test_each_site_has_totals_of_its_own(beside: Beside, name: str) -> None:
    r = beside.together
    counted = np.flatnonzero(np.isfinite(r.balance.overthrow.value))
    of, size = r.site.of_dressing[counted], len(beside.sites)
    found = sums_of_dressings(r.balance, counted, of, size)[name]
    for k, alone in enumerate(beside.alone):
        every = np.ones(len(alone.site.dressings), dtype=np.bool_)
        one = season_totals(alone.balance, every)[name]
        np.testing.assert_allclose(found.value[k], one.value[0], rtol=1e-12)
        np.testing.assert_allclose(found.u()[k], one.u()[0], rtol=1e-12)
    assert np.count_nonzero(found.u()) > 3


def forgetful(folder: Path, lat: float, dressed: str, **changes: str | None) -> Site:
    """Of three greens with a target some have no dressing, and none a planned depth."""
    place = Place(-12.0, lat)
    row = dressing("D1", "2026-04-10", dressed, planned_depth_mm="")
    toml = said(folder.name, **changes)
    return read_site(
        write_site(
            folder,
            toml=toml,
            surfaces=greens(place),
            dressings=table([row]),
            loads=table([load("L1", "D1", 20)]),
            catches=[c for c in trays(place, "D1", 1) if c["catch"] == "D1c0"],
        )
    )


def test_findings_say_which_site_they_are_of(beside: Beside, tmp_path: Path) -> None:
    sites = [
        forgetful(tmp_path / "two", 40.0, "g1"),
        beside.sites[3],
        forgetful(tmp_path / "one", 41.0, "g1 g2", season_end=None),
        forgetful(tmp_path / "none", 42.0, "g1 g2 g3", season_end=None),
    ]
    together = work_out(stacked(sites)).ledger.findings
    for k, site in enumerate(sites):
        assert told(together, k) == told(work_out(site).ledger.findings)
    never, plan = "has a target and no dressing so far", "no target so far can be told"
    assert told(together, 0)[0][:2] == (
        "2 surfaces",
        "have a target and no dressing so far: g2, g3",
    )
    assert [(about, text[: len(plan)]) for about, text, _ in told(together, 2)] == [
        ("g3", never[: len(plan)]),
        ("green", plan),
    ]
    assert [about for about, _, _ in told(together, 3)] == ["green"]


def test_planned_depths_of_one_site_are_none_of_anothers(tmp_path: Path, beside: Beside) -> None:
    """Kinds of the same name: what one site planned is not what the other's skipped green gets."""
    (planned,) = [site for site in beside.sites if site.name.startswith("Holes")]
    bare = forgetful(tmp_path / "bare", 40.0, "g1", season_end=None)
    ledger = work_out(stacked([bare, planned, bare])).ledger
    so_far = ledger.target_so_far_m
    alone = work_out(planned).ledger.target_so_far_m
    assert np.isnan(so_far[:3]).all()
    assert np.isnan(so_far[-3:]).all()
    assert so_far[3:-3].tolist() == alone.tolist()
    assert np.isfinite(alone).all()


def test_a_day_before_the_season_of_one_of_them_is_refused(beside: Beside) -> None:
    with pytest.raises(Refused, match="the season starts on") as refused:
        work_out(stacked(beside.sites), as_of=np.datetime64("2026-01-15"))
    starts = {str(site.season_start) for site in beside.sites}
    late = {day for day in starts if day > "2026-01-15"}
    assert late
    told_of = {f.found.removeprefix("the season starts on ")[:10] for f in refused.value.faults}
    assert told_of == late


def test_no_site_changes_what_another_gets(beside: Beside) -> None:
    """Bit by bit, whatever lies beside it."""
    first, *rest = beside.sites[:8]
    expected = work_out(stacked([first])).ledger
    for others in (rest[:2], rest[2:]):
        found = work_out(stacked([first, *others])).ledger
        size = len(expected.row)
        np.testing.assert_array_equal(found.depth.u()[:size], expected.depth.u())
        for name in ("target_so_far_m", "probability", "in_holes_m", "state"):
            np.testing.assert_array_equal(getattr(found, name)[:size], getattr(expected, name))
        mine = found.rings.ground < len(first.ids)
        np.testing.assert_array_equal(found.rings.depth.u()[mine], expected.rings.depth.u())
