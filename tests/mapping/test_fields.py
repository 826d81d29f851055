"""Depth within a surface: the cells that the map draws are those that the balance writes."""

from __future__ import annotations

import io
import json
from dataclasses import replace

import numpy as np
import pytest
import shapely
from PIL import Image

from geosand.formats.site_folder import read_site
from geosand.mapping.fill import map_fields, map_view
from geosand.mapping.page import map_page
from geosand.mapping.view import MapField
from geosand.mapping.words import SCALES, number
from geosand.reports.depth_fields import fields_text
from geosand.results import work_out
from tests.cli.test_balance import dense
from tests.mapping.conftest import drawings_read_out
from tests.mapping.sample_view import sample_view


@pytest.fixture(scope="module")
def results(tmp_path_factory):
    """One green under 121 trays, on which depths rise from west to east."""
    return work_out(read_site(dense(tmp_path_factory.mktemp("dense") / "site")))


@pytest.fixture(scope="module")
def view(results):
    return map_view(results, "metric")


@pytest.fixture(scope="module")
def written(results):
    """What ``balance --field`` writes: middle of a cell, depth and u in mm."""
    cells = json.loads(fields_text(results)[0])["features"]
    rings = np.array([cell["geometry"]["coordinates"][0] for cell in cells])
    figures = [(c["properties"]["depth_mm"], c["properties"]["u_depth_mm"]) for c in cells]
    return rings[:, :4].mean(axis=1), np.array(figures)


def test_cells_are_those_that_the_balance_writes(view, written):
    (field,) = view.fields
    middles, figures = written
    assert (field.surface, field.dressing, field.cell_m) == ("g1", "D1", 1.0)
    height = len(field.depth_m) // field.width
    column = np.floor((middles[:, 0] - field.west) / (field.east - field.west) * field.width)
    line = np.floor((middles[:, 1] - field.south) / (field.north - field.south) * height)
    at = (line * field.width + column).astype(int)
    assert len(set(at.tolist())) == len(at) == np.isfinite(field.depth_m).sum() == 576
    assert 1000 * field.depth_m[at] == pytest.approx(figures[:, 0], abs=6e-5)
    assert 1000 * field.u_depth_m[at] == pytest.approx(figures[:, 1], abs=6e-5)


def test_without_a_variogram_no_cells_are_drawn(demo):
    assert map_fields(demo) == ()


def test_a_long_season_has_wider_cells(results, monkeypatch):
    monkeypatch.setattr("geosand.mapping.fill.MOST_OF_A_MAP", 200)
    (field,) = map_fields(results)
    assert field.cell_m == 2.0
    assert np.isfinite(field.depth_m).sum() == 144


#: Fills of the cells that lie on each of some places.
ON = """(places) => { const frame = map_sand.getContainer().getBoundingClientRect();
  return places.map(([lon, lat]) => {
    const { x, y } = map_sand.latLngToContainerPoint([lat, lon]);
    return [...document.querySelectorAll("path.gs-cell")].filter((path) => {
      const at = new DOMPoint(frame.left + x, frame.top + y)
        .matrixTransform(path.getScreenCTM().inverse());
      return path.isPointInFill(at);
    }).map((path) => path.getAttribute("fill")); }); }"""


def check_cells(page, view, written):
    """Each cell has the colour of its class, and up to the edge there is one."""
    lines = page.locator("#gs-classes li").all_inner_texts()
    limits = [float(line.split("–")[0]) for line in lines[1:-1]] + [float(lines[-1].split()[0])]
    middles, figures = written
    inner = slice(200, 400, 7)
    for fills, depth in zip(
        page.evaluate(ON, middles[inner].tolist()), figures[inner, 0], strict=True
    ):
        if np.abs(np.array(limits) - depth).min() > 0.01:
            assert SCALES["depth"][np.searchsorted(limits, depth, side="right")] in fills
    edge = view.surfaces[0].geometry.buffer(-2e-6)
    around = [edge.exterior.interpolate(k / 40, normalized=True).coords[0] for k in range(40)]
    assert all(page.evaluate(ON, around))


