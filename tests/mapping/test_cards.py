"""The card of a surface and of a catch: what opens it, what it says, that it is seen whole."""

import re
from dataclasses import replace
from decimal import ROUND_HALF_UP, Decimal

import pytest
import shapely

from geosand.mapping.page import map_page
from geosand.mapping.view import MapPass
from geosand.mapping.words import figure
from tests.mapping.conftest import card, card_in_sight, choose_view, press_row
from tests.mapping.hostile import NAMES
from tests.mapping.sample_view import named, sample_view

pytestmark = pytest.mark.browser


def test_row_opens_the_right_figures_and_is_marked(open_page):
    page = open_page()
    press_row(page, "Green 7")
    assert card(page).locator("h2").text_content() == "Green 7"
    assert card(page).locator(".what").text_content() == "green · 7 · Whole season"
    lead = card(page).locator(".lead").text_content()
    surface = sample_view().periods[0].surfaces["7"]
    assert lead.startswith(figure(surface.mass_kg, "mass", "metric") + " kg of sand")
    assert "95" in lead
    assert page.locator("tr[aria-current]").get_attribute("data-s") == "18"
    assert page.locator("#gs-live").text_content().startswith("Green 7: ")
    page.keyboard.press("Escape")
    card(page).wait_for(state="detached")
    assert page.locator("tr[aria-current]").count() == 0


def test_surface_on_the_map_opens_figures_and_marks_its_row(open_page):
    page = open_page()
    press_row(page, "Green 3")
    page.keyboard.press("Escape")
    page.get_by_role("checkbox", name="Catch points").uncheck()
    box = page.locator(".map").bounding_box()
    middle = page.evaluate(
        "() => { const p = [...document.querySelectorAll('.leaflet-overlay-pane path')]"
        ".filter(p => p.getAttribute('stroke') === '#2b2822').map(p => p.getBoundingClientRect())"
        ".filter(r => { const m = document.querySelector('.map').getBoundingClientRect();"
        " return r.left > m.left && r.right < m.right && r.top > m.top && r.bottom < m.bottom; })"
        ".sort((a, b) => b.width * b.height - a.width * a.height)[0];"
        "return [p.x + p.width / 2, p.y + p.height / 2]; }"
    )
    assert box["x"] < middle[0] < box["x"] + box["width"]
    page.mouse.click(middle[0], middle[1] + 14)
    assert card(page).locator("h2").text_content() == "Green 3"
    assert page.locator("tr[aria-current] th").text_content() == "Green 3"


def test_look_first_leads_to_the_surface(open_page):
    page = open_page()
    page.locator(".first").get_by_role("link", name="Tee 12 back").click()
    assert card(page).locator("h2").text_content() == "Tee 12 back"


def test_card_is_led_by_mass_and_shows_steps_share_and_area(open_page):
    page = open_page()
    press_row(page, "Green 3")
    season = sample_view().periods[0]
    now = season.surfaces["3"]
    order = [page.locator(f".card {part}").bounding_box()["y"] for part in (".lead", ".thrown")]
    assert order == sorted(order)
    assert "95\u00a0%" in page.locator(".card .lead").text_content()
    share = f"{100 * now.thrown_kg / season.thrown_kg:.1f}\u00a0% of all overthrow"
    assert share in page.locator(".card .thrown").text_content()
    assert re.search(r"Area\s+\d+\u00a0m²\s+± \d+", card(page).inner_text())
    # five of six dressings were measured; the first bar stands on nothing
    assert page.locator(".card svg rect.new").count() == 5
    assert page.locator(".card svg path.target").count() == 1
    page.locator(".card summary").click()
    caught = [c for c in sample_view().catches if c.surface == "3" and c.used]
    assert page.locator(".card .caught tr").count() == len(caught)


