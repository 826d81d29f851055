"""What each view, period and unit shows on map, legend and table, in a real browser."""

import re
from dataclasses import replace

import pytest
import shapely

from geosand.mapping.page import map_page
from geosand.mapping.view import MapBalance
from geosand.mapping.words import SCALES
from tests.mapping.conftest import card, choose_view, next_picture, press_row
from tests.mapping.sample_view import few, sample_view

pytestmark = pytest.mark.browser

#: What is drawn of surfaces and rings: the land, passes and catches lie in panes of their own.
DRAWN = ":is(.leaflet-overlay-pane, .leaflet-gs-under-pane, .leaflet-gs-bands-pane) path"
FILLS = f"[...document.querySelectorAll('{DRAWN}')].map(p => p.getAttribute('fill'))"


def test_circles_stand_for_surfaces_from_afar(open_page):
    page = open_page()
    circle = page.locator(".leaflet-overlay-pane path").last
    circle.click()
    assert card(page).count() == 1
    outlined = page.locator('.map path[stroke="#174a7c"]')
    assert outlined.count() == 1
    page.keyboard.press("Escape")
    assert outlined.count() == 0
    press_row(page, "Green 1")
    page.keyboard.press("Escape")
    near = page.evaluate(FILLS)
    page.get_by_role("button", name="Whole site").click()
    assert len(page.evaluate(FILLS)) == 56
    assert len(near) != 56


@pytest.mark.parametrize(("area_m2", "outlined"), [(500.0, False), (40_000.0, True)])
def test_large_surfaces_are_drawn_by_their_outline_from_farther_off(open_page, area_m2, outlined):
    """Greens are circles in the whole view; straights of a racecourse and polo fields are not."""
    view = sample_view()
    surfaces = tuple(replace(surface, area_m2=area_m2) for surface in view.surfaces)
    page = open_page(map_page(replace(view, surfaces=surfaces)))
    assert page.evaluate("map_sand.getZoom()") < 17
    assert page.evaluate("document.body.classList.contains('near')") == outlined


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
    # of one green what lies within 500 m belongs to the site, though that is 20 times its width
    view, lake = few(view, ("1",)), replace(lake, id="1", target_m=None)
    lake = replace(lake, geometry=view.surfaces[0].geometry, id="lake")
    assert scale(moved(0.0055)) != scale()  # 380 m
    assert scale(moved(0.0095)) == scale()  # 656 m


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


def test_rings_not_told_from_zero_are_said_to_be_so(open_page):
    page = open_page()
    page.get_by_label("Period").select_option(label="29 May 2026 · d3")
    choose_view(page, "Overthrow")
    assert "not told from zero" in page.locator(".legend").inner_text()
    assert "Not told from zero" in page.locator(".account > div:visible").inner_text()


def test_from_afar_a_ring_has_the_colour_of_the_collar_and_areas_have_none(open_page):
    page, season = open_page(), sample_view().periods[0]
    choose_view(page, "Overthrow")
    three = next(s for s in sample_view().surfaces if s.id == "3").geometry.centroid
    fill = page.evaluate(
        """([lat, lng]) => { const { x, y } = map_sand.latLngToContainerPoint([lat, lng]),
          box = map_sand.getContainer().getBoundingClientRect();
        return document.elementFromPoint(box.left + x + 11, box.top + y).getAttribute("fill"); }""",
        [three.y, three.x],
    )
    lines = page.locator("#gs-classes li").all_inner_texts()
    limits = [float(line.split("–")[0]) for line in lines[1:-1]] + [float(lines[-1].split()[0])]
    level = sum(1000 * season.rings["3/collar"][0] >= limit for limit in limits)
    assert fill == SCALES["overthrow"][level]
    assert level != sum(1000 * season.rings["3/surrounds"][0] >= limit for limit in limits)
    rings = page.locator(".leaflet-gs-bands-pane path")
    press_row(page, "Green 3")
    assert rings.count() >= 2
    choose_view(page, "Areas")
    assert rings.count() == 0


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


def test_sentences_change_their_units_too(open_page):
    page = open_page()
    first, told = page.locator(".first"), page.locator(".findings")
    told.locator("summary").click()
    page.get_by_label("Period").select_option(label="3 April 2026 · d1")
    headline = page.locator(".account > div:visible .headline")
    assert "2.1\u00a0mm short" in first.inner_text()
    assert " kg spread" in headline.inner_text()
    assert "1.3\u00a0ft" not in told.inner_text()
    page.get_by_role("radio", name="US").check()
    assert "0.083\u00a0in short" in first.inner_text()
    assert "mm" not in first.inner_text()
    assert " lb spread" in headline.inner_text()
    assert "0.4\u00a0m (1.3\u00a0ft)" in told.inner_text()


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


def test_a_dressing_without_a_balance_says_so_once_and_another_where_its_sand_lies(open_page):
    view = sample_view()
    blank = replace(view.periods[5], headline="", balance=MapBalance(verdict="not measured"))
    page = open_page(map_page(replace(view, periods=(*view.periods[:5], blank))))
    account, period = page.locator(".account > div:visible"), page.get_by_label("Period")
    period.select_option(label="31 July 2026 · d5")
    assert account.inner_text().lower().count("not measured") == 1
    period.select_option(label="3 April 2026 · d1")
    assert "If all of it landed beside the edges: collar " in account.inner_text()


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


