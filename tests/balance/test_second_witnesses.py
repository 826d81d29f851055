"""Other measurements of what a balance says: rings, bulk density, stock."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from geosand.balance.second_witnesses import (
    StockCounts,
    density_witness,
    ring_witness,
    stock_witness,
    unaccounted,
)
from geosand.formats.site_folder import read_site
from geosand.rates.surface_rates import site_rates
from geosand.site.tables import Deliveries
from tests.balance.seasons import Plan, season
from tests.balance.test_throw_fit import exact_site
from tests.sites import CATCHES, TOML, write_site

RINGS = Plan(ring_trays=4, u_label=0.002, u_efficiency=0.01, edge_bias=0.02)
DAYS = "datetime64[D]"


def counts(*rows: tuple[str, float, float]) -> StockCounts:
    date, mass, u = zip(*rows, strict=True)
    return StockCounts(
        date=np.array(date, dtype=DAYS),
        mass_kg=np.array(mass),
        u_mass_kg=np.array(u),
        sand=np.zeros(len(rows), dtype=np.int64),
    )


def stocked(folder: Path, *, loads: str, tickets: list[tuple[str, float]]):
    site = read_site(
        write_site(
            folder,
            dressings="dressing,date,surfaces\n"
            + "".join(f"D{k},2026-0{3 + k}-10,green\n" for k in (1, 2, 3)),
            loads=loads,
            catches=None,
        )
    )
    date, mass = zip(*tickets, strict=True)
    bought = Deliveries(
        date=np.array(date, dtype=DAYS),
        mass_kg=np.array(mass),
        sand=np.zeros(len(tickets), dtype=np.int64),
        ticket=np.array([f"T{k}" for k in range(len(tickets))]),
    )
    return replace(site, deliveries=bought)


LOADS = "load,dressing,count,unit_mass_kg,u_unit_mass_kg,u_label_percent,returned_kg\n" + "".join(
    f"L{k},D{k},100,25,0.25,1,{back}\n" for k, back in ((1, 0), (2, 100), (3, 0))
)


def test_trays_agree_with_the_throw_off_that_made_them(tmp_path: Path) -> None:
    """Known truth: trays that follow rate·(1 − x/2) beside a balance that closes at 2 m."""
    site, areas, rates, balance = exact_site(tmp_path, reach=2.0)
    witness = ring_witness(site, rates, balance)
    assert len(witness.catch) == 24
    by_hand = np.where(witness.catch < 18, 1.0, 0.5) * np.maximum(0, 1 - witness.outside_m / 2)
    assert witness.predicted_kg_m2 == pytest.approx(by_hand, abs=0.01)
    assert np.abs(witness.sigmas).max() < 0.5
    # a collar of 0.9 m: four distances in it, twice
    assert (witness.zone == "collar").sum() == 8
    rest = unaccounted(site, areas, rates, balance)
    assert rest.unaccounted.value[0] == pytest.approx(0, abs=2)
    assert not rest.findings


def test_sand_that_fell_elsewhere_stays_unaccounted(tmp_path: Path) -> None:
    """Planted: 500 kg of D3 tipped in the yard; the other dressings are innocent."""
    found, clean = [], []
    for seed in range(12):
        one = season(tmp_path / str(seed), replace(RINGS, lost={2: 500.0}), seed)
        rest = unaccounted(one.site, one.areas, one.rates, one.balance)
        found.append(rest.unaccounted.value[2])
        names = [f.about for f in rest.findings]
        assert "D3" in names
        clean.append(len(names) - 1)
        assert rest.unaccounted.u()[2] < 150
    assert np.mean(found) == pytest.approx(500, abs=60)
    assert np.mean(clean) <= 0.5  # of the five others


def test_no_ring_catches_no_witness(tmp_path: Path) -> None:
    one = season(tmp_path, Plan(), 1)
    rest = unaccounted(one.site, one.areas, one.rates, one.balance)
    assert np.isnan(rest.unaccounted.value).all()
    assert not rest.findings
    assert not len(ring_witness(one.site, one.rates, one.balance).catch)


def test_bulk_density_stated_against_measured(tmp_path: Path) -> None:
    """Six catches whose volumes make the sand 1.40, stated 1.55 ± 0.03."""
    rows = [c | {"volume_cm3": (c["gross_g"] - 50) / 1.40} for c in CATCHES]
    site = read_site(write_site(tmp_path, catches=rows))
    from geosand.areas.register import area_register

    witness = density_witness(site, site_rates(site, area_register(site.surfaces)))
    assert witness.readings.tolist() == [6]
    assert witness.measured[0] == pytest.approx(1400, abs=1)
    assert witness.u_measured[0] == pytest.approx(14, abs=0.1)  # no scatter: the least of 1 %
    assert witness.sigmas[0] == pytest.approx(-150 / np.hypot(30, 14), abs=0.02)


def test_no_stated_density_no_comparison(tmp_path: Path) -> None:
    toml = TOML.replace("bulk_density_g_cm3 = 1.55\n", "", 1)
    toml = toml.replace("u_bulk_density_g_cm3 = 0.03\n", "")
    rows = [c | {"volume_cm3": 60.0} for c in CATCHES]
    site = read_site(write_site(tmp_path, toml=toml, catches=rows))
    from geosand.areas.register import area_register

    witness = density_witness(site, site_rates(site, area_register(site.surfaces)))
    assert np.isnan(witness.sigmas[0])
    assert np.isfinite(witness.measured[0])


def test_stock_by_hand(tmp_path: Path) -> None:
    """(1000 + 9000) − (7400 + 2000) = 600 kg missing: equation (2) of US AEC Regulatory Guide 5.33
    with opening stock, receipts, removals and closing stock (arithmetic by hand).

    u: tickets √(5000² + 4000²)·0.5 % = 32.0; label 75 (1 % of 7500, shared by three loads: trap, as
    independent it would be 43.3); bags √300·0.25 = 4.3; counts 30 and 60. Together 105.7.
    """
    site = stocked(tmp_path, loads=LOADS, tickets=[("2026-03-20", 5000), ("2026-05-02", 4000)])
    stock = stock_witness(site, counts(("2026-03-01", 1000, 30), ("2026-08-01", 2000, 60)))
    assert stock.bought.value.tolist() == [9000]
    assert stock.taken.value.tolist() == [7400]
    assert stock.missing.value.tolist() == [600]
    assert stock.missing.u()[0] == pytest.approx(105.7, abs=0.1)
    assert "600 ± 106 kg were bought and are neither in the loads" in stock.findings[0].text


def test_only_what_happened_between_the_counts(tmp_path: Path) -> None:
    """Opening count after the first load and ticket, closing before the last load."""
    site = stocked(tmp_path, loads=LOADS, tickets=[("2026-03-20", 5000), ("2026-05-02", 4000)])
    stock = stock_witness(site, counts(("2026-04-20", 2500, np.nan), ("2026-05-20", 4100, np.nan)))
    assert stock.loads.tolist() == [[False, True, False]]
    assert stock.bought.value.tolist() == [4000]
    assert stock.missing.value.tolist() == [0]  # 2500 + 4000 − 2400 − 4100
    assert stock.missing.effects["closing count"][0] == pytest.approx(-0.03 * 4100)
    assert not stock.findings


def test_more_taken_than_bought(tmp_path: Path) -> None:
    """Planted: a delivery without a ticket. One count: the yard began empty."""
    site = stocked(tmp_path, loads=LOADS, tickets=[("2026-03-20", 5000)])
    stock = stock_witness(site, counts(("2026-08-01", 600, 20)))
    assert np.isnat(stock.opened[0])
    assert stock.missing.value[0] == 5000 - 7400 - 600
    assert "a delivery without a ticket" in stock.findings[0].text
