"""Small invented sites that differ, for whatever must give a stack of sites what it gives each.

The places are open sea or ice; nothing here is a real property.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from functools import cache
from pathlib import Path

from geosand.formats.site_folder import read_site
from geosand.site.tables import Site
from tests.benchmarks.portfolio_generator import write_folders
from tests.sites import DEMO, collection, surface, table, write_site
from tests.stack_places import (
    MIDDLES,
    RADIUS,
    Place,
    box,
    disc,
    dressing,
    greens,
    load,
    ring_trays,
    said,
    trays,
)


def two_editions(folder: Path) -> Path:
    """Greens that grew in May, one of them new; dressed before and after."""
    place = Place(-30.0, 47.0)
    before, now = greens(place)[:2], greens(place, grown=1.5)
    return write_site(
        folder,
        toml=said("Two editions"),
        surfaces=collection(now, valid_from="2026-05-15"),
        files={"editions/2020.geojson": collection(before, valid_from="2020-01-01")},
        dressings=table(
            [dressing("D1", "2026-04-10", swath_m=4), dressing("D2", "2026-06-10", swath_m=4)]
        ),
        loads=table([load("L1", "D1", 28, u_label_percent=1), load("L2", "D2", 62)]),
        catches=[*trays(place, "D1", 1)[:6], *trays(place, "D2", 2)],
    )


def us_units(folder: Path) -> Path:
    """Two sands, moistures by load and by catch, loads of different moistures in one dressing."""
    place = Place(-35.0, 30.0)
    sands = "[sands.washed]\nbulk_density_g_cm3 = 1.48\nmoisture_dry_basis_percent = 4.0\n\n[catch"
    wet = trays(place, "D3", 5, moisture_dry_basis_percent=2.5, u_moisture_percent=0.4)
    return write_site(
        folder,
        toml='units = "us"\nelevation_ft = 2400\n' + said("Two sands").replace("[catch", sands),
        surfaces=greens(place),
        dressings=table(
            [
                dressing("D1", "2026-04-10", sand="dried", spreader="belt drop", swath_m=1.5),
                dressing("D2", "2026-05-10", sand="washed", spreader="twin disc", swath_m=5),
                dressing("D3", "2026-06-10", sand="washed", spreader="twin disc", swath_m=5),
            ]
        ),
        loads=table(
            [
                load("L1", "D1", 46),
                load("L2", "D2", 30, moisture_dry_basis_percent=3, u_moisture_percent=0.3),
                load("L3", "D2", 22, moisture_dry_basis_percent=6, u_moisture_percent=0.6),
                load("L4", "D3", 50),
            ]
        ),
        catches=[*trays(place, "D1", 3), *trays(place, "D2", 4), *wet],
    )


def named_surfaces(folder: Path) -> Path:
    """Loads that went to named greens: thrown over on two, less than landed on the third."""
    place = Place(20.0, -40.0)
    return write_site(
        folder,
        toml=said("Groups"),
        surfaces=greens(place),
        dressings=table(
            [
                dressing("D1", "2026-04-10", spreader="twin disc", swath_m=4),
                dressing("D2", "2026-07-10", spreader="twin disc", swath_m=4),
            ]
        ),
        loads=table(
            [
                load("L1", "D1", 35, surfaces="g1 g2"),
                load("L2", "D1", 14, surfaces="g3"),
                load("L3", "D2", 17, surfaces="g1"),
                load("L4", "D2", 40, surfaces="g2 g3"),
            ]
        ),
        catches=[*trays(place, "D1", 6), *trays(place, "D2", 7)],
    )


def no_catches(folder: Path) -> Path:
    """Spread, but nothing caught."""
    return write_site(
        folder, toml=said("No catches"), surfaces=greens(Place(-31.0, 46.0)), catches=None
    )


def no_dressings(folder: Path) -> Path:
    """Boundaries only."""
    none = {"dressings": "dressing,date,surfaces\n", "loads": None, "catches": None}
    return write_site(
        folder, toml=said("No dressings"), surfaces=greens(Place(-29.0, 48.0)), **none
    )


def ring_catches(folder: Path) -> Path:
    """Taped trays beside the edge in two dressings, one of which throws far."""
    place = Place(-30.0, 51.0)
    far = {"spreader": "twin disc", "swath_m": 6}
    return write_site(
        folder,
        toml=said("Ring catches"),
        surfaces=greens(place),
        dressings=table(
            [
                dressing("D1", "2026-04-10", **far),
                dressing("D2", "2026-05-10", spreader="belt drop"),
                dressing("D3", "2026-06-10", **far),
            ]
        ),
        loads=table([load("L1", "D1", 60), load("L2", "D2", 47), load("L3", "D3", 64)]),
        catches=[
            *trays(place, "D1", 8, each=4, edge_distance_m=None),
            *ring_trays(place, "D1", 7, 4.0),
            *trays(place, "D2", 9, edge_distance_m=None),
            *trays(place, "D3", 10, edge_distance_m=None),
            *ring_trays(place, "D3", 5, 6.0),
        ],
    )


def drawn_collars(folder: Path) -> Path:
    """Collars drawn for two greens, sand, water, a path and a tee near them; surfaces overlap."""
    place = Place(10.0, -45.0)
    first, second = (disc(m, RADIUS + k, wave=1.0) for k, m in enumerate(MIDDLES[:2], start=1))
    more = [
        surface(
            "c1", "collar", place.polygon(disc(MIDDLES[0], 12.4, wave=1.0), first), around="g1"
        ),
        surface("c2", "collar", place.polygon(disc(MIDDLES[1], 13.2, wave=1.0), second)),
        surface("b1", "bunker", place.polygon(disc((0.0, 15.0), 3.5, 24))),
        surface("w1", "water", place.polygon(box(44.0, -4.0, 47.5, 20.0))),
        surface("p1", "path", place.polygon(box(-40.0, 56.5, 10.0, 58.0))),
        surface("a1", "approach", place.polygon(box(-7.0, -40.0, 7.0, -9.0))),
        surface("t1", "tee", place.polygon(box(12.0, -8.0, 20.0, 4.0))),
    ]
    wide = {"spreader": "twin disc", "swath_m": 6, "heading_deg": 30}
    return write_site(
        folder,
        toml=said("Drawn collars", surrounds_width_m="6.0"),
        surfaces=[*greens(place), *more],
        dressings=table(
            [
                dressing("D1", "2026-04-10", **wide),
                dressing("D2", "2026-05-10", "green collar", **wide),
                dressing("D3", "2026-06-10", "tee approach", **wide),
            ]
        ),
        loads=table([load("L1", "D1", 56), load("L2", "D2", 66), load("L3", "D3", 34)]),
        catches=[
            *trays(place, "D1", 11, each=4),
            *trays(place, "D2", 12),
            {"catch": "t", "dressing": "D3"} | place.tray(16.0, -2.0, 92.0),
            {"catch": "a", "dressing": "D3"} | place.tray(1.0, -25.0, 85.0),
            {"catch": "b", "dressing": "D3"} | place.tray(-3.0, -30.0, 88.0),
        ],
    )


def antimeridian(folder: Path) -> Path:
    """The 180th meridian runs between the greens and through none of them."""
    place = Place(179.9997, -17.0)
    return write_site(
        folder,
        toml=said("On both sides"),
        surfaces=greens(place),
        dressings=table([dressing("D1", "2026-04-10", swath_m=4)]),
        loads=table([load("L1", "D1", 52)]),
        catches=trays(place, "D1", 13),
    )


def far_north(folder: Path) -> Path:
    """At 78 degrees, another sand equivalent, other widths and accuracies."""
    place = Place(15.0, 78.0)
    changes = {"boundary_accuracy_m": "0.2", "tolerance_percent": "25", "collar_width_m": "1.4"}
    changes |= {"catch_efficiency_percent": "93", "position_accuracy_m": "2.0"}
    return write_site(
        folder,
        toml=said("Far north", **changes),
        surfaces=greens(place, wave=2.0),
        dressings=table(
            [dressing(f"D{k}", f"2026-0{k + 5}-20", spreader="belt") for k in range(1, 4)]
        ),
        loads=table([load(f"L{k}", f"D{k}", 45 + 4 * k) for k in range(1, 4)]),
        catches=[c for k in range(1, 4) for c in trays(place, f"D{k}", 13 + k, each=2)],
    )


def pools(folder: Path) -> Path:
    """Trays emptied into one bucket or one cylinder, volumes only, a rejected tray, two waters."""
    place = Place(-20.0, 0.5)
    by_volume = {"tare_g": None, "gross_g": None, "volume_state": "dry"}
    one, two, three = (trays(place, f"D{k}", 20 + k) for k in (1, 2, 3))
    for row in one[:3]:
        row |= {"pool": "a", "gross_g": "", "volume_cm3": 60, "volume_state": "dry"}
    one[0] |= {"gross_g": 325.0, "moisture_dry_basis_percent": 2}
    one[4]["moisture_dry_basis_percent"] = 1.5
    one[5]["reject_reason"] = "kicked over"
    two = [row | by_volume | {"tare_g": "", "gross_g": ""} for row in two]
    for k, row in enumerate(two):
        row["volume_cm3"] = 56 + k
    for row in two[3:6]:
        row |= {"pool": "b", "volume_cm3": ""}
    two[4]["volume_cm3"] = 175
    for k, row in enumerate(three):
        row |= {"volume_cm3": 57 + (k * 3) % 7, "volume_state": "dry"}
    return write_site(
        folder,
        toml=said("Pools", bulk_density_g_cm3=None, u_bulk_density_g_cm3=None),
        surfaces=greens(place),
        dressings=table([dressing(f"D{k}", f"2026-0{k + 3}-11", swath_m=4) for k in (1, 2, 3)]),
        loads=table([load(f"L{k}", f"D{k}", 50) for k in (1, 2, 3)]),
        catches=[*one, *two, *three],
    )


def yard(folder: Path) -> Path:
    """Tickets, counts of the yard, loads put on a scale, sand brought back and spilled."""
    place = Place(5.0, 60.0)
    return write_site(
        folder,
        toml=said("Yard"),
        surfaces=greens(place),
        dressings=table(
            [
                dressing("D1", "2026-04-10", spreader="twin disc"),
                dressing("D2", "2026-05-10", spreader="belt drop"),
            ]
        ),
        loads=table(
            [
                load("L1", "D1", 60, returned_kg=90, weighed_kg=1525, u_weighed_kg=8),
                load("L2", "D2", 1.6, unit_mass_kg=900, u_unit_mass_kg=9, spilled_kg=12),
                load("L3", "D1", 2, weighed_kg=49.2),
            ]
        ),
        catches=[*trays(place, "D1", 31), *trays(place, "D2", 32)],
        deliveries=table(
            [
                {"date": "2026-03-05", "kind": "delivery", "mass_kg": 3000, "ticket": "T1"},
                {"date": "2026-03-30", "kind": "count", "mass_kg": 2950, "u_mass_kg": 60},
                {"date": "2026-04-20", "kind": "delivery", "mass_kg": 900, "ticket": "T2"},
                {"date": "2026-06-01", "kind": "count", "mass_kg": 1070},
            ]
        ),
    )


def holes(folder: Path) -> Path:
    """No end of the season; sand brushed into holes; depths planned for one green by itself."""
    place = Place(-50.0, 35.0)
    into = {"hole_diameter_mm": 10, "hole_spacing_mm": 50, "hole_depth_mm": 60}
    return write_site(
        folder,
        toml=said("Holes", season_end=None),
        surfaces=greens(place),
        dressings=table(
            [
                dressing("D1", "2026-04-10", "g1 g2", planned_depth_mm=1.4, **into),
                dressing("D1", "2026-04-10", "g3", planned_depth_mm=0.8),
                dressing("D2", "2026-05-10", planned_depth_mm=0.5),
                dressing("D3", "2027-04-10", "g2"),
            ]
        ),
        loads=table([load("L1", "D1", 60), load("L2", "D2", 50), load("L3", "D3", 18)]),
        catches=[
            *trays(place, "D1", 41),
            *trays(place, "D2", 42),
            {"catch": "x", "dressing": "D3"} | place.tray(60.0, 10.0, 95.0),
        ],
    )


def cut_green(folder: Path) -> Path:
    """The 180th meridian runs through the one green, cut in two as RFC 7946 says."""
    place = Place(180.0, -17.0)
    south, north, east = -17.0001, -16.9999, 0.0002
    halves = [
        [[[w, south], [e, south], [e, north], [w, north], [w, south]]]
        for w, e in ((180 - east, 180.0), (-180.0, east - 180))
    ]
    trays_at = enumerate([(-8.0, 0.0), (-3.0, 2.0), (4.0, 1.0), (9.0, -3.0)])
    return write_site(
        folder,
        toml=said("Cut green"),
        surfaces=[surface("g1", "green", {"type": "MultiPolygon", "coordinates": halves})],
        dressings=table([dressing("D1", "2026-04-10", swath_m=4)]),
        loads=table([load("L1", "D1", 40)]),
        catches=[
            {"catch": f"c{k}", "dressing": "D1"} | place.tray(x, y, 90.0 + k)
            for k, (x, y) in trays_at
        ],
    )


def parts_and_holes(folder: Path) -> Path:
    """A tee in two parts, a fairway about a bunker, and a lawn that a green covers whole."""
    place = Place(12.0, 33.0)
    parts = [place.polygon(disc((x, 0.0), r))["coordinates"] for x, r in ((100.0, 8), (130.0, 6))]
    round_bunker = place.polygon(disc((0.0, 140.0), 14), disc((2.0, 140.0), 4))
    more = [
        surface("t1", "tee", {"type": "MultiPolygon", "coordinates": parts}),
        surface("f1", "fairway", round_bunker),
        surface("b1", "bunker", place.polygon(disc((2.0, 140.0), 3))),
        surface("o1", "lawn", place.polygon(disc((200.0, 0.0), 6))),
        surface("g4", "green", place.polygon(disc((200.0, 0.0), 6))),
    ]
    second = [(100.0, 0.0), (130.0, 1.0), (101.0, 3.0), (-8.0, 140.0), (10.0, 145.0)]
    return write_site(
        folder,
        toml=said("Parts and holes"),
        surfaces=[*greens(place), *more],
        dressings=table(
            [dressing("D1", "2026-04-10"), dressing("D2", "2026-05-10", "tee fairway lawn")]
        ),
        loads=table([load("L1", "D1", 70), load("L2", "D2", 62)]),
        catches=[
            *trays(place, "D1", 51),
            *[
                {"catch": f"x{k}", "dressing": "D2"} | place.tray(x, y, 90.0 + k)
                for k, (x, y) in enumerate(second)
            ],
        ],
    )


def few_catches(folder: Path) -> Path:
    """A dressing before the season and the oldest boundaries, one without catches, one with few."""
    place = Place(-60.0, 10.0)
    before = collection(greens(place), valid_from="2026-04-20")
    months = (4, 5, 6)
    return write_site(
        folder,
        toml=said("Few catches"),
        surfaces=collection(greens(place, grown=1.5), valid_from="2026-05-15"),
        files={"editions/2026.geojson": before},
        dressings=table(
            [dressing(f"D{k}", f"2026-0{k}-10", swath_m=k) for k in months]
            + [dressing("D7", "2025-12-01", "g1")]
        ),
        loads=table([load(f"L{k}", f"D{k}", 50) for k in months] + [load("L7", "D7", 3)]),
        catches=[*trays(place, "D4", 61), *trays(place, "D6", 62)[:2]],
    )


def rows_unlike(folder: Path) -> Path:
    """Rows of one dressing with settings, speeds, headings and swaths of their own, or none."""
    place = Place(-31.0, 46.0)
    disc = {"spreader": "twin disc", "planned_depth_mm": ""}
    slow = {"setting": 3.5, "speed_mph": 4, "heading_deg": 20, "swath_ft": 20}
    fast = {"setting": 5, "speed_mph": 5, "heading_deg": 110, "swath_ft": 13}
    return write_site(
        folder,
        toml=said("Rows unlike", units='"us"'),
        surfaces=greens(place),
        dressings=table(
            [
                dressing("D1", "2026-04-10", "g1", **disc, **slow),
                dressing("D1", "2026-04-10", "g2", **disc, **fast),
                dressing("D1", "2026-04-10", "g3", **disc),
                dressing("D2", "2026-05-10", "g1 g3", **disc, **fast),
                dressing("D2", "2026-05-10", "g2", **disc, **{**slow, "setting": "B4"}),
                dressing("D3", "2026-06-10", "g1", **disc, **slow),
                dressing("D3", "2026-06-10", "g2 g3", **disc),
            ]
        ),
        loads=table([load(f"L{k}", f"D{k}", 50 + k) for k in (1, 2, 3)]),
        catches=[*trays(place, "D1", 71), *trays(place, "D2", 72), *trays(place, "D3", 73)[:6]],
    )


MAKERS: tuple[Callable[[Path], Path], ...] = (
    *(two_editions, us_units, named_surfaces, no_catches, no_dressings, ring_catches),
    *(drawn_collars, antimeridian, far_north, pools, yard, holes),
    *(cut_green, parts_and_holes, few_catches, rows_unlike),
)


def write_various(root: Path) -> list[Path]:
    """The folders of all these sites below ``root``, in order."""
    made = [maker(root / maker.__name__) for maker in MAKERS]
    generated = sorted(write_folders(root / "generated", 2).iterdir())
    return [DEMO, *made[:6], generated[0], *made[6:], generated[1]]


@cache
def various_sites() -> list[Site]:
    """The demo site, two generated ones and the small ones above, read."""
    with tempfile.TemporaryDirectory() as name:
        return [read_site(folder) for folder in write_various(Path(name))]
