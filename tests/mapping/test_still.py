"""The picture for browsers without scripts: what each surface's colour says."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
import shapely

from geosand.mapping.page import map_page
from geosand.mapping.still import still_picture
from geosand.mapping.view import MapPeriod, MapSurface, MapView, PeriodSurface
from geosand.mapping.words import KIND_COLOURS
from tests.mapping.sample_view import sample_view


def colours(**season: PeriodSurface) -> dict[str, str]:
    """Of three squares side by side, two greens and a bunker, by name."""
    drawn = [("g1", "green"), ("g2", "green"), ("b1", "bunker")]
    surfaces = tuple(
        MapSurface(id=i, name=i, kind=kind, geometry=shapely.box(x, 51.7, x + 2e-4, 51.7002))
        for (i, kind), x in zip(drawn, (0.0, 4e-4, 8e-4), strict=True)
    )
    whole = MapPeriod(key="season", label="Whole season", surfaces=season)
    picture = still_picture(MapView(title="Site", surfaces=surfaces, periods=(whole,)))
    return {
        name: colour
        for colour, name in re.findall(r'<path fill="([^"]+)"[^>]*><title>(\w+):', picture)
    }


def test_what_was_not_dressed_has_the_colour_of_its_kind_and_what_was_not_measured_none() -> None:
    found = colours(g1=PeriodSurface(depth_m=0.002), g2=PeriodSurface())
    assert found["b1"] == KIND_COLOURS["bunker"]
    assert found["g2"] == "#fff"
    assert found["g1"] not in ("#fff", KIND_COLOURS["green"])


def test_more_sand_is_darker() -> None:
    found = colours(g1=PeriodSurface(depth_m=0.002), g2=PeriodSurface(depth_m=0.009))
    light = {name: sum(bytes.fromhex(found[name][1:])) for name in ("g1", "g2")}
    assert light["g2"] < light["g1"]


@pytest.mark.browser
def test_without_scripts_picture_and_table_stay(open_page):
    page = open_page(java_script_enabled=False)
    assert page.locator("svg.still path").count() == 60
    assert page.locator("tbody tr:visible").count() == 60
    assert not page.locator(".map").is_visible()


@pytest.mark.browser
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
