"""The page in a real browser, without network: what a reader does with it."""

import re
from dataclasses import replace
from decimal import ROUND_HALF_UP, Decimal

import pytest
import shapely

from geosand.mapping.page import map_page
from geosand.mapping.words import KIND_COLOURS, THEMES, figure
from tests.mapping.conftest import card_in_sight, next_picture
from tests.mapping.hostile import NAMES
from tests.mapping.sample_view import named, sample_view

pytestmark = pytest.mark.browser

#: What is drawn of surfaces and rings: the land, passes and catches lie in panes of their own.
DRAWN = ":is(.leaflet-overlay-pane, .leaflet-gs-under-pane, .leaflet-gs-bands-pane) path"
FILLS = f"[...document.querySelectorAll('{DRAWN}')].map(p => p.getAttribute('fill'))"


def card(page):
    return page.locator(".leaflet-popup .card")


def press_row(page, name):
    page.get_by_role("rowheader").get_by_role("button", name=name, exact=True).click()


def choose_view(page, name):
    page.get_by_role("radio", name=name).check()


def test_script_writes_the_same_table_as_python(open_page):
    read = (
        "[...document.querySelectorAll('tbody tr')].map(r => [...r.cells].map(c => c.textContent))"
    )
    still = open_page(java_script_enabled=False)
    served = [
        row.locator("th, td").all_text_contents() for row in still.locator("tbody tr").all()[:60]
    ]
    assert open_page().evaluate(read) == served


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


def test_circles_stand_for_surfaces_from_afar(open_page):
    page = open_page()
    circle = page.locator(".leaflet-overlay-pane path").last
    circle.click()
    assert card(page).count() == 1
    press_row(page, "Green 1")
    page.keyboard.press("Escape")
    near = page.evaluate(FILLS)
    page.get_by_role("button", name="Whole site").click()
    assert len(page.evaluate(FILLS)) == 56
    assert len(near) != 56


def test_what_lies_far_off_without_sand_or_target_does_not_make_the_site_small(open_page):
    """As the lake of the next village in an extract of map data; beside the site it counts.

    So does what reaches into it, however far: on the screen as on paper.
    """
    view = sample_view()
    lake = replace(view.surfaces[0], id="lake", name="Lake", kind="water", target_m=None)
    west, south, east, _ = shapely.total_bounds([one.geometry for one in view.surfaces])

    def moved(degree):
        return shapely.affinity.translate(lake.geometry, degree, 0.0)

    def scale(*shapes):
        more = tuple(replace(lake, geometry=shape) for shape in shapes)
        page = open_page(map_page(replace(view, surfaces=(*view.surfaces, *more))))
        bar = page.locator(".leaflet-control-scale")
        return bar.inner_text(), bar.locator("*").first.bounding_box()["width"]

    assert scale(moved(0.2)) == scale()
    lake = replace(lake, target_m=0.0)  # that it is to have none makes it no part of the site
    assert scale(moved(0.2)) == scale()
    assert scale(moved(0.018)) != scale()  # 400 m beyond the site, which is 880 m wide
    assert scale(shapely.box((west + east) / 2, south, east + 0.05, south + 0.0001)) != scale()


def test_views_recolour_map_legend_and_table(open_page):
    page = open_page()
    seen = [page.evaluate(FILLS)]
    for name, title in (
        ("Shortfall", "Shortfall against the target so far, mm"),
        ("Overthrow", "Thrown past the edge, as depth, mm"),
        ("Areas", "Kinds of ground"),
    ):
        choose_view(page, name)
        assert page.locator("#gs-legend-title").text_content() == title
        seen.append(page.evaluate(FILLS))
    assert len({str(fills) for fills in seen}) == 4
    heads = page.locator("thead th:visible").all_text_contents()
    assert [head.split(" ")[0] for head in heads] == ["Surface", "Kind", "Area", "±"]
    assert "Long pond" in page.locator("tbody").inner_text()
    choose_view(page, "Depth")
    assert page.evaluate(FILLS) == seen[0]
    assert "Long pond" not in page.locator("tbody").inner_text()


def test_overthrow_colours_rings_and_never_the_surface(open_page):
    page = open_page()
    choose_view(page, "Overthrow")
    press_row(page, "Green 3")
    purple = {"#f2f0f7", "#cbc9e2", "#9e9ac8", "#756bb1", "#54278f"}
    fills = page.evaluate(FILLS)
    assert len(purple.intersection(fills)) >= 2
    assert "Collar" in card(page).inner_text()
    depth_scale = {"#fed98e", "#fe9929", "#d95f0e", "#993404"}
    assert not depth_scale.intersection(fills)


