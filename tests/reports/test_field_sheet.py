"""The field sheet: its text, and in a real browser at phone width without network."""

from __future__ import annotations

import csv
import re

import numpy as np
import pytest
from pyproj import Geod

from geosand.formats.boundaries.site_text import record_columns
from geosand.formats.site_folder import read_site
from geosand.planning.placing import place_catches
from geosand.reports.field_sheet import Tray, catch_points, field_sheet
from geosand.results import work_out
from tests.sites import LAT, LON, SURFACES, square, surface

LABELS = "(groups) => groups.map((group) => group.getAttribute('aria-label'))"
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

    def make(dressing="D2", tray=None, units="metric"):
        first = surface("g1", "green", SURFACES[0]["geometry"], name=HOSTILE)
        folder = site_folder(surfaces=[first, *SURFACES[1:]])
        results = work_out(read_site(folder))
        places = placed(results)
        tray = tray or Tray(length_m=0.4, width_m=0.25)
        text = field_sheet(
            *(results.site, results.areas, places),
            tray=tray,
            dressing=dressing,
            seed=7,
            units=units,
        )
        return text, folder, catch_points(results.site, places)

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


@pytest.fixture
def phone(chromium, tmp_path):
    """Opens a text from a file on a phone without network; at the end it must have been quiet."""
    context = chromium.new_context(
        viewport={"width": 390, "height": 844}, offline=True, accept_downloads=True, has_touch=True
    )
    page = context.new_page()
    page.set_default_timeout(60_000)
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


def at(points, *labels, surface="g1"):
    """Where on the sheet, which is in the order of walking, points of a surface stand."""
    found = {p["label"]: k for k, p in enumerate(points) if p["surface"] == surface}
    return [found[label] for label in labels]


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
    # to who only hears it each box belongs to a point of a surface
    groups = page.get_by_role("group", name="g1 3", exact=True)
    assert groups.get_by_role("textbox").count() == 4
    assert len(set(page.locator("[role=group]").evaluate_all(LABELS))) == 15


@pytest.mark.browser
def test_figures_are_checked_as_they_are_typed(sheet, phone):
    text, _, points = sheet()
    page = phone(text)
    one, two, three, four, outside = at(points, "1", "2", "3", "4", "a")
    fill(page, one, tare="150", gross="50")
    assert said(page, one) == "gross is below tare: are the two swapped?"
    assert page.locator(f"#gross{one}").get_attribute("aria-invalid") == "true"
    fill(page, one, tare="50", gross="150,5")
    assert said(page, one) == ""
    assert page.locator(f"#gross{one}").get_attribute("aria-invalid") is None
    assert page.locator(".net").nth(one).text_content() == "sand 100.5 g"
    fill(page, two, gross="x")
    assert "gross is not a number" in said(page, two)
    fill(page, two, gross="148")
    assert "gross without tare" in said(page, two)
    fill(page, two, tare="50")
    fill(page, three, tare="50", gross="153")
    fill(page, four, tare="50", gross="450")
    assert said(page, four) == "400.0 g of sand is far from the others' 100.5 g: weigh again"
    # outside the edge less sand is nothing strange
    fill(page, outside, tare="50", gross="80")
    assert said(page, outside) == ""
    fill(page, four, gross="151", volume="20")
    assert said(page, four) == "mass and volume make 5.05 g/cm³: check both"
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
    assert "1 point has a figure that can not be" in text


@pytest.mark.browser
def test_a_round_tray_has_a_diameter_and_nothing_else(sheet, phone, site_folder, tmp_path):
    text, _, points = sheet(tray=Tray())
    page = phone(text)
    (one,) = at(points, "1")
    fill(page, one, tare="50", gross="150")
    for sizes in ({"diameter": "350", "length": "400"}, {"diameter": "350", "width": "0"}):
        for name in ("diameter", "length", "width"):
            page.locator(f"#{name}").fill(sizes.get(name, ""))
        page.locator("#save").click()
        assert "or its diameter alone" in page.locator("#status").text_content()
    page.locator("#width").fill("")
    with page.expect_download() as waiting:
        page.locator("#save").click()
    saved = tmp_path / "saved.csv"
    waiting.value.save_as(saved)
    dressings = "dressing,date,surfaces,planned_depth_mm\nD2,2026-06-10,green tee,0.6\n"
    loads = "load,dressing,count,unit_mass_kg\nL1,D2,56,25\n"
    folder = site_folder("round", dressings=dressings, loads=loads, catches=saved.read_text())
    # π · 35² / 4 = 962.11 cm²
    np.testing.assert_allclose(read_site(folder).catches.tray_area_m2, 0.096211, rtol=1e-5)