def test_a_partly_measured_surface_has_at_least_its_figures(open_page):
    """As the console and the report say it: what one dressing put there is not in its depth."""
    view = sample_view()
    season = view.periods[0]
    known = season.surfaces["3"]
    part = replace(known, state="not measured", probability=None, shortfall_m=None)
    season = replace(season, surfaces={**season.surfaces, "3": part})
    page = open_page(map_page(replace(view, periods=(season, *view.periods[1:]))))
    row = page.locator("tbody tr", has=page.get_by_role("button", name="Green 3", exact=True))
    depth, mass = figure(known.depth_m, "depth", "metric"), figure(known.mass_kg, "mass", "metric")
    for _ in ("as served", "as the script writes it"):
        texts = row.locator("td").all_text_contents()
        assert f"≥\u202f{depth}" in texts and f"≥\u202f{mass}" in texts
        page.get_by_role("radio", name="US", exact=True).check()
        page.get_by_role("radio", name="Metric", exact=True).check()
    row.get_by_role("button").click()
    card = page.locator(".card")
    assert f"≥\u202f{depth}\u00a0mm" in card.inner_text()
    assert f"≥\u202f{mass}" in card.locator(".lead").inner_text()
    assert f"≥\u202f{depth}\u00a0mm" in page.locator("#gs-live").text_content()
    assert page.get_by_text("at least: a dressing was not measured").is_visible()
    page.get_by_role("radio", name="Shortfall", exact=True).check()  # it has a target
    row.get_by_role("button").click()
    assert "shortfall not known" in page.locator("#gs-live").text_content()
    page.get_by_label("Period").select_option(index=1)
    assert "≥" not in row.inner_text()
    text = map_page(replace(view, periods=(season, *view.periods[1:])))
    assert f"Green 3: ≥\u202f{depth}\u00a0mm</title>" in text  # the picture without scripts


def test_catches_show_value_and_residual(open_page):
    page = open_page()
    press_row(page, "Green 3")
    page.keyboard.press("Escape")
    dots = page.locator("path.gs-catch")
    assert dots.count() > 0
    dots.first.click(force=True)
    title = card(page).locator("h2").text_content()
    caught = next(c for c in sample_view().catches if f"Catch {c.id}" == title)
    depth = (Decimal(caught.depth_m) * 1000).quantize(Decimal("0.01"), ROUND_HALF_UP)
    off = (Decimal(abs(caught.residual)) * 100).quantize(Decimal(1), ROUND_HALF_UP)
    text = card(page).inner_text()
    assert re.search(rf"Depth\s+{depth}\u00a0mm", text)
    assert re.search(rf"Against surface\s+[▲▼] [+−]?{off}\u00a0%", text)
    page.get_by_role("checkbox", name="Catch points").uncheck()
    assert dots.count() == 0
    choose_view(page, "Catches")
    assert dots.count() > 0


def test_hostile_names_are_shown_as_typed(open_page):
    page = open_page(map_page(named(sample_view(), NAMES)))
    for index, name in enumerate(NAMES):
        page.locator(f'tr[data-s="{index}"] th button').click()
        assert card(page).locator("h2").evaluate("node => node.textContent") == name
        page.keyboard.press("Escape")
    assert page.title() == "Fallow Down: sand on turf"
    assert page.locator("img, b:text-is('x')").count() == 0


@pytest.mark.parametrize("width", [360, 390, 430])
def test_no_figure_of_a_card_is_cut_at_its_edge_on_a_phone(open_page, width):
    """A letter that lies beyond the card's body can only be read by scrolling sideways."""
    page = open_page(map_page(replace(sample_view(), units="us")), width=width)
    for name in ("Green 7", "Green 3"):
        press_row(page, name)
        beyond = page.evaluate(
            "(() => { const body = document.querySelector('.leaflet-popup-content');"
            " const end = body.getBoundingClientRect().right;"
            " return [...body.querySelectorAll('td, span, p')]"
            ".map(one => one.getBoundingClientRect().right - end).filter(far => far > 0.5); })()"
        )
        assert beyond == [], name


def test_a_long_id_does_not_push_the_chart_out_of_its_card(open_page):
    view, long = sample_view(), "the_upper_practice_putting_green_beside_the_walled_kitchen_garden"
    surfaces = tuple(replace(s, id=long) if s.id == "7" else s for s in view.surfaces)
    periods = tuple(
        replace(p, surfaces={long if k == "7" else k: s for k, s in p.surfaces.items()})
        for p in view.periods
    )
    rings = tuple(ring for ring in view.rings if ring.surface != "7")
    catches = tuple(one for one in view.catches if one.surface != "7")
    view = replace(view, surfaces=surfaces, periods=periods, rings=rings, catches=catches)
    page = open_page(map_page(view))
    press_row(page, "Green 7")
    # both at once, as the map may still move below its card
    ends = """(svg) => [svg, svg.closest(".leaflet-popup-content")]
      .map((node) => node.getBoundingClientRect().right)"""
    chart, card = page.locator(".card figure svg").evaluate(ends)
    assert chart <= card + 0.5


