"""The field sheet: what it shows, on a phone and on paper."""

from __future__ import annotations

import re

import numpy as np
import pytest
from pyproj import Geod

from geosand.formats.site_folder import read_site
from geosand.reports.field_sheet import Tray, field_sheet
from geosand.results import work_out
from tests.reports.conftest import placed
from tests.sites import LAT, LON, square, surface

LABELS = "(groups) => groups.map((group) => group.getAttribute('aria-label'))"


def test_tray_is_found_again_from_area_and_half_diagonal():
    rectangle = Tray.from_area(0.4 * 0.25, np.hypot(0.4, 0.25) / 2)
    assert (rectangle.length_m, rectangle.width_m) == pytest.approx((0.4, 0.25))
    square = Tray.from_area(0.09, np.sqrt(0.09 / 2))
    assert (square.length_m, square.width_m) == pytest.approx((0.3, 0.3))
    disc = Tray.from_area(np.pi / 4 * 0.3**2, 0.15)
    assert disc.diameter_m == pytest.approx(0.3)
    assert np.isnan(disc.length_m)


def test_names_are_text_and_never_markup(sheet):
    text, _, _ = sheet()
    assert "<img" not in text
    assert "\u202e" not in text
    assert "&lt;/script&gt;&lt;img src=x onerror=alert(1)&gt;{{7*7}}· &amp;" in text
    assert text.count("<script") == 2
    assert "http" not in re.sub(r'http-equiv="', "", text)


def test_each_part_of_a_surface_is_drawn(site_folder):
    """A green of two parts, one with ground of another left out: as many outlines, all closed."""
    one, two = (square(LON + d, LAT, 20.0)["coordinates"] for d in (0.0, 0.0005))
    hole = square(LON, LAT, 6.0)["coordinates"][0][::-1]
    geometry = {"type": "MultiPolygon", "coordinates": [[one[0], hole], two]}
    results = work_out(
        read_site(site_folder(surfaces=[surface("g1", "green", geometry)], catches=None))
    )
    places = placed(results)
    text = field_sheet(results.site, results.areas, places, tray=Tray(), dressing="", seed=7)
    (path,) = re.findall(r'class="ground" fill-rule="evenodd" d="(.*?)"', text)
    rings = [ring.split("L") for ring in path.rstrip("Z").split("M")[1:]]
    assert len(rings) == 3
    assert all(ring[0] == ring[-1] and len(ring) >= 5 for ring in rings)


def test_the_same_places_give_the_same_bytes(sheet):
    assert sheet()[0] == sheet()[0]


@pytest.mark.browser
def test_page_fits_the_phone_and_shows_hostile_names_as_text(sheet, phone):
    page = phone(sheet()[0])
    assert page.evaluate("document.documentElement.scrollWidth") == 390
    assert page.locator("h2").first.text_content().startswith("</script><img src=x")
    assert page.locator("img").count() == 0
    small = page.evaluate(
        "[...document.querySelectorAll('input, button, select')]"
        ".filter(e => e.offsetParent && e.getBoundingClientRect().height < 40).length"
    )
    assert small == 0
    unnamed = page.evaluate(
        "[...document.querySelectorAll('input, select')].filter(e => !e.labels.length).length"
    )
    assert unnamed == 0
    # to who only hears it each box belongs to a point of a surface
    groups = page.get_by_role("group", name="g1 3", exact=True)
    assert groups.get_by_role("textbox").count() == 4
    assert len(set(page.locator("[role=group]").evaluate_all(LABELS))) == 15


@pytest.mark.browser
def test_a_box_holds_its_reading_where_letters_are_twice_as_large(sheet, phone):
    """A phone of 390 px with letters of 200 % has the room of 195 px (WCAG 2.2, 1.4.4)."""
    page = phone(sheet()[0])
    page.set_viewport_size({"width": 195, "height": 422})
    for name in ("tare", "gross", "volume"):
        box = page.locator(f"[data-field={name}]").first
        box.fill("1234.5")
        assert box.evaluate("(e) => e.scrollWidth <= e.clientWidth"), name
    assert page.evaluate("document.documentElement.scrollWidth") == 195


