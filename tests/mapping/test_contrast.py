"""Letters against the ground that they stand on (WCAG 2.2, 1.4.3)."""

from dataclasses import replace

import pytest

from geosand.mapping.page import map_page
from geosand.mapping.words import KIND_COLOURS
from tests.mapping.conftest import luminance, next_picture, press_row
from tests.mapping.sample_view import sample_view

pytestmark = pytest.mark.browser


def test_names_upon_dark_colours_are_light(open_page):
    """WCAG 2.2, 1.4.3: 4.5 to 1 between letters and the ground that they stand on."""
    view = sample_view()
    season = view.periods[0]
    deep = replace(season.surfaces["14"], depth_m=0.012, shortfall_m=-0.008)
    season = replace(season, surfaces={**season.surfaces, "14": deep})
    page = open_page(map_page(replace(view, periods=(season, *view.periods[1:]))))
    press_row(page, "Green 14")
    page.keyboard.press("Escape")

    def contrast(theme):
        page.get_by_role("radio", name=theme, exact=True).check()
        next_picture(page)
        name = page.locator(".leaflet-gs-labels-pane span", has_text="Green 14").first
        box = name.bounding_box()
        ground = page.evaluate(
            """([x, y]) => document.elementsFromPoint(x, y)
          .filter((node) => node.tagName === "path")
          .map((node) => getComputedStyle(node).fill)
          .find((fill) => fill.startsWith("rgb("))""",
            [box["x"] + box["width"] / 2, box["y"] + box["height"] / 2],
        )
        letters = name.evaluate("node => getComputedStyle(node).color")
        high, low = sorted((luminance(letters), luminance(ground)), reverse=True)
        return (high + 0.05) / (low + 0.05)

    figures = {theme: contrast(theme) for theme in ("Depth", "Shortfall")}
    assert min(figures.values()) >= 4.5, figures


def test_names_of_tees_are_read_upon_each_colour(open_page):
    """WCAG 2.2, 1.4.3: 4.5 to 1; the letters of tees are thinner than those of greens."""
    view = sample_view()
    season = view.periods[0]
    filled = {
        f"T{k}f": replace(season.surfaces[f"T{k}f"], depth_m=0.0018 * k, basis="own catches")
        for k in range(1, 6)
    }
    season = replace(season, surfaces={**season.surfaces, **filled})
    page = open_page(map_page(replace(view, periods=(season, *view.periods[1:]))))
    figures = {}
    for k in range(1, 6):
        press_row(page, f"Tee {k} front")
        page.keyboard.press("Escape")
        next_picture(page)
        letters, ground = page.evaluate(
            """(text) => {
          const name = [...document.querySelectorAll(".leaflet-gs-labels-pane span")]
              .find((node) => node.textContent === text),
            { x, y, width, height } = name.getBoundingClientRect();
          return [getComputedStyle(name).color, document
            .elementsFromPoint(x + width / 2, y + height / 2)
            .filter((node) => node.tagName === "path")
            .map((node) => getComputedStyle(node).fill)
            .find((fill) => fill.startsWith("rgb("))];
        }""",
            f"Tee {k} front",
        )
        high, low = sorted((luminance(letters), luminance(ground)), reverse=True)
        figures[ground] = (high + 0.05) / (low + 0.05)
    assert len(figures) >= 4 and min(figures.values()) >= 4.5, figures


def test_areas_are_read_upon_a_green(open_page):
    """WCAG 2.2, 1.4.3: 4.5 to 1."""
    page = open_page()
    page.get_by_role("radio", name="Areas").check()
    press_row(page, "Green 14")
    page.keyboard.press("Escape")
    next_picture(page)
    area = page.locator(".leaflet-gs-labels-pane span", has_text="Green 14").locator("small")
    letters = area.evaluate("node => getComputedStyle(node).color")
    ground = ",".join(str(part) for part in bytes.fromhex(KIND_COLOURS["green"][1:]))
    high, low = sorted((luminance(letters), luminance(ground)), reverse=True)
    assert (high + 0.05) / (low + 0.05) >= 4.5


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_chart_of_a_card_is_read_in_forced_colours(open_page, scheme):
    """Letters of a picture are not forced; the ground that they stand on was."""
    page = open_page(forced_colors="active", color_scheme=scheme)
    press_row(page, "Green 14")
    letters, ground = page.locator(".card figure svg").evaluate(
        "(svg) => [getComputedStyle(svg.querySelector('text')).fill,"
        " getComputedStyle(svg).backgroundColor]"
    )
    assert ground != "rgba(0, 0, 0, 0)"
    high, low = sorted((luminance(letters), luminance(ground)), reverse=True)
    assert (high + 0.05) / (low + 0.05) >= 4.5
