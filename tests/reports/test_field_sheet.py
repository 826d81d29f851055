"""The field sheet: its text, and in a real browser at phone width without network."""

from __future__ import annotations

import csv
import re

import numpy as np
import pytest

from geosand.formats.site_folder import read_site
from geosand.planning.placing import place_catches
from geosand.reports.field_sheet import Tray, catch_points, field_sheet
from geosand.results import work_out
from tests.sites import SURFACES, surface

HOSTILE = "</script><img src=x onerror=alert(1)>{{7*7}}\u202e & 'green'"


def placed(results, ring=(0.3,)):
    site = results.site
    return place_catches(
        site,
        results.areas,
        row=site.in_force(),
        catches=4,
        half_diagonal_m=0.25,
        swath_m=4.0,
        ring_m=np.array(ring),
        seed=7,
    )


@pytest.fixture
def sheet(site_folder):
    """Text of the sheet of a site whose first surface has a hostile name; folder and places."""

    def make(dressing="D2", tray=None):
        first = surface("g1", "green", SURFACES[0]["geometry"], name=HOSTILE)
        folder = site_folder(surfaces=[first, *SURFACES[1:]])
        results = work_out(read_site(folder))
        places = placed(results)
        tray = tray or Tray(length_m=0.4, width_m=0.25)
        text = field_sheet(
            results.site, results.areas, places, tray=tray, dressing=dressing, seed=7
        )
        return text, folder, catch_points(results.site, places, seed=7)

    return make


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


def test_the_same_places_give_the_same_bytes(sheet):
    assert sheet()[0] == sheet()[0]


@pytest.fixture
def phone(chromium, tmp_path):
    """Opens a text from a file on a phone without network; at the end it must have been quiet."""
    context = chromium.new_context(
        viewport={"width": 390, "height": 844}, offline=True, accept_downloads=True, has_touch=True
    )
    page = context.new_page()
    page.set_default_timeout(10_000)
    asked, complaints = [], []
    page.on("request", lambda r: asked.append(r.url))
    page.on("console", lambda m: complaints.append(m.text))
    page.on("pageerror", lambda e: complaints.append(str(e)))

    def start(text):
        file = tmp_path / "sheet.html"
        file.write_text(text, encoding="utf-8")
        page.goto(file.as_uri())
        page.wait_for_selector("body[data-ready]")
        return page

    yield start
    context.close()
    assert [url for url in asked if not url.startswith(("file:", "blob:"))] == []
    assert complaints == []


def fill(page, index, **values):
    for name, value in values.items():
        page.locator(f"#{name}{index}").fill(value)


def said(page, index):
    return page.locator(".point").nth(index).locator(".said").text_content()


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


@pytest.mark.browser
def test_figures_are_checked_as_they_are_typed(sheet, phone):
    page = phone(sheet()[0])
    fill(page, 0, tare="150", gross="50")
    assert said(page, 0) == "gross is below tare: are the two swapped?"
    assert page.locator("#gross0").get_attribute("aria-invalid") == "true"
    fill(page, 0, tare="50", gross="150,5")
    assert said(page, 0) == ""
    assert page.locator("#gross0").get_attribute("aria-invalid") is None
    assert page.locator(".net").first.text_content() == "sand 100.5 g"
    fill(page, 1, gross="x")
    assert "gross is not a number" in said(page, 1)
    fill(page, 1, gross="148")
    assert "gross without tare" in said(page, 1)
    fill(page, 1, tare="50")
    fill(page, 2, tare="50", gross="153")
    fill(page, 3, tare="50", gross="450")
    assert said(page, 3) == "400.0 g of sand is far from the others' 100.5 g: weigh again"
    # outside the edge less sand is nothing strange
    fill(page, 4, tare="50", gross="80")
    assert said(page, 4) == ""
    fill(page, 3, gross="151", volume="20")
    assert said(page, 3) == "mass and volume make 5.05 g/cm³: check both"
    assert page.locator("#status").text_content() == "5 of 15 points measured"


