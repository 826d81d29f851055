"""Which surface a catch is on: by hand on squares whose edges are known."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from geosand.areas.register import area_register
from geosand.errors import Refused
from geosand.formats.site_folder import read_site
from geosand.rates.assignment import Assignment, assign
from tests.sites import CATCHES, G1, G2, SURFACES, TOML, TRAY, collection, points, square, surface

# metres to degrees of longitude at 47° N (WGS 84: radius of the parallel 4 359 100 m)
EAST = math.degrees(1 / 4_359_100.0)
OTHER = surface("g9", "green", square(G1[0], G1[1] + 0.01, 20.0))


def one(east_m: float, **changes: Any) -> dict[str, Any]:
    """A catch ``east_m`` east of the middle of g1, a square of 20 m: its edge is at 10 m."""
    place = {"lon": G1[0] + east_m * EAST, "lat": G1[1]}
    row = {"catch": "x", "dressing": "D1", **place, **TRAY, "tare_g": 50, "gross_g": 140}
    return {k: v for k, v in (row | changes).items() if v is not None}


@pytest.fixture
def place(site_folder: Callable[..., Path]) -> Callable[..., Assignment]:
    """Assignment of one catch on the valid site with changes."""

    def run(catch: dict[str, Any], **overrides: Any) -> Assignment:
        site = read_site(site_folder(catches=[catch], **overrides))
        return assign(site, area_register(site.surfaces))

    return run


def texts(found: Assignment) -> str:
    return " | ".join(map(str, found.findings))


def test_position_decides_without_a_declaration(place: Callable[..., Assignment]) -> None:
    found = place(one(3.0))
    assert found.surface.tolist() == [0]
    assert found.dressed.tolist() == [0]
    assert found.zone.tolist() == ["surface"]
    assert found.by_position.tolist() == [0]
    assert np.isnan(found.outside_m).all()
    assert np.isnan(found.taped_inside_m).all()
    assert found.findings == ()


def test_near_an_edge_the_position_is_doubted(place: Callable[..., Assignment]) -> None:
    # 2 × √(1² + 0.05²) m and half of the tray's diagonal, √(0.4² + 0.25²)/2 m: 2.238 m
    assert "nearer to an edge" in texts(place(one(10 - 2.20)))
    assert "nearer to an edge" not in texts(place(one(10 - 2.28)))
    assert "nearer to an edge" in texts(place(one(10 + 2.20)))
    assert "nearer to an edge" not in texts(place(one(10 - 2.20, surface="g1")))


def test_a_declaration_wins_within_twice_the_accuracy(place: Callable[..., Assignment]) -> None:
    found = place(one(10 + 1.9, surface="g1"))
    assert found.dressed.tolist() == [0]
    assert "the declaration holds" in texts(found)


def test_many_declarations_of_a_dressing_are_told_in_one_line(
    site_folder: Callable[..., Path],
) -> None:
    rows = [one(10 + 1.5 + k / 10, catch=f"c{k}", surface="g1") for k in range(3)]
    site = read_site(site_folder(catches=rows))
    found = texts(assign(site, area_register(site.surfaces)))
    assert "3 catches are declared on one surface and lie elsewhere" in found
    assert "c2 ('g1', lies on no surface): the declarations hold" in found
    assert found.count("hold") == 1


def test_a_declaration_that_holds_says_on_which_surface_the_catch_lies(
    place: Callable[..., Assignment],
) -> None:
    """g2 begins half a metre beyond the edge of g1."""
    beside = surface("g2", "green", square(G1[0] + 20.5 * EAST, G1[1], 20.0))
    found = place(one(11.5, surface="g1"), surfaces=[SURFACES[0], beside, *SURFACES[2:]])
    assert "catch x is declared on 'g1' and lies on 'g2', within" in texts(found)


def test_a_declaration_farther_off_is_refused_with_its_row(
    place: Callable[..., Assignment],
) -> None:
    with pytest.raises(Refused, match=r"catches.csv, row 2, surface.*lies 2\.1 m from it.*2\.0 m"):
        place(one(10 + 2.1, surface="g1"))


def test_a_refused_catch_of_a_geojson_file_is_named_by_its_feature(
    site_folder: Callable[..., Path],
) -> None:
    rows = [one(1.0, catch="a"), one(10 + 2.1, surface="g1")]
    site = read_site(site_folder(catches=points(rows)))
    with pytest.raises(Refused, match=r"catches\.geojson, feature 2, surface: catch 'x' of D1"):
        assign(site, area_register(site.surfaces))


def test_a_rejected_catch_is_not_worth_a_refusal(place: Callable[..., Assignment]) -> None:
    found = place(one(10 + 2.1, surface="g1", reject_reason="wind took it"))
    assert found.findings == ()


def test_a_tape_outside_overrides_the_position(place: Callable[..., Assignment]) -> None:
    found = place(one(9.5, surface="g1", edge_distance_m=0.6))
    assert found.dressed.tolist() == [-1]
    assert found.nearest.tolist() == [0]
    assert found.surface.tolist() == [-1]
    assert found.outside_m.tolist() == [0.6]
    assert found.zone.tolist() == ["collar"]


def test_the_finding_on_positions_near_an_edge_names_those_that_a_position_decides(
    site_folder: Callable[..., Path],
) -> None:
    trays = [
        one(10.6, catch="taped", edge_distance_m=0.6),
        one(8.5, catch="declared", surface="g1"),
        one(9.0, catch="near"),
        one(10.5, catch="beside"),
        one(3.0, catch="far"),
    ]
    site = read_site(site_folder(catches=trays))
    found = texts(assign(site, area_register(site.surfaces)))
    assert "2 catches without a declared surface lie nearer to an edge" in found
    assert "(near, beside)" in found


def test_a_tape_inside_says_how_far_the_edge_is(place: Callable[..., Assignment]) -> None:
    found = place(one(10.5, edge_distance_m=-0.7))
    assert found.dressed.tolist() == [0]
    assert found.surface.tolist() == [0]
    assert found.taped_inside_m.tolist() == [0.7]


@pytest.mark.parametrize("tape_m, side", [(1.5, "inside"), (-8.0, "outside")])
def test_a_tape_that_the_position_contradicts_is_told(
    place: Callable[..., Assignment], tape_m: float, side: str
) -> None:
    east = 2.0 if tape_m > 0 else 11.0
    assert f"m {side} the edge by its position" in texts(place(one(east, edge_distance_m=tape_m)))


def test_a_tape_far_from_all_dressed_ground_is_not_used(
    place: Callable[..., Assignment],
) -> None:
    found = place(one(100.0, edge_distance_m=-2.0))
    assert found.dressed.tolist() == [-1]
    assert found.zone.tolist() == ["elsewhere"]
    assert "lies near no surface" in texts(found)


@pytest.mark.parametrize(
    "east_m, zone",
    [(10.5, "collar"), (11.2, "surrounds"), (14.7, "surrounds"), (15.2, "farther")],
)
def test_zones_beside_the_edge(place: Callable[..., Assignment], east_m: float, zone: str) -> None:
    found = place(one(east_m))
    assert found.zone.tolist() == [zone]
    assert found.outside_m == pytest.approx([east_m - 10], abs=0.01)
    edge = f"{east_m - 10:.1f} m outside the nearest dressed edge"
    assert f"catch x lies on no drawn surface, {edge}: it counts as sand thrown over" in texts(
        found
    )


def test_a_drawn_collar_is_the_collar_whatever_its_width(
    place: Callable[..., Assignment],
) -> None:
    drawn = surface("k1", "collar", square(*G1, 24.0), around="g1")
    found = place(one(11.5), surfaces=[*SURFACES, drawn])
    assert found.zone.tolist() == ["collar"]
    assert found.surface.tolist() == [3]


def test_a_narrow_drawn_collar_ends_where_it_is_drawn_and_is_of_its_own_surface_only(
    site_folder: Callable[..., Path],
) -> None:
    """Collars 0.5 m wide about g2, and in an earlier survey about g1; elsewhere the 0.9 m stated.

    Edges are at 10 m and 15 m, and trays lie 0.3, 0.7 and 0.95 m outside.
    """
    about_g1 = surface("k1", "collar", square(*G1, 21.0), around="g1")
    about_g2 = surface("k2", "collar", square(*G2, 31.0), around="g2")
    rows = [
        one(0.0, dressing=d, catch=f"{lon}+{out}") | {"lon": lon + (edge + out) * EAST}
        for d in ("D1", "D2")
        for lon, edge in ((G1[0], 10.0), (G2[0], 15.0))
        for out in (0.3, 0.7, 0.95)
    ]
    folder = site_folder(
        surfaces=collection([*SURFACES, about_g2], valid_from="2026-05-01"),
        files={"editions/2020-01-01.geojson": collection([*SURFACES, about_g1])},
        dressings="dressing,date,surfaces\nD1,2026-04-10,green\nD2,2026-06-10,green\n",
        loads="load,dressing,count,unit_mass_kg\n",
        catches=rows,
    )
    site = read_site(folder)
    found = assign(site, area_register(site.surfaces))
    drawn, stated = ["collar", "surrounds", "surrounds"], ["collar", "collar", "surrounds"]
    assert found.zone.tolist() == [*drawn, *stated, *stated, *drawn]


def test_a_collar_about_no_surface_is_no_surfaces_collar(
    site_folder: Callable[..., Path],
) -> None:
    """In both surveys: the first of the file, and g2 the last of it."""
    away = surface("k1", "collar", square(G1[0] + 0.01, G1[1], 20.0))
    drawn = [away, SURFACES[2], *SURFACES[:2]]
    rows = [
        one(0.0, dressing=d, catch=f"{k}") | {"lon": lon + (edge + 0.7) * EAST}
        for d in ("D1", "D2")
        for k, (lon, edge) in enumerate(((G1[0], 10.0), (G2[0], 15.0)))
    ]
    folder = site_folder(
        surfaces=collection(drawn, valid_from="2026-05-01"),
        files={"editions/2020-01-01.geojson": collection(drawn)},
        dressings="dressing,date,surfaces\nD1,2026-04-10,green\nD2,2026-06-10,green\n",
        loads="load,dressing,count,unit_mass_kg\n",
        catches=rows,
    )
    site = read_site(folder)
    found = assign(site, area_register(site.surfaces))
    assert found.zone.tolist() == ["collar"] * 4


@pytest.mark.parametrize(("kind", "zone"), [("surround", "surrounds"), ("green", "collar")])
def test_a_dressed_surround_has_no_collar(
    place: Callable[..., Assignment], kind: str, zone: str
) -> None:
    dressings = "dressing,date,surfaces\nD1,2026-04-10,g1\n"
    alone = surface("g1", kind, square(*G1, 20.0))
    assert place(one(10.05), surfaces=[alone], dressings=dressings).zone.tolist() == [zone]


def test_the_surface_on_top_owns_the_catch(place: Callable[..., Assignment]) -> None:
    beneath = surface("a1", "approach", square(*G1, 60.0))
    found = place(one(3.0), surfaces=[beneath, *SURFACES])
    assert found.surface.tolist() == [1]


def test_a_declared_surface_without_ground_is_refused(place: Callable[..., Assignment]) -> None:
    beneath = surface("a1", "approach", square(*G1, 10.0))
    with pytest.raises(Refused, match="'a1', which owns no ground"):
        place(one(3.0, surface="a1"), surfaces=[*SURFACES, beneath])


def test_a_catch_on_a_surface_that_was_not_dressed_is_told(
    place: Callable[..., Assignment],
) -> None:
    found = place(one(3.0), dressings="dressing,date,surfaces\nD1,2026-04-10,g2\n")
    assert found.surface.tolist() == [0]
    assert found.dressed.tolist() == [-1]
    assert found.zone.tolist() == ["elsewhere"]
    assert "lies on 'g1', which was not dressed" in texts(found)


def test_the_boundaries_of_the_dressings_date_are_used(
    site_folder: Callable[..., Path],
) -> None:
    before = collection([surface("g1", "green", square(*G1, 26.0))], valid_from="2020-01-01")
    now = collection(SURFACES, valid_from="2026-05-01")
    dressings = "dressing,date,surfaces\nD1,2026-04-10,g1\nD2,2026-06-10,g1\n"
    rows = [one(12.0), one(12.0, dressing="D2")]
    folder = site_folder(
        surfaces=now,
        files={"editions/2020.geojson": before},
        dressings=dressings,
        loads="load,dressing,count,unit_mass_kg\n",
        catches=rows,
        toml=TOML,
    )
    site = read_site(folder)
    found = assign(site, area_register(site.surfaces))
    assert (found.dressed >= 0).tolist() == [True, False]
    assert found.surface.tolist() == [0, -1]
    assert found.outside_m[1] == pytest.approx(2.0, abs=0.01)


NORTH = 1 / 111_170.0  # metre to degrees of latitude at 47° N
#: round a bay of 20 m: no middle of it sees all of its edge
BAY = [(-20, -20), (20, -20), (20, 20), (10, 20), (10, -10), (-10, -10), (-10, 20), (-20, 20)]


@pytest.mark.parametrize("bay", [False, True])
def test_an_edge_nearer_than_the_position_is_known_is_told(
    place: Callable[..., Assignment], bay: bool
) -> None:
    """Twice 1 m and 0.05 m in quadrature, and 0.236 m from a tray's middle to its corner: 2.238 m.

    The edge lies 10 m east, of the square or of the bay.
    """
    text = "1 catch without a declared surface lies nearer to an edge than its position is known"
    corners = [[G1[0] + x * EAST, G1[1] + y * NORTH] for x, y in [*BAY, BAY[0]]]
    round_bay = surface("g1", "green", {"type": "Polygon", "coordinates": [corners]})
    surfaces = [round_bay if bay else SURFACES[0], *SURFACES[1:]]
    for off_m, told in ((-2.26, False), (-2.21, True), (2.21, True), (2.26, False)):
        found = place(one(10 + off_m), surfaces=surfaces).findings
        assert any(text in str(f) for f in found) == told


@pytest.mark.parametrize(
    ("since", "first", "now"),
    [
        ("2026-05-01", SURFACES, [*SURFACES, OTHER]),
        ("2026-01-01", [OTHER, *SURFACES], SURFACES),
    ],
    ids=["surveyed after the dressing", "given up before it"],
)
def test_a_surface_that_the_boundaries_of_the_date_do_not_have_is_refused(
    site_folder: Callable[..., Path], since: str, first: Any, now: Any
) -> None:
    """Nobody can have laid a tray on it in April."""
    folder = site_folder(
        surfaces=collection(now, valid_from=since),
        files={"editions/2020-01-01.geojson": collection(first)},
        catches=[one(3.0), one(3.0, catch="y", surface="g9")],
    )
    site = read_site(folder)
    with pytest.raises(Refused) as caught:
        assign(site, area_register(site.surfaces))
    (text,) = str(caught.value).splitlines()
    assert "catches.csv, row 3, surface: 'g9' is no surface in the boundaries of that date" in text
    assert text.endswith("Name a surface of that boundary survey.")


def test_no_catches_at_all(site_folder: Callable[..., Path]) -> None:
    site = read_site(site_folder(catches=None))
    found = assign(site, area_register(site.surfaces))
    assert len(found.surface) == 0
    assert found.findings == ()


def test_order_of_rows_does_not_matter(site_folder: Callable[..., Path]) -> None:
    rows = [*CATCHES, one(10.5)]
    forward, backward = (
        read_site(site_folder(name, catches=list(catches)))
        for name, catches in (("a", rows), ("b", rows[::-1]))
    )
    one_way = assign(forward, area_register(forward.surfaces))
    other_way = assign(backward, area_register(backward.surfaces))
    assert one_way.dressed.tolist() == other_way.dressed.tolist()[::-1]
    assert one_way.zone.tolist() == other_way.zone.tolist()[::-1]