@pytest.mark.browser
def test_cells_are_shown_close_by_in_the_depth_of_a_dressing(open_page, view, written):
    page = open_page(map_page(view))
    cells, legend = page.locator("path.gs-cell"), page.locator("#gs-signs li[data-cells]")
    row = page.get_by_role("rowheader").get_by_role("button")
    row.click()
    assert (cells.count(), legend.is_visible()) == (0, False)  # the season has none
    page.get_by_label("Period").select_option(index=1)
    assert legend.is_visible()
    assert 3 <= cells.count() <= 5
    assert all(drawings_read_out(page))
    fills = {cell.get_attribute("fill") for cell in cells.all()}
    assert fills <= set(SCALES["depth"])
    low, high = written[1][:, 0].min(), written[1][:, 0].max()
    assert f"{number(low, 2)}–{number(high, 2)}\u00a0mm" in page.locator(".card").inner_text()
    assert "each 1\u00a0m cell ± " in page.locator(".card").inner_text()
    page.get_by_role("radio", name="US").check()
    told = f"{number(low / 25.4, 3)}–{number(high / 25.4, 3)}\u00a0in"
    assert told in page.locator(".card").inner_text()
    page.get_by_role("radio", name="Metric").check()
    page.keyboard.press("Escape")
    check_cells(page, view, written)
    for place in (100, 300, 500):
        lon, lat = written[0][place]
        x, y = page.evaluate(
            """([lon, lat]) => { const p = map_sand.latLngToContainerPoint([lat, lon]),
              r = map_sand.getContainer().getBoundingClientRect();
              return [r.left + p.x, r.top + p.y]; }""",
            [lon, lat],
        )
        page.get_by_role("checkbox", name="Catch points").uncheck()
        page.mouse.move(x, y)
        depth, u = written[1][place]
        said = f"g1, here: {number(depth, 2)}\u00a0mm ± {number(u, 2)}"
        assert page.locator(".gs-tip").text_content() == said
    page.mouse.click(x, y)
    assert f"Here\t{number(depth, 2)}\u00a0mm" in page.locator(".card").inner_text()
    page.keyboard.press("Escape")
    page.get_by_role("radio", name="Shortfall").check()
    assert cells.count() == 0
    page.get_by_role("radio", name="Depth").check()
    assert cells.count() > 0
    page.get_by_role("button", name="Whole site").click()
    page.get_by_role("button", name="Zoom out").click()
    page.evaluate("map_sand.setZoom(16)")
    assert cells.count() == 0


def test_cells_stretch_the_scale_of_the_dressings_alone(view):
    from geosand.mapping.breaks import period_breaks

    bare = replace(view, fields=())
    season, dressing = view.periods
    assert period_breaks(view, season) == period_breaks(bare, season)
    wide, narrow = (period_breaks(v, dressing)["depth"]["metric"] for v in (view, bare))
    assert wide[-1] - wide[0] > narrow[-1] - narrow[0]


def round_field(view, surface):
    """Cells of a sixth of a round green's box each way; those whose middle lies beside it blank."""
    west, south, east, north = surface.geometry.bounds
    side = np.arange(6) + 0.5
    lon, lat = np.meshgrid(west + side * (east - west) / 6, south + side * (north - south) / 6)
    on = shapely.contains_xy(surface.geometry, lon, lat).ravel()
    depth = np.where(on, np.random.default_rng(8).uniform(6e-4, 15e-4, 36), np.nan)
    box = {"west": west, "south": south, "east": east, "north": north, "width": 6}
    known = {"depth_m": depth, "u_depth_m": np.full(36, 1e-4)}
    return MapField(surface=surface.id, dressing="d1", cell_m=4.0, **box, **known), (lon, lat)


@pytest.mark.browser
def test_cells_fill_their_surface_to_its_outline_and_no_farther(open_page):
    """In the picture itself; a cell at the rim goes on to the outline."""
    view = sample_view()
    surface = view.surfaces[6]
    field, middles = round_field(view, surface)
    page = open_page(map_page(replace(view, fields=(field,))))
    for box in ("Names", "Catch points"):
        page.get_by_role("checkbox", name=box).uncheck()
    page.get_by_label("Period").select_option(index=1)
    page.get_by_role("rowheader").get_by_role("button", name=surface.name, exact=True).click()
    page.keyboard.press("Escape")
    metre = 1 / 111_195
    scale = np.array([list(bytes.fromhex(colour[1:])) for colour in SCALES["depth"]])

    def colours(places):
        """Of the picture at some places: the colour of the scale that it is, or none."""
        spots = page.evaluate(
            """(places) => { const frame = map_sand.getContainer().getBoundingClientRect();
              return places.map(([lon, lat]) => { const p = map_sand.latLngToContainerPoint(
                [lat, lon]); return [frame.left + p.x, frame.top + p.y]; }); }""",
            np.asarray(places).tolist(),
        )
        shot = np.asarray(Image.open(io.BytesIO(page.screenshot())).convert("RGB"))
        seen = np.array([shot[int(y), int(x)] for x, y in spots]).astype(int)
        off = np.abs(seen[:, None] - scale).max(axis=2)  # borders of cells are blended
        return [SCALES["depth"][row.argmin()] if row.min() < 12 else None for row in off]

    def around(by_m):
        ring = surface.geometry.buffer(by_m * metre).exterior
        return [ring.interpolate(k / 40, normalized=True).coords[0] for k in range(40)]

    clear = shapely.contains_xy(surface.geometry.buffer(-metre), *middles).ravel()
    for name, per_m in (("Metric", 1000), ("US", 1 / 0.0254)):
        page.get_by_role("radio", name=name, exact=True).check()
        lines = page.locator("#gs-classes li").all_inner_texts()
        limits = [float(line.split("–")[0]) for line in lines[1:-1]] + [float(lines[-1].split()[0])]
        depth = field.depth_m * per_m
        known = clear & (np.abs(np.subtract.outer(depth, limits)) > 0.002).all(axis=1)
        wanted = [SCALES["depth"][k] for k in np.searchsorted(limits, depth[known], side="right")]
        assert colours(np.column_stack([m.ravel() for m in middles])[known]) == wanted
        assert len(set(wanted)) > 3
        assert None not in colours(around(-0.6))
        assert set(colours(around(0.6))) == {None}
