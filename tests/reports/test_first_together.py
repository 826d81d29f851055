"""Surfaces that are alike are one line, and pages call surfaces by their names."""

from __future__ import annotations

import re
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from geosand.balance.account import OVERTHROW
from geosand.errors import listed_dressings
from geosand.formats.site_folder import read_site
from geosand.mapping.fill import map_view
from geosand.mapping.page import map_page
from geosand.mapping.view import said
from geosand.reports.console import balance_notes
from geosand.reports.first import look_first, next_step
from geosand.reports.words import Units, names_apart
from geosand.results import Results, work_out
from tests.sites import DRESSINGS, LAT, LON, SURFACES, catch, collection, points, square, surface

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


@pytest.mark.parametrize("count", [2, 5, 9, 12])
def test_surfaces_of_one_target_that_are_alike_are_one_line(site_folder: Site, count: int) -> None:
    """Catches of 110, 115 … g over the tare on 0.1 m², so that all lie within 10 % of 8.05 mm."""
    results = greens(site_folder, count)
    depth = results.ledger.depth.value * 1000
    ids = ", ".join(f"g{k}" for k in range(1, count + 1)) if count < 7 else f"g1–g{count}"
    for units in ("metric", "us"):
        lines = [one for one in look_first(results, units) if ": under-dressed, " in one]
        assert [one.partition(":")[0] for one in lines] == [ids, "t1"]
    line = look_first(results, "metric")[0]
    ends = f"{depth[:count].min():.2f} to {depth[:count].max():.2f} mm of 8.05 mm so far"
    assert f"{ends}, g1 the farthest off (probability > 99 %)" in line
    assert ", Green 1 m the farthest off" in look_first(results, "metric", linked=True)[0]


def test_those_far_behind_are_not_hidden_among_the_others(site_folder: Site) -> None:
    """Catches of 150, 190 … 430 g less 50: depths over the 8.05 mm times 10 % of a line apart."""
    results = greens(site_folder, 8, step_g=150)
    ledger = results.ledger
    short = dict(zip(results.site.surfaces.id[ledger.row], ledger.shortfall_m, strict=True))
    lines = [one for one in look_first(results, "metric") if ": under-dressed, " in one]
    heads = [one.partition(":")[0].split(", ") for one in lines if one.startswith("g")]
    assert len(heads) > 2
    firsts = [short[head[0]] for head in heads]
    assert all(one - other > 0.1 * 8.05e-3 for one, other in pairwise(firsts))
    for head in heads:
        assert short[head[0]] - short[head[-1]] <= 0.1 * 8.05e-3


@pytest.mark.parametrize("second", ["Green", "Green 2"])
def test_surfaces_with_one_name_go_by_their_ids_on_pages(site_folder: Site, second: str) -> None:
    made = [
        surface(f"g{k}", "green", square(LON + k / 300, LAT, 25.0), name=name)
        for k, name in ((1, "Green"), (2, second))
    ]
    first = {"editions/first.geojson": collection([*made, SURFACES[2]], valid_from="2025-01-01")}
    folder = site_folder(
        surfaces=collection([*made, SURFACES[2]], valid_from="2026-02-01"), files=first
    )
    results = work_out(read_site(folder), as_of=LATE)
    names = ["g1", "g2"] if second == "Green" else ["Green", second]
    assert names_apart(results.site.surfaces).tolist() == 2 * [*names, "First tee"]
    assert [one.name for one in map_view(results, "metric").surfaces[:2]] == names


def test_a_page_leads_to_those_that_are_farthest_off(site_folder: Site) -> None:
    """A page names six; a line has the same surfaces at its head in both systems of units."""
    results = greens(site_folder, 9, step_g=-5)
    assert look_first(results, "metric")[0].startswith("g1–g9: ")
    for units in ("metric", "us"):
        line = look_first(results, units, linked=True)[0]
        assert line.startswith("g9, g8, g7, g6, g5, g4 and 3 more: under-dressed, ")
        assert ", Green 9 m the farthest off" in line


def test_kinds_of_one_target_that_are_alike_stand_in_one_line(site_folder: Site) -> None:
    results = greens(site_folder, 11, ("lawn", "approach", "fairway"))
    lines = [one for one in look_first(results, "metric") if ": under-dressed, " in one]
    assert [one.partition(":")[0] for one in lines] == ["g1–g11", "t1"]