def test_estimated_surfaces_are_hatched_and_said(open_page):
    page = open_page()
    assert any(fill.startswith("url(#gs-hatch-depth") for fill in page.evaluate(FILLS))
    press_row(page, "Practice green")
    assert "other surfaces" in card(page).inner_text()
    assert "estimated from other surfaces" in page.locator(".legend").inner_text()


def test_under_dressed_is_told_by_outline_and_sign(open_page):
    page = open_page()
    dashed = page.locator(".leaflet-overlay-pane path[stroke-dasharray]")
    assert dashed.count() == 2
    assert page.locator('tr[data-s="18"] .flag').text_content() == "▼"
    labels = page.locator(".leaflet-gs-labels-pane span").all_text_contents()
    assert {"▼\u00a0Green 7", "▼\u00a0Tee 12 back"} <= set(labels)


def test_us_units_change_table_legend_balance_and_scale(open_page):
    page = open_page()
    cell = page.locator('tr[data-s="0"] td').nth(4)
    depth = sample_view().periods[0].surfaces["1"].depth_m
    assert cell.text_content() == f"{depth * 1000:.2f}"
    page.get_by_role("radio", name="US").check()
    assert cell.text_content() == f"{depth / 0.0254:.3f}"
    assert page.locator("#gs-legend-title").text_content() == "Depth of sand, in"
    assert page.locator(".account > div:visible").inner_text().count(" lb") >= 3
    assert re.search(r"\d (ft|mi)$", page.locator(".leaflet-control-scale").inner_text())
    press_row(page, "Green 1")
    assert "lb of sand" in card(page).inner_text()


def test_period_changes_figures_and_says_what_was_not_measured(open_page):
    page = open_page()
    period = page.get_by_label("Period")
    period.select_option(label="3 April 2026 · d1")
    one = sample_view().periods[1].surfaces["1"]
    assert page.locator('tr[data-s="0"] td').nth(4).text_content() == f"{one.depth_m * 1000:.2f}"
    period.select_option(label="31 July 2026 · d5")
    assert page.locator("#gs-classes").inner_text() == "Not measured in this period"
    assert "not measured" in page.locator(".account > div:visible").inner_text()
    assert set(page.locator('tr[data-s="0"] td').all_text_contents()[3:8]) == {"–"}
    press_row(page, "Green 1")
    assert "Not measured" in card(page).inner_text()
    assert not any(fill.startswith("#fe") for fill in page.evaluate(FILLS))


def test_rings_not_told_from_zero_are_said_to_be_so(open_page):
    page = open_page()
    page.get_by_label("Period").select_option(label="29 May 2026 · d3")
    choose_view(page, "Overthrow")
    assert "not told from zero" in page.locator(".legend").inner_text()
    assert "Not told from zero" in page.locator(".account > div:visible").inner_text()


def test_headings_sort_both_ways_with_blanks_last(open_page):
    page = open_page()
    head = page.get_by_role("button", name="Depth mm", exact=True)
    shown = "[...document.querySelectorAll('tbody tr')].map(r => r.cells[5].textContent)"
    head.click()
    assert page.locator("th[aria-sort]").get_attribute("aria-sort") == "descending"
    down = [value for value in page.evaluate(shown) if value != "–"]
    assert [float(v) for v in down] == sorted(map(float, down), reverse=True)
    head.click()
    assert page.locator("th[aria-sort]").get_attribute("aria-sort") == "ascending"
    up = page.evaluate(shown)
    assert up[-4:] == ["–"] * 4
    assert [float(v) for v in up[:-4]] == sorted(map(float, down))


def test_search_and_filters_narrow_table_and_fade_map(open_page):
    page = open_page()
    rows = page.locator("tbody tr:visible")
    page.get_by_label("Search").fill("green 1")
    assert rows.count() == 10
    page.get_by_label("Search").fill("nowhere")
    assert rows.count() == 0
    assert page.locator("#gs-nothing").is_visible()
    page.get_by_label("Search").fill("")
    page.get_by_label("State").select_option("under-dressed")
    assert rows.count() == 2
    faded = page.locator('.leaflet-overlay-pane path[fill-opacity="0.15"]')
    assert faded.count() == 54


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


