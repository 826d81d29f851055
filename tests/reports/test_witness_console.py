"""How the console tells what a season's balances say together."""

from __future__ import annotations

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
