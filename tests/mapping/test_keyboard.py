"""The page without a mouse: the Tab key, arrow keys, addresses, and what is read out."""

import pytest

from tests.mapping.conftest import card

pytestmark = pytest.mark.browser


def test_keyboard_alone_reaches_table_and_comes_back(open_page):
    page = open_page()
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    stops = []
    for _ in range(40):
        page.keyboard.press("Tab")
        stops.append(page.evaluate("document.activeElement.tagName"))
        if page.evaluate("!!document.activeElement.closest('tbody')"):
            break
    assert page.evaluate("!!document.activeElement.closest('tbody')")
    assert not {"path", "svg"}.intersection(stops)
    page.keyboard.press("Enter")
    assert card(page).locator("h2").text_content() == "Green 1"
    # the card is where the keyboard goes on: to its list of catches, and out again
    assert page.evaluate("document.activeElement.getAttribute('aria-label')") == "Green 1"
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.tagName") == "SUMMARY"
    page.keyboard.press("Escape")
    card(page).wait_for(state="detached")
    assert page.evaluate("document.activeElement.textContent") == "Green 1"


def test_views_can_be_chosen_by_arrow_keys(open_page):
    page = open_page()
    page.get_by_role("radio", name="Depth").focus()
    page.keyboard.press("ArrowRight")
    assert page.locator("body").get_attribute("data-theme") == "shortfall"
    page.keyboard.press("ArrowRight")
    assert page.locator("body").get_attribute("data-theme") == "overthrow"


def test_what_changed_is_said(open_page):
    page = open_page()
    live = page.locator("#gs-live")
    page.get_by_label("Search").fill("green 1")
    assert live.text_content() == "10 surfaces in the table"
    page.get_by_label("Search").fill("green 18")
    assert live.text_content() == "1 surface in the table"
    page.get_by_role("button", name="Depth mm").click()
    assert live.text_content() == "Sorted by Depth mm, descending"
    page.get_by_role("radio", name="US").check()
    assert live.text_content() == "US units"


def test_an_address_with_an_id_opens_its_surface_or_dressing(open_page):
    page = open_page()
    page.evaluate("location.hash = 'T12b'")
    card(page).wait_for()
    assert card(page).locator("h2").text_content() == "Tee 12 back"
    page.evaluate("location.hash = 'd3'")
    page.locator(".account h2", has_text="29 May 2026 · d3").wait_for()
    assert page.get_by_label("Period").input_value() == "3"
    page.evaluate("location.hash = '%'")
    page.get_by_role("link", name="Skip to the table").focus()
    page.keyboard.press("Enter")
    assert page.get_by_label("Period").input_value() == "3"