@pytest.mark.browser
def test_saved_file_is_read_back_as_catches(sheet, phone, site_folder, tmp_path):
    text, _, points = sheet()
    page = phone(text)
    page.locator("#state").select_option("dry")
    typed = [k for k, p in enumerate(points) if p["surface"] in ("g1", "g2")]
    for k in typed:
        fill(page, k, tare="50", gross=f"{140 + k},5")
    first, (lone,) = typed[0], at(points, "3", surface="t1")
    fill(page, first, volume="58", note='=1+1, "wet" ')
    fill(page, lone, volume="61")
    with page.expect_download() as waiting:
        page.locator("#save").click()
    saved = tmp_path / "saved.csv"
    waiting.value.save_as(saved)
    assert waiting.value.suggested_filename == "catches-D2.csv"
    content = saved.read_bytes().decode()
    assert page.locator("#out").input_value() == content.replace("\r\n", "\n")
    rows = {row["catch"]: row for row in csv.DictReader(content.splitlines())}
    assert len(rows) == 11
    assert rows[points[first]["catch"]]["note"] == ' =1+1, "wet"'
    dressings = "dressing,date,surfaces,planned_depth_mm\nD2,2026-06-10,green tee,0.6\n"
    loads = "load,dressing,count,unit_mass_kg\nL1,D2,56,25\n"
    folder = site_folder("again", dressings=dressings, loads=loads, catches=content)
    site = read_site(folder)
    where = [*typed, lone]
    assert site.catches.id.tolist() == [points[k]["catch"] for k in sorted(where)]
    catches = dict(zip(site.catches.id.tolist(), range(11), strict=True))
    row = [catches[points[k]["catch"]] for k in where]
    np.testing.assert_allclose(site.catches.caught_kg[row[:-1]], (90.5 + np.array(typed)) / 1000)
    assert np.isnan(site.catches.caught_kg[row[-1]])
    np.testing.assert_allclose(site.catches.volume_m3[[row[0], row[-1]]], [58e-6, 61e-6])
    np.testing.assert_allclose(site.catches.tray_area_m2, 0.1)
    lon = [float(points[k]["lon"]) for k in where]
    np.testing.assert_allclose(site.catches.lon_degree[row], lon)
    # one point of each surface was laid 0.3 m outside its edge
    far = [points[k]["outside"] for k in where]
    np.testing.assert_array_equal(
        site.catches.edge_distance_m[row], [float(f) if f else np.nan for f in far]
    )
    results = work_out(site)
    assert results.rates.catches.tolist() == [4, 4, 1]
    # the balance takes what the browser saved: mean rate of the trays on the first green
    mine = [k for k in typed if points[k]["surface"] == "g1" and not points[k]["outside"]]
    rate = np.mean([90.5 + k for k in mine]) / 1000 / 0.1
    assert results.rates.rate.value[0] == pytest.approx(rate, rel=0.02)
    assert np.isfinite(results.balance.overthrow.value[0])


