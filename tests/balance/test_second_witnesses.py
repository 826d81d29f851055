"""Other measurements of what a balance says: rings and bulk density."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from geosand.balance.second_witnesses import density_witness, unaccounted
from geosand.formats.site_folder import read_site
from tests.balance.seasons import Plan, season
from tests.balance.test_throw_fit import exact_site
from tests.sites import CATCHES, TOML, write_site

RINGS = Plan(ring_trays=4, u_label=0.002, u_efficiency=0.01, edge_bias=0.02)


def test_trays_agree_with_the_throw_off_that_made_them(tmp_path: Path) -> None:
    """Known truth: trays that follow rate·(1 − x/2) beside a balance that closes at 2 m."""
    site, areas, rates, balance = exact_site(tmp_path, reach=2.0)
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
