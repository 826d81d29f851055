"""How the console tells what a season's balances say together."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest

from geosand.balance.reconciliation import reconcile
from geosand.reports.witness_console import _season_lines
from geosand.reports.words import Units
from tests.balance.seasons import Plan, season


@pytest.mark.parametrize(
    ("units", "changes"),
    # 0.155 g/cm³ are 155 · 0.3048³ / 0.45359237 lb/ft³
    [("metric", ("+0.155 g/cm³", "−0.155 g/cm³")), ("us", ("+9.68 lb/ft³", "−9.68 lb/ft³"))],
)
def test_changes_are_in_the_sites_units(
    tmp_path: Path, units: Units, changes: tuple[str, str]
) -> None:
    """Trays filled to a tenth more than the bulk density that is stated."""
    one = season(tmp_path, Plan(), 5)
    volume = one.site.catches.caught_kg / (1.1 * 1550.0)
    site = replace(one.site, catches=replace(one.site.catches, volume_m3=volume))
    first, *_ = _season_lines(reconcile(site, one.areas, one.rates, one.balance), units)
    stated, measured = changes
    assert first.endswith(
        f"one of bulk density: dried ({stated}), volumes of the catches: dried ({measured})"
    )
    assert "kg/m³" not in first


@pytest.mark.parametrize(("units", "mass"), [("metric", "kg"), ("us", "lb")])
def test_what_is_not_told_apart_is_said_once_and_then_what_would_tell(
    tmp_path: Path, units: Units, mass: str
) -> None:
    """Without trays beside the edges the strip hides bags, trays and edge of the one spreader."""
    one = season(tmp_path, Plan(bags=(25.0, 1000.0)), 5)
    found = reconcile(one.site, one.areas, one.rates, one.balance)
    lines = _season_lines(found, units)
    heads = [line for line in lines if line.startswith("can not be told apart by these data: ")]
    assert len(heads) == len(set(heads)) >= 1
    told = [line for line in lines if line.startswith("  ")]
    assert len(told) == len(found.would_tell) >= 2
    assert all(re.search(rf": leaves ± [\d\u202f]+ {mass} open(;|$)", line) for line in told)
    bag = {"metric": "1\u202f000 kg", "us": "2\u202f205 lb (1\u202f000 kg)"}[units]
    assert any(bag in line for line in lines)
    assert not any(re.search(rf"\d{{4}} {mass}", line) for line in lines)