@pytest.mark.browser
def test_large_letters_leave_the_fields_in_sight(sheet, phone):
    """A phone of 844 px at twice its size is one of 422 (WCAG 2.2, 1.4.4 and 1.4.10)."""
    page = phone(sheet(dressing="", tray=Tray())[0])
    covered = """() => { const bar = document.querySelector(".acts").getBoundingClientRect();
      return Math.max(0, Math.min(bar.bottom, innerHeight) - bar.top) / innerHeight; }"""
    for height in (844, 422):
        page.set_viewport_size({"width": 320, "height": height})
        page.locator("#save").click()
        assert page.locator("#status").is_visible()
        page.locator("#tare2").focus()
        assert page.evaluate(covered) < 0.25


@pytest.mark.browser
def test_where_nothing_runs_or_is_kept_it_is_told(sheet, chromium, tmp_path):
    file = tmp_path / "sheet.html"
    file.write_text(sheet()[0], encoding="utf-8")
    context = chromium.new_context(java_script_enabled=False, offline=True)
    page = context.new_page()
    page.goto(file.as_uri())
    assert "neither checked nor kept" in page.inner_text("body")
    context.close()
    context = chromium.new_context(offline=True)
    context.add_init_script(
        "Object.defineProperty(window, 'localStorage', { get() { throw new Error('no'); } })"
    )
    page = context.new_page()
    page.goto(file.as_uri())
    page.wait_for_selector("body[data-ready]")
    assert "This browser keeps nothing" in page.locator("#status").text_content()
    assert "neither checked nor kept" not in page.inner_text("body")
    context.close()


def test_each_point_tells_the_way_from_the_one_before(sheet):
    """Distances and directions by the geodesic between the printed positions."""
    text, _, points = sheet()
    told = re.findall(r"<span>(?:(\d+) m (\w+) of (?:the last|\w+))?</span><span>-?\d", text)
    assert len(told) == len(points)
    assert told[0] == ("", "")
    names = ("N", "NE", "E", "SE", "S", "SW", "W", "NW")
    for k in range(1, len(points)):
        ends = [float(points[j][c]) for j in (k - 1, k) for c in ("lon", "lat")]
        azimuth, _, far = Geod(ellps="WGS84").inv(*ends)
        assert abs(float(told[k][0]) - far) <= 0.51
        off = (azimuth - 45 * names.index(told[k][1]) + 180) % 360 - 180
        assert abs(off) < 23.5


@pytest.mark.browser
def test_on_paper_each_point_has_its_boxes(sheet, phone):
    page = phone(sheet()[0])
    page.emulate_media(media="print")
    assert page.locator("#save").is_hidden()
    assert page.locator(".point").count() == 15
    assert page.locator("#tare14").is_visible()
    assert page.locator("svg.plot text").first.text_content() in "1234a"


@pytest.mark.browser
@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_three_surfaces_take_one_sheet_of_paper(sheet, phone, paper):
    page = phone(sheet()[0])
    pages = len(re.findall(rb"/Type\s*/Page\b", page.pdf(format=paper)))
    assert pages == 1


def test_where_the_file_goes_is_right_for_both_kinds_of_records(sheet):
    """A catches.csv laid beside records.xlsx is refused."""
    page = " ".join(sheet()[0].split())
    assert (
        "to catches.csv in the site folder, or to the sheet catches where the records are" in page
    )


@pytest.mark.browser
def test_the_plot_is_read_in_forced_colours(sheet, phone):
    """Letters of a picture are not forced; the scale was black upon black."""
    page = phone(sheet()[0])
    page.emulate_media(forced_colors="active", color_scheme="dark")
    ground = page.locator(".plot").first.evaluate("svg => getComputedStyle(svg).backgroundColor")
    assert ground == "rgb(255, 255, 255)"
