"""The field sheet on a phone: what is typed, kept and saved as catches."""

from __future__ import annotations

import csv

import numpy as np
import pytest

from geosand.formats.boundaries.sites.site_text import record_columns
from geosand.formats.site_folder import read_site
from geosand.reports.field_sheet import Tray
from geosand.results import work_out


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
