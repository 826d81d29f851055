"""What a reader does one thing after another in one opened page: point, sort, search, print."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
import shapely

from geosand.mapping.page import map_page
from geosand.mapping.view import PeriodSurface
from geosand.mapping.words import figure
from tests.mapping.conftest import luminance
from tests.mapping.sample_view import named, sample_view

pytestmark = pytest.mark.browser
VIEW = sample_view()
SURFACES = {surface.id: surface for surface in VIEW.surfaces}
RINGS = {ring.id: ring.geometry for ring in VIEW.rings}
CARD = ".leaflet-popup .card"


def row(page, name):
    return page.get_by_role("rowheader").get_by_role("button", name=name, exact=True)


def choose(page, view):
    page.get_by_role("radio", name=view, exact=True).check()


#: Where a place lies on the screen.
SPOT = """([lat, lng]) => { const { x, y } = map_sand.latLngToContainerPoint([lat, lng]),
  box = map_sand.getContainer().getBoundingClientRect(); return [box.left + x, box.top + y]; }"""


def told(page, lon, lat, across=0.0):
    """What is said where the mouse points; ``across`` pixels to the right of a place."""
    x, y = page.evaluate(SPOT, [lat, lon])
    page.mouse.move(x + across + 1, y)
    page.mouse.move(x + across, y)
    tip = page.locator(".gs-tip")
    return tip.text_content() if tip.count() else ""


def over(page, shape, across=0.0):
    point = shape.representative_point()
    return told(page, point.x, point.y, across)


def test_the_mouse_reads_every_view(open_page):
    page, season = open_page(), VIEW.periods[0]
    three = SURFACES["3"].geometry

    def mm(depth_m):
        return figure(depth_m, "depth", "metric") + "\u00a0mm"

    middle = three.centroid
    collar, surrounds = (season.rings[f"3/{zone}"][0] for zone in ("collar", "surrounds"))
    choose(page, "Overthrow")
    beside = f"Green 3: collar {mm(collar)}, surrounds {mm(surrounds)}"
    assert told(page, middle.x, middle.y) == beside
    assert told(page, middle.x, middle.y, across=11) == beside  # the rim of its circle
    choose(page, "Depth")
    row(page, "Green 3").click()
    page.keyboard.press("Escape")
    page.get_by_role("checkbox", name="Catch points").uncheck()
    assert over(page, three) == f"Green 3: {mm(season.surfaces['3'].depth_m)}"
    page.mouse.move(5, 5)
    assert page.locator(".gs-tip").count() == 0
    choose(page, "Shortfall")
    short = season.surfaces["3"]
    assert over(page, three) == f"Green 3: shortfall {mm(short.shortfall_m)}, {short.state}"
    page.get_by_label("Period").select_option(index=1)
    assert over(page, three) == f"Green 3: {mm(VIEW.periods[1].surfaces['3'].depth_m)}, no target"
    page.get_by_label("Period").select_option(index=0)
    choose(page, "Catches")
    page.get_by_role("button", name="Whole site").click()
    counted = sum(caught.surface == "3" and caught.used for caught in VIEW.catches)
    assert told(page, middle.x, middle.y) == f"Green 3: {counted} catches"
    practice = SURFACES["P"].geometry
    assert over(page, practice) == "Practice green: no catch, estimated"
    choose(page, "Depth")
    estimated = mm(season.surfaces["P"].depth_m)
    assert over(page, practice) == f"Practice green: {estimated}, estimated"
    choose(page, "Areas")
    pond = SURFACES["W"]
    area = figure(pond.area_m2, "area", "metric")
    assert over(page, pond.geometry) == f"Long pond, water: {area}\u00a0m²"
    choose(page, "Overthrow")
    page.get_by_label("Period").select_option(label="3 July 2026 · d4")
    assert told(page, middle.x, middle.y) == "Green 3: no sand known past its edge"


def test_the_mouse_reads_rings_and_catches_close_by(open_page):
    """Upon a fairway that runs under all of it."""
    under = shapely.box(*SURFACES["3"].geometry.buffer(2e-4).bounds)
    surfaces = tuple(replace(s, geometry=under) if s.id == "F" else s for s in VIEW.surfaces)
    page, season = open_page(map_page(replace(VIEW, surfaces=surfaces))), VIEW.periods[0]
    choose(page, "Overthrow")
    row(page, "Green 3").click()
    page.keyboard.press("Escape")
    for zone in ("collar", "surrounds"):
        depth = figure(season.rings[f"3/{zone}"][0], "depth", "metric")
        assert over(page, RINGS[f"3/{zone}"]) == f"Green 3, {zone}: {depth}\u00a0mm"
    spots = {caught: shapely.Point(caught.lon, caught.lat) for caught in VIEW.catches}
    aside = next(  # and no other lies upon it
        caught
        for caught in VIEW.catches
        if not caught.used and sum(spots[caught].dwithin(one, 3e-5) for one in spots.values()) == 1
    )
    row(page, SURFACES[aside.surface].name).click()
    page.keyboard.press("Escape")
    assert told(page, aside.lon, aside.lat).startswith(f"Catch {aside.id}: ")
    assert page.locator(".gs-tip").text_content().endswith(", set aside")
    page.mouse.down()
    page.mouse.up()
    text = page.locator(CARD).inner_text()
    assert "Set aside\tnot used" in text and "Tray was tipped over." in text
    assert page.locator("#gs-live").text_content().endswith(", set aside")
    assert page.locator("tr[aria-current]").count() == 0


def test_the_table_is_sorted_searched_and_followed(open_page):
    season = VIEW.periods[0]
    unsure = replace(season.surfaces["T5f"], low_m=0.0)  # the widest interval, of a usual depth
    figures = {**season.surfaces, "T5f": unsure}
    season = replace(season, surfaces=figures)
    view = named(replace(VIEW, periods=(season, *VIEW.periods[1:])), ["Grün 1"])
    page = open_page(map_page(view))
    names = "[...document.querySelectorAll('tbody tr')].filter(r => !r.hidden)"
    names += ".map(r => r.querySelector('button').textContent)"

    page.locator("thead th button").first.click()
    first = page.evaluate(names)
    assert first.index("Green 2") < first.index("Green 10") < first.index("Tee 1 back")
    of = {surface.id: surface.name for surface in view.surfaces}
    for key, figure_of in (
        ("depth", lambda f: f.depth_m),
        ("range", lambda f: f.high_m - f.low_m),
        ("mass", lambda f: f.mass_kg),
    ):
        column = page.locator(f"thead th[data-c={key}]")
        column.get_by_role("button").click()
        assert column.get_attribute("aria-sort") == "descending"
        assert page.locator("th[aria-sort]").count() == 1
        wanted = sorted(figures, key=lambda one: -figure_of(figures[one]))[:3]
        assert page.evaluate(names)[:3] == [of[one] for one in wanted], key
    page.locator("thead th[data-c=depth] button").click()
    page.get_by_label("Period").select_option(label="1 May 2026 · d2")
    now = VIEW.periods[2].surfaces  # in the order of the depths that are shown now
    wanted = sorted(now, key=lambda one: -now[one].depth_m)[:5]
    assert page.evaluate(names)[:5] == [of[one] for one in wanted]
    flag = page.locator(".ledger tr", has_text="Green 7").get_by_role("img", name="under-dressed")
    assert flag.count() == 0
    page.get_by_label("Period").select_option(label="Whole season")
    assert flag.count() == 1
    choose(page, "Shortfall")
    state = page.locator("thead th[data-c=state]")
    state.get_by_role("button").click()
    assert state.get_attribute("aria-sort") == "ascending"
    search = page.get_by_label("Search")
    for words, found in (("t12b", ["Tee 12 back"]), ("  GRUN ", ["Grün 1"]), ("green 18", None)):
        search.fill(words)
        assert page.evaluate(names) == (found or ["Green 18"])
    search.fill("")
    page.get_by_label("Kind").select_option("lawn")
    assert page.evaluate(names) == ["Clubhouse lawn"]


def test_a_long_table_shows_what_was_opened_and_all_that_is_asked_for(open_page):
    page = open_page(map_page(sample_view(copies=3)))
    rows = page.locator(".ledger tbody tr:visible")
    choose(page, "US")
    page.evaluate("location.hash = '2-7'")
    page.locator(CARD).wait_for()
    current = page.locator("tr[aria-current]")
    assert current.is_visible() and current.locator("button").text_content() == "Green 7 of 2"
    depth = sample_view(copies=3).periods[0].surfaces["2-7"].depth_m
    assert current.locator("td").nth(4).text_content() == figure(depth, "depth", "us")
    choose(page, "Metric")
    assert current.is_visible()
    seen, frame = current.bounding_box(), page.locator(".side").bounding_box()
    assert frame["y"] <= seen["y"] < frame["y"] + frame["height"]
    assert rows.count() == 61
    page.get_by_label("Kind").select_option("tee")
    assert page.locator("#gs-more").text_content() == "Show all 108 surfaces"
    page.keyboard.press("Escape")
    page.get_by_role("button", name="Show all 108 surfaces").click()
    assert rows.count() == 108
    # the keyboard goes on at the first row that was not there before
    focused = "(rows) => rows.indexOf(document.activeElement.closest('tr'))"
    assert rows.evaluate_all(focused) == 60


def test_a_link_may_go_to_a_tab_of_its_own_and_an_address_may_name_a_surface(
    chromium, tmp_path, sample_text
):
    file = tmp_path / "map.html"
    file.write_text(sample_text, encoding="utf-8")
    context = chromium.new_context(offline=True)
    page = context.new_page()
    page.goto(file.as_uri() + "#T12b")
    page.wait_for_selector("body[data-ready]")
    assert page.locator(CARD).locator("h2").text_content() == "Tee 12 back"
    page.keyboard.press("Escape")
    with context.expect_page() as opened:
        page.locator(".first").get_by_role("link").first.click(modifiers=["Control"])
    opened.value.wait_for_selector("body[data-ready]")
    assert opened.value.locator(CARD).count() == 1
    assert page.locator(CARD).count() == 0
    context.close()


def test_after_printing_the_page_is_as_it_was(open_page):
    page = open_page()
    lists = page.locator("main details")
    assert lists.count() > 0
    lists.first.locator("summary").click()
    was = [one.get_attribute("open") is not None for one in lists.all()]
    row(page, "Green 3").click()
    place = "[map_sand.getZoom(), map_sand.getCenter().lat, map_sand.getCenter().lng]"
    before, heads = page.evaluate(place), page.locator("thead").inner_text()
    for _ in range(2):
        page.evaluate("dispatchEvent(new Event('beforeprint'))")
        page.evaluate("dispatchEvent(new Event('beforeprint'))")  # as some browsers do
        assert page.locator(CARD).count() == 0
        assert page.evaluate(place)[0] < before[0]
        assert all(one.get_attribute("open") is not None for one in lists.all())
        assert page.locator("thead button:visible").count() == 0
        assert page.locator("thead").inner_text().split() == heads.split()
        assert page.locator(".leaflet-gs-labels-pane").inner_text().count("Green") > 9
        page.evaluate("dispatchEvent(new Event('afterprint'))")
        assert page.evaluate(place) == pytest.approx(before)
        assert [one.get_attribute("open") is not None for one in lists.all()] == was
        assert page.locator("thead button:visible").count() > 3
    page.get_by_role("button", name="Whole site").click()
    home = page.evaluate(place)
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    page.evaluate("dispatchEvent(new Event('afterprint'))")
    assert page.evaluate(place) == pytest.approx(home, abs=1e-5)  # a pixel
    home = page.evaluate(place)
    page.set_viewport_size({"width": 1000, "height": 700})  # and is kept in sight as before
    page.wait_for_function(f"(was) => {place}[0] !== was", arg=home[0])
    page.evaluate("() => { window.print = () => document.body.append('asked'); }")
    page.get_by_role("button", name="Print").click()
    assert page.locator("body").inner_text().endswith("asked")


def test_a_card_follows_period_and_units_while_it_is_open(open_page):
    page, (season, first, *_) = open_page(), VIEW.periods
    row(page, "Green 3").click()
    card = page.locator(CARD)
    target = figure(season.surfaces["3"].target_so_far_m, "depth", "metric")
    assert f"Target so far\t{target}\u00a0mm" in card.inner_text()
    assert "on target" in card.inner_text() or "-dressed" in card.inner_text()
    low, high = sorted(
        round(100 * caught.residual)
        for caught in VIEW.catches
        if caught.surface == "3" and caught.used
    )[:: len([c for c in VIEW.catches if c.surface == "3" and c.used]) - 1]
    spread = card.locator("tr", has_text="Stands on").inner_text().replace("−", "-")
    assert f"{low:+d} to {high:+d}\u00a0%" in spread
    assert card.locator("svg rect.now").count() == 0
    card.locator("summary").click()
    page.get_by_label("Period").select_option(label="3 April 2026 · d1")
    depth = figure(first.surfaces["3"].depth_m, "depth", "metric")
    assert f"Depth\t{depth}\u00a0mm" in card.inner_text()
    assert card.locator("details[open]").count() == 1
    assert card.locator("svg rect.now").count() == 1
    assert "Target so far" not in card.inner_text()
    assert "3 April 2026" in card.locator(".what").text_content()
    page.get_by_role("radio", name="US").check()
    assert f"{figure(first.surfaces['3'].mass_kg, 'mass', 'us')} lb" in card.inner_text()
    # a tee that this dressing left out
    page.get_by_label("Search").fill("T3f")
    row(page, "Tee 3 front").click()
    assert card.locator(".lead").inner_text() == "Not dressed in this period"
    assert page.locator("#gs-live").text_content().endswith(": not dressed in this period")
    page.get_by_role("radio", name="Areas").check()
    row(page, "Tee 3 front").click()
    assert page.locator("#gs-live").text_content().startswith("Tee 3 front, tee: ")


def test_of_some_periods_something_else_is_said(open_page):
    """No figure of a season is one of a dressing that planned a depth."""
    d1 = VIEW.periods[1]
    planned = replace(
        d1.surfaces["3"], target_so_far_m=0.0012, shortfall_m=-0.0003, in_holes_m=None
    )
    view = replace(
        VIEW,
        periods=(
            VIEW.periods[0],
            replace(d1, surfaces={**d1.surfaces, "3": planned}),
            *VIEW.periods[2:],
        ),
    )
    page = open_page(map_page(view))
    page.get_by_label("Period").select_option(label="3 April 2026 · d1")
    row(page, "Green 3").click()
    text = page.locator(CARD).inner_text()
    assert "Planned\t1.20\u00a0mm" in text
    assert "Shortfall\t−0.30\u00a0mm\tahead" in text


def test_legend_and_outlines_say_what_is_shown(open_page):
    page = open_page()
    lines = page.locator("#gs-classes li")
    outlined = page.locator('.map path[stroke="#174a7c"]')

    def limits(joint):
        """Of the classes, each of which begins where the one before ends."""
        texts = [text.split(",")[0].replace("−", "-") for text in lines.all_inner_texts()]
        first, *between, last = texts
        pairs = [tuple(map(float, text.split(joint))) for text in between]
        ends = [float(first.removeprefix("under ")), *(pair[1] for pair in pairs)]
        assert [pair[0] for pair in pairs] == ends[:-1] and ends == sorted(set(ends))
        assert float(last.removesuffix(" or more")) == ends[-1]
        return first, last

    limits("–")
    choose(page, "US")
    limits("–")
    choose(page, "Metric")
    choose(page, "Shortfall")
    limits(" to ")
    texts = lines.all_inner_texts()
    assert texts[0].endswith(", ahead") and texts[-1].endswith(", short")
    choose(page, "Catches")
    limits(" to ")
    texts = lines.all_inner_texts()
    assert texts[0].endswith(", less sand") and texts[-1].endswith(", more sand")
    choose(page, "Areas")
    greens = [surface.area_m2 for surface in VIEW.surfaces if surface.kind == "green"]
    total = figure(sum(greens), "area", "metric")
    assert lines.first.inner_text() == f"green · {len(greens)} · {total}\u00a0m²"
    choose(page, "Overthrow")
    assert page.locator('.map path[stroke-dasharray="2 3"]').count() == 0
    page.get_by_label("Period").select_option(label="29 May 2026 · d3")
    assert page.locator('.map path[stroke-dasharray="2 3"]').count() > 0  # not told from zero
    page.get_by_label("Period").select_option(label="31 July 2026 · d5")  # without a catch
    choose(page, "Catches")
    assert lines.all_inner_texts() == ["No catch to hold against an estimate in this period"]
    page.get_by_label("Period").select_option(label="Whole season")
    choose(page, "Depth")
    row(page, "Green 3").click()
    assert outlined.count() == 1
    page.get_by_role("button", name="Whole site").click()
    assert outlined.count() == page.locator(CARD).count() == 0


def test_what_a_dressing_left_out_looks_other_and_hatching_is_seen(open_page):
    page = open_page()
    page.get_by_label("Period").select_option(label="3 April 2026 · d1")
    colour = "([x, y]) => document.elementFromPoint(x, y).getAttribute('fill')"
    spots = [SURFACES[one].geometry.centroid for one in ("3", "T3f")]
    for view in ("Depth", "Overthrow", "Catches"):
        choose(page, view)
        places = [page.evaluate(SPOT, [spot.y, spot.x]) for spot in spots]
        dressed, left_out = (page.evaluate(colour, place) for place in places)
        assert dressed != left_out, view
    inks = page.evaluate(
        """() => [...document.querySelectorAll("pattern[id^=gs-hatch-]")].map((one) =>
        [one.querySelector("rect").getAttribute("fill"),
         one.querySelector("path").getAttribute("stroke")])"""
    )
    assert len(inks) == 10
    for ground, ink in inks:
        below = [int(ground[at : at + 2], 16) for at in (1, 3, 5)]
        *upon, cover = map(float, re.findall(r"[\d.]+", ink))
        line = [cover * a + (1 - cover) * b for a, b in zip(upon, below, strict=True)]
        low, high = sorted(
            luminance(f"rgb({a:.0f}, {b:.0f}, {c:.0f})") for a, b, c in (below, line)
        )
        assert (high + 0.05) / (low + 0.05) > 2, ground


def test_before_the_first_dressing_there_is_no_sand_yet(open_page):
    season = VIEW.periods[0]
    none = PeriodSurface(depth_m=0.0, mass_kg=0.0, target_so_far_m=0.0, shortfall_m=0.0)
    begun = replace(season, surfaces=dict.fromkeys(season.surfaces, none), rings={})
    begun = replace(begun, balance=None, thrown_kg=None, headline="Nothing was dressed yet.")
    page = open_page(map_page(replace(VIEW, periods=(begun,), catches=(), rings=())))
    assert page.locator("#gs-classes").inner_text() == "no sand yet"
    assert page.locator(".account").inner_text().split("\n")[-1] == "Nothing was dressed yet."
    row(page, "Green 3").click()
    assert page.locator(CARD).locator(".lead").inner_text().startswith("0 kg of sand")
    assert page.locator(CARD).locator("figure").count() == 0