@pytest.mark.browser
def test_trays_in_inches_come_back_as_they_were(sheet, phone, site_folder, tmp_path):
    text, _, points = sheet(units="us", tray=Tray(length_m=0.4064, width_m=0.254))  # 16 by 10 in
    assert "Tray length, in" in text
    assert "1.0 ft outside the edge" in text
    page = phone(text)
    one, two, three, four = at(points, "1", "2", "3", "4")
    for k, gross in ((one, "5.30"), (two, "5.20"), (three, "5.25"), (four, "9")):
        fill(page, k, tare="1.75", gross=gross)
    assert said(page, four) == "7.25 oz of sand is far from the others' 3.50 oz: weigh again"
    fill(page, four, gross="5.15", volume="63")  # 3.40 oz are 96.39 g: 1.53 g/cm³
    assert said(page, four) == ""
    page.locator("#scale").select_option("g")
    assert said(page, four) == "mass and volume make 0.05 g/cm³: check both"
    assert page.locator(f"label[for=tare{one}]").text_content() == "tare, g"
    page.locator("#scale").select_option("oz")
    assert page.locator(f"label[for=tare{one}]").text_content() == "tare, oz"
    page.locator("#state").select_option("dry")
    with page.expect_download() as waiting:
        page.locator("#save").click()
    saved = tmp_path / "saved.csv"
    waiting.value.save_as(saved)
    # as in a new site's records, so that rows of a further dressing can be added below
    assert saved.read_text().splitlines()[0] == ",".join(record_columns("us")["catches"])
    dressings = "dressing,date,surfaces,planned_depth_mm\nD2,2026-06-10,green tee,0.6\n"
    loads = "load,dressing,count,unit_mass_kg\nL1,D2,56,25\n"
    site = read_site(
        site_folder("back", dressings=dressings, loads=loads, catches=saved.read_text())
    )
    assert site.catches.tray_area_m2[0] == pytest.approx(0.4064 * 0.254, rel=1e-6)
    mine = site.catches.id.tolist().index(points[one]["catch"])
    assert site.catches.caught_kg[mine] == pytest.approx(3.55 * 0.45359237 / 16, rel=1e-9)


@pytest.mark.browser
def test_a_scale_in_the_other_unit_is_kept_and_saved(sheet, phone, tmp_path):
    page = phone(sheet()[0])
    assert page.locator("#scale").input_value() == "g"
    page.locator("#scale").select_option("oz")
    fill(page, 0, tare="1.75", gross="5.25")
    page.reload()
    page.wait_for_selector("body[data-ready]")
    assert page.locator("label[for=gross0]").text_content() == "gross, oz"
    assert page.locator(".net").first.text_content() == "sand 3.50 oz"
    fill(page, 0, volume="44")  # 28.349523125 g an ounce (NIST Special Publication 811, B.8)
    assert said(page, 0) == "mass and volume make 2.26 g/cm³: check both"
    fill(page, 0, volume="")
    with page.expect_download() as waiting:
        page.locator("#save").click()
    saved = tmp_path / "saved.csv"
    waiting.value.save_as(saved)
    assert "tare_oz,gross_oz,volume_cm3" in saved.read_text()


@pytest.mark.browser
def test_only_two_presses_in_a_row_clear(sheet, phone):
    page = phone(sheet()[0])
    fill(page, 2, tare="51", gross="149")
    page.locator("#clear").click()
    page.locator("h1").click()
    page.locator("#clear").click()
    assert page.locator("#gross2").input_value() == "149"


@pytest.mark.browser
def test_a_reading_is_held_against_its_surface_else_its_kind(sheet, phone):
    """Iglewicz and Hoaglin (1993): told beyond 3.5 · 1.4826 MAD of the median."""
    text, _, points = sheet()
    page = phone(text)
    one, two, three, four, outside = at(points, "1", "2", "3", "4", "a")
    other, beside = at(points, "1", "2", surface="g2")
    tees = at(points, "1", "2", "3", "4", surface="t1")

    def weigh(index, net):
        fill(page, index, tare="50", gross=str(50 + net))
        return said(page, index)

    def far(net, middle):
        return f"{net}.0 g of sand is far from the others' {middle}.0 g: weigh again"

    assert [weigh(k, net) for k, net in ((outside, 60), (one, 100), (two, 110), (three, 120))] == [
        "",
        "",
        "",
        "",
    ]
    assert weigh(four, 160) == ""  # MAD 10: to 110 + 51.9
    assert weigh(four, 165) == far(165, 110)
    fill(page, four, volume="x")  # one thing after the other
    assert said(page, four) == "volume is not a number"
    fill(page, four, volume="")
    weigh(four, 130)
    assert weigh(other, 400) == far(400, 115)  # alone on its green: against the other green
    weigh(beside, 115)
    assert said(page, other) == far(400, 115)
    assert weigh(four, 165) == far(165, 110)  # and none of that for a green with its own three
    # no other tee, then two: too few to tell; a spread below 5 % counts as 5 %
    assert [weigh(k, net) for k, net in zip(tees, (400, 100, 100), strict=False)] == ["", "", ""]
    assert said(page, tees[0]) == ""
    weigh(tees[0], 100)
    assert weigh(tees[3], 117) == ""
    assert weigh(tees[3], 118) == far(118, 100)


