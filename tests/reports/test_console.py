"""What the console says of one dressing."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from geosand.formats.site_folder import read_site
from geosand.reports.console import balance_notes, season_table, totals
from geosand.reports.words import merged_findings
from geosand.results import work_out
from tests.sites import CATCHES, catch, table

# R package spreval 1.1.0 (G. Grabow, NC State), reference pages CU and DU: 69.14 and 49.62 %
SPREVAL = (47, 42, 45, 24, 13, 26, 33, 34, 27, 30, 40, 44, 32, 12, 12)


def test_evenness_is_told_with_the_rule_of_its_quarter(site_folder: Callable[..., Path]) -> None:
    trays = [{**catch(1), "catch": f"t{k}", "gross_g": 50 + g} for k, g in enumerate(SPREVAL)]
    notes = balance_notes(work_out(read_site(site_folder(catches=trays))), 0, "metric", [])
    assert (
        "  evenness of 15 catches: CV 39 %, low quarter 50 % (mean of the lowest 4 over the mean of"
        " all), Christiansen's coefficient 69 %" in notes
    )


def test_of_three_catches_no_evenness_is_told(site_folder: Callable[..., Path]) -> None:
    results = work_out(read_site(site_folder(catches=CATCHES[:3])))
    assert "evenness" not in " ".join(balance_notes(results, 0, "metric", []))


def test_sand_in_holes_is_told_beside_the_depth_where_holes_were_made(
    site_folder: Callable[..., Path],
) -> None:
    """12.7 mm holes at 50 x 50 mm, 5 mm deep: pi/4 x 161.29 x 5 / 2500 = 0.25 mm, by hand."""
    head = "dressing,date,surfaces,hole_diameter_mm,hole_spacing_mm,hole_depth_mm"
    holes = f"{head}\nD1,2026-04-10,green,12.7,50,5\n"
    shown = season_table(work_out(read_site(site_folder("a", dressings=holes))), "metric")
    place = list(shown.heads).index("of it\nin holes")
    assert {row[place] for row in shown.rows if row[0] in ("g1", "g2")} == {"0.25"}
    plain = season_table(work_out(read_site(site_folder("b"))), "metric")
    assert "of it\nin holes" not in plain.heads


def test_a_moisture_without_u_is_one_line_for_all_dressings(
    site_folder: Callable[..., Path],
) -> None:
    days = {"D1": "2026-04-10", "D2": "2026-05-10", "D3": "2026-06-10"}
    load = {"count": 52, "unit_mass_kg": 25, "moisture_dry_basis_percent": 4}
    folder = site_folder(
        dressings=table([{"dressing": k, "date": v, "surfaces": "green"} for k, v in days.items()]),
        loads=table([{"load": f"L{k}", "dressing": k, **load} for k in days]),
    )
    told = [{"about": f.about, "text": f.text} for f in read_site(folder).findings]
    lines = [line for line in merged_findings(told) if "moisture of its loads" in line]
    assert lines == [
        "D1, D2, D3: standard uncertainty of the moisture of its loads is not said: 0.5 points are"
        " used."
    ]


CLAIM = "; the catches claim more than was spread"


@pytest.mark.parametrize(
    ("bags", "said"), [(52, None), (45, f"{CLAIM}, within what is known"), (30, f"{CLAIM};")]
)
def test_an_overthrow_below_zero_says_what_it_is(
    site_folder: Callable[..., Path], bags: int, said: str | None
) -> None:
    """Some 1,180 kg lie on the greens; DESIGN 1: below zero the catches claim more."""
    loads = "load,dressing,count,unit_mass_kg\nL1,D1,{},25\n"
    told = totals(work_out(read_site(site_folder(loads=loads.format(bags)))), "metric")[2]
    assert told.startswith("overthrow \u2212" if said else "overthrow ")
    assert (said or "%") in told and (CLAIM in told) is bool(said)


def test_loads_of_which_the_catches_claim_more_are_named(site_folder: Callable[..., Path]) -> None:
    """g1 got 400 m² × some 0.9 kg/m² of 250 kg, g2 900 m² of 1,500 kg."""
    loads = "load,dressing,count,unit_mass_kg,surfaces\nL1,D1,10,25,g1\nL2,D1,60,25,g2\n"
    notes = balance_notes(work_out(read_site(site_folder(loads=loads))), 0, "metric", [])
    one, two = (next(n for n in notes if n.startswith(f"  loads of {g}: ")) for g in ("g1", "g2"))
    assert one.endswith(": their catches claim more than these") and "overthrow \u2212" in one
    assert "claim" not in two
