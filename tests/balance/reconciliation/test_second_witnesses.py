"""Other measurements of what a balance says: rings and bulk density."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from geosand.balance.reconciliation.second_witnesses import density_witness, unaccounted
from geosand.balance.stock import SIGNIFICANT
from geosand.formats.site_folder import read_site
from tests.balance.seasons import Plan, season
from tests.balance.test_throw_fit import exact_site
from tests.sites import CATCHES, TOML, write_site

RINGS = Plan(ring_trays=4, u_label=0.002, u_efficiency=0.01, edge_bias=0.02)


def test_trays_agree_with_the_throw_off_that_made_them(tmp_path: Path) -> None:
    """Known truth: trays that follow rate·(1 − x/2) beside a balance that closes at 2 m."""
    rest = unaccounted(exact_site(tmp_path, reach=2.0))
    assert rest.unaccounted.value[0] == pytest.approx(0, abs=2)
    assert rest.unaccounted.u()[0] > 1


def test_trays_that_hold_more_than_the_overthrow_are_told(tmp_path: Path) -> None:
    """Of 500 kg 600 lie on the greens, and beside them Σ rate·(P·L/2 + π·L²/3) for L = 2 m."""
    loads = "load,dressing,count,unit_mass_kg,u_unit_mass_kg,u_label_percent\nL1,D1,1,500,0.1,0.1\n"
    rest = unaccounted(exact_site(tmp_path, loads=loads))
    beside = 1.5 * (80 + np.pi * 4 / 3)
    assert rest.caught.value[0] == pytest.approx(beside, rel=0.02)
    assert rest.unaccounted.value[0] == pytest.approx(-100 - beside, abs=3)
    assert rest.unaccounted.u()[0] == pytest.approx(53.7, abs=0.5)


def test_sand_that_fell_elsewhere_stays_unaccounted(tmp_path: Path) -> None:
    """Planted: 500 kg of D3 tipped in the yard; the other dressings are innocent."""
    found, clean = [], []
    for seed in range(12):
        one = season(tmp_path / str(seed), replace(RINGS, lost={2: 500.0}), seed)
        rest = unaccounted(one.balance)
        found.append(rest.unaccounted.value[2])
        told = np.abs(rest.unaccounted.value) > SIGNIFICANT * rest.unaccounted.u()
        assert told[2]
        clean.append(told.sum() - 1)
        assert rest.unaccounted.u()[2] < 150
    assert np.mean(found) == pytest.approx(500, abs=60)
    assert np.mean(clean) <= 0.5  # of the five others


def test_no_ring_catches_no_witness(tmp_path: Path) -> None:
    one = season(tmp_path, Plan(), 1)
    rest = unaccounted(one.balance)
    assert np.isnan(rest.unaccounted.value).all()
    assert not rest.catches.any()


def test_bulk_density_stated_against_measured(tmp_path: Path) -> None:
    """Six catches whose volumes make the sand 1.40, stated 1.55 ± 0.03."""
    rows = [c | {"volume_cm3": (c["gross_g"] - 50) / 1.40} for c in CATCHES]
    site = read_site(write_site(tmp_path, catches=rows))
    witness = density_witness(site)
    assert witness.measured[0] == pytest.approx(1400, abs=1)
    assert witness.u_measured[0] == pytest.approx(14, abs=0.1)  # no scatter: the least of 1 %
    assert witness.sigmas[0] == pytest.approx(-150 / np.hypot(30, 14), abs=0.02)


def test_a_pooled_weighing_is_one_reading_of_the_density(tmp_path: Path) -> None:
    """142 g in two trays whose volumes are 60 and 40 cm³: 1.42, not 142/2/60 or 142/2/40."""
    one, two = (c | {"pool": "p", "volume_state": "dry"} for c in CATCHES[:2])
    rows = [one | {"gross_g": 50 + 142, "volume_cm3": 60}, two | {"volume_cm3": 40}]
    rows[1] |= {"tare_g": "", "gross_g": ""}
    site = read_site(write_site(tmp_path, catches=[*rows, *CATCHES[3:]]))
    assert density_witness(site).measured[0] == pytest.approx(1420)


def test_no_stated_density_no_comparison(tmp_path: Path) -> None:
    toml = TOML.replace("bulk_density_g_cm3 = 1.55\n", "", 1)
    toml = toml.replace("u_bulk_density_g_cm3 = 0.03\n", "")
    rows = [c | {"volume_cm3": 60.0} for c in CATCHES]
    site = read_site(write_site(tmp_path, toml=toml, catches=rows))
    witness = density_witness(site)
    assert np.isnan(witness.sigmas[0])
    assert np.isfinite(witness.measured[0])


def test_stated_and_measured_density_side_by_side(tmp_path: Path) -> None:
    """Three readings of 1.60 g/cm³, known to 1 %: 1600 ± 16 kg/m³ beside 1550 ± 30 or nothing."""
    catches = [
        c | {"volume_cm3": (c["gross_g"] - 50) / 1.6, "volume_state": "dry"} for c in CATCHES[:3]
    ]
    stated, unsaid = (
        density_witness(read_site(write_site(tmp_path / name, toml=toml, catches=catches)))
        for name, toml in (
            ("a", TOML),
            ("b", TOML.replace("bulk_density_g_cm3 = 1.55\nu_bulk_density_g_cm3 = 0.03\n", "")),
        )
    )
    assert (stated.stated.tolist(), stated.u_stated.tolist()) == ([1550.0], [30.0])
    for one in (stated, unsaid):
        assert one.measured == pytest.approx([1600.0], rel=1e-4)
        assert one.u_measured == pytest.approx([16.0], rel=1e-4)
    assert stated.sigmas == pytest.approx([50 / np.hypot(30, 16)], rel=1e-3)
    assert np.isnan([*unsaid.stated, *unsaid.u_stated, *unsaid.sigmas]).all()
