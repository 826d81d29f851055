"""Slips in figures: another unit, a point too many, a place of another catch.

All are made for this project.
"""

from __future__ import annotations

from typing import Any

from tests.bad_input.case import ACCEPTED, FOUND, REFUSED, Case
from tests.bad_input.spoiled import all_catches, each, settings, with_catch
from tests.sites import (
    CATCHES,
    DRESSINGS,
    LOADS,
    LON,
    points,
)

HOLES = "dressing,date,surfaces,hole_diameter_mm,hole_spacing_mm,hole_depth_mm\n"


def with_each(change: Any) -> list[dict[str, Any]]:
    """The six catches, each changed by a function of its number."""
    return [c | change(k) for k, c in enumerate(CATCHES)]


def with_tape(catch: dict[str, Any], east: float, name: str) -> dict[str, Any]:
    """A catch with its surface's one position and the distance that was taped there."""
    inside = 6.2 if name == "g1" else 11.2
    return catch | {"lon": LON + east, "surface": name, "edge_distance_m": -inside}


UNITS = (
    Case(
        "kilograms in a column of grams",
        {"catches": each(lambda c: {"gross_g": c["gross_g"] / 1000, "tare_g": 0.05})},
        FOUND,
        "D1: the fullest catch holds 0.00062 mm of sand: check the units of masses and trays",
    ),
    Case(
        "ten times the planned depth",
        {"dressings": DRESSINGS.replace("0.6", "6")},
        FOUND,
        "D1: the fullest catch holds 0.62 mm of sand where 6 mm were planned",
    ),
    Case(
        "a tenth of the planned depth",
        {"dressings": DRESSINGS.replace("0.6", "0.06")},
        FOUND,
        "D1: its catches hold 0.59 mm of sand in the mean where 0.06 mm were planned",
    ),
    Case(
        "a pool against the plan",
        {
            "dressings": DRESSINGS.replace("0.6", "6"),
            "catches": [
                c | {"pool": "p", "gross_g": 598 if k == 0 else ""} for k, c in enumerate(CATCHES)
            ],
        },
        FOUND,
        "the fullest catch holds 0.59 mm of sand where 6 mm were planned",
    ),
    Case(
        "centimetres in a column of millimetres",
        {"catches": all_catches(tray_length_mm=40, tray_width_mm=25)},
        FOUND,
        "a tray of 10 cm² (rows 2, 3, 4, 5, 6, 7): check its unit",
    ),
    Case(
        "centimetres for millimetres in one point",
        {"catches": points(with_catch(tray_length_mm=40, tray_width_mm=25, gross_g=51))},
        FOUND,
        "a tray of 10 cm² (feature 1): check its unit",
    ),
    Case(
        "an efficiency as a share",
        {"toml": settings("catch_efficiency_percent = 100", "catch_efficiency_percent = 0.97")},
        REFUSED,
        "catch_efficiency_percent: 0.97 can not be right; allowed: at least 10",
    ),
    Case(
        "the efficiency's uncertainty as a share",
        {"toml": settings("u_catch_efficiency_percent = 3.0", "u_catch_efficiency_percent = 0.03")},
        FOUND,
        "u_catch_efficiency_percent: 0.03 is read as percent; as a share of 1 it would be 3 %",
    ),
    Case(
        "a tolerance as a share",
        {"toml": settings("tolerance_percent = 10", "tolerance_percent = 0.1")},
        FOUND,
        "tolerance_percent: 0.1 is read as percent; as a share of 1 it would be 10 %",
    ),
    Case(
        "a moisture as a share",
        {"toml": settings("dry_basis_percent = 0.0", "dry_basis_percent = 0.05")},
        FOUND,
        "moisture_dry_basis_percent: 0.05 is read as percent; as a share of 1 it would be 5 %",
    ),
    Case(
        "a label's uncertainty as a share",
        {"loads": LOADS.replace("0.25,1\n", "0.25,0.01\n")},
        FOUND,
        "row 2, u_label_percent: 0.01 is read as percent; as a share of 1 it would be 1 %",
    ),
    Case(
        "a bag's mass as its uncertainty",
        {"loads": LOADS.replace("0.25,1\n", "25,1\n")},
        REFUSED,
        "u_unit_mass_kg: a standard uncertainty of 25 kg can not be right; allowed: less than the"
        " mass itself, 25 kg",
    ),
    Case(
        "a delivery's mass as its uncertainty",
        {"deliveries": "date,mass_kg,u_mass_kg\n2026-03-05,25000,25000\n"},
        REFUSED,
        "row 2, u_mass_kg: a standard uncertainty of 25",
    ),
    Case(
        "holes wider than apart",
        {"dressings": f"{HOLES}D1,2026-04-10,green,50,13,80\n"},
        REFUSED,
        "row 2, hole_spacing_mm: holes 50 mm wide, 13 mm apart",
    ),
    Case(
        "holes without a depth",
        {"dressings": f"{HOLES}D1,2026-04-10,green,13,50,\n"},
        FOUND,
        "row 2: diameter, spacing and depth of holes are not all said",
    ),
    *(
        Case(
            f"{key} of {value}",
            {"toml": settings(f"{key} = {was}", f"{key} = {value}")},
            FOUND,
            said,
        )
        for key, was, value, said in (
            ("bulk_density_g_cm3", 1.55, 2.65, "2.65 where 0.9 to 1.95 is usual: check the unit"),
            ("bulk_density_g_cm3", 1.55, 0.78, "0.78 where 0.9 to 1.95 is usual: check the unit"),
            ("moisture_dry_basis_percent", "0.0", 40, "40 where up to 15 is usual"),
            ("u_moisture_percent", 0.2, 20, "20 where up to 7.5 is usual"),
            ("edge_accuracy_m", "0.10", 10, "10 where up to 3 is usual"),
            ("collar_width_m", 0.9, 0.009, "0.009 where 0.1 to 5 is usual"),
            ("surrounds_width_m", "4.0", 0.04, "0.04 where 0.5 to 30 is usual"),
            ("tolerance_percent", 10, 100, "100 where up to 50 is usual"),
            ("catch_efficiency_percent", 100, 50, "50 where 60 to 120 is usual"),
            ("u_tray_percent", 0.5, 50, "50 where up to 10 is usual"),
            ("green", "9.0", 90, "a season's target of 90 mm for 'green', where 0.5 to 50 mm"),
            (
                "green",
                "9.0",
                0.5,
                "0.6 mm were planned on g1, whose target for the whole season is 0.5",
            ),
        )
    ),
    *(
        Case(
            f"a swath of {swath} m",
            {"dressings": DRESSINGS.replace(",4\n", f",{swath}\n")},
            FOUND,
            f"row 2, swath_m: {swath} where 0.3 to 24 is usual: check the unit",
        )
        for swath in (0.04, 40)
    ),
    Case(
        "inches for millimetres of a plan",
        {"dressings": DRESSINGS.replace(",0.6,", ",30,")},
        FOUND,
        "row 2, planned_depth_mm: 30 where 0.1 to 25 is usual",
    ),
    Case(
        "tonnes in a column of kilograms",
        {"loads": LOADS.replace(",25,0.25,", ",1.3,0.01,")},
        FOUND,
        "row 2, unit_mass_kg: 1.3 where 2 to 100000 is usual: check the unit",
    ),
    Case(
        "one tare in another unit",
        {"catches": with_catch(tare_g=5)},
        FOUND,
        "row 2: a tare of 5 g where the other trays of this size have 50 g: weigh it empty",
    ),
    Case(
        "tares of two makes of tray",
        {
            "catches": with_each(
                lambda k: {"tare_g": 20 + 60 * (k % 2), "gross_g": 110 + 60 * (k % 2)}
            )
        },
        ACCEPTED,
    ),
    Case(
        "all trays tared",
        {"catches": each(lambda c: {"tare_g": 0, "gross_g": c["gross_g"] - 50})},
        ACCEPTED,
    ),
    Case(
        "two digits of one tray changed about",
        {"catches": with_catch(tray_width_mm=520)},
        FOUND,
        "D1: catch c1 has a tray of 2080 cm² where the others have 1000 cm², and its sand fits",
    ),
    Case(
        "a larger tray with as much more sand",
        {"catches": with_catch(tray_width_mm=500, gross_g=234)},
        ACCEPTED,
    ),
    Case(
        "a season of eleven years",
        {"toml": settings("season_end = 2026", "season_end = 2036")},
        FOUND,
        "the season is longer than a year",
    ),
    Case(
        "a season over new year",
        {"toml": settings("2026-03-01", "2025-10-01").replace("2026-11-30", "2026-05-31")},
        ACCEPTED,
    ),
)


