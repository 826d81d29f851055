"""The page under axe-core (MPL-2.0), the rules of WCAG 2.0 to 2.2 A and AA and best practice."""

from __future__ import annotations

import re
from pathlib import Path

import axe_playwright_python.base
import pytest

from geosand.mapping.page import map_page
from geosand.mapping.view import MapView
from geosand.mapping.words import THEMES
from tests.mapping.conftest import drawings_read_out
from tests.mapping.sample_view import few, sample_view

pytestmark = pytest.mark.browser
AXE = Path(axe_playwright_python.base.AXE_FILE_PATH).read_text(encoding="utf-8")
#: One surface of each sort: the rules look at every cell of the table.
KEPT = ("1", "2", "3", "7", "T1f", "T12b", "P", "L", "B3", "W", "F")
SIZES = {1280: {}, 390: {"height": 844, "has_touch": True, "is_mobile": True}}


@pytest.fixture(scope="module")
def small_text():
    return map_page(few(sample_view(), KEPT))


def complaints(page):
    """Every rule that is broken, with the elements that break it."""
    page.evaluate(AXE)
    found = page.evaluate("axe.run({resultTypes: ['violations']})")
    assert len(found["passes"]) > 15
    return [
        f"{rule['id']}: {node['html'][:120]} {node['failureSummary'][:160]}"
        for rule in found["violations"]
        for node in rule["nodes"]
    ]


@pytest.mark.parametrize("width", SIZES)
def test_no_view_has_a_violation(open_page, small_text, width):
    page = open_page(small_text, width=width, **SIZES[width])
    found = {}
    for view in THEMES.values():
        page.get_by_role("radio", name=view, exact=True).check()
        found[view] = complaints(page)
    assert found == {view: [] for view in ("Depth", "Shortfall", "Overthrow", "Catches", "Areas")}


def test_the_legend_keeps_its_colours_where_the_reader_chooses_colours(open_page, small_text):
    page = open_page(small_text)
    page.emulate_media(forced_colors="active")
    shown = page.locator("#gs-classes i").evaluate_all(
        "signs => signs.map(sign => getComputedStyle(sign).backgroundColor)"
    )
    assert len(shown) == len(set(shown)) == 5


@pytest.mark.parametrize("width", SIZES)
def test_a_dark_page_has_no_violation_and_the_figures_their_colours(open_page, small_text, width):
    """axe-core holds each word's contrast against what lies behind it."""
    page = open_page(small_text, width=width, **SIZES[width])
    colours = (
        "[...document.querySelectorAll('.frame, .legend, .legend i, .leaflet-overlay-pane path')]"
        ".map(one => [getComputedStyle(one).fill, getComputedStyle(one).color,"
        " one.matches('.legend') || getComputedStyle(one).background])"
    )
    ground = "getComputedStyle(document.documentElement).backgroundColor"
    light, figures = page.evaluate(ground), page.evaluate(colours)
    page.emulate_media(color_scheme="dark")
    assert light == "rgb(251, 249, 243)"
    assert page.evaluate(ground) == "rgb(27, 26, 23)"
    assert page.evaluate(colours) == figures
    page.get_by_role("rowheader").get_by_role("button", name="Green 3", exact=True).click()
    for summary in page.locator("summary").all():
        summary.click()
    assert complaints(page) == []
    page.emulate_media(media="print", color_scheme="dark")
    assert page.evaluate(ground) == "rgb(255, 255, 255)"


@pytest.mark.parametrize("width", SIZES)
def test_open_card_and_open_lists_have_no_violation(open_page, small_text, width):
    page = open_page(small_text, width=width, **SIZES[width])
    page.get_by_role("rowheader").get_by_role("button", name="Green 3", exact=True).click()
    for summary in page.locator("summary").all():
        summary.click()
    assert page.locator("details[open]").count() == 2
    assert complaints(page) == []
    page.keyboard.press("Escape")
    page.locator("path.gs-catch").first.click(force=True)
    assert page.locator(".card h2").text_content().startswith("Catch c")
    assert complaints(page) == []


def test_no_drawing_without_a_name_is_read_out(open_page):
    """What the map draws is told by the table and by the live line."""
    page = open_page()
    page.get_by_role("radio", name="Overthrow", exact=True).check()
    page.get_by_role("rowheader").get_by_role("button", name="Green 3", exact=True).click()
    names = drawings_read_out(page)
    assert len(names) > 2 and all(names)  # north arrow, bar, chart


def test_a_page_without_anything_has_no_violation(open_page):
    assert complaints(open_page(map_page(MapView(title="Nothing yet")))) == []


def test_a_page_without_scripts_has_no_violation(open_page, small_text):
    """The picture and the table of a reader who allows none."""
    bare = re.sub(r"<script.*?</script>|</?noscript>", "", small_text, flags=re.DOTALL)
    page = open_page(bare, still=True)
    assert page.locator("svg.still path").count() == len(KEPT)
    assert complaints(page) == []


def test_a_fault_would_be_seen(open_page, small_text):
    worse = small_text.replace("<legend>Units</legend>", "").replace(
        '<label class="period"><span>Period</span>', '<label class="period">'
    )
    assert worse != small_text
    assert any(line.startswith("select-name") for line in complaints(open_page(worse)))


def test_stops_of_the_tab_key_are_few_on_a_large_site(open_page):
    page = open_page(map_page(sample_view(copies=3)))
    stops = 0
    while not page.evaluate("!!document.activeElement.closest('tbody')"):
        page.keyboard.press("Tab")
        stops += 1
        assert stops < 35
