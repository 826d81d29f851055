"""Names on the map: never on each other, never on a surface that is not theirs."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
import shapely
from playwright.sync_api import expect

from geosand.mapping.page import map_page
from geosand.mapping.words import figure
from tests.mapping.conftest import next_picture
from tests.mapping.sample_view import named, sample_view

pytestmark = pytest.mark.browser

#: Boxes of the names in sight, and of the signs of the map.
BOXES = """() => {
  const box = (node) => { const r = node.getBoundingClientRect();
    return [r.left, r.top, r.right, r.bottom, node.textContent.replace(/^▼\\s/, "")]; };
  return [[...document.querySelectorAll(".leaflet-gs-labels-pane span")].map(box),
    [...document.querySelectorAll(".map .leaflet-control")].map(box).filter((b) => b[2] > b[0])];
}"""
#: Names and lines in sight with their boxes, and all surfaces as they lie on the screen, in pixels.
SCENE = """([zoom, place, shift]) => {
  const map = map_sand;
  const site = geosand.site(JSON.parse(document.getElementById("gs-data").textContent));
  geosand.brief(site);
  if (zoom) {
    map.setView(site.surfaces[place].point, zoom, { animate: false });
    map.panBy(shift, { animate: false });
  }
  // names follow one picture later
  return new Promise((done) => requestAnimationFrame(() => setTimeout(() => {
    const view = map.getBounds().pad(0.3), frame = map.getContainer().getBoundingClientRect();
    const at = (corner) => { const p = map.latLngToContainerPoint(corner); return [p.x, p.y]; };
    const drawing = document.querySelector(".gs-leaders"), path = drawing && drawing.lastChild;
    const corner = drawing && drawing.getBoundingClientRect();
    const lines = (path ? path.getAttribute("d").match(/-?[\\d.]+/g) : []).map(Number)
      .map((v, i) => v + (i % 2 ? corner.top - frame.top : corner.left - frame.left));
    done({ near: map.getZoom() >= 17, lines,
      names: [...document.querySelectorAll(".leaflet-gs-labels-pane span")].map((node) => {
        const r = node.getBoundingClientRect();
        const small = node.querySelector("small");
        return [node.textContent.replace(/^▼\\s/, "").replace(small ? small.textContent : "", ""),
          r.left - frame.left, r.top - frame.top, r.right - frame.left, r.bottom - frame.top]; }),
      size: map.getZoom() < 13.5 ? 0.45 : map.getZoom() < 14.75 ? 0.7 : 1,
      surfaces: site.surfaces.filter((s) => view.intersects(s.bounds)).map((s) => ({
        names: [s.name, site.brief(s)], at: at(s.point), kind: s.kind,
        active: s.active, rings: s.rings.map((p) => p.map((r) => r.map(at))) })) });
  }, 5))); }"""


#: Of each letter of a name, whether it lies in the name's box.
LETTERS = """(node) => {
  const text = node.lastChild, box = node.getBoundingClientRect(), range = document.createRange();
  return [...text.data].map((_, k) => { range.setStart(text, k); range.setEnd(text, k + 1);
    const r = range.getBoundingClientRect();
    return r.left >= box.left - 1 && r.right <= box.right + 1; });
}"""

#: Where a letter of a text begins.
LEFT = """(node, k) => { const text = node.firstChild, range = document.createRange(),
  at = (k + text.length) % text.length;
  range.setStart(text, at); range.setEnd(text, at + 1);
  return range.getBoundingClientRect().left;
}"""


def apart(a, b):
    return a[2] <= b[0] or b[2] <= a[0] or a[3] <= b[1] or b[3] <= a[1]


def check(page):
    labels, signs = page.evaluate(BOXES)
    frame = page.locator(".map").bounding_box()
    for i, one in enumerate(labels):
        assert all(apart(one, other) for other in (*labels[:i], *signs)), one
        assert one[0] >= frame["x"] and one[2] <= frame["x"] + frame["width"]
    return [label[4] for label in labels]


@pytest.mark.parametrize("width", [1280, 900, 390])
def test_names_from_afar_lie_apart_and_on_no_circle(open_page, width):
    page = open_page(width=width)
    names = {name.removeprefix("Green ") for name in check(page)}
    assert {"7", "Tee 12 back"} <= names
    assert no_doubt(page.evaluate(SCENE, [0, 0, 0]), "Depth") > 8


def surfaces_of(scene):
    """Each surface with what is drawn of it: its ground close by, a circle from afar."""
    for surface in scene["surfaces"]:
        if scene["near"]:
            polygons = [(rings[0], rings[1:]) for rings in surface["rings"]]
            yield surface, shapely.make_valid(shapely.MultiPolygon(polygons))
        else:
            green = surface["kind"] in ("green", "pitch")
            yield (
                surface,
                shapely.Point(surface["at"]).buffer(scene["size"] * (8.5 if green else 6)),
            )


def no_doubt(scene, view):
    """Every name lies upon its own surface, or beside it alone, or a line leads to it."""
    shapes = list(surfaces_of(scene))
    ends = shapely.points(np.reshape(scene["lines"], (-1, 2))[::2])
    starts = shapely.points(np.reshape(scene["lines"], (-1, 2))[1::2])
    for name, *sides in scene["names"]:
        box = shapely.box(*sides)
        (own,) = [shape for surface, shape in shapes if name in surface["names"]]
        others = [(s, g) for s, g in shapes if g is not own and (s["active"] or view == "Areas")]
        if scene["near"] and own.covers(box.buffer(-1)):
            continue
        assert not own.intersects(box.buffer(-1)), name  # a name hangs over no edge
        for other, ground in shapes:
            around = ground.envelope.buffer(1).contains(own.envelope)
            solid = other["active"] or view == "Areas"
            backdrop = not solid and (other["kind"] == "fairway" or around or not scene["near"])
            if ground is not own and not backdrop:
                assert not ground.intersects(box.buffer(-1)), (name, other["names"][0])
        led = [k for k in range(len(ends)) if box.distance(ends[k]) < 1.5]
        if led:
            assert any(own.distance(starts[k]) < 9 for k in led), name  # rings lie between
            continue
        nearest = min((ground.distance(box) for _, ground in others), default=np.inf)
        assert own.distance(box) < nearest, name
    return len(scene["names"])


def test_a_narrow_map_names_fewer(open_page):
    wide, narrow = (check(open_page(width=width)) for width in (1280, 390))
    assert len(wide) > 45
    assert 8 <= len(narrow) <= 20
    # what other greens do not share stands for a name that has no room
    greens = {"Practice": "Practice green", **{str(k): f"Green {k}" for k in range(1, 19)}}
    told = [greens.get(name, name) for name in narrow]
    assert set(told) <= {*greens.values(), "Tee 12 back"}
    assert len(set(told)) == len(told) and any(name in greens for name in narrow)


def test_beside_numbers_of_catches_no_name_is_a_number(open_page):
    page = open_page(width=390)
    page.get_by_role("radio", name="Catches").check()
    next_picture(page)
    names = check(page)
    assert len(names) > 3
    assert all(re.search("[A-Za-z]", name) for name in names)


@pytest.mark.parametrize("view", ["Depth", "Overthrow", "Areas"])
def test_names_lie_upon_their_surface_or_beside_it_alone(open_page, view):
    page, seen = open_page(), 0
    page.get_by_role("radio", name=view).check()
    random = np.random.default_rng(3)
    for zoom in (15, 16.25, 17, 17.5, 18.25, 19, 20, 21.5):
        for place in random.integers(0, 60, 2).tolist():
            shift = random.integers(-150, 150, 2).tolist()
            seen += no_doubt(page.evaluate(SCENE, [zoom, place, shift]), view)
            check(page)
    assert seen > 100


def test_a_name_stays_in_sight_where_its_surface_fills_the_map(open_page):
    page = open_page()
    page.get_by_role("checkbox", name="Catch points").uncheck()
    scene = page.evaluate(SCENE, [22.5, 0, [250, 100]])
    assert "Green 1" in [name for name, *_ in scene["names"]]


@pytest.mark.parametrize("width", [1280, 390])
def test_every_green_is_named_on_the_whole_site(open_page, width):
    page = open_page(width=width)
    scene = page.evaluate(SCENE, [0, 0, 0])
    inside = page.locator(".leaflet-gs-labels-pane b.count").all_text_contents()
    told = {name for name, *_ in scene["names"]} | set(inside)
    for surface in scene["surfaces"]:
        if surface["kind"] == "green":
            assert told.intersection(surface["names"]), surface["names"]


def test_a_filter_takes_names_off_the_map(open_page):
    page = open_page()
    page.get_by_label("Search").fill("green 1")
    # A locator, as the page's own policy forbids to evaluate the text of a condition again.
    expect(page.locator(".leaflet-gs-labels-pane span")).to_have_count(10)
    assert all(name.removeprefix("Green ").startswith("1") for name in check(page))


@pytest.mark.parametrize(
    "name",
    [
        "الملعب الأخضر الأول بجانب البحيرة والحديقة الكبيرة وراء المبنى القديم عند الطريق",
        "The upper practice green beside the lake and the walled kitchen garden",
    ],
)
def test_a_long_name_loses_its_end_whichever_way_it_is_read(open_page, name):
    """Scripts that run to the left begin at the right (Unicode Standard Annex #9); the area below
    is written as all areas of the page are."""
    first, *others = sample_view().surfaces
    view = replace(sample_view(), surfaces=(replace(first, name=name), *others))
    page = open_page(map_page(view))
    page.evaluate(SCENE, [19, 0, [0, 0]])
    label = page.locator(".leaflet-gs-labels-pane span", has_text=name[:12])
    seen = label.evaluate(LETTERS)
    assert seen[0] and not seen[-1]
    page.get_by_role("radio", name="Areas").check()
    figure, unit = (label.locator("small").evaluate(LEFT, k) for k in (0, -1))
    assert figure < unit


def texts(page, css):
    next_picture(page)
    return page.locator(f".leaflet-gs-labels-pane {css}").all_text_contents()


def test_names_have_the_sign_of_the_period_and_the_area_of_the_units(open_page):
    page, view = open_page(), sample_view()
    period = page.get_by_label("Period")
    for index, flags in ((0, 2), (1, 0), (0, 2)):
        period.select_option(index=index)
        assert sum(text.startswith("▼") for text in texts(page, "span")) == flags
    page.get_by_role("radio", name="Areas").check()
    assert texts(page, "small") == []  # from afar there is no room
    three = next(surface for surface in view.surfaces if surface.id == "3")
    page.get_by_role("rowheader").get_by_role("button", name="Green 3", exact=True).click()
    page.keyboard.press("Escape")
    for units, name in (("metric", "Metric"), ("us", "US"), ("metric", "Metric")):
        page.get_by_role("radio", name=name, exact=True).check()
        told = next(text for text in texts(page, "span") if text.startswith("Green 3"))
        assert told == "Green 3" + figure(three.area_m2, "area", units, unit=True)


#: Boxes of names, depths and dots in sight.
UPON = """() => { const box = (node) => { const r = node.getBoundingClientRect();
    return [r.left, r.top, r.right, r.bottom, node.textContent]; };
  const all = (css) => [...document.querySelectorAll(css)].map(box);
  // corners of triangles may touch a figure
  return [all(".leaflet-gs-labels-pane span"), all(".leaflet-gs-labels-pane em"),
    all(".gs-catch, .gs-aside").map(([l, t, r, b]) => [l + 2, t + 2, r - 2, b - 2])]; }"""


def test_no_name_lies_on_a_catch_and_no_depth_on_anything(open_page):
    page, view = open_page(), sample_view()
    seen = 0
    for theme, zoom in (("Depth", 17.25), ("Depth", 18), ("Catches", 19), ("Catches", 20)):
        page.get_by_role("radio", name=theme, exact=True).check()
        for place in (6, 24, 42):
            page.evaluate(SCENE, [zoom, place, [0, 0]])
            names, depths, dots = page.evaluate(UPON)
            assert bool(depths) == (theme == "Catches" and zoom == 20)
            for k, one in enumerate(depths):
                assert all(apart(one, other) for other in (*dots, *depths[:k])), one
            told = {figure(caught.depth_m, "depth", "metric") for caught in view.catches}
            assert told.issuperset(one[4] for one in depths)
            for name in names:
                assert all(apart(name, other) for other in (*dots, *depths)), name
            seen += len(names) * len(dots)
    assert seen > 200
    page.get_by_role("radio", name="US", exact=True).check()
    told = {figure(caught.depth_m, "depth", "us") for caught in view.catches}
    assert told.issuperset(texts(page, "em")) and texts(page, "em")


def test_without_names_only_numbers_of_catches_are_left(open_page):
    page = open_page()
    page.get_by_role("checkbox", name="Names").uncheck()
    assert texts(page, "*") == []
    page.get_by_role("radio", name="Catches").check()
    assert texts(page, "span") == [] and len(texts(page, "b.count")) == 56
    page.get_by_role("checkbox", name="Names").check()
    assert len(texts(page, "span")) > 20


def test_short_names_are_given_once_and_are_no_other_s_name(open_page):
    """Words that greens share are left out; a green that is called 7 leaves Green 7 its own."""
    names = ["7", "Tee 1 front", "Tee 1 back", "Green 4", "Tee 2 front", "Tee 2 back", "GREEN  3"]
    view = named(sample_view(), names)  # the tenth is Green 4 too
    brief = """() => { const site = geosand.site(
        JSON.parse(document.getElementById("gs-data").textContent)); geosand.brief(site);
      return site.surfaces.map((one) => [one.id, one.name, site.brief(one)]); }"""
    found = {one: (name, short) for one, name, short in open_page(map_page(view)).evaluate(brief)}
    assert found["1"] == ("7", None) and found["7"] == ("Green 7", None)
    assert [found[one][1] for one in ("2", "4", "3", "18", "P")] == [
        "4",
        None,
        "3",
        "18",
        "Practice",
    ]
    assert found["T12b"][1] == "T12b" and found["W"] == ("Long pond", "W")
    shorts = [short for _, short in found.values() if short]
    assert len(shorts) == len(set(shorts)) > 50
    assert not set(shorts) & {name for name, _ in found.values()}
    assert all(len(short) < len(name) for name, short in found.values() if short)


def test_a_number_is_that_of_the_surface_with_no_other_word_of_its_own(open_page):
    """Green 7 is 7, also where a green of many words and the same number is drawn before it."""
    view = named(sample_view(), ["Temporary winter green 7"])
    brief = """() => { const site = geosand.site(
        JSON.parse(document.getElementById("gs-data").textContent)); geosand.brief(site);
      return Object.fromEntries(site.surfaces.map((one) => [one.name, site.brief(one)])); }"""
    found = open_page(map_page(view)).evaluate(brief)
    assert found["Green 7"] == "7" != found["Temporary winter green 7"]


def test_greens_whose_names_are_long_are_called_by_their_numbers(open_page):
    """As where each hole has a name of its own: the whole one has room on no phone."""
    names = [
        f"Green {k // 3 + 1} of the {14 * word} meadow behind the mill"
        if k % 3 == 0
        else f"Tee {k}"
        for k, word in enumerate("abcdefghijklmnopqrstuvwxyzabcdefghijklmnopqrstuvwxyzab")
    ]
    page = open_page(map_page(named(sample_view(), names)), width=390)
    told = {text.removeprefix("▼\u00a0") for text in texts(page, ":is(span, b.count)")}
    greens = {name.split()[1]: name for name in names if name.startswith("Green")}
    assert len(greens) == 18
    assert {number for number, name in greens.items() if not {number, name} & told} == set(), told


def test_signs_above_capitals_are_not_cut_off(open_page):
    """Ü must not read as U: a short name looks as it does where nothing is cut off."""
    page = open_page(map_page(sample_view()))
    name = page.locator(".leaflet-gs-labels-pane span.strong").first
    name.evaluate("(node) => { node.textContent = 'ÜÅÊ'; }")
    box = name.bounding_box()
    around = {"x": box["x"], "y": box["y"] - 6, "width": box["width"], "height": box["height"] + 6}
    shown = page.screenshot(clip=around)
    name.evaluate("(node) => { node.style.overflow = 'visible'; }")
    assert page.screenshot(clip=around) == shown


def test_names_lie_right_at_once_where_the_window_changes(open_page):
    """A browser that takes a picture of a page may draw no further one after the window's size."""
    page = open_page()
    page.evaluate("() => { window.drawn = requestAnimationFrame; requestAnimationFrame = Number; }")
    wide = page.evaluate("() => map_sand.getSize().x")
    page.set_viewport_size({"width": 1000, "height": 560})
    page.wait_for_function("wide => map_sand.getSize().x < wide", arg=wide, polling=20)
    names = page.evaluate(BOXES)[0]
    page.evaluate("() => { requestAnimationFrame = drawn; map_sand.fire('moveend'); }")
    next_picture(page)
    assert names
    assert page.evaluate(BOXES)[0] == names


@pytest.mark.parametrize("width", [390, 1280])
def test_names_of_which_the_same_letters_are_seen_give_way_to_short_ones(open_page, width):
    """Ends are cut: "The green beside the …" four times over says nothing."""
    view = sample_view()
    names = [
        f"The {s.kind} beside the old walled kitchen garden, {s.id}"
        if s.kind == "green"
        else s.name
        for s in view.surfaces
    ]
    page = open_page(map_page(named(view, names)), width=width)
    told = texts(page, ":is(span, b.count)")
    assert not [text for text in told if "The green beside" in text]
    greens = {s.id for s in view.surfaces if s.kind == "green"}
    assert len({text.removeprefix("▼\u00a0") for text in told} & greens) >= 15
