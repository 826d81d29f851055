"""What is true of a whole kind is one line, and pages call surfaces by their names."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from geosand.formats.site_folder import read_site
from geosand.reports.first import MOST_UNDER, look_first
from geosand.reports.words import Units
from geosand.results import Results, work_out
from tests.sites import DRESSINGS, LAT, LON, SURFACES, catch, points, square, surface

LATE = np.datetime64("2026-11-01")
Site = Callable[..., Path]


def greens(
    site_folder: Site, count: int, others: tuple[str, ...] = (), step_g: int = 5, **own: float
) -> Results:
    """g1 … of ``count``, each with one catch of its own weight; the last have kinds of their own
    and no catch; t1 was never dressed.
    """
    places = [(LON + k / 300, LAT) for k in range(count)]
    kinds = ["green"] * (count - len(others)) + [*others]
    made = [
        surface(f"g{k}", kind, square(*place, 25.0), name=f"Green {k} m", target_mm=9.0)
        for k, (kind, place) in enumerate(zip(kinds, places, strict=True), 1)
    ]
    made[-1]["properties"] |= own
    caught = [
        catch(1, catch=f"c{k}", lon=lon, lat=lat, gross_g=160 + step_g * k)
        for k, (lon, lat) in enumerate(places[: count - len(others)])
    ]
    folder = site_folder(
        surfaces=[*made, SURFACES[2]],
        catches=points(caught),
        dressings=DRESSINGS.replace("green", " ".join(["green", *others])),
        loads=f"load,dressing,count,unit_mass_kg\nL1,D1,{30 * count},25\n",
    )
    return work_out(read_site(folder), as_of=LATE)


@pytest.mark.parametrize(
    ("count", "told"), [(MOST_UNDER - 1, ["g1"]), (9, ["g1–g9", "t1"]), (12, ["g1–g12", "t1"])]
)
def test_a_kind_that_is_behind_as_a_whole_is_one_line(
    site_folder: Site, count: int, told: list[str]
) -> None:
    results = greens(site_folder, count)
    depth = results.ledger.depth.value * 1000
    for units in ("metric", "us"):
        lines = [one for one in look_first(results, units) if ": under-dressed, " in one]
        assert [one.partition(":")[0] for one in lines][: len(told)] == told
        assert len(lines) == (len(told) if len(told) > 1 else count + 1)
    if len(told) > 1:
        line = look_first(results, "metric")[0]
        ends = f"{depth[:count].min():.2f} to {depth[:count].max():.2f} mm of 8.05 mm so far"
        assert f"{ends}, g1 the farthest off (probability > 99 %)" in line
        assert ", Green 1 m the farthest off" in look_first(results, "metric", linked=True)[0]


def test_a_page_leads_to_those_that_are_farthest_off(site_folder: Site) -> None:
    """A page names six; a line has the same surfaces at its head in both systems of units."""
    results = greens(site_folder, 9, step_g=-5)
    assert look_first(results, "metric")[0].startswith("g1–g9: ")
    for units in ("metric", "us"):
        line = look_first(results, units, linked=True)[0]
        assert line.startswith("g9, g8, g7, g6, g5, g4 and 3 more: under-dressed, ")
        assert ", Green 9 m the farthest off" in line


def test_kinds_that_stand_in_one_line_stay_there(site_folder: Site) -> None:
    """Without catches of their own they have the greens' mean: apart they would be lines more."""
    results = greens(site_folder, 11, ("lawn", "approach", "fairway"))
    lines = [one for one in look_first(results, "metric") if ": under-dressed, " in one]
    heads = [one.partition(":")[0] for one in lines]
    assert heads == ["g1–g8", "g9, g10, g11", "t1"]


def test_one_with_a_target_of_its_own_keeps_its_kind_apart(site_folder: Site) -> None:
    lines = look_first(greens(site_folder, 9, target_mm=30.0), "metric")
    behind = [one for one in lines if ": under-dressed, " in one]
    assert [one.partition(":")[0] for one in behind] == ["g9", "g1", "g2", "g3", "g4", "g5"]
    assert "4 more surfaces are under-dressed" in lines


@pytest.mark.parametrize("units", ["metric", "us"])
@pytest.mark.parametrize(
    ("linked", "names"), [(False, "g1, g2, g3"), (True, "Green 1 m, Green 2 m, Green 3 m")]
)
def test_a_page_names_the_surfaces_that_a_tray_should_lie_on(
    site_folder: Site, linked: bool, names: str, units: Units
) -> None:
    """Trays 12 m from the edge, half a swath is 2 m: none sees the edge. What looks like a length
    in a name is not turned into feet.
    """
    lines = look_first(greens(site_folder, 9), units, linked=linked)
    (line,) = [one for one in lines if one.startswith("D1: undecided")]
    assert f"a tray near the edge of {names}" in line
