"""Passes of the next dressing on the map."""

from __future__ import annotations

import json
import re
from dataclasses import replace

import numpy as np
import pytest
import shapely
from pyproj import Geod

from geosand.mapping.fill import map_passes
from geosand.mapping.page import map_page
from geosand.mapping.view import MapPass
from geosand.planning.choosing import Request, chosen_spreader, chosen_surfaces
from geosand.planning.dressing import next_dressing
from tests.mapping.hostile import NAMES
from tests.mapping.sample_view import named, sample_view

EARTH = Geod(ellps="WGS84")


def with_passes(view, heading=(30.4, 121.0)):
    """The sample view with two passes over its first surface and one over its fourth."""
    shapes = [view.surfaces[k].geometry.bounds for k in (0, 3)]
    (west, south, east, north), (w, s, e, n) = shapes
    two = [[(west, south), (west, north)], [(east, north), (east, south)]]
    return replace(
        view,
        passes=(
            MapPass(
                surface=view.surfaces[0].id,
                heading_degree=heading[0],
                lines=shapely.MultiLineString(two),
            ),
            MapPass(
                surface=view.surfaces[3].id,
                heading_degree=heading[1],
                lines=shapely.MultiLineString([[(w, s), (e, n)]]),
            ),
        ),
    )


def data_of(text):
    return json.loads(re.search(r'id="gs-data">(.*?)</script>', text, re.DOTALL).group(1))


def test_without_passes_there_is_no_word_of_them(sample_text):
    data = data_of(sample_text)
    assert data["passes"] == []
    body = re.sub(r"<(script|style).*?</\1>", "", sample_text, flags=re.DOTALL)
    assert not re.search(r"\bpass(es)?\b", body, re.IGNORECASE)
    assert "overlay_passes" not in sample_text


def test_ends_come_back_to_a_centimetre():
    view = with_passes(sample_view())
    data = data_of(map_page(view))
    (first, heading, lines), (second, _, one) = data["passes"]
    assert (first, second, heading) == (0, 3, 30.4)
    assert (len(lines), len(one)) == (2, 1)
    got = (np.array(lines) + data["origin"]) / 1e7
    wanted = [list(line.coords) for line in view.passes[0].lines.geoms]
    np.testing.assert_allclose(got, wanted, atol=1e-7)


def test_a_pass_over_a_surface_that_is_not_shown_is_left_alone():
    view = with_passes(sample_view())
    strange = replace(view, passes=(replace(view.passes[0], surface="</script>{{ 7*7 }}"),))
    text = map_page(strange)
    assert data_of(text)["passes"][0][0] == -1
    assert text.count("<script") == 4


def test_passes_of_a_plan_run_along_their_headings(demo):
    """Independent route: the azimuth of each line on the ellipsoid."""
    results, site, ledger = demo, demo.site, demo.ledger
    request = Request(
        row=chosen_surfaces(site, ledger, ["green"]),
        sand=0,
        spreader=chosen_spreader(site, ledger, None)[0],
        depth_m=0.001,
        assurance=0.9,
    )
    plan = next_dressing(results.balance, ledger, request)
    passes = map_passes(results, plan)
    assert [p.surface for p in passes] == site.surfaces.id[plan.rates.row].tolist()
    assert [len(p.lines.geoms) for p in passes] == plan.headings.passes.tolist()
    for driven, row in zip(passes, plan.rates.row, strict=True):
        lines = np.array([line.coords for line in driven.lines.geoms])
        azimuth, _, _ = EARTH.inv(*lines[:, 0].T, *lines[:, 1].T)
        off = (np.asarray(azimuth) - driven.heading_degree + 90) % 180 - 90
        assert np.abs(off).max() < 0.2  # grid north of the local plane against true north
        assert shapely.intersects(results.areas.owned[row], driven.lines)
        # neighbours run opposite ways
        turn = np.cos(np.radians(np.diff(azimuth)))
        np.testing.assert_allclose(turn, -1, atol=1e-4)


@pytest.mark.browser
def test_passes_are_drawn_near_by_and_the_popup_tells_the_heading(open_page):
    page = open_page(map_page(with_passes(sample_view())))
    box = page.get_by_role("checkbox", name="Passes")
    sign = page.get_by_text("pass of the next dressing")
    drawn = page.locator("path.gs-pass")
    page.get_by_role("rowheader").get_by_role("button", name="Green 1", exact=True).click()
    assert box.is_checked()
    assert drawn.count() >= 1
    assert sign.is_visible()
    first = with_passes(sample_view()).passes[0].lines.geoms[0].coords[0]
    begin, dot = page.evaluate(
        """([lng, lat]) => { const { x, y } = map_sand.latLngToContainerPoint([lat, lng]),
          frame = map_sand.getContainer().getBoundingClientRect(),
          dot = [...document.querySelectorAll(".leaflet-gs-passes-pane path")].at(-1);
        const box = dot.getBoundingClientRect();
        return [[frame.left + x, frame.top + y],
          [box.left + box.width / 2, box.top + box.height / 2]]; }""",
        list(first),
    )
    assert dot == pytest.approx(begin, abs=1.5)
    words = page.locator(".leaflet-popup .card").inner_text()
    assert re.search(r"Drive at\s+30°\s+2 passes, next dressing", words)
    page.get_by_label("Search").fill("tee")  # what is not looked for is faded
    assert drawn.count() == 0
    page.get_by_label("Search").fill("")
    assert drawn.count() >= 1
    box.uncheck()
    assert (drawn.count(), sign.is_visible()) == (0, False)
    page.keyboard.press("Escape")
    page.get_by_role("rowheader").get_by_role("button", name="Green 5", exact=True).click()
    assert "Drive at" not in page.locator(".leaflet-popup .card").inner_text()


@pytest.mark.browser
def test_a_click_on_a_pass_opens_its_surface(open_page):
    page = open_page(map_page(with_middle(sample_view())))
    page.get_by_role("rowheader").get_by_role("button", name="Green 1", exact=True).click()
    page.keyboard.press("Escape")
    page.locator(".leaflet-popup .card").wait_for(state="detached")
    page.get_by_role("checkbox", name="Catch points").uncheck()
    x, y, wide, high = page.evaluate(
        "(() => { const b = document.querySelector('path.gs-pass').getBoundingClientRect();"
        " return [b.x, b.y, b.width, b.height]; })()"
    )
    page.mouse.click(x + wide / 2, y + high / 2)
    assert page.locator(".leaflet-popup .card h2").text_content() == "Green 1"


def with_middle(view):
    """One pass straight over the middle of the first surface."""
    west, south, east, north = view.surfaces[0].geometry.bounds
    line = shapely.MultiLineString([[((west + east) / 2, south), ((west + east) / 2, north)]])
    driven = MapPass(surface=view.surfaces[0].id, heading_degree=0.0, lines=line)
    return replace(view, passes=(driven,))


@pytest.mark.browser
def test_from_afar_no_passes_are_drawn(open_page):
    page = open_page(map_page(with_passes(sample_view())))
    assert page.locator("path.gs-pass").count() == 0
    assert "(zoom in)" in page.evaluate(
        "getComputedStyle(document.querySelector('li[data-overlay]'), '::after').content"
    )


@pytest.mark.browser
def test_hostile_names_stay_text_with_passes(open_page):
    page = open_page(map_page(with_passes(named(sample_view(), NAMES))))
    page.locator('tr[data-s="0"] th button').click()
    card = page.locator(".leaflet-popup .card")
    assert card.locator("h2").evaluate("node => node.textContent") == NAMES[0]
    assert page.title() == "Fallow Down: sand on turf"