@pytest.mark.browser
def test_figures_that_can_not_be_are_told_and_others_are_not(sheet, phone):
    page = phone(sheet()[0])
    fill(page, 0, tare="50")
    assert said(page, 0) == ""
    for tare, gross, net in (
        ("50", "50", "0.0"),
        (" 50 ", " 60.5 ", "10.5"),
        (".5", "1.", "0.5"),
        ("-5", "60", None),
        ("", "60", None),
    ):
        fill(page, 0, tare=tare, gross=gross)
        told = page.locator(".net").first.text_content()
        assert told == ("" if net is None else f"sand {net} g")
        bad = page.locator("#tare0").get_attribute("aria-invalid")
        assert (bad == "true") == (net is None)
    fill(page, 0, tare="50", gross="150")
    for volume, told in (("43", "2.33"), ("48", ""), ("95", ""), ("106", "0.94"), ("0", "")):
        fill(page, 0, volume=volume)
        wanted = told and f"mass and volume make {told} g/cm³: check both"
        assert said(page, 0) == wanted
    fill(page, 0, gross="40", volume="1000")
    fill(page, 1, volume="x")
    assert said(page, 0) == "gross is below tare: are the two swapped?"
    assert page.locator("#status").text_content() == "2 of 15 points measured"
    page.locator("#dressing").fill("=D2")
    page.locator("#save").click()
    told = page.locator("#status").text_content()
    assert "give the dressing's name" in told and "2 points have figures that can not" in told
    assert page.locator("#dressing").get_attribute("aria-invalid") == "true"
    assert not page.locator("#out").is_visible()
    page.locator("#dressing").fill("D 2/x")
    assert page.locator("#dressing").get_attribute("aria-invalid") is None
    fill(page, 0, gross="150", volume="60", note="by  the   path")
    fill(page, 1, tare="50", gross="151", volume="")
    page.locator("#state").select_option("moist")
    page.locator("#diameter").fill("350")  # beside length and width
    page.locator("#save").click()
    assert "or its diameter alone" in page.locator("#status").text_content()
    page.locator("#diameter").fill("")
    with page.expect_download() as waiting:
        page.locator("#save").click()
    assert waiting.value.suggested_filename == "catches-D_2_x.csv"
    with open(waiting.value.path(), newline="", encoding="utf-8") as saved:
        lines = saved.read().split("\r\n")  # as RFC 4180 has it
    rows = list(csv.DictReader(lines[:3]))
    assert len(lines) == 4 and lines[3] == ""
    assert [row["volume_state"] for row in rows] == ["moist", ""]
    assert rows[0]["note"] == "by the path"
    assert page.locator("#out").is_visible()


@pytest.mark.browser
def test_what_is_kept_belongs_to_its_sheet_and_is_cleared_as_asked(sheet, phone):
    page = phone(sheet()[0])
    fill(page, 2, tare="51", gross="149")
    page.locator("#clear").click()
    fill(page, 2, note="wet")
    page.locator("#clear").click()
    assert page.locator("#gross2").input_value() == "149"  # typing came between
    page.locator("#clear").click()
    assert page.locator(".net").nth(2).text_content() == ""
    assert page.locator("#status").text_content() == "0 of 15 points measured"
    page.locator("#clear").click()
    assert page.locator("#status").text_content().startswith("Press again")
    fill(page, 2, tare="51", gross="149")
    phone(sheet(dressing="D3")[0])
    assert page.locator("#gross2").input_value() == ""
    for spoiled in ("{", "5", "null", '{"rows": 3}'):
        page.evaluate(
            "(text) => Object.keys(localStorage).forEach((k) => localStorage[k] = text)", spoiled
        )
        page.reload()
        page.wait_for_selector("body[data-ready]")
        assert page.locator("#gross2").input_value() == ""


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
