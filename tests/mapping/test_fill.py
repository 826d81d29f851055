"""What the map is filled with, held against the results by other routes."""

from __future__ import annotations

import re
from html import escape
from pathlib import Path

import pytest

from geosand.formats.site_folder import read_site
from geosand.mapping.fill import map_view
from geosand.mapping.page import map_page
from geosand.mapping.parts import balance_of
from geosand.mapping.payload import page_data
from geosand.mapping.view import SEASON, said
from geosand.reports.balance_document import balance_document
from geosand.reports.console import totals
from geosand.reports.first import next_step
from geosand.reports.season_document import season_document
from geosand.reports.words import glued, percent
from geosand.results import work_out
from tests.sites import DRESSINGS, LOADS, write_site


@pytest.fixture(scope="module")
def results(demo):
    return demo


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
    assert any(re.search(r"\d ft² \([\d.\u202f]+ m²\)", line["us"]) for line in both)
    for line in (*view.first, *(period.headline for period in view.periods[1:])):
        assert " mm" not in line["us"] and " kg" not in line["us"]


def test_the_sentence_below_a_verdict_says_what_it_comes_to_as_the_console_does(view, results):
    for k, period in enumerate(view.periods[1:]):
        verdict, share = str(results.balance.verdict[k]), results.balance.fraction[k]
        line = said(period.headline, "metric")
        assert verdict not in line.lower()
        wanted = f"({percent(share)})" if share > 0 else "The catches claim "
        assert wanted in line.replace("\u00a0", " ")
    (line,) = [one for one in totals(results, "metric") if one.startswith("overthrow")]
    share = re.search(r"\((\d+ %) of the spread\)", line)[1].replace(" ", "\u00a0")
    assert f"; {share} of the sand " in said(view.periods[0].headline, "metric")


def test_the_page_says_what_to_do_next_and_calls_surfaces_as_its_map_does(view, results, tmp_path):
    (told,) = re.findall('<p class="next">(.*?)</p>', map_page(view))
    assert '(geosand place <span class="one">--surfaces</span> green' in told
    plain = re.sub("<.*?>", "", told)
    for units in ("metric", "us"):
        assert escape(glued(next_step(results, units, linked=True))) in plain
    assert "; then dress Green 6, Bowling green (" in plain
    assert "on Practice green, never caught" in plain
    nothing = write_site(
        tmp_path / "site", dressings="dressing,date,surfaces\n", loads=None, catches=None
    )
    assert '<p class="next">' not in map_page(of_site(nothing))


def test_dates_are_in_words(view):
    assert view.subtitle == "Season 1 March 2026 to 30 November 2026"
    assert view.periods[1].label == "24 March 2026 · D1"


def of_site(folder, units="metric"):
    return map_view(work_out(read_site(folder)), units)


def test_a_site_that_was_never_dressed_says_so_and_has_no_classes(tmp_path):
    nothing = write_site(
        tmp_path / "site", dressings="dressing,date,surfaces\n", loads=None, catches=None
    )
    view = of_site(nothing)
    assert said(view.periods[0].headline, "metric") == "Nothing has been dressed yet"
    assert page_data(view)["breaks"]["season"]["depth"] == {"metric": [], "us": []}
    assert "Not measured" not in balance_of(view)


def test_what_was_not_measured_is_not_nought(tmp_path):
    view = of_site(write_site(tmp_path / "site", catches=None))
    season = view.periods[0]
    assert said(season.headline, "us") == "1 surface is under-dressed, 2 not measured"
    assert season.balance.spread_kg == pytest.approx(52 * 25)
    assert "Spread 1\u202f300\u00a0kg; not measured where it landed" in balance_of(view)
    for name in ("g1", "g2"):
        now = season.surfaces[name]
        assert (now.depth_m, now.mass_kg, now.mass_low_kg, now.basis) == (None,) * 4


def test_what_was_spread_and_not_measured_is_told_beside_what_was(tmp_path):
    dressings = DRESSINGS + "D2,2026-05-10,green,0.6,4\n"
    loads = LOADS + "L2,D2,40,25,0.25,1\n"
    season = of_site(write_site(tmp_path / "site", dressings=dressings, loads=loads)).periods[0]
    assert season.headline["metric"].endswith("; 1\u202f000 kg more was spread and not measured")
    assert season.headline["us"].endswith("; 2\u202f205 lb more was spread and not measured")
    assert season.balance.spread_kg == pytest.approx(52 * 25)


def test_sand_that_the_catches_claim_too_much_is_not_said_to_lie_elsewhere(tmp_path: Path):
    fewer = LOADS.replace(",52,", ",45,")
    results = work_out(read_site(write_site(tmp_path / "site", loads=fewer)))
    headline = said(map_view(results, "metric").periods[0].headline, "metric")
    assert re.search(r"; the catches claim \d\s% more sand than was spread$", headline)


def test_findings_that_differ_in_their_figures_are_one_line_and_defaults_come_last(view, results):
    lines = [said(line, "metric") for line in view.findings]
    assert len(lines) < len(results.findings)
    told = [f.text.rstrip(".") for f in results.findings if f.topic == "default"]
    defaults = [any(text in line for text in told) for line in lines]
    assert any(defaults) and not all(defaults)
    assert defaults == sorted(defaults)


def test_sand_in_holes_is_what_the_season_says(results, view):
    """Only of surfaces that had some: a card without holes has no line of them."""
    told = {s["id"]: s.get("in_holes_mm") for s in season_document(results)["surfaces"]}
    shown = {name: now.in_holes_m for name, now in view.periods[0].surfaces.items()}
    filled = {name: m for name, m in shown.items() if m is not None}
    assert len(filled) > 5
    for name, m in shown.items():
        assert (m is None) is (not told[name])
        assert (m or 0.0) * 1000 == pytest.approx(told[name], rel=1e-8)


@pytest.mark.parametrize(("bags", "told"), [("52", False), ("70", True)])
def test_sand_that_may_as_well_be_on_the_surfaces_is_not_said_to_be_off_them(tmp_path, bags, told):
    loads = LOADS.replace(",52,", f",{bags},")
    results = work_out(read_site(write_site(tmp_path / "site", loads=loads)))
    balance = results.balance
    season, dressing = (p.headline for p in map_view(results, "metric").periods)
    assert bool(balance.interval.low[0] > 0) is told
    assert balance.overthrow.value[0] > 0
    lies = "is not on the surfaces" if told else "may lie elsewhere"
    assert said(season, "metric").endswith(f"of the sand {lies}")
    landed = ") landed elsewhere" if told else ") may have landed elsewhere"
    assert said(dressing, "metric").endswith(landed)
