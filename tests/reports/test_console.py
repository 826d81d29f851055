"""What the console says of one dressing."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from geosand.formats.site_folder import read_site
from geosand.reports.console import balance_notes
from geosand.results import work_out
from tests.sites import CATCHES, catch

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
