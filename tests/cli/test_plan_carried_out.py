"""Plans that are carried out exactly and accounted: what was planned is what lies there."""

from __future__ import annotations

import math

import pytest

from geosand.cli.season import command as season
from tests.cli.test_plan import document
from tests.sites import (
    CATCHES,
    G1,
    G2,
    T1,
    TOML,
    TRAY,
)


def test_planned_carried_out_exactly_and_accounted_every_surface_is_on_target(site_folder):
    """Conservation from file to file: the plan goes into the records as it was carried out."""
    day = "2026-06-30"
    plan = document(str(site_folder()), "--to-target", "--as-of", day)
    places = {"g1": G1, "g2": G2, "t1": T1}
    dressings = "dressing,date,surfaces,planned_depth_mm\nD1,2026-04-10,green,0.6\n"
    catches = list(CATCHES)
    for row in plan["surfaces"]:
        assert row["mass_kg"] > 0
        dressings += f"D2,{day},{row['id']},{row['depth_mm']!r}\n"
        lon, lat = places[row["id"]]
        sand_g = row["rate_kg_m2"] * 0.1 * 1000  # trays of 0.1 m2
        catches += [
            {"catch": f"n{row['id']}{k}", "dressing": "D2", "lon": lon + dx, "lat": lat, **TRAY}
            | {"tare_g": 50, "gross_g": 50 + sand_g}
            for k, dx in enumerate((-2e-5, 2e-5))
        ]
    spread = plan["sand"]["on_surfaces_kg"] + plan["sand"]["overthrow_kg"]
    loads = f"load,dressing,count,unit_mass_kg\nL1,D1,52,25\nL2,D2,{spread / 25!r},25\n"
    done = site_folder("done", dressings=dressings, catches=catches, loads=loads)
    ledger = document(str(done), "--as-of", day, verb=season)
    rows = [row for row in ledger["surfaces"] if row["id"] in places]
    assert len(rows) == 3
    for row in rows:
        assert row["depth_mm"] == pytest.approx(row["target_so_far_mm"], rel=1e-6), row["id"]
        assert row["state"] == "on target"
    # planning again finds nothing left to do, and the same strip width
    again = document(str(done), "--to-target", "--as-of", day)
    assert again["sand"]["on_surfaces_kg"] == pytest.approx(0.0, abs=0.01)
    width = plan["spreader"]["strip_width_m"]
    assert again["spreader"]["strip_width_m"] == pytest.approx(width, rel=1e-4)


def test_conservation_in_us_units_with_moist_sand_of_which_some_comes_back(site_folder):
    """The order is put on the ground in short tons and pounds, what is over is weighed back."""
    day, water = "2026-06-30", 0.05
    toml = TOML.replace("moisture_dry_basis_percent = 0.0", "moisture_dry_basis_percent = 5.0")
    plan = document(str(site_folder(toml=toml)), "--to-target", "--as-of", day, "--units", "us")
    places, sand = {"g1": G1, "g2": G2, "t1": T1}, plan["sand"]
    assert sand["order_basis"] == "as delivered, with its water"
    dry = sand["on_surfaces_kg"] + sand["overthrow_kg"]
    assert sand["needed_kg"] == pytest.approx(dry * (1 + water))
    dressings = "dressing,date,surfaces,planned_depth_in\nD1,2026-04-10,green,0.0236220472\n"
    catches = [c | {"moisture_dry_basis_percent": 5.0} for c in CATCHES]
    rows = []
    for row in plan["surfaces"]:
        dressings += f"D2,{day},{row['id']},{row['depth_mm'] / 25.4!r}\n"
        lon, lat = places[row["id"]]
        grams = row["rate_kg_m2"] * 0.1 * 1000 * (1 + water)
        rows += [
            {"catch": f"n{row['id']}{k}", "dressing": "D2", "lon": lon + dx, "lat": lat, **TRAY}
            | {"tare_g": 50, "gross_g": 50 + grams, "moisture_dry_basis_percent": 5.0}
            for k, dx in enumerate((-2e-5, 2e-5))
        ]
    tons = math.ceil(sand["order_kg"] / 907.18474)
    back = tons * 2000 - sand["needed_kg"] / 0.45359237
    assert back > 0
    loads = "load,dressing,count,unit_mass_lb,returned_lb\n"
    loads += f"L1,D1,26,115.7426,0\nL2,D2,{tons},2000,{back!r}\n"
    done = site_folder("done", toml=toml, dressings=dressings, catches=catches + rows, loads=loads)
    ledger = document(str(done), "--as-of", day, verb=season)
    rows = [row for row in ledger["surfaces"] if row["id"] in places]
    assert len(rows) == 3
    for row in rows:
        assert row["depth_mm"] == pytest.approx(row["target_so_far_mm"], rel=1e-6), row["id"]
    again = document(str(done), "--to-target", "--as-of", day)
    assert again["sand"]["on_surfaces_kg"] == pytest.approx(0.0, abs=0.01)


def test_conservation_with_holes(site_folder):
    """The sand that the plan puts into holes is in the holes of the ledger."""
    day, places = "2026-06-30", {"g1": G1, "g2": G2}
    options = ["--surfaces", "green", "--holes", "6mm,50mm,40mm"]
    plan = document(str(site_folder()), "--to-target", "--as-of", day, *options)
    dressings = "dressing,date,surfaces,planned_depth_mm,hole_diameter_mm,hole_spacing_mm"
    dressings += ",hole_depth_mm\nD1,2026-04-10,green,0.6,,,\n"
    catches = list(CATCHES)
    for row in plan["surfaces"]:
        # π/4 · 6² · 40 / 50² = 0.4524 mm
        assert row["in_holes_mm"] == pytest.approx(0.45239, abs=1e-5)
        assert row["in_holes_mm"] + row["surface_mm"] == pytest.approx(row["depth_mm"])
        dressings += f"D2,{day},{row['id']},{row['depth_mm']!r},6,50,40\n"
        lon, lat = places[row["id"]]
        catches += [
            {"catch": f"n{row['id']}{k}", "dressing": "D2", "lon": lon + dx, "lat": lat, **TRAY}
            | {"tare_g": 50, "gross_g": 50 + row["rate_kg_m2"] * 100}
            for k, dx in enumerate((-2e-5, 2e-5))
        ]
    total = sum(row["in_holes_mm"] / 1000 * 1550 * row["area_m2"] for row in plan["surfaces"])
    assert plan["sand"]["in_holes_kg"] == pytest.approx(total)
    loads = "load,dressing,count,unit_mass_kg\nL1,D1,52,25\nL2,D2,400,25\n"
    done = site_folder("done", dressings=dressings, catches=catches, loads=loads)
    ledger = document(str(done), "--as-of", day, verb=season)
    for row in ledger["surfaces"]:
        if row["id"] in places:
            assert row["in_holes_mm"] == pytest.approx(0.45239, rel=1e-4)
            assert row["depth_mm"] == pytest.approx(row["target_so_far_mm"], rel=1e-6)
