"""The picture for browsers without scripts: what each surface's colour says."""

from __future__ import annotations

import re

import shapely

from geosand.mapping.still import still_picture
from geosand.mapping.view import MapPeriod, MapSurface, MapView, PeriodSurface
from geosand.mapping.words import KIND_COLOURS


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