PLACES = (
    Case(
        "positions of three decimals",
        {
            "catches": [
                c | {"lon": round(c["lon"] + 0.0002, 3), "surface": "g1" if k < 3 else "g2"}
                for k, c in enumerate(CATCHES)
            ]
        },
        FOUND,
        "all positions end at decimal 3 of a degree, steps of 111 m: give 6",
    ),
    Case(
        "positions of four decimals",
        {"catches": [c | {"lon": round(c["lon"] + 0.0001, 4)} for c in CATCHES]},
        FOUND,
        "all positions end at decimal 4 of a degree, steps of 11 m: give 6",
    ),
    Case(
        "four decimals that are as good as the phone",
        {"catches": [c | {"position_accuracy_m": 5, "lon": round(c["lon"], 4)} for c in CATCHES]},
        FOUND,
        "lie nearer to an edge than their position is known",
    ),
    Case(
        "a copied position",
        {"catches": with_catch(2, lon=CATCHES[0]["lon"])},
        FOUND,
        "catches c1, c2 have the very same position: was it copied?",
    ),
    Case(
        "one position where the tape decides",
        {
            "catches": [
                *(with_tape(c, -5e-5, "g1") for c in CATCHES[:3]),
                *(with_tape(c, 0.00395, "g2") for c in CATCHES[3:]),
            ]
        },
        FOUND,  # by rates only: nobody asks whether it was copied
        "all catches on g1, g2 lie within a swath of each other",
    ),
)
