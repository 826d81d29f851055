"""What the map is filled with, held against the results by other routes."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from geosand.formats.site_folder import read_site
from geosand.mapping.fill import map_view
from geosand.mapping.view import SEASON
from geosand.reports.documents import balance_document
from geosand.results import work_out

DEMO = Path(__file__).parents[2] / "data" / "demo_site"


@pytest.fixture(scope="module")
def results():
    return work_out(read_site(DEMO))


@pytest.fixture(scope="module")
def view(results):
    return map_view(results, "metric")


@pytest.fixture(scope="module")
def dressings(results):
    return {row["dressing"]: row for row in balance_document(results)["dressings"]}


def test_residuals_are_the_catch_over_the_estimate_that_the_balance_gives(view, dressings):
    rate = {
        (name, surface["id"]): surface["rate_kg_m2"]
        for name, row in dressings.items()
        for surface in row["surfaces"]
    }
    held = 0
    for caught in view.catches:
        if caught.residual is None:
            continue
        estimate = rate[caught.dressing, caught.surface]
        assert estimate * (1 + caught.residual) == pytest.approx(caught.rate_kg_m2, rel=1e-6)
        held += 1
    assert held > 150
    # BLUPs shrink towards the mean, yet on the whole the residuals cancel
    mean = sum(c.residual for c in view.catches if c.residual is not None and c.used) / held
    assert abs(mean) < 0.02


def test_what_lies_past_the_edges_adds_up_to_the_overthrow(view, dressings):
    positive = 0.0
    for period in view.periods[1:]:
        over = dressings[period.key]["overthrow"]["mass_kg"]
        thrown = [s.thrown_kg for s in period.surfaces.values() if s.thrown_kg is not None]
        if over is None or over <= 0:
            assert (period.thrown_kg, thrown) == (None, [])
            continue
        assert period.thrown_kg == pytest.approx(over)
        # sand over bunkers, water and paths lies past an edge but in no surface's own rings
        assert 0.85 * over <= sum(thrown) <= over * (1 + 1e-9)
        positive += over
    season = view.periods[0]
    assert season.key == SEASON
    assert season.thrown_kg == pytest.approx(positive)


def test_every_sentence_with_a_unit_is_there_in_both(view):
    told = [*view.first, *view.findings, *(period.headline for period in view.periods)]
    both = [line for line in told if not isinstance(line, str)]
    assert any(" mm " in line["metric"] and " in " in line["us"] for line in both)
    assert any(re.search(r"\d m² \([\d,]+ ft²\)", line["us"]) for line in both)
    for line in (*view.first, *(period.headline for period in view.periods[1:])):
        assert " mm" not in line["us"] and " kg" not in line["us"]


def test_dates_are_in_words(view):
    assert view.subtitle == "Season 1 March 2026 to 30 November 2026"
    assert view.periods[1].label == "24 March 2026 · D1"
