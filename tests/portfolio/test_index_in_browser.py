"""The page of a run in a browser, on a phone and on paper."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import axe_playwright_python.base
import pypdfium2
import pytest

from geosand.portfolio.index_page import index_page
from tests.portfolio.conftest import EVIL, SITES


@pytest.mark.browser
def test_the_list_sorts_filters_and_runs_nothing_of_a_name(evil, chromium, tmp_path):
    out, done = evil
    (out / "index.html").write_text(index_page("three", done, "metric"), encoding="utf-8")
    page = chromium.new_page()
    complaints = []
    page.on("console", lambda message: complaints.append(message.text))
    page.on("pageerror", lambda problem: complaints.append(str(problem)))
    page.goto((out / "index.html").as_uri())
    rows = page.locator("#list tr")
    assert rows.count() == 3
    assert not page.locator(".pages").is_visible()
    assert "refused: see below" in rows.first.inner_text()
    assert page.locator(rows.first.locator("a").get_attribute("href")).count() == 1
    assert page.locator("#list svg circle").count() == 2 * 72
    page.get_by_role("button", name="overthrow, %").click()
    texts = page.locator("#list tr td:nth-child(3).number").all_inner_texts()
    shown = [float(text.replace("−", "-").split(" ±")[0]) for text in texts]
    assert shown == sorted(shown, reverse=True)
    page.get_by_role("button", name="overthrow, %").click()
    assert page.locator("th[aria-sort=ascending]").count() == 1
    page.locator("#find").fill("onerror")
    assert rows.count() == 1
    assert rows.first.locator("a").get_attribute("href") == "maps/site-00002.html"
    assert rows.first.locator("a").inner_text() == EVIL
    page.locator("#find").fill("")
    page.locator("#which").select_option("refused")
    assert page.locator("#told").inner_text() == "1 of 3 sites"
    assert page.evaluate("window.hit") is None
    assert complaints == []
    page.close()


@pytest.mark.browser
def test_the_list_says_how_many_depths_are_not_known(unmeasured, chromium, tmp_path):
    path = tmp_path / "index.html"
    path.write_text(index_page("two", unmeasured[1], "metric"), encoding="utf-8")
    page = chromium.new_page(viewport={"width": 320, "height": 800})
    page.goto(path.as_uri())
    cells = page.locator("#list tr td:nth-child(7)").all_inner_texts()
    assert [text.split("\n") for text in cells] == [["1 of 3", "2 not known"], ["–", "2 not known"]]
    list_ = page.locator(".wide:has(.list)")
    assert list_.evaluate("(e) => e.scrollWidth <= e.clientWidth")
    page.close()


def made_sites(found, count):
    """So many sites after the first of a run, all alike but for their names."""
    blank = {"measured": 3, "dressings": 3, "not_closing": 0, "thrown_over": 0, "findings": 9}
    blank |= {"on_target": 4, "under_dressed": 0, "over_dressed": 1, "depth_not_known": 0}
    blank |= {"spreaders": "drop", "fraction": 0.1, "u_fraction": 0.02, "strip_width_m": 0.5}
    blank |= {"u_strip_width_m": 0.25, "largest_shortfall_mm": None, "furthest_behind": ""}
    blank |= {"no_target": 0, "sketch": ""}
    names = [{"site": f"key{k}", "name": f"Course {k}"} for k in range(count)]
    return [{**found.sites[0], **blank, **name} for name in names]


def sites_page(run, sites, page, place, units="metric"):
    """The index of given sites, open in a browser."""
    labels = run.comparison.labels | {row["site"]: row["name"] for row in sites}
    found = replace(run.comparison, sites=sites, labels=labels)
    path = place / "index.html"
    path.write_text(index_page("made", replace(run, comparison=found), units), "utf-8")
    page.goto(path.as_uri())


@pytest.mark.browser
def test_the_list_is_turned_page_by_page_sorted_and_filtered(whole, chromium, tmp_path):
    sites = made_sites(whole[1].comparison, 120)
    sites[3] |= {"status": "failed"}
    sites[9] |= {"not_closing": 2}
    sites[8] |= {"not_closing": 3}
    sites[7] |= {"under_dressed": 1, "largest_shortfall_mm": 2.0, "furthest_behind": "g7"}
    sites[6] |= {"under_dressed": 2, "largest_shortfall_mm": 1.0, "furthest_behind": "g1"}
    sites[5] |= {"measured": 2}
    sites[4] |= {"thrown_over": 1, "fraction": None, "spreaders": "disc", "strip_width_m": None}
    page = chromium.new_page()
    sites_page(whole[1], sites, page, tmp_path)
    first = page.locator("#list tr td:nth-child(2)").first
    told, shown = page.locator("#told"), page.locator("#page")
    before, after = page.locator("#before"), page.locator("#after")

    def head(key):
        return page.locator(f"[data-key={key}]")

    def names(most=9):
        texts = page.locator("#list tr td:nth-child(2) :first-child").all_inner_texts()
        return [int(text.split()[1]) for text in texts[:most] if text.startswith("Course")]

    pressing = [3, 8, 9, 6, 7, 5, 0, 1, 2]  # failed, open balances, behind, not measured, the rest
    assert names() == pressing
    assert (told.inner_text(), shown.inner_text()) == ("120 of 120 sites", "1 to 50")
    assert before.is_disabled()
    for last in ("51 to 100", "101 to 120"):
        assert after.is_enabled()
        after.click()
        assert shown.inner_text() == last
    assert after.is_disabled() and page.locator("#list tr").count() == 20
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    assert names() == pressing and page.locator("#list tr").count() == 120
    page.evaluate("dispatchEvent(new Event('afterprint'))")
    assert shown.inner_text() == "1 to 50" and page.locator("#list tr").count() == 50
    after.click()
    after.click()
    before.click()
    assert shown.inner_text() == "51 to 100"
    head("name").click()
    assert shown.inner_text() == "1 to 50"  # a new order begins at its beginning
    assert names(12) == list(range(12))  # 9 before 10
    assert page.locator("th[aria-sort]").get_attribute("aria-sort") == "ascending"
    head("name").click()
    assert names(3) == [119, 118, 117]
    head("spreaders").click()
    assert names(3) == [4, 0, 1]  # alike ones stay in their order
    assert page.locator("#list tr").first.inner_text().split("\t")[2:4] == ["–", "–"]
    assert page.locator("th[aria-sort]").count() == 1
    head("spreaders").click()
    assert names(2) == [0, 1]
    head("fraction").click()
    after.click()
    after.click()
    assert names(20)[-1] == 4  # none stands last, whichever way
    head("fraction").click()
    after.click()
    after.click()
    assert names(20)[-1] == 4
    page.locator("#plain").click()
    assert names() == pressing and page.locator("th[aria-sort]").count() == 0
    choices = {"not_closing": [8, 9], "under_dressed": [6, 7], "thrown_over": [4]}
    for choice, wanted in (choices | {"unmeasured": [5], "refused": [3]}).items():
        page.locator("#which").select_option(choice)
        assert names() == wanted, choice
        assert not page.locator(".pages").is_visible()
    page.locator("#which").select_option("all")
    find = page.locator("#find")
    for words, wanted in (("course DISC", [4]), ("key117", [117]), ("disc drop", [])):
        find.fill(words)
        assert names() == wanted, words
    assert shown.text_content() == "none"
    find.fill("")
    assert first.inner_text().startswith("Course 3")
    page.close()


@pytest.mark.browser
def test_a_line_of_the_list_has_the_figures_of_its_site(whole, chromium, tmp_path):
    run, tall = whole[1], {"fraction": -0.0004, "u_fraction": None, "findings": 1234}
    sites = made_sites(run.comparison, 4)
    sites[0] |= {"strip_width_m": 0.3048, "u_strip_width_m": 0.1524}
    sites[1] |= {"under_dressed": 1, "largest_shortfall_mm": 2.54, "furthest_behind": "g7"}
    sites[1] |= {"depth_not_known": 2, "sketch": "0AK0KA41zzL2AAY3"}
    sites[2] |= {"measured": 0, "dressings": 2, "fraction": -0.123}
    sites[3] |= {"measured": 0, "dressings": 0, "fraction": 12.34567, "u_fraction": 0}
    sites.append({**sites[0], "site": "key9", "name": "Course 9"} | tall)
    page = chromium.new_page(viewport={"width": 1280, "height": 800})
    sites_page(run, sites, page, tmp_path, units="us")
    head = page.get_by_role("button", name="site", exact=True)
    head.click()
    assert head.is_visible()  # its arrow is no part of its name: aria-sort tells the order
    lines = [row.split("\t") for row in page.locator("#list tr").all_inner_texts()]
    cells = [[text.replace("\n", " ").strip() for text in line] for line in lines]
    assert cells[0][2:] == ["10.0 ± 2.0", "1.0 ± 0.5", "drop", "0 of 3", "0 of 5", "–", "9"]
    assert cells[1][6:8] == ["1 of 8 2 not known", "0.100 g7"]
    assert cells[2][2] == "−12.3 ± 2.0"
    assert cells[2][5] == "not measured" and cells[3][5] == "0 of 0"
    assert cells[3][2] == "1\u202f234.6 ± 0.0"
    assert cells[4][2] == "0.0"  # what is nought to a tenth has no sign, and no u none
    colour = "(e) => getComputedStyle(e).color"
    rows = page.locator("#list tr")
    plain = rows.nth(0).locator("td").nth(5).evaluate(colour)
    assert rows.nth(1).locator("td").nth(6).evaluate(colour) != plain
    assert rows.nth(2).locator("td").nth(5).evaluate(colour) != plain
    dots = rows.nth(1).locator("circle")
    drawn = [[dot.get_attribute(name) for name in ("cx", "cy", "r", "class")] for dot in dots.all()]
    # digits, capitals, small letters: 0 to 61; what has a state is drawn a little larger
    assert drawn[:2] == [["0", "10", "5", "s0"], ["20", "10", "2.2", "s1"]]
    assert [dot[3] for dot in drawn] == ["s0", "s1", "s2", "s3"]
    assert drawn[3][:2] == ["10", "10"] and float(drawn[3][2]) == 8.5
    # neither the dot of 5 about 0, 10 nor that of 5.25 about 61, 61 is cut at the edge
    assert rows.nth(1).locator("svg").get_attribute("viewBox") == "-5 -5 71.25 71.25"
    page.close()


@pytest.mark.browser
def test_a_sheet_of_paper_has_all_sites_and_a_phone_all_that_matters(whole, chromium, tmp_path):
    sites = [dict(whole[1].comparison.sites[k % SITES]) for k in range(60)]
    for k, row in enumerate(sites):
        row |= {"site": f"s{k}", "name": f"Course {k}"}
    sites[7] |= {"measured": 0, "not_closing": 0, "under_dressed": 0}
    names = {row["site"]: row["name"] for row in sites}
    found = replace(whole[1].comparison, sites=sites, labels=whole[1].comparison.labels | names)
    path = tmp_path / "index.html"
    path.write_text(index_page("sixty", replace(whole[1], comparison=found), "metric"), "utf-8")
    page = chromium.new_page(viewport={"width": 390, "height": 800})
    page.goto(path.as_uri())
    rows = page.locator("#list tr")
    assert rows.count() == 50
    list_ = page.locator(".wide:has(.list)")
    assert list_.evaluate("(e) => e.scrollWidth <= e.clientWidth")
    assert rows.first.locator("td:visible").count() == 4
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    assert rows.count() == 60
    page.evaluate("dispatchEvent(new Event('afterprint'))")
    assert rows.count() == 50
    paper = pypdfium2.PdfDocument(page.pdf(format="A4"))
    texts = [sheet.get_textpage().get_text_range() for sheet in paper]
    listed = [text for text in texts if re.search(r"(?m)^s\d+\s*$", text)]  # keys of sites
    assert len(listed) > 1
    assert all("findings" in text for text in listed)  # each sheet with the headings
    assert page.get_by_role("button", name="overthrow").is_visible()
    page.locator("#find").fill("Course 7")
    assert rows.first.locator("td").nth(5).inner_text() == "not measured"
    page.close()


@pytest.mark.browser
@pytest.mark.parametrize("units", ["metric", "us"])
@pytest.mark.parametrize("width", [320, 390])
def test_no_table_of_a_phone_needs_a_sideways_scroll(whole, chromium, tmp_path, units, width):
    site = whole[1].comparison.sites[0]["site"]
    open_ = {"site": site, "dressing": "D1", "spread_kg": 15_500.0, "overthrow_kg": -2930.0}
    found = replace(whole[1].comparison, not_closing=[open_])
    path = tmp_path / "index.html"
    path.write_text(index_page("clubs", replace(whole[1], comparison=found), units), "utf-8")
    page = chromium.new_page(viewport={"width": width, "height": 800})
    page.goto(path.as_uri())
    tables = page.locator(".wide").all()
    assert len(tables) == 4
    for table in tables:
        name = table.get_attribute("aria-label")
        assert table.evaluate("(e) => e.scrollWidth <= e.clientWidth"), name
    assert page.evaluate("document.documentElement.scrollWidth") == width
    page.close()


@pytest.mark.browser
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_page_has_no_violation(evil, chromium, tmp_path, scheme):
    path = tmp_path / "index.html"
    path.write_text(index_page("three", evil[1], "metric"), encoding="utf-8")
    page = chromium.new_page(color_scheme=scheme)
    page.goto(path.as_uri())
    page.evaluate(Path(axe_playwright_python.base.AXE_FILE_PATH).read_text(encoding="utf-8"))
    found = page.evaluate("axe.run({resultTypes: ['violations']})")
    assert found["violations"] == []
    assert len(found["passes"]) > 15
    shown = "getComputedStyle(document.body).backgroundColor"
    assert (
        page.evaluate(shown) == {"light": "rgb(251, 249, 243)", "dark": "rgb(27, 26, 23)"}[scheme]
    )
    page.close()


@pytest.mark.browser
def test_nothing_is_cut_off_on_paper(evil, chromium, tmp_path):
    out, done = evil
    (out / "paper.html").write_text(index_page("three", done, "metric"), encoding="utf-8")
    page = chromium.new_page(viewport={"width": 703, "height": 900})  # A4 less its margins
    page.emulate_media(media="print")
    page.goto((out / "paper.html").as_uri())
    wide = page.evaluate(
        "[...document.querySelectorAll('.wide')].map((e) => [e.scrollWidth, e.clientWidth])"
    )
    assert wide
    assert all(inside <= room for inside, room in wide), wide
    page.close()


@pytest.mark.browser
def test_the_cautions_never_stand_on_a_sheet_of_their_own(unmeasured, chromium, tmp_path):
    """Wherever the sheet ends, the last rows of the last table stand above them."""
    (tmp_path / "foot.html").write_text(index_page("two", unmeasured[1], "metric"), "utf-8")
    page = chromium.new_page()
    page.goto((tmp_path / "foot.html").as_uri())
    for room_mm in range(20, 250, 9):  # what is kept together is higher
        page.evaluate(
            "(mm) => { document.querySelector('h1').style.paddingTop = mm + 'mm'; }", room_mm
        )
        sheets = pypdfium2.PdfDocument(page.pdf(format="Letter"))
        last = sheets[len(sheets) - 1].get_textpage().get_text_range()
        assert "Areas here are for" in last and "t1 (tee)" in last, room_mm
    page.close()


@pytest.mark.browser
def test_a_table_of_one_row_does_not_wait_for_the_next_one(unmeasured, chromium, tmp_path):
    """Where one fits on the sheet and the next does not, the sheet ends between them."""
    site = unmeasured[1].comparison.sites[0]["site"]
    open_ = {"site": site, "dressing": "D1", "spread_kg": 15_500.0, "overthrow_kg": -2930.0}
    found = replace(unmeasured[1].comparison, not_closing=[open_])
    path = tmp_path / "index.html"
    path.write_text(index_page("two", replace(unmeasured[1], comparison=found), "metric"), "utf-8")
    page = chromium.new_page()
    page.goto(path.as_uri())
    apart = 0
    for room_mm in range(20, 250, 9):
        page.evaluate(
            "(mm) => { document.querySelector('h1').style.paddingTop = mm + 'mm'; }", room_mm
        )
        sheets = pypdfium2.PdfDocument(page.pdf(format="Letter"))
        texts = [sheet.get_textpage().get_text_range() for sheet in sheets]
        (first,) = [text for text in texts if "Balances that do not close" in text]
        assert re.search(r"1 of \d+: D1", first), room_mm
        apart += "Under-dressed surfaces" not in first
    page.close()
    assert apart
