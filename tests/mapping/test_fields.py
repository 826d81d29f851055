"""Depth within a surface: the cells that the map draws are those that the balance writes."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from geosand.formats.site_folder import read_site
from geosand.mapping.fill import map_fields, map_view
from geosand.mapping.page import map_page
from geosand.mapping.words import SCALES, number
from geosand.reports.depth_fields import fields_text
from geosand.results import work_out
from tests.cli.test_balance import dense
from tests.mapping.conftest import drawings_read_out


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