@pytest.mark.parametrize("width", [390, 1280])
def test_a_card_stays_whole_where_its_list_is_unfolded(open_page, width):
    page = open_page(width=width)
    press_row(page, "Green 3")
    page.locator(".card summary").focus()
    page.keyboard.press("Enter")
    page.locator(".card details[open]").wait_for()
    card_in_sight(page)
    assert page.evaluate("document.activeElement.tagName") == "SUMMARY"


def test_a_card_stays_whole_where_the_map_becomes_smaller(open_page):
    """As when a line of the legend is added below it."""
    page = open_page()
    press_row(page, "Green 7")
    page.evaluate("document.querySelector('.leaflet-container').style.height = '420px'")
    card_in_sight(page)


def test_the_card_of_a_surface_says_each_of_its_figures(open_page):
    """A surface with one catch whose interval, certainty, rings, areas and passes are known."""
    view = sample_view()
    season, three = view.periods[0], view.surfaces[6]
    one = next(c for c in view.catches if c.surface == "3" and c.used and c.dressing == "d1")
    dry = replace(one, id="dry", depth_m=None, rate_kg_m2=None, residual=None)
    lost = replace(one, id="lost", surface=None)
    caught = (replace(one, id="tray", residual=0.034), dry, lost)
    lines = shapely.MultiLineString([three.geometry.envelope.boundary.coords[:2]])
    driven = (MapPass(surface="3", heading_degree=12.0, lines=lines),)
    surfaces = tuple(replace(s, name=s.id) if s.id == "P" else s for s in view.surfaces)
    view = replace(view, surfaces=surfaces, catches=caught, passes=driven)
    page = open_page(map_page(view))
    press_row(page, "Green 3")
    now = season.surfaces["3"]
    lines = dict(
        line.split("\t", 1) for line in card(page).locator(".figures tr").all_inner_texts()
    )

    def mm(value):
        return figure(value, "depth", "metric")

    limits = f"95\u00a0%\u00a0{mm(now.low_m)}–{mm(now.high_m)}"
    assert lines["Depth"] == f"{mm(now.depth_m)}\u00a0mm\t{limits}"
    assert lines["Target so far"] == f"{mm(now.target_so_far_m)}\u00a0mm\tseason 9.00"
    assert lines["Stands on"] == f"{now.catches} catches\t+3\u00a0% off"
    for zone, name in (("collar", "Collar"), ("surrounds", "Surrounds")):
        depth_m, mass_kg = season.rings[f"3/{zone}"]
        assert lines[name] == f"{mm(depth_m)}\u00a0mm\t{figure(mass_kg, 'mass', 'metric')}\u00a0kg"
    area, u = (figure(v, "area", "metric") for v in (three.area_m2, three.u_area_m2))
    assert lines["Area"] == f"{area}\u00a0m²\t± {u}"
    assert lines["Drive at"].startswith("12°") and "1 pass, next" in lines["Drive at"]
    lead = f"95\u00a0%\u00a0{figure(now.mass_low_kg, 'mass', 'metric')}–"
    assert (
        lead + figure(now.mass_high_kg, "mass", "metric")
        in card(page).locator(".lead").inner_text()
    )
    card(page).locator("summary").click()
    told = card(page).locator(".caught tr").all_inner_texts()
    assert told == [f"tray\t{mm(one.depth_m)}\u00a0mm\t▲ +3\u00a0%", "dry\t–\t"]
    page.keyboard.press("Escape")
    press_row(page, "Green 7")
    state = card(page).locator("tr", has_text="State").inner_text()
    assert state.startswith("State\t▼ under-dressed") and state.endswith(">\u00a099\u00a0% likely")
    press_row(page, "Green 5")  # of the catches that it stands on none is on this page
    assert card(page).locator("tr", has_text="Stands on").inner_text().endswith("its own")
    press_row(page, "P")
    assert card(page).locator(".what").inner_text() == "green · Whole season"
    stands = card(page).locator("tr", has_text="Stands on")
    assert stands.inner_text().endswith("estimated")
    page.get_by_label("Period").select_option(label="31 July 2026 · d5")  # without a catch
    assert stands.count() == 0
    choose_view(page, "Areas")
    press_row(page, "Long pond")  # nobody dresses it
    assert card(page).locator(".lead").count() == 0
    assert card(page).locator(".figures tr").all_inner_texts()[0].startswith("Area\t")


