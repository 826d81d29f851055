"""Where overthrow lies, told alike of a dressing, of its surfaces and of the season."""

from __future__ import annotations

import numpy as np
import pytest

from geosand.formats.site_folder import read_site
from geosand.mapping.fill import map_view
from geosand.reports.balance_document import balance_document
from geosand.reports.console import balance_notes
from geosand.reports.season_document import season_balance
from geosand.results import work_out
from tests.sites import catch

EVEN = [catch(k, gross_g=150) for k in range(1, 7)]  # 1.00 kg/m²: 400 kg on g1, 900 kg on g2
LATER = "dressing,date,surfaces,swath_m\nD1,2026-04-10,green,4\nD2,2026-06-10,green,4\n"
HEAD = "load,dressing,count,unit_mass_kg,u_unit_mass_kg,u_label_percent,surfaces\n"


@pytest.mark.parametrize(
    ("bags", "over", "verdict"),
    [
        ((18, 38), 100.0, "undecided"),  # 450 and 950 kg
        ((18, 32), -50.0, "undecided"),  # 450 and 800 kg
        ((18, 20), -350.0, "does not close"),  # 450 and 500 kg
        ((15, 20), -425.0, "does not close"),  # 375 and 500 kg
    ],
)
def test_parts_that_threw_sand_over_are_told_whatever_the_others_did(
    site_folder, bags, over, verdict
):
    """A part may throw sand over although the dressing as a whole claims more than was spread."""
    loads = f"{HEAD}L1,D1,{bags[0]},25,0.25,1,g1\nL2,D1,{bags[1]},25,0.25,1,g2\n"
    results = work_out(read_site(site_folder(catches=EVEN, loads=loads)))
    document = balance_document(results)["dressings"][0]
    told = document["overthrow"]
    assert told["mass_kg"] == pytest.approx(over, rel=1e-3)
    assert told["verdict"] == verdict
    parts = [max(part["overthrow_kg"], 0.0) for part in told["parts"]]
    beside, rings = season_balance(results)["beside"], results.ledger.rings
    if not any(parts):
        assert told["collar_kg"] is told["reach_m"] is beside["collar_kg"] is None
        assert told["no_rings"].startswith("there is no overthrow")
        return
    zones = [told[f"{zone}_kg"] for zone in ("collar", "surrounds", "farther")]
    assert sum(zones) == pytest.approx(sum(parts), rel=1e-6)
    for zone in ("collar", "surrounds"):
        each = [row[f"{zone}_kg"] or 0.0 for row in document["surfaces"]]
        assert sum(each) == pytest.approx(told[f"{zone}_kg"], rel=1e-6)
        assert beside[f"{zone}_kg"] == told[f"{zone}_kg"]
        assert rings.mass_kg[rings.zone == zone].sum() == pytest.approx(sum(each), rel=1e-6)
    for zone in ("collar", "surrounds"):
        ends = [f"{zone}_least_kg", f"{zone}_most_kg"]
        assert [told[name] for name in ends] == [beside[name] for name in ends]
        assert told[ends[0]] <= told[f"{zone}_kg"] <= told[ends[1]]
    assert told["no_rings"] is None
    assert told["not_told_from_zero"] == (told["low_kg"] <= 0 <= told["high_kg"])
    head, doubt = "if all overthrow landed beside the edges, not told from zero", True
    if verdict == "does not close":
        head, doubt = "where its parts threw sand over", False
    collar = told["collar_kg"]
    notes = "\n".join(balance_notes(results, 0, "metric", []))
    assert f"  {head}: collar {collar:.0f} kg, " in notes
    # the page's script writes the same sentence from these (tests/mapping/test_figures.py)
    shown = map_view(results, "metric").periods[1].balance
    assert shown.collar_kg == pytest.approx(collar, rel=1e-8)
    assert shown.verdict == verdict
    assert shown.not_told_from_zero == doubt


def test_what_comes_after_the_day_of_account_is_in_no_limit(site_folder):
    later = [row | {"catch": f"l{k}", "dressing": "D2"} for k, row in enumerate(EVEN)]
    bags = "load,dressing,count,unit_mass_kg\nL1,D1,56,25\nL2,D2,56,25\n"
    site = read_site(site_folder(dressings=LATER, loads=bags, catches=EVEN + later))
    one, both = (
        season_balance(work_out(site, as_of=np.datetime64(day)))["beside"]
        for day in ("2026-05-01", "2026-07-01")
    )
    first = balance_document(work_out(site))["dressings"][0]["overthrow"]
    for end in ("collar_least_kg", "collar_most_kg"):
        assert one[end] == pytest.approx(first[end], rel=1e-9)
    assert both["collar_most_kg"] > 1.2 * one["collar_most_kg"]