def test_catches_view_tells_the_sign_by_shape_as_well_as_by_colour(open_page):
    page = open_page()
    choose_view(page, "Catches")
    counts = page.locator(".leaflet-gs-labels-pane b.count")
    counts.nth(55).wait_for(state="attached")
    assert counts.count() == 56
    press_row(page, "Green 3")
    page.keyboard.press("Escape")
    drawn = page.evaluate(
        "[...document.querySelectorAll('path.gs-catch')]"
        ".map(p => [p.getAttribute('fill'), p.getAttribute('d')])"
    )
    less, about, more = ({"#e66101", "#fdb863"}, {"#f7f7f7"}, {"#b2abd2", "#5e3c99"})
    for fill, path in drawn:
        kind = "round" if "a" in path else "up" if path.startswith("M0") else "down"
        assert fill in {"down": less, "round": about, "up": more}[kind]
    kinds = {"a" in path or path.startswith("M0") for _, path in drawn}
    assert kinds == {True, False}
    assert page.locator("#gs-classes svg").count() == 5
    heads = page.locator("thead th:visible").all_text_contents()
    assert heads[-1].startswith("Off the estimate")


def test_legend_says_what_the_figures_beside_catches_are(open_page):
    page = open_page()
    page.get_by_role("radio", name="Catches", exact=True).check()
    page.get_by_role("radio", name="US").check()
    press_row(page, "Green 3")
    line = page.locator("#gs-signs li:visible", has_text="depth in the tray")
    assert line.inner_text() == "0.033\ndepth in the tray, in"
    page.get_by_role("radio", name="Metric").check()
    assert line.inner_text() == "0.84\ndepth in the tray, mm"


def test_sentences_change_their_units_too(open_page):
    page = open_page()
    first, told = page.locator(".first"), page.locator(".findings")
    told.locator("summary").click()
    page.get_by_label("Period").select_option(label="3 April 2026 · d1")
    headline = page.locator(".account > div:visible .headline")
    assert "2.1 mm short" in first.inner_text()
    assert " kg spread" in headline.inner_text()
    assert "1.3 ft" not in told.inner_text()
    page.get_by_role("radio", name="US").check()
    assert "0.083 in short" in first.inner_text()
    assert "mm" not in first.inner_text()
    assert " lb spread" in headline.inner_text()
    assert "0.4 m (1.3 ft)" in told.inner_text()


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


def test_look_first_leads_to_the_surface(open_page):
    page = open_page()
    page.locator(".first").get_by_role("link", name="Tee 12 back").click()
    assert card(page).locator("h2").text_content() == "Tee 12 back"


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


def test_views_can_be_chosen_by_arrow_keys(open_page):
    page = open_page()
    page.get_by_role("radio", name="Depth").focus()
    page.keyboard.press("ArrowRight")
    assert page.locator("body").get_attribute("data-theme") == "shortfall"
    page.keyboard.press("ArrowRight")
    assert page.locator("body").get_attribute("data-theme") == "overthrow"


def test_hostile_names_are_shown_as_typed(open_page):
    page = open_page(map_page(named(sample_view(), NAMES)))
    for index, name in enumerate(NAMES):
        page.locator(f'tr[data-s="{index}"] th button').click()
        assert card(page).locator("h2").evaluate("node => node.textContent") == name
        page.keyboard.press("Escape")
    assert page.title() == "Fallow Down: sand on turf"
    assert page.locator("img, b:text-is('x')").count() == 0


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


def test_many_catches_leave_the_colour_of_their_surface_in_sight(open_page):
    view = sample_view()
    first = next(c for c in view.catches if c.used)
    centre = next(s for s in view.surfaces if s.id == first.surface).geometry.centroid
    spots = ((dx, dy) for dx in range(-8, 8) for dy in range(-5, 5))
    crowd = tuple(
        replace(first, id=f"x{k}", lon=centre.x + 8e-6 * dx, lat=centre.y + 6e-6 * dy)
        for k, (dx, dy) in enumerate(spots)
    )
    page = open_page(map_page(replace(view, catches=(*view.catches, *crowd))))
    covered = (
        "(() => { const face = [...document.querySelectorAll('path.gs-catch')];"
        "const sizes = face.map(p => p.getBBox().width / 2).sort((a, b) => a - b);"
        "const green = document.querySelector('path[stroke=\"#174a7c\"]').getBBox();"
        "return sizes.slice(0, 160).reduce((sum, r) => sum + Math.PI * r * r, 0)"
        " / (green.width * green.height * Math.PI / 4); })()"
    )
    name = next(s for s in view.surfaces if s.id == first.surface).name
    press_row(page, name)
    assert page.locator("path.gs-catch").count() > 160
    assert 0.05 < page.evaluate(covered) < 0.4