def test_the_card_of_a_catch_says_each_of_its_figures(open_page):
    view = sample_view()
    one = next(c for c in view.catches if c.surface == "3" and c.used and c.residual < 0)
    lost = replace(one, id="lost", surface=None, residual=None, lon=one.lon + 1e-4)
    page = open_page(map_page(replace(view, catches=(one, lost))))
    press_row(page, "Green 3")
    page.keyboard.press("Escape")
    day = next(p for p in view.periods if p.key == one.dressing)
    estimate = day.surfaces["3"].depth_m

    def opened(place):
        page.locator("path.gs-catch").nth(place).click(force=True)
        card(page).locator("h2", has_text=(one, lost)[place].id).wait_for()
        return card(page).locator("tr").all_inner_texts()

    depth, estimated, off = (
        figure(value, "depth", "metric") + "\u00a0mm"
        for value in (one.depth_m, estimate, one.depth_m - estimate)
    )
    percent = figure(100 * one.residual, "mass", "metric") + "\u00a0%"
    assert opened(0) == [
        f"Depth\t{depth}\t",
        f"Rate\t{figure(one.rate_kg_m2, 'rate', 'metric')}\u00a0kg/m²\t",
        f"Against surface\t▼ {percent}\t{off}",
        f"Surface\t{estimated}\testimate that day",
    ]
    assert card(page).locator(".what").inner_text() == f"{day.label} · Green 3"
    live = page.locator("#gs-live").text_content()
    assert live == f"Catch {one.id}: {depth}, ▼ {percent}"
    assert len(opened(1)) == 2
    assert card(page).locator(".what").inner_text() == f"{day.label} · on no surface"


#: The card and the map, and how far the card's tip lies from the top of the surface that is chosen.
FRAMES = """() => { const box = (css) => { const r = document.querySelector(css)
    .getBoundingClientRect(); return [r.left, r.top, r.right, r.bottom]; };
  return [box(".map .leaflet-container, .leaflet-container"), box(".leaflet-popup"),
    box("path[stroke='#174a7c']")]; }"""


def test_a_card_stands_above_its_surface_clear_of_the_map_s_edge(open_page):
    page = open_page()
    press_row(page, "Green 3")
    _, popup, surface = page.evaluate(FRAMES)
    assert abs(popup[3] - surface[1]) < 25
    assert surface[3] - surface[1] > 60
    # nearly at the edge it is brought in, to 10 pixels from it
    for side, (x, y) in (("top", (0, 4)), ("left", (4, 0))):
        place = {"top": 1, "left": 0}[side]
        frame, popup, _ = page.evaluate(FRAMES)
        off = popup[place] - frame[place]
        page.evaluate(
            "(by) => map_sand.panBy(by, { animate: false })",
            [off - x if x else 0, off - y if y else 0],
        )
        wide = page.viewport_size["width"] - 4
        page.set_viewport_size({"width": wide, "height": 800})
        page.wait_for_function(
            """([place, least]) => { const [map, card] = [".leaflet-container", ".leaflet-popup"]
              .map((css) => document.querySelector(css).getBoundingClientRect());
            const at = (box) => place ? box.top : box.left;
            return at(card) - at(map) >= least; }""",
            arg=[place, 9],
        )


def test_a_card_on_a_phone_hides_the_signs_of_the_map_until_it_is_closed(open_page):
    page = open_page(width=390)
    north = page.get_by_role("img", name="North is up")
    assert north.is_visible()
    press_row(page, "Green 3")
    assert not north.is_visible()
    page.keyboard.press("Escape")
    card(page).wait_for(state="detached")
    assert north.is_visible()


def test_the_whole_site_comes_back_without_the_card(open_page):
    page = open_page()
    scale = page.locator(".leaflet-control-scale")
    before = scale.inner_text()
    press_row(page, "Green 7")
    card_in_sight(page)
    assert scale.inner_text() != before
    page.get_by_role("button", name="Whole site", exact=True).click()
    card(page).wait_for(state="detached")
    assert page.locator("tr[aria-current]").count() == 0
    assert scale.inner_text() == before