def test_a_balance_below_zero_says_its_share_with_its_sign(open_page):
    page = open_page()
    page.get_by_label("Period").select_option(label="3 July 2026 · d4")
    account = page.locator(".account > div")
    assert account.locator(".verdict").inner_text() == "does not close"
    assert account.locator("dd span").last.inner_text().endswith(" · −6\u00a0%")


def test_catches_are_those_of_the_day_that_is_shown(open_page):
    """Their numbers from afar, their places close by; set aside ones are crosses, not counted."""
    page, view = open_page(), sample_view()
    choose_view(page, "Catches")
    numbers = page.locator(".leaflet-gs-labels-pane b.count")

    def counted(*keys):
        used = [c.surface for c in view.catches if c.used and c.dressing in keys]
        return sorted(str(used.count(s.id)) for s in view.surfaces if s.target_m)

    for index, keys in ((0, ("d1", "d2", "d3", "d4", "d6")), (3, ("d3",))):
        page.get_by_label("Period").select_option(index=index)
        next_picture(page)
        assert sorted(numbers.all_text_contents()) == counted(*keys)
    aside = next(c for c in view.catches if not c.used)
    surface = next(s for s in view.surfaces if s.id == aside.surface)
    others = [c for c in view.catches if c.surface == surface.id]
    for index, shown in ((0, others), (3, [c for c in others if c.dressing == "d3"])):
        page.get_by_label("Period").select_option(index=index)
        press_row(page, surface.name)
        page.keyboard.press("Escape")
        on_it = """([west, south, east, north]) => {
          const map = map_sand, frame = map.getContainer().getBoundingClientRect(),
            a = map.latLngToContainerPoint([north, west]),
            b = map.latLngToContainerPoint([south, east]);
          return [...document.querySelectorAll(".gs-dot")].filter((dot) => {
            const { x, y, width, height } = dot.getBoundingClientRect(),
              at = [x + width / 2 - frame.left, y + height / 2 - frame.top];
            return at[0] > a.x && at[0] < b.x && at[1] > a.y && at[1] < b.y;
          }).map((dot) => dot.textContent).sort(); }"""
        found = page.evaluate(on_it, list(surface.geometry.bounds))
        assert found == sorted("" if c.used else "×" for c in shown)


def test_signs_of_the_legend_are_those_of_the_map(open_page):
    """Of one colour one shape and size: wide at the top, round, wide at the bottom."""
    page = open_page()
    choose_view(page, "Catches")
    press_row(page, "Green 3")
    page.keyboard.press("Escape")
    shapes = """(paths) => Object.fromEntries(paths.map((path) => {
      const half = path.getBBox().height / 2.4,
        lies = (x, y) => path.isPointInFill(new DOMPoint(x, y));
      return [path.getAttribute("fill"), 
        [lies(half, -half), lies(half, half), Math.round(path.getBBox().width)].join()]; }))"""
    drawn = page.locator("path.gs-catch").evaluate_all(shapes)
    legend = page.locator("#gs-classes path").evaluate_all(shapes)
    assert len(drawn) >= 3
    assert {shape.rpartition(",")[0] for shape in drawn.values()} == {
        "true,false",
        "false,false",
        "false,true",
    }
    assert drawn == {fill: legend[fill] for fill in drawn}
    wide = page.locator("#gs-classes path").evaluate_all("ps => ps.map(p => p.getBBox().width)")
    assert wide[0] > wide[1] > wide[2] < wide[3] < wide[4]


def test_what_was_looked_at_stays_where_the_window_changes(open_page):
    """And a tip or a scale bar that is no longer right goes away."""
    page = open_page()
    press_row(page, "Green 3")
    page.keyboard.press("Escape")
    zoom = page.evaluate("map_sand.getZoom()")
    size = "map_sand.getSize().x"
    before = page.evaluate(size)
    page.set_viewport_size({"width": 1100, "height": 760})
    page.wait_for_function(f"(was) => {size} !== was", arg=before)
    next_picture(page)
    assert page.evaluate("map_sand.getZoom()") == zoom
    page.locator("path.gs-catch").first.hover(force=True)
    assert page.locator(".gs-tip").count() == 1
    page.evaluate("map_sand.setZoom(17, { animate: false })")
    assert page.locator(".gs-tip").count() == 0
    for units in ("US", "Metric"):
        page.get_by_role("radio", name=units, exact=True).check()
        assert page.locator(".leaflet-control-scale-line:visible").count() == 1


def test_circles_are_smaller_from_farther_off_and_greens_larger_than_tees(open_page):
    page = open_page()
    widths = """([zoom]) => { map_sand.setZoom(zoom, { animate: false });
      return [...document.querySelectorAll(".leaflet-overlay-pane path")]
        .map((path) => path.getBBox().width).sort((a, b) => a - b); }"""
    seen = [page.evaluate(widths, [zoom]) for zoom in (13, 14, 15)]
    assert seen[0][0] < seen[1][0] < seen[2][0] and seen[0][-1] < seen[1][-1] < seen[2][-1]
    assert all(found[0] < 0.8 * found[-1] for found in seen)
    # and as large after coming back from close by
    press_row(page, "Green 3")
    page.keyboard.press("Escape")
    assert page.evaluate(widths, [13]) == seen[0]
