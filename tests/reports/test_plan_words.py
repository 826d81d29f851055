"""Sentences of a plan, from documents whose sums and shares are worked by hand."""

from __future__ import annotations

from typing import Any

import pytest

from geosand.reports.plan_words import load_lines, plan_lines, units_cell

Document = dict[str, Any]


def heading(forced: float, worst: float, last: float | None) -> Document:
    told = {"heading_deg": 40.0, "forced_kg": forced, "saving_against_worst_kg": worst}
    return told | {"saving_against_last_kg": last}


def row(name: str, **figures: Any) -> Document:
    usual = {"depth_mm": 0.5, "mass_kg": 200.0, "heading": None, "setting": None, "note": ""}
    return {"id": name, "kind": "green", **usual, **figures}


def plan(*surfaces: Document, sand: Document | None = None, **lists: Any) -> Document:
    """4 t to spread, of which the order covers what the stock does not."""
    usual: Document = {"name": "dried", "needed_kg": 4000.0, "needed_at_assurance_kg": 4400.0}
    usual |= {"on_surfaces_kg": 3500.0, "overthrow_kg": 500.0, "overthrow_low_kg": 300.0}
    usual |= {"overthrow_high_kg": 700.0, "order_kg": 3400.0, "units": 136, "unit_mass_kg": 25.0}
    usual |= {"moisture_dry_basis_percent": 0.0, "bulk_density_kg_m3": 1600.0, "assurance": 0.9}
    usual |= {"stock_kg": 1000.0, "u_stock_kg": 0.0, "stock_from": "deliveries less loads"}
    usual |= {"holes_take_mm": None, "in_holes_kg": None, "load_kg": 25.0, "load_from": "one unit"}
    spreader = {"name": "belt", "strip_width_m": None, "setting_by_word": []}
    crew = {"dressings": [], "more_than_planned_percent": 0.0, "u_percent": 5.0}
    route = {"order": "a short way", "from_a_start": False, "length_m": 1234.0}
    told = {"spreader": spreader, "crew": crew, "route": route, "findings": [], "loads": []}
    return {**told, "surfaces": list(surfaces), "sand": usual | (sand or {}), **lists}


def said(document: Document, units: Any = "metric") -> str:
    return "\n".join(plan_lines(document, units))


def test_what_is_ordered_and_why() -> None:
    text = said(plan(row("g1"), row("g2")))
    assert (
        "Order dried: 3\u202f400 kg, so 136 units of 25 kg (3.40 t; 2.1 m³ if dry and poured)"
        in text
    )
    assert "Stock: 1\u202f000 kg, deliveries less loads, is subtracted." in text
    assert "Needed 4\u202f000 kg; with 90 % assurance 4\u202f400 kg." in text
    assert "overthrow to expect 500 kg (95 % 300 to 700), both dry." in text
    assert "The crew is taken to hit the planned rate to ± 5 %" in text
    assert "Order of work: a short way; 1\u202f234 m from g1 on, in straight lines." in text


@pytest.mark.parametrize(
    ("order_kg", "also"), [(80.0, " (0.08 t; 0.1 m³ if dry"), (42.0, " (0.04 t)."), (4.0, ".")]
)
def test_a_little_sand_is_not_told_as_none(order_kg: float, also: str) -> None:
    """0.05 m³ of 1,600 kg/m³ or so are shown as 0.1, less as nothing."""
    text = said(plan(row("g1"), sand={"order_kg": order_kg, "units": None}))
    assert f"Order dried: {order_kg:.0f} kg{also}" in text


def test_wet_sand_is_more_to_order_than_it_fills() -> None:
    """3.3 t with 10 % of water are 3 t of dry sand: 2 m³ of 1500 kg/m³."""
    wet = {"order_kg": 3300.0, "moisture_dry_basis_percent": 10.0, "bulk_density_kg_m3": 1500.0}
    text = said(plan(row("g1"), sand={**wet, "units": 1}))
    assert "so 1 unit of 25 kg, as delivered" in text
    assert "2.0 m³ if dry and poured" in text
    assert "Needed 4\u202f000 kg as delivered (water 10.0 % of the dry mass);" in text


@pytest.mark.parametrize(
    ("sand", "text"),
    [
        ({"stock_kg": 0.0}, "Stock: 0 kg, deliveries less loads, nothing left."),
        ({"u_stock_kg": 60.0}, "1\u202f000 kg (u 60 kg, allowed for), deliveries less loads, is"),
        ({"stock_kg": -80.0}, "loads exceed deliveries by 80 kg: a delivery is missing; it counts"),
        ({"stock_from": None}, "no delivery of this sand is recorded; it is not known and counts"),
        ({"order_kg": 0.0}, "No sand need be ordered: 1\u202f000 kg in stock covers it."),
        ({"overthrow_high_kg": None}, "3\u202f500 kg, dry; overthrow is not known and not in the"),
        ({"overthrow_high_kg": None}, "90 % assurance 4\u202f400 kg if nothing is thrown over."),
        (
            {"holes_take_mm": 0.31, "in_holes_kg": 1240.0},
            "The holes take 0.31 mm and fill first: 1\u202f240 kg dry of the sand goes into them.",
        ),
    ],
)
def test_each_state_of_the_sand_has_its_sentence(sand: Document, text: str) -> None:
    assert text in said(plan(row("g1"), sand=sand))
    assert text not in said(plan(row("g1")))