def test_one_with_a_target_of_its_own_has_its_own_line(site_folder: Site) -> None:
    lines = look_first(greens(site_folder, 9, target_mm=30.0), "metric")
    behind = [one for one in lines if ": under-dressed, " in one]
    assert [one.partition(":")[0] for one in behind] == ["g9", "g1–g8", "t1"]


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


@pytest.mark.parametrize(
    ("name", "surface_id", "who"),
    [("1", "g1", "dressing 1"), ("D1", "g1", "D1"), ("1", "1", "dressing 1")],
)
def test_dressings_called_by_numbers_are_said_to_be_dressings(
    site_folder: Site, name: str, surface_id: str, who: str
) -> None:
    """Also where a surface has that number: no line about a dressing leads to it."""
    made = surface(surface_id, "green", square(LON, LAT, 20.0))
    rows = f"dressing,date,surfaces,swath_m\n{name},2026-04-10,green,6\n"
    loads = f"load,dressing,count,unit_mass_kg\nL1,{name},17,25\n"
    caught = points([catch(k, dressing=name) for k in (1, 2, 3)])
    folder = site_folder(surfaces=[made], dressings=rows, loads=loads, catches=caught)
    results = work_out(read_site(folder))
    (line,) = [one for one in look_first(results, "metric") if "undecided" in one]
    assert line.startswith(f"{who}: undecided: ")
    findings = [one["metric"] for one in map_view(results, "metric").findings]
    assert [one for one in findings if one.startswith(f"{who}: ")]
    assert not [one for one in findings if one.startswith("1:")]
    page = map_page(map_view(results, "metric"))
    assert re.search(rf"<li>(<span [^>]*>)?{who}: undecided: ", page)
    wrong = site_folder(
        "wrong", surfaces=[made], dressings=rows, loads=loads.replace("17", "9"), catches=caught
    )
    step = next_step(work_out(read_site(wrong)), "metric")
    assert f"which figure of {listed_dressings([name])} is wrong" in step
    (label,) = [period.label for period in map_view(results, "metric").periods[1:]]
    assert label == f"10 April 2026 · {who}"
    assert balance_notes(results, 0, "metric", [])[0].startswith(f"{who}, 2026-04-10: by mass")


@pytest.mark.parametrize(("surface_id", "who"), [("g1", "dressing 7"), ("7", "7")])
def test_of_the_season_only_numbers_that_no_surface_has_are_said_to_be_dressings(
    site_folder: Site, surface_id: str, who: str
) -> None:
    """Some of those findings are about surfaces, some about dressings."""
    made = surface(surface_id, "green", square(LON, LAT, 20.0))
    rows = DRESSINGS + "7,2025-04-10,green,0.6,4\n"
    folder = site_folder(surfaces=[made], dressings=rows, catches=points([catch(1)]))
    findings = [
        said(one, "metric") for one in map_view(work_out(read_site(folder)), "metric").findings
    ]
    (line,) = [one for one in findings if "outside the season" in one]
    assert line.startswith(f"{who}: its date 2025-04-10 is")


def test_many_that_would_explain_the_overthrow_are_not_named_twice(
    site_folder: Site,
) -> None:
    """Trays on g1 only; D1, which went to g1 to g6, threw sand over, D2 did not."""
    small = [surface(f"g{k}", "green", square(LON + k / 300, LAT, 2.0)) for k in range(3, 8)]
    folder = site_folder(
        surfaces=[*SURFACES, *small],
        catches=[*map(catch, (1, 2, 3)), *(catch(k, catch=f"d{k}", dressing="D2") for k in (1, 2))],
        dressings="dressing,date,surfaces\nD1,2026-04-10,g1 g2 g3 g4 g5 g6\nD2,2026-05-10,g1 g7\n",
        loads="load,dressing,count,unit_mass_kg,u_label_percent\n"
        "L1,D1,70,25,0.1\nL2,D2,15,25,0.1\n",
    )
    results = work_out(read_site(folder))
    assert (results.balance.verdict == OVERTHROW).tolist() == [True, False]
    for linked in (False, True):
        told = look_first(results, "metric", linked=linked)
        (line,) = [one for one in told if "never had a catch" in one]
        assert "g2, g3, g4, g5, g6, g7: have" in line or line.startswith("g2–g7: have")
        assert ". If those dressed with overthrow got " in line