def test_dates_of_the_subtitle_are_not_cut_in_two(open_page):
    page = open_page(width=390, height=844)
    for line in page.locator(".subtitle span").all():
        box = line.bounding_box()
        assert box["x"] + box["width"] <= 390
    assert page.locator(".subtitle span").last.bounding_box()["height"] < 30


def test_without_scripts_picture_and_table_stay(open_page):
    page = open_page(java_script_enabled=False)
    assert page.locator("svg.still path").count() == 60
    assert page.locator("tbody tr:visible").count() == 60
    assert not page.locator(".map").is_visible()


def test_without_scripts_what_lies_far_off_does_not_make_the_site_small(open_page):
    view = sample_view()
    far = shapely.affinity.translate(view.surfaces[0].geometry, 0.2, 0.0)
    lake = replace(view.surfaces[0], id="lake", name="Lake", kind="water", target_m=None)
    more = replace(view, surfaces=(*view.surfaces, replace(lake, geometry=far)))

    def width(text=None):
        page = open_page(text, java_script_enabled=False)
        assert page.locator("svg.still path").count() == 60
        return page.locator("svg.still path").first.bounding_box()["width"]

    assert width(map_page(more)) == width()


def test_background_is_asked_for_only_when_ticked_and_only_of_its_host(open_page):
    host = "https://tiles.example/"
    view = replace(sample_view(), background=(host + "{z}/{x}/{y}.png", "Tiles <b>by</b> nobody"))
    page = open_page(map_page(view), tiles=host)
    asked = []
    page.on("request", lambda request: asked.append(request.url))
    page.get_by_role("radio", name="Overthrow").check()
    press_row(page, "Green 3")
    assert asked == []
    box = page.get_by_role("checkbox", name="Background (asks the internet)")
    box.check()
    page.locator("img.leaflet-tile-loaded").first.wait_for()
    assert asked
    assert all(url.startswith(host) for url in asked)
    credit = page.locator(".leaflet-control-attribution")
    assert credit.text_content() == "Tiles <b>by</b> nobody"
    box.uncheck()
    assert page.locator("img.leaflet-tile").count() == 0


def test_an_empty_site_opens_quietly(open_page):
    from geosand.mapping.view import MapView

    page = open_page(map_page(MapView(title="Nothing yet")))
    assert page.locator("h1").text_content() == "Nothing yet"


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


def luminance(colour):
    """Relative luminance of sRGB (WCAG 2.2)."""
    parts = [int(part) / 255 for part in re.findall(r"\d+", colour)[:3]]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return sum(weight * part for weight, part in zip((0.2126, 0.7152, 0.0722), linear, strict=True))


@pytest.mark.parametrize("units", ["Metric", "US"])
def test_the_narrowest_phone_shows_each_column_of_each_view(open_page, units):
    """320 px are also what 1280 px are at four times their size (WCAG 2.2, 1.4.10)."""
    page = open_page(width=320)
    page.get_by_role("radio", name=units, exact=True).check()
    for theme in THEMES.values():
        page.get_by_role("radio", name=theme, exact=True).check()
        wider = "(s => s.scrollWidth - s.clientWidth)(document.querySelector('.scroll'))"
        assert page.evaluate(wider) <= 0, theme


@pytest.mark.parametrize(("area_m2", "outlined"), [(500.0, False), (40_000.0, True)])
def test_large_surfaces_are_drawn_by_their_outline_from_farther_off(open_page, area_m2, outlined):
    """Greens are circles in the whole view; straights of a racecourse and polo fields are not."""
    view = sample_view()
    surfaces = tuple(replace(surface, area_m2=area_m2) for surface in view.surfaces)
    page = open_page(map_page(replace(view, surfaces=surfaces)))
    assert page.evaluate("map_sand.getZoom()") < 17
    assert page.evaluate("document.body.classList.contains('near')") == outlined
