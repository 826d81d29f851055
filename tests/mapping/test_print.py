"""The page on paper, read back with PDFium: whole site, legend and balance on page one."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pypdfium2
import pytest

from geosand.mapping.fill import map_view
from geosand.mapping.page import map_page
from geosand.mapping.words import SCALES
from tests.mapping.sample_view import sample_view

pytestmark = pytest.mark.browser
FORMATS = [(paper, wide) for paper in ("A4", "Letter") for wide in (True, False)]


def pages(page, paper, wide):
    """Picture (150 dots an inch) and text of every sheet."""
    pdf = pypdfium2.PdfDocument(page.pdf(format=paper, landscape=wide))
    return [
        (
            np.asarray(sheet.render(scale=150 / 72).to_pil().convert("RGB")),
            sheet.get_textpage().get_text_range(),
        )
        for sheet in pdf
    ]


def pixels(picture, colour):
    wanted = [int(colour[i : i + 2], 16) for i in (1, 3, 5)]
    return np.argwhere(np.abs(picture.astype(int) - wanted).max(axis=2) <= 3)


@pytest.mark.parametrize(("paper", "wide"), FORMATS)
def test_page_one_has_the_whole_site_with_what_a_sheet_needs(open_page, paper, wide):
    page = open_page()
    page.get_by_role("rowheader").get_by_role("button", name="Green 3", exact=True).click()
    before = page.locator(".map").bounding_box()
    (picture, text), (second, table), *_ = sheets = pages(page, paper, wide)
    assert 3 <= len(sheets) <= 6
    for said in ("Fallow Down", "20 September 2026", "Depth of sand, mm", "Look first"):
        assert said in text
    for name in ("Green 1", "Green 18", "Practice green", "Clubhouse lawn"):
        assert name in text
    assert re.search(r"^\d+ m\s*$", text, re.MULTILINE)  # of the scale bar
    assert re.search(r"^N\s*$", text, re.MULTILINE)  # of the north arrow
    assert "all its figures are estimated" in re.sub(r"\s+", " ", text)
    assert "Spread" in text and "Overthrow" in text
    assert "Surface by surface" in table
    # circles of every class that occurs lie all over the map, and none on the next sheet
    for colour in SCALES["depth"][2:4]:
        spots = pixels(picture, colour)
        assert len(spots) > 300
        assert np.ptp(spots[:, 0]) > 400
        assert len(pixels(second, colour)) == 0
    for land in ("#e9eddc", "#dde6c8"):  # the site's own, and its fairway
        assert len(pixels(picture, land)) > 1000
    # nothing is cut off at the right: a white margin of 10 mm
    assert (picture[:, -55:] > 250).all()
    assert page.locator(".map").bounding_box() == before
    assert page.get_by_role("button", name="Depth mm").is_visible()


def test_paper_shows_the_period_and_view_that_were_chosen(open_page):
    page = open_page()
    page.get_by_label("Period").select_option(label="3 April 2026 · d1")
    page.get_by_role("radio", name="Overthrow").check()
    picture, text = pages(page, "A4", True)[0]
    assert "Thrown past the edge, as depth, mm" in text
    assert "3 April 2026" in text
    assert sum(len(pixels(picture, colour)) for colour in SCALES["overthrow"][1:]) > 300


def test_a_long_table_is_printed_whole(open_page):
    page = open_page(map_page(sample_view(copies=3)))
    assert page.locator("tbody tr:visible").count() == 60
    text = " ".join(text for _, text in pages(page, "A4", True))
    assert "Green 1 of 2" in text and "Clubhouse lawn of 2" in text
    assert page.locator("tbody tr:visible").count() == 60
    page.get_by_role("button", name="Show all 168 surfaces").click()
    assert page.locator("tbody tr:visible").count() == 168


@pytest.mark.parametrize("count", [1, 5, 14])
def test_the_table_follows_what_to_look_at_first_and_five_rows_stay_together(open_page, count):
    """A list that goes on upon the second sheet left it nearly empty."""
    lines = tuple(f"a line, the {k} th" for k in range(count))
    page = open_page(map_page(replace(sample_view(), first=lines)))
    texts = [text for _, text in pages(page, "Letter", False)]
    begun = next(text for text in texts if "Surface by surface" in text)
    rows = begun.partition("Surface by surface")[2]
    for name in ("Green 1\r", "Tee 1 front", "Tee 1 back", "Green 2", "Tee 2 front"):
        assert name in rows
    if count == 14:
        assert begun is texts[1] and "the 13 th" in begun


def test_numbers_of_two_digits_stay_on_the_sheet(open_page):
    """On paper what hangs out of a list's edge is cut: 10 was read as 0."""
    lines = tuple(f"a line, the {k} th" for k in range(12))
    page = open_page(map_page(replace(sample_view(), first=lines)))
    page.emulate_media(media="print")
    room, wide = page.evaluate(
        """() => {
      const list = document.querySelector(".first ol"),
        probe = document.createElement("span");
      probe.textContent = "12.\\u00a0";
      list.firstElementChild.append(probe);
      return [parseFloat(getComputedStyle(list).paddingLeft), probe.getBoundingClientRect().width];
    }"""
    )
    assert room >= wide


def test_findings_are_printed_in_letters_that_are_read_at_arm_s_length(open_page):
    """8.5 pt, as the legend's (common practice, no published source)."""
    page = open_page()
    page.emulate_media(media="print")
    size = page.locator(".findings ul").evaluate("(list) => getComputedStyle(list).fontSize")
    assert float(size.removesuffix("px")) >= 8.5 * 96 / 72 - 0.01


@pytest.mark.parametrize("units", ["metric", "us"])
def test_the_demo_s_map_needs_no_third_sheet_for_its_last_lines(open_page, demo, units):
    page = open_page(map_page(map_view(demo, units)))
    page.evaluate("document.querySelector('.findings').open = true")
    assert len(pages(page, "A4", False)) == 2


def test_the_caution_never_stands_on_a_sheet_of_its_own(open_page):
    """Whatever the page before holds, three findings stand above it."""
    findings = tuple(f"a finding, the {k} th" for k in range(9))
    page = open_page(map_page(replace(sample_view(), findings=findings)))
    page.evaluate("document.querySelector('.findings').open = true")
    page.add_style_tag(content=".frame, .ledger { display: none !important }")  # quicker
    for room_mm in range(0, 250, 9):  # the caution takes more than that
        page.evaluate(
            "(mm) => { document.querySelector('.findings').style.paddingTop = mm + 'mm'; }",
            room_mm,
        )
        sheets = pypdfium2.PdfDocument(page.pdf(format="Letter"))
        last = sheets[len(sheets) - 1].get_textpage().get_text_range()
        assert "the 6 th" in last and "Areas are for" in last
