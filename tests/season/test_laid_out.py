"""What is told of a dressing whose loads name their surfaces: of its parts that threw sand over."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from geosand.formats.site_folder import read_site
from geosand.reports.balance_document import balance_document
from geosand.results import Results, work_out
from geosand.season.ring_totals import laid_out, ring_limits
from tests.sites import table, write_site
from tests.stack_places import Place, dressing, greens, load, said, trays

BAGS = {("D1", "g1"): 16, ("D1", "g2"): 22, ("D1", "g3"): 17, ("D2", "g1"): 10, ("D2", "g2 g3"): 30}
PLACE = Place(20.0, -40.0)


@pytest.fixture(scope="module")
def parted(tmp_path_factory: pytest.TempPathFactory) -> Results:
    """D1 throws over beside g1 and g2 and claims too much of g3, D2 of all; D3 is whole."""
    loads = [load(f"L{k}", d, n, surfaces=s) for k, ((d, s), n) in enumerate(BAGS.items())]
    folder = write_site(
        tmp_path_factory.mktemp("parted") / "site",
        toml=said("Parts"),
        surfaces=greens(PLACE),
        dressings=table([dressing(f"D{k}", f"2026-0{k + 3}-10") for k in (1, 2, 3)]),
        loads=table([*loads, load("L9", "D3", 60)]),
        catches=[tray for k in (1, 2, 3) for tray in trays(PLACE, f"D{k}", k)],
    )
    return work_out(read_site(folder))


def test_strip_and_reach_are_of_the_parts_that_threw_over(parted: Results) -> None:
    """Overthrow over Σ rate · perimeter of these parts; their reaches weighted by the overthrow."""
    balance, dressed = parted.balance, parted.site.dressed
    over = balance.group_overthrow.value
    assert (over > 0).tolist() == [True, True, False, False, False, True]
    edge_kg_m = parted.rates.rate.value * parted.areas.perimeter_m[dressed.surface]
    told, thrown = laid_out(balance), over[:2]
    assert told["strip_width_m"][0] == pytest.approx(thrown.sum() / edge_kg_m[:2].sum())
    reach = balance.throw.reach_m
    assert reach[1] > 1.5 * reach[0]  # else any mean would do
    assert told["reach_m"][0] == pytest.approx((thrown * reach[:2]).sum() / thrown.sum())
    assert told["strip_width_m"][2] == pytest.approx(over[5] / edge_kg_m[6:].sum())
    assert told["reach_m"][2] == reach[5]


def test_zones_are_the_sums_over_the_surfaces(parted: Results) -> None:
    balance, told = parted.balance, laid_out(parted.balance)
    throw = balance.throw
    for zone in ("collar_kg", "surrounds_kg"):
        assert told[zone][0] == pytest.approx(getattr(throw, zone)[:2].sum())
        assert told[zone][2] == pytest.approx(getattr(throw, zone)[6:].sum())
    zones = told["collar_kg"] + told["surrounds_kg"] + told["farther_kg"]
    over = balance.group_overthrow.value
    assert zones[[0, 2]] == pytest.approx([over[0] + over[1], over[5]])
    assert told["collar_low_kg"][0] == pytest.approx(throw.collar_low_kg[:2].sum())
    assert told["collar_high_kg"][0] == pytest.approx(throw.collar_high_kg[:2].sum())
    assert told["collar_low_kg"][0] < told["collar_kg"][0] < told["collar_high_kg"][0]
    assert {name for name, column in told.items() if not np.isnan(column[1])} == set()


def test_what_rounding_leaves_is_no_sand(parted: Results) -> None:
    """1e-12 kg of some hundreds come of differences of sums; a gram is sand."""
    throw = parted.balance.throw
    for farther, told in ((1e-12, 0.0), (-1e-12, 0.0), (1e-3, 1e-3)):
        changed = replace(throw, group_farther_kg=np.array([farther, 0, 0, 0, 0, 0]))
        found = laid_out(replace(parted.balance, throw=changed))["farther_kg"]
        assert found[0] == pytest.approx(told, rel=1e-12, abs=0)


def test_documents_tell_them_with_the_limits_of_each_dressing_alone(parted: Results) -> None:
    rows: list[dict[str, Any]] = [d["overthrow"] for d in balance_document(parted)["dressings"]]
    told, dressed = laid_out(parted.balance), parted.site.dressed
    for k in (0, 2):
        alone = ring_limits(parted.balance, np.where(dressed.dressing == k, 0, -1), 1)
        for row, zone in enumerate(("collar", "surrounds")):
            limits = [rows[k][f"{zone}_{end}_kg"] for end in ("least", "most")]
            assert limits == pytest.approx([alone.low[row], alone.high[row]], rel=1e-8)
        assert {name: rows[k][name] for name in told} == pytest.approx(
            {name: float(column[k]) for name, column in told.items()}, rel=1e-8
        )
        assert rows[k]["no_rings"] is None
    ends = {f"{zone}_{end}_kg" for zone in ("collar", "surrounds") for end in ("least", "most")}
    assert {rows[1][name] for name in {*told, *ends}} == {None}
    assert rows[1]["no_rings"].startswith("there is no overthrow")