@pytest.mark.browser
def test_values_survive_a_reload_without_network(sheet, phone):
    page = phone(sheet()[0])
    fill(page, 2, tare="51", gross="149", note="by the bunker")
    page.locator("#dressing").fill("D9")
    page.reload()
    page.wait_for_selector("body[data-ready]")
    assert page.locator("#gross2").input_value() == "149"
    assert page.locator("#note2").input_value() == "by the bunker"
    assert page.locator("#dressing").input_value() == "D9"
    assert page.locator(".net").nth(2).text_content() == "sand 98.0 g"
    page.locator("#clear").click()
    assert page.locator("#gross2").input_value() == "149"  # asks before it forgets
    page.locator("#clear").click()
    page.reload()
    assert page.locator("#gross2").input_value() == ""


@pytest.mark.browser
def test_what_can_not_be_is_not_saved(sheet, phone):
    page = phone(sheet(dressing="", tray=Tray())[0])
    page.locator("#save").click()
    text = page.locator("#status").text_content()
    assert text.startswith("Not saved: give the tray's length and width, or its diameter alone")
    assert "give the dressing's name" in text
    assert "nothing was measured yet" in text
    fill(page, 0, tare="150", gross="50", volume="60")
    page.locator("#save").click()
    text = page.locator("#status").text_content()
    assert "say whether the volumes are of dry, moist or tapped sand" in text
    assert "1 points have a figure that can not be" in text


@pytest.mark.browser
def test_saved_file_is_read_back_as_catches(sheet, phone, site_folder, tmp_path):
    text, _, points = sheet()
    page = phone(text)
    page.locator("#state").select_option("dry")
    for k in range(10):
        fill(page, k, tare="50", gross=f"{140 + k},5")
    fill(page, 0, volume="58", note='=1+1, "wet" ')
    fill(page, 12, volume="61")
    with page.expect_download() as waiting:
        page.locator("#save").click()
    saved = tmp_path / "saved.csv"
    waiting.value.save_as(saved)
    assert waiting.value.suggested_filename == "catches-D2.csv"
    content = saved.read_bytes().decode()
    assert page.locator("#out").input_value() == content.replace("\r\n", "\n")
    rows = list(csv.DictReader(content.splitlines()))
    assert len(rows) == 11
    assert rows[0]["note"] == ' =1+1, "wet"'
    dressings = "dressing,date,surfaces,planned_depth_mm\nD2,2026-06-10,green tee,0.6\n"
    loads = "load,dressing,count,unit_mass_kg\nL1,D2,56,25\n"
    folder = site_folder("again", dressings=dressings, loads=loads, catches=content)
    site = read_site(folder)
    assert site.catches.id.tolist() == [p["catch"] for p in points[:10]] + [points[12]["catch"]]
    np.testing.assert_allclose(site.catches.caught_kg[:10], (90.5 + np.arange(10)) / 1000)
    assert np.isnan(site.catches.caught_kg[10])
    np.testing.assert_allclose(site.catches.volume_m3[[0, 10]], [58e-6, 61e-6])
    np.testing.assert_allclose(site.catches.tray_area_m2, 0.1)
    np.testing.assert_allclose(site.catches.lon_degree[0], float(points[0]["lon"]))
    # the fifth point of a surface was laid 0.3 m outside its edge
    assert site.catches.edge_distance_m[4] == pytest.approx(0.3)
    results = work_out(site)
    assert results.rates.catches.tolist() == [4, 4, 1]


@pytest.mark.browser
def test_on_paper_each_point_has_its_boxes(sheet, phone):
    page = phone(sheet()[0])
    page.emulate_media(media="print")
    assert page.locator("#save").is_hidden()
    assert page.locator(".point").count() == 15
    assert page.locator("#tare14").is_visible()
    assert page.locator("svg.plot text").first.text_content() == "1"