def test_headings_are_held_against_the_worst_and_the_last_ones() -> None:
    """30 + 10 kg forced, 60 + 60 less than at the worst (160): 75 %; 10 of 30 + 10 kg is 25 %."""
    both = plan(row("g1", heading=heading(30, 60, 10)), row("g2", heading=heading(10, 60, None)))
    assert (
        "At these headings full-width passes that never shut off early throw 40 kg beside the"
        " surfaces: 120 kg (75 %) less than at the worst ones (column saves), 10 kg (25 %) less"
        " than as last driven on the 1 where it is known."
    ) in said(both)
    # 5 kg more than the 15 kg of last time
    worse = plan(row("g1", heading=heading(20, 0, -5)))
    assert "0 kg (0 %) less than at the worst ones (column saves), 5 kg (33 %) more than as" in (
        said(worse)
    )
    assert "more than as last driven." in said(worse)
    assert "headings" not in said(plan(row("g1")))


def test_what_gets_hardly_any_sand_is_told() -> None:
    rows = [row("g1", depth_mm=0.09), row("g2", depth_mm=0.1), row("g3", depth_mm=0.0)]
    assert "Hardly worth the way: g1 needs less than 0.10 mm; --min-depth leaves" in said(
        plan(*rows)
    )
    rows[1]["depth_mm"] = 0.05
    assert "Hardly worth the way: 2 surfaces need less than 0.10 mm;" in said(plan(*rows))
    assert "Hardly worth" not in said(plan(row("g1")))


def load(number: int, on: dict[str, float], refill: str | None, far: float | None) -> Document:
    parts = [{"id": name, "delivered_kg": kg} for name, kg in on.items()]
    told = {"load": number, "surfaces": parts, "delivered_kg": sum(on.values())}
    return told | {"refill_on": refill, "to_start_m": far}


def test_loads_that_are_alike_share_a_line() -> None:
    loads = [
        load(1, {"g1": 600.0}, "g1", 120.0),
        load(2, {"g1": 600.0}, "g1", 120.0),
        load(3, {"g1": 100.0, "g2": 500.0}, "g2", None),
        load(4, {"g2": 550.0}, None, None),
    ]
    large = {"load_kg": 600.0, "load_from": "--load"}
    document = plan(row("g1"), row("g2"), sand=large, loads=loads)
    assert load_lines(document, "metric") == [
        "Loads 1–2: g1 600 kg each; refill on g1, 120 m from the start.",
        "Load 3: g1 100 kg, g2 500 kg; refill on g2.",
        "Load 4: g2 550 kg.",
    ]
    bags = [load(k, {"g1": 25.0}, "g1", None) for k in range(1, 12)]
    assert load_lines(plan(row("g1"), loads=bags), "metric") == [
        "Loads: 11 of 25 kg; --load tells what the spreader holds at a time."
    ]
    (many,) = load_lines(plan(row("g1"), loads=bags * 123), "metric")
    assert many.startswith("Loads: 1\u202f353 of 25 kg; ")
    assert len(load_lines(plan(*[row(f"g{k}") for k in range(6)], loads=bags), "metric")) == 1


def test_a_little_sand_is_not_no_units() -> None:
    """29 kg of a 1,000 kg bag is no 0.0 bags."""
    counts = {3.74: "3.7", 0.0952: "0.1", 0.0293: "0.03", 0.0049: "0.005", 0.0: "–"}
    assert {n: units_cell({"units": n}) for n in counts} == counts
    assert units_cell({"units": None}) == "–"


@pytest.mark.parametrize(
    ("scatter", "words"),
    [
        (99.4, "; 95 % of dressings fall within ± 99 % of the rate."),
        (382.0, "; it tells little: dressings may differ from it by more than the rate itself."),
        (None, "."),
    ],
)
def test_a_scatter_beyond_the_rate_itself_is_no_figure(scatter: float | None, words: str) -> None:
    """Two dressings with one degree of freedom: t is 12.7 (NIST/SEMATECH e-Handbook 1.3.6.7.2)."""
    document = plan(row("g1", setting={"refused": "", "setting": 3.0, "passes": 1}))
    document["spreader"] |= {"setting_from": "a line through the origin, from 2 dressings"}
    document["spreader"] |= {"setting_words": ("", ""), "setting_scatter_percent": scatter}
    line = f"Setting: a line through the origin, from 2 dressings{words}"
    assert line in said(document).splitlines()
