"""What a plan says beside its figures, by sites made for each sentence."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from geosand.planning.choosing import Request
from geosand.planning.dressing import next_dressing
from geosand.results import Results
from tests.sites import CATCHES, G1, G2, SURFACES, TOML, square, surface

Worked = Callable[..., Results]
LOADS = "load,dressing,count,unit_mass_kg\n"
HOLES_TAKE_M = 0.0038  #: 12.7 mm wide and 75 mm deep, 50 mm apart


def told(results: Results, **asked: Any) -> list[tuple[str, str]]:
    """(about, text) of the findings of a plan of 0.5 mm on the greens, unless asked otherwise."""
    rows = np.flatnonzero(results.site.surfaces.kind == "green")
    request = {"row": rows, "sand": 0, "spreader": "", "depth_m": 0.0005, "assurance": 0.9}
    asked = Request(**request | {"swath_m": 4.0} | asked)
    plan = next_dressing(results.balance, results.ledger, asked)
    return [(f.about, f.text) for f in plan.findings]


def about(name: str, found: list[tuple[str, str]]) -> list[str]:
    return [text for one, text in found if one == name]


def test_a_plan_after_the_season(worked: Worked) -> None:
    text = "ended on 2026-11-30: targets are those of its end"
    assert about("season", told(worked(as_of="2026-12-01"))) == [text]
    assert about("season", told(worked("on", as_of="2026-11-30"))) == []


def test_an_overthrow_that_nobody_measured(worked: Worked) -> None:
    found = told(worked(loads=LOADS))
    assert about("overthrow", found) == [
        "no dressing has both catches and loads, so it is not known: the order holds none of it"
    ]
    assert about("units", found) == [
        "no load of this sand tells the mass of a bag: no count is given"
    ]


def test_balances_that_show_no_overthrow_or_do_not_close(worked: Worked) -> None:
    """1182 kg are caught: 1170 kg of bags are within their u, 750 kg are not."""
    assert about("overthrow", told(worked(loads=f"{LOADS}L1,D1,46.8,25\n"))) == [
        "past balances show none: 0 is expected, and the assurance allows for more"
    ]
    assert about("overthrow", told(worked("open", loads=f"{LOADS}L1,D1,30,25\n"))) == [
        "no dressing has both catches and loads, so it is not known: the order holds none of it",
        "D1 does not close and tells nothing about the strip width",
    ]
    assert about("overthrow", told(worked("plain"))) == []


def holed(name: str, place: tuple[float, float], side_m: float, hole_m: float) -> dict[str, Any]:
    """A square green with a square hole in its middle."""
    outer, inner = (square(*place, side)["coordinates"][0] for side in (side_m, hole_m))
    return surface(name, "green", {"type": "Polygon", "coordinates": [outer, inner[::-1]]})


@pytest.mark.parametrize(
    ("holes_m", "words"),
    [((2.0, None), "g1 has"), ((2.0, 2.0), "g1, g2 have"), ((0.7, None), None)],
)
def test_ground_inside_that_passes_cross(
    worked: Worked, holes_m: tuple[float, float | None], words: str | None
) -> None:
    """Holes of 4 m²; 0.49 m² are too small to tell of."""
    places = (("g1", G1, 20.0), ("g2", G2, 30.0))
    greens = [
        holed(*place, hole) if hole else surface(place[0], "green", square(*place[1], place[2]))
        for place, hole in zip(places, holes_m, strict=True)
    ]
    catches = [c for c in CATCHES if c["lon"] not in (G1[0], G2[0])]
    found = about("heading", told(worked(surfaces=[*greens, SURFACES[2]], catches=catches)))
    inside = "other ground inside: passes cross it, shut off over it"
    assert found == ([f"{words} {inside}"] if words else [])


def test_a_swath_that_is_not_known(worked: Worked) -> None:
    bare = worked(dressings="dressing,date,surfaces\nD1,2026-04-10,green\n")
    assert about("heading", told(bare, swath_m=None)) == ["no swath is known: give --swath"]


@pytest.mark.parametrize(
    ("depth_mm", "texts"),
    [(3.7, ["the sand fills them on no surface"]), (3.9, [])],
)
def test_holes_that_the_sand_does_not_fill(
    worked: Worked, depth_mm: float, texts: list[str]
) -> None:
    results = worked()
    assert (
        about("holes", told(results, depth_m=depth_mm / 1000, holes_take_m=HOLES_TAKE_M)) == texts
    )
    assert about("holes", told(results, depth_m=depth_mm / 1000)) == []


@pytest.mark.parametrize(
    ("target_mm", "short"),
    [(18, "the sand does not fill them on g1"), (9, "the sand fills them on no surface")],
)
def test_holes_of_some_surfaces(worked: Worked, target_mm: int, short: str) -> None:
    """By 30 June g1 and g2 lack 3.4 mm of 9 mm; g2 with its own target of 18 mm lacks 7.4 mm."""
    own = surface("g2", "green", square(*G2, 30.0), target_mm=target_mm)
    done = surface("g3", "green", square(G1[0], G1[1] - 0.004, 20.0), target_mm=0)
    results = worked(
        as_of="2026-06-30",
        toml=TOML,
        surfaces=[SURFACES[0], own, done],
        dressings="dressing,date,surfaces,planned_depth_mm,swath_m\nD1,2026-04-10,g1 g2,0.6,4\n",
    )
    assert about("holes", told(results, depth_m=None, holes_take_m=HOLES_TAKE_M)) == [
        short,
        "they stay open where no sand is planned: g3",
    ]


def test_what_catches_hardly_tell_gets_trays_with_its_sand(worked: Worked) -> None:
    """g1 alone was caught; what g2 lacks of its target is g1's shortfall."""
    late = "2026-07-16"
    text = "lay some on g2: what it lacks is estimated from other surfaces"
    results = worked(catches=CATCHES[:3], as_of=late)
    assert about("trays", told(results, depth_m=None)) == [text]
    assert about("trays", told(results)) == []  # one depth for all rests on nobody's shortfall
    assert about("trays", told(worked("both", as_of=late), depth_m=None)) == []


@pytest.mark.parametrize(("target_mm", "said"), [(10.0, True), (9.5, False)])
def test_unlike_depths_are_to_be_recorded(worked: Worked, target_mm: float, said: bool) -> None:
    """By 30 June g1 lacks 3.4 mm of 9 mm, g2 3.8 or 3.6 mm: 10 % is allowed.

    On record as one row such a dressing gives a surface without trays the depth of the others.
    """
    own = surface("g2", "green", square(*G2, 30.0), target_mm=target_mm)
    results = worked(as_of="2026-06-30", surfaces=[SURFACES[0], own, SURFACES[2]])
    assert bool(about("records", told(results, depth_m=None))) is said
    assert about("records", told(results)) == []
