"""Mass is kept, and figures move the way that they must (random sites)."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from tests.properties.random_sites import Rows, documents, random_sites
from tests.properties.test_invariance import SMALL


def dressings(rows: Rows) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = documents(rows)[0]["dressings"]
    return found


@SMALL
@given(random_sites())
def test_no_sand_comes_from_nowhere(rows: Rows) -> None:
    for dressing in dressings(rows):
        loads = [row for row in rows.loads if row["dressing"] == dressing["dressing"]]
        spread = sum(row["count"] * row["unit_mass_kg"] - row["returned_kg"] for row in loads)
        assert dressing["spread"]["mass_kg"] == pytest.approx(spread)
        on_surfaces = dressing["on_surfaces"]["mass_kg"]
        if on_surfaces is None:
            continue
        parts = sum(row["mass_kg"] for row in dressing["surfaces"])
        assert parts == pytest.approx(on_surfaces)
        over = dressing["overthrow"]
        assert over["mass_kg"] == pytest.approx(spread - on_surfaces)
        places = [over[f"{name}_kg"] for name in ("collar", "surrounds", "farther")]
        if over["mass_kg"] > 0:
            assert sum(places) == pytest.approx(over["mass_kg"], rel=1e-6)
            assert min(places) >= 0
        else:
            assert not any(places)


@SMALL
@given(random_sites())
def test_depth_is_rate_over_density_and_mass_is_rate_times_area(rows: Rows) -> None:
    for dressing in dressings(rows):
        for row in dressing["surfaces"]:
            if row["rate_kg_m2"] is not None:
                assert row["mass_kg"] == pytest.approx(row["rate_kg_m2"] * row["area_m2"])
                assert row["depth_mm"] == pytest.approx(row["rate_kg_m2"] / 1550 * 1000)
                assert 0 <= row["low_mm"] <= row["depth_mm"] <= row["high_mm"]


@SMALL
@given(random_sites(), st.floats(1, 40))
def test_a_heavier_tare_is_less_sand(rows: Rows, more: float) -> None:
    assume(rows.catches)
    other = rows.twin()
    for row in other.catches:
        row["tare_g"] += more
    for one, two in zip(dressings(rows), dressings(other), strict=True):
        if one["on_surfaces"]["mass_kg"] is not None:
            assert two["on_surfaces"]["mass_kg"] < one["on_surfaces"]["mass_kg"]
            assert two["overthrow"]["mass_kg"] > one["overthrow"]["mass_kg"]


@SMALL
@given(random_sites(), st.floats(1, 10))
def test_more_bags_are_more_overthrow_and_nothing_else(rows: Rows, more: float) -> None:
    other = rows.twin()
    other.loads[0]["count"] += more
    one, two = dressings(rows)[0], dressings(other)[0]
    assert two["spread"]["mass_kg"] == pytest.approx(one["spread"]["mass_kg"] + 25 * more)
    assert two["on_surfaces"] == one["on_surfaces"]
    if one["overthrow"]["mass_kg"] is not None:
        assert two["overthrow"]["mass_kg"] > one["overthrow"]["mass_kg"]


@SMALL
@given(random_sites())
def test_returned_sand_was_not_spread(rows: Rows) -> None:
    other = rows.twin()
    other.loads[0]["returned_kg"] += 10
    one, two = dressings(rows)[0], dressings(other)[0]
    assert two["spread"]["mass_kg"] == pytest.approx(one["spread"]["mass_kg"] - 10)


@SMALL
@given(random_sites())
def test_shares_of_a_budget_are_one_and_sources_add_up(rows: Rows) -> None:
    for dressing in dressings(rows):
        if dressing["budget"]:
            assert sum(row["share"] for row in dressing["budget"]) == pytest.approx(1)
            u = sum(row["u_kg"] ** 2 for row in dressing["budget"]) ** 0.5
            assert u == pytest.approx(dressing["overthrow"]["u_kg"], rel=1e-6)


@SMALL
@given(random_sites())
def test_states_have_a_probability_and_depths_add_up(rows: Rows) -> None:
    balance, season = documents(rows)
    for row in season["surfaces"]:
        if row["probability"] is not None:
            assert 1 / 3 - 1e-9 <= row["probability"] <= 1
        depths = [
            s["depth_mm"]
            for dressing in balance["dressings"]
            for s in dressing["surfaces"]
            if s["id"] == row["id"]
        ]
        if depths and all(d is not None for d in depths):
            assert row["depth_mm"] == pytest.approx(sum(depths))


@SMALL
@given(random_sites(), st.floats(0.5, 8))
def test_wetter_sand_is_less_dry_sand(rows: Rows, water: float) -> None:
    """The same weighed loads, and the same weighed catches, hold 1/(1 + w) of dry sand."""
    other = rows.twin()
    for row in (*other.loads, *other.catches):
        row["moisture_dry_basis_percent"] = water
    dry = 1 / (1 + water / 100)
    for one, two in zip(dressings(rows), dressings(other), strict=True):
        assert two["spread"]["mass_kg"] == pytest.approx(one["spread"]["mass_kg"] * dry, rel=1e-7)
        if one["on_surfaces"]["mass_kg"] is not None:
            expected = one["on_surfaces"]["mass_kg"] * dry
            assert two["on_surfaces"]["mass_kg"] == pytest.approx(expected, rel=1e-6)


@SMALL
@given(random_sites(), st.floats(1.05, 2.0))
def test_larger_trays_with_the_same_sand_are_a_lower_rate(rows: Rows, factor: float) -> None:
    assume(rows.catches)
    other = rows.twin()
    for row in other.catches:
        row["tray_length_mm"] *= factor
    for one, two in zip(dressings(rows), dressings(other), strict=True):
        if one["on_surfaces"]["mass_kg"] is not None:
            expected = one["on_surfaces"]["mass_kg"] / factor
            assert two["on_surfaces"]["mass_kg"] == pytest.approx(expected, rel=1e-6)
