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


def still(**season: PeriodSurface) -> str:
    """Of three squares side by side, two greens and a bunker."""
    drawn = [("g1", "green"), ("g2", "green"), ("b1", "bunker")]
    surfaces = tuple(
        MapSurface(id=i, name=i, kind=kind, geometry=shapely.box(x, 51.7, x + 2e-4, 51.7002))
        for (i, kind), x in zip(drawn, (0.0, 4e-4, 8e-4), strict=True)
    )
    whole = MapPeriod(key="season", label="Whole season", surfaces=season)
    return still_picture(MapView(title="Site", surfaces=surfaces, periods=(whole,)))


def colours(**season: PeriodSurface) -> dict[str, str]:
    """Of the same, by name."""
    found = re.findall(r'<path fill="([^"]+)"[^>]*><title>(\w+):', still(**season))
    return {name: colour for colour, name in found}


def test_what_was_not_dressed_has_the_colour_of_its_kind_and_what_was_not_measured_none() -> None:
    found = colours(g1=PeriodSurface(depth_m=0.002), g2=PeriodSurface())
    assert found["b1"] == KIND_COLOURS["bunker"]
    assert found["g2"] == "#fff"
    assert found["g1"] not in ("#fff", KIND_COLOURS["green"])


def test_more_sand_is_darker() -> None:
    found = colours(g1=PeriodSurface(depth_m=0.002), g2=PeriodSurface(depth_m=0.009))
    light = {name: sum(bytes.fromhex(found[name][1:])) for name in ("g1", "g2")}
    assert light["g2"] < light["g1"]


@pytest.mark.parametrize("depth_m", [0.0005, 0.009])
def test_the_picture_has_the_signs_of_the_legend(depth_m: float) -> None:
    """A dashed outline is what is under-dressed, hatching what has no catches of its own."""
    behind = PeriodSurface(depth_m=0.002, state="under-dressed", basis="own catches")
    guessed = PeriodSurface(depth_m=depth_m, state="on target", basis="other surfaces")
    picture = still(g1=behind, g2=guessed)
    marked = re.findall("<path ([^>]*)><title>(..)", picture)
    assert [name for marks, name in marked if "stroke-dasharray" in marks] == ["g1"]
    ((pattern, name),) = re.findall(r'<path fill="url\(#([^)]+)\)[^>]*><title>(..)', picture)
    assert name == "g2"
    (hatching,) = re.findall(f'<pattern id="{pattern}".*?</pattern>', picture)
    ground, line = re.findall('fill="([^"]+)"', hatching)
    assert ground == colours(g1=behind, g2=replace(guessed, basis="own catches"))["g2"] != line


@pytest.mark.browser
def test_without_scripts_the_legend_names_no_sign_that_the_picture_lacks(open_page):
    told = open_page(java_script_enabled=False).locator(".legend li:visible").all_inner_texts()
    assert any("under-dressed" in text for text in told)
    assert not [text for text in told if "catch" in text]


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
