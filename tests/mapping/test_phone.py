"""The page on a narrow screen: nothing stands out sideways, nothing is cut."""

from dataclasses import replace

import pytest

from geosand.mapping.page import map_page
from geosand.mapping.words import THEMES
from tests.mapping.sample_view import named, sample_view

pytestmark = pytest.mark.browser


def test_phone_has_no_sideways_overflow(open_page):
    page = open_page(width=390, height=844, has_touch=True, is_mobile=True)
    wide = "document.documentElement.scrollWidth"
    assert page.evaluate(wide) == 390
    foot = page.locator(".caution").bounding_box()
    assert page.evaluate("document.documentElement.scrollHeight") < foot["y"] + foot["height"] + 60
    tops = [page.locator(s).bounding_box()["y"] for s in (".map", ".legend", "#gs-table")]
    assert tops == sorted(tops)
    page.locator('tr[data-s="18"] th button').tap()
    # both in one go: the page may still be moving up to the map
    frame, popup = page.evaluate(
        "['.map', '.leaflet-popup'].map(s => document.querySelector(s).getBoundingClientRect())"
        ".map(r => [r.left, r.top, r.right, r.bottom])"
    )
    assert popup[0] >= frame[0] - 1 and popup[1] >= frame[1] - 1
    assert popup[2] <= frame[2] + 1 and popup[3] <= frame[3] + 1
    assert page.evaluate(wide) == 390


@pytest.mark.parametrize("units", ["metric", "us"])
def test_nothing_of_a_phone_stands_out_sideways_with_names_of_any_length(open_page, units):
    long = "Wiesenblumenbewässerungsversuchsgrünfläche of the old walled garden"
    view = named(replace(sample_view(), units=units), [long, f"{long} beside the orchard"])
    ids = ", ".join(surface.id for surface in view.surfaces[:2])
    page = open_page(map_page(replace(view, first=(f"{ids}: never had a catch",))), width=390)
    views = page.locator(".leaflet-control-layers-base label")
    assert len({round(box.bounding_box()["y"]) for box in views.all()}) == 1
    for theme in THEMES.values():
        page.get_by_role("radio", name=theme, exact=True).check()
        assert page.evaluate("document.documentElement.scrollWidth") == 390
        wider = "(s => s.scrollWidth - s.clientWidth)(document.querySelector('.scroll'))"
        assert page.evaluate(wider) <= 0, theme
    # a name of several lines goes on in its sentence
    name, rest = page.evaluate(
        "(() => { const names = document.querySelectorAll('.first li a');"
        " const range = document.createRange(); range.selectNode(names[1].nextSibling);"
        " return [[...names[1].getClientRects()].at(-1), range.getClientRects()[0]]"
        " .map(r => Math.round(r.bottom)); })()"
    )
    assert abs(name - rest) <= 2


@pytest.mark.parametrize("units", ["Metric", "US"])
def test_the_narrowest_phone_shows_each_column_of_each_view(open_page, units):
    """320 px are also what 1280 px are at four times their size (WCAG 2.2, 1.4.10)."""
    page = open_page(width=320)
    page.get_by_role("radio", name=units, exact=True).check()
    for theme in THEMES.values():
        page.get_by_role("radio", name=theme, exact=True).check()
        wider = "(s => s.scrollWidth - s.clientWidth)(document.querySelector('.scroll'))"
        assert page.evaluate(wider) <= 0, theme


def test_dates_of_the_subtitle_are_not_cut_in_two(open_page):
    page = open_page(width=390, height=844)
    for line in page.locator(".subtitle span").all():
        box = line.bounding_box()
        assert box["x"] + box["width"] <= 390
    assert page.locator(".subtitle span").last.bounding_box()["height"] < 30
