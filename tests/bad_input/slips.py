"""Slips that look like good records: a wrong unit, a copied row, a name nearly the same.

Each is told or refused, as nobody would look for it in a figure. All are made for this project.
"""

from __future__ import annotations

from typing import Any

from tests.bad_input.case import ACCEPTED, FOUND, REFUSED, Case
from tests.bad_input.spoiled import all_catches, csv_text, settings, with_catch
from tests.sites import (
    CATCHES,
    DRESSINGS,
    G1,
    G2,
    LAT,
    LOADS,
    LON,
    SURFACES,
    T1,
    TOML,
    collection,
    points,
    square,
    surface,
)

HEAD = "load,dressing,count,unit_mass_kg,u_label_percent,ticket\n"
HOLES = "dressing,date,surfaces,hole_diameter_mm,hole_spacing_mm,hole_depth_mm\n"
U_MOISTURE = "u_moisture_percent = 0.2"


def each(change: Any) -> list[dict[str, Any]]:
    """The six catches, each changed by a function of it."""
    return [c | change(c) for c in CATCHES]


def with_each(change: Any) -> list[dict[str, Any]]:
    """The six catches, each changed by a function of its number."""
    return [c | change(k) for k, c in enumerate(CATCHES)]


def with_tape(catch: dict[str, Any], east: float, name: str) -> dict[str, Any]:
    """A catch with its surface's one position and the distance that was taped there."""
    inside = 6.2 if name == "g1" else 11.2
    return catch | {"lon": LON + east, "surface": name, "edge_distance_m": -inside}


def catch_of(value: str) -> dict[str, Any]:
    """Catch c1 with this reject_reason."""
    return {"catches": with_catch(reject_reason=value)}


TWICE = (
    Case(
        "a catch pasted twice",
        {"catches": [*CATCHES, CATCHES[0]]},
        REFUSED,
        "row 8, catch: 'c1' is in row 2 with the same readings. Delete it",
    ),
    Case(
        "a catch pasted twice as points",
        {"catches": points([*CATCHES, CATCHES[0]])},
        REFUSED,
        "feature 7, catch: 'c1' is in feature 1 with the same readings",
    ),
    Case(
        "two parts of a catch that weigh the same and say so",
        {
            "catches": [
                *(CATCHES[0] | {"gross_g": 96, "note": half} for half in ("first", "second")),
                *CATCHES[1:],
            ]
        },
        ACCEPTED,
    ),
    Case(
        "a tray weighed twice",
        {"catches": [*CATCHES, CATCHES[0] | {"gross_g": 141.5}]},
        FOUND,
        "rows 2, 8: parts of a catch add up to far more than the other trays of the dressing hold",
    ),
    Case(
        "a tray weighed twice among many others",
        {
            "catches": [
                *CATCHES,
                *(CATCHES[k] | {"catch": f"d{k}"} for k in (1, 2, 4)),
                CATCHES[0] | {"gross_g": 141.5},
            ]
        },
        FOUND,
        "rows 2, 11: parts of a catch add up to far more than the other trays of the dressing hold",
    ),
    *(
        Case(
            f"a heavy tray weighed in parts of {one} and {other} g",
            {"catches": [CATCHES[0] | {"gross_g": 50 + g} for g in (one, other)] + CATCHES[1:]},
            ACCEPTED,
        )
        for one, other in ((70, 70.5), (74, 78))
    ),
    Case(
        "three parts of a catch, of which two are alike",
        {"catches": [CATCHES[0] | {"gross_g": g} for g in (80, 81, 83)] + CATCHES[1:]},
        ACCEPTED,
    ),
    Case(
        "a spoiled catch twice",
        {"catches": [*CATCHES, *[CATCHES[0] | {"catch": "c7", "reject_reason": "tipped"}] * 2]},
        FOUND,
        "set aside and not used: c7 (tipped)",
    ),
    Case(
        "a load entered twice",
        {"loads": f"{HEAD}L1,D1,52,25,1,T7\nL2,D1,52,25,1,T7\n"},
        FOUND,
        "row 3 says the same as row 2 with the same ticket",
    ),
    Case(
        "a load entered three times",
        {"loads": f"{HEAD}L1,D1,9,25,1,T7\nL2,D1,9,25,1,T7\nL3,D1,9,25,1,T7\n"},
        FOUND,
        "rows 3, 4 say the same as row 2 with the same ticket",
    ),
    Case(
        "two loads of one ticket",
        {"loads": f"{HEAD}L1,D1,50,25,1,T7\nL2,D1,2,25,1,T7\n"},
        ACCEPTED,
    ),
    Case(
        "a delivery entered twice",
        {"deliveries": "date,mass_kg,ticket\n2026-03-05,25000,T1\n2026-03-05,25000,T1\n"},
        REFUSED,
        "row 3, ticket: ticket 'T1' stands in row 2 with the same mass",
    ),
    Case(
        "two lorries on one day",
        {"deliveries": "date,mass_t,u_mass_kg,ticket\n2026-03-05,25,9,T1\n2026-03-05,25,9,T2\n"},
        ACCEPTED,
    ),
)

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

NAMES = (
    Case(
        "two dressings that differ in case",
        {"dressings": f"{DRESSINGS}d1,2026-04-20,green,0.6,4\n"},
        FOUND,
        "the dressings 'D1' and 'd1' have nearly the same name",
    ),
    Case(
        "two surfaces that differ in a zero",
        {
            "surfaces": [
                surface("1", "green", square(*G1, 20)),
                surface("01", "green", square(*G2, 30)),
                SURFACES[2],
            ]
        },
        FOUND,
        "the surfaces '1' and '01' have nearly the same name",
    ),
    *(
        Case(
            f"a load entered once more as {name!r}",
            {"loads": f"{LOADS}{name},D1,1,25,0.25,1\n"},
            FOUND,
            f"the loads 'L1' and '{name}' have nearly the same name: check that no row means",
        )
        for name in ("l1", "L 01")
    ),
    Case(
        "surfaces counted in two steps",
        {
            "surfaces": [
                surface("g1_1", "green", square(*G1, 20)),
                surface("g11", "green", square(*G2, 30)),
                surface("g1.1", "tee", square(*T1, 10)),
            ]
        },
        ACCEPTED,
    ),
    Case(
        "a surface in another case",
        {"dressings": DRESSINGS.replace("green", "G1")},
        REFUSED,
        "'G1' is neither a surface's id nor a kind in the boundaries. Did you mean g1?",
    ),
    Case(
        "accents in two ways",
        {
            "dressings": DRESSINGS.replace("D1", "Gru\u0308n"),
            "loads": LOADS.replace("D1", "Gr\u00fcn"),
            "catches": csv_text(CATCHES).replace("D1", "Gru\u0308n"),
        },
        ACCEPTED,
    ),
    Case(
        "a sand's accents in two ways",
        {
            "toml": TOML.replace("[sands.dried]", '[sands."gru\u0308n"]'),
            "dressings": "dressing,date,surfaces,sand,swath_m\nD1,2026-04-10,green,gr\u00fcn,4\n",
        },
        ACCEPTED,
    ),
    Case(
        "a sand twice, its accents in two ways",
        {
            "toml": TOML
            + '\n[sands."gru\u0308n"]\nkiln_dried = true\n[sands."gr\u00fcn"]\nkiln_dried = true\n'
        },
        REFUSED,
        "the same name is there already",
    ),
    Case(
        "a load with a mark before it",
        {"loads": f"{LOADS}#L2,D1,3,25,0.25,1\n"},
        FOUND,
        "row 3 read although load begins with a mark",
    ),
    Case(
        "catches called by numbers with a mark",
        {"catches": [c | {"catch": f"#{k}"} for k, c in enumerate(CATCHES)]},
        ACCEPTED,
    ),
    *(
        Case(f"{word!r} for a reason", catch_of(word), REFUSED, f"'{word}' is no reason. Leave it")
        for word in ("no", "-", "FALSE", "n/a", "0", "ok", "keep", "#REF!")
    ),
)

TOLD = (
    *(
        Case(
            f"a row of totals that looks like all others, {name}",
            {"loads": f"{LOADS}{name},D1,52,25,0.25,1\n"},
            FOUND,
            "loads.csv: row 3 read although load is the word for a total: delete what is not to",
        )
        for name in ("Total", "sum D1", "Grand total")
    ),
    Case("a load that is called like a total", {"loads": LOADS.replace("L1", "Summit")}, ACCEPTED),
    *(
        Case(
            f"{mark} for the spreader of the row above",
            {
                "dressings": "dressing,date,surfaces,spreader,swath_m\n"
                f"D1,2026-04-10,green,disc,4\nD2,2026-05-10,green,{mark},4\n"
            },
            REFUSED,
            "row 3, spreader: '" + mark[1:-1].replace('""', '"') + "' is no spreader. Write the",
        )
        for mark in ('""""', '"\u3003"', '"\u2193"', '"#REF!"')
    ),
    Case(
        "a row of totals",
        {"loads": f"{LOADS}Total,,52,1300,,\n"},
        REFUSED,
        "Write the dressing, or take out the row if it holds a total or a note",
    ),
    Case(
        "a unit in brackets behind a bag's mass",
        {"loads": LOADS.replace(",unit_mass_kg", ",unit_mass [kg]")},
        REFUSED,
        "no unit mass. Did you mean 'unit_mass [kg]'? Give the mass of one bag or hopper",
    ),
    Case(
        "a unit in brackets behind the moisture",
        {
            "toml": TOML.replace("moisture_dry_basis_percent = 0.0\n", "").replace(U_MOISTURE, ""),
            "loads": "load,dressing,count,unit_mass_kg,moisture_dry_basis (%)\nL1,D1,52,25,4\n",
        },
        REFUSED,
        "Did you mean 'moisture_dry_basis (%)'? Measure it",
    ),
    Case(
        "percent in the cell",
        {"loads": LOADS.replace("0.25,1\n", "0.25,1%\n")},
        REFUSED,
        "Write the number alone; a unit belongs into the name of the column",
    ),
    *(
        Case(
            f"{word} where nothing was measured",
            {"catches": with_catch(gross_g=word)},
            REFUSED,
            "Write nothing where nothing was measured",
        )
        for word in ("NA", "-", "n/a", "none", "#N/A")
    ),
    Case(
        "a minus of a word processor",
        {"catches": with_catch(lon="\u221230.00005")},
        REFUSED,
        "Write its minus as the hyphen of the keyboard",
    ),
    Case(
        "a survey that holds from another day than its name",
        {
            "surfaces": collection(SURFACES, valid_from="2026-01-01"),
            "files": {"editions/2025-01-01.geojson": collection(SURFACES, valid_from="2024-06-01")},
        },
        FOUND,
        "its name says 2025-01-01 and its valid_from 2024-06-01, which is used",
    ),
    Case(
        "what a bring leaves that was cut off",
        {
            "surfaces": collection(SURFACES, valid_from="2026-06-01"),
            "files": {
                "editions/first-survey.geojson": collection(SURFACES),
                "editions/2026-06-01.geojson": collection(SURFACES, valid_from="2026-06-01"),
            },
        },
        FOUND,
        "editions/2026-06-01.geojson: is the survey in surfaces.geojson once more, and left out",
    ),
)


def dressed_on(*days: str) -> dict[str, Any]:
    """The valid site dressed on more days, numbered in order of the file."""
    head, first = DRESSINGS.splitlines()
    rows = [first.replace("D1,2026-04-10", f"D{k},{day}") for k, day in enumerate(days, start=1)]
    return {"dressings": "\n".join([head, *rows]) + "\n"}


TICKET = "date,mass_kg,u_mass_kg,ticket\n{},1400,7,T7\n"
DATES = (
    Case(
        "a day and a month changed about",
        dressed_on("2026-04-10", "2026-08-05", "2026-05-28", "2026-06-20"),
        FOUND,
        "row 3: 2026-08-05 is out of the order of the rows, 2026-05-08 would be in it",
    ),
    Case(
        "a day and a month changed about the other way",
        dressed_on("2026-04-10", "2026-05-08", "2026-03-06", "2026-06-20"),
        FOUND,
        "row 4: 2026-03-06 is out of the order of the rows, 2026-06-03 would be in it",
    ),
    Case(
        "a day and a month changed about at the end",
        dressed_on("2026-03-27", "2026-04-10", "2026-04-24", "2026-05-08", "2026-12-05"),
        FOUND,
        "row 6: 2026-12-05 is 211 days after the dressing before it, 2026-05-12 would be 4: check",
    ),
    Case(
        "sand that came after it was spread",
        {
            "loads": f"{HEAD}L1,D1,52,25,1,T7\n",
            "deliveries": TICKET.format("2026-09-03"),
        },
        FOUND,
        "load L1: its sand (ticket T7) came on 2026-09-03, after D1 of 2026-04-10",
    ),
    Case(
        "sand that came before it was spread",
        {"loads": f"{HEAD}L1,D1,52,25,1,T7\n", "deliveries": TICKET.format("2026-04-10")},
        ACCEPTED,
    ),
    Case(
        "a delivery of next year",
        {"deliveries": "date,mass_kg,ticket\n2027-03-05,25000,T1\n"},
        FOUND,
        "row 2: 2027-03-05 is after the season, and the account runs to that day: check the year",
    ),
    Case(
        "surrounds around another green",
        {
            "surfaces": [
                *SURFACES,
                surface("c1", "surround", square(LON, LAT + 0.0003, 8), around="g2"),
            ]
        },
        FOUND,
        "c1: it is said to lie around g2, and lies 284 m from it: check around",
    ),
)

WORDS = (
    Case(
        "a sign that nobody sees behind a dressing",
        {"loads": LOADS.replace("D1,52", "D1\u200b,52")},
        REFUSED,
        "'D1·' is not in the dressings; allowed: D1. Type it anew: it holds a sign that can not be",
    ),
    *(
        Case(
            f"a dressing as {name!r}",
            {"loads": LOADS.replace("D1,52", f"{name},52")},
            REFUSED,
            "is not in the dressings; allowed: D1. Did you mean D1?",
        )
        for name in ("d1", "\uff24\uff11", "'D1'", "D01", "D1;")
    ),
    *(
        Case(
            f"{day} for a date", {"dressings": DRESSINGS.replace("2026-04-10", day)}, REFUSED, said
        )
        for day, said in (
            ("2026-4-9", "Write it with hyphens and two digits each"),
            ("2026.04.10", "Write it with hyphens and two digits each"),
            ("2026\u201004\u201010", "Type it anew: its digits or hyphens are not those"),
        )
    ),
    *(
        Case(f"{word} for a mass", {"catches": with_catch(gross_g=word)}, REFUSED, said)
        for word, said in (
            ("1 420", "Write 1 500 as 1500"),
            ("=100+42", "Write the result of the formula"),
            ("#DIV/0!", "Mend the formula in that cell, or write the value"),
            ("142\u200b", "Type it anew: it holds a sign that can not be seen"),
            ("\uff11\uff14\uff12", "Write its digits anew, as 0 to 9 of the keyboard"),
            ("(142)", "Write the number alone"),
        )
    ),
    Case(
        "two tables pasted together",
        {"loads": LOADS + LOADS.replace("L1", "L2")},
        REFUSED,
        "refused: 1 thing is wrong.\n  - loads.csv, row 3: names the columns once more",
    ),
    Case(
        "a season's start with a time zone",
        {"toml": settings("2026-03-01", "2026-03-01T00:00:00+05:00")},
        REFUSED,
        "is not a date; allowed: year-month-day as in 2026-04-30. Write the day alone",
    ),
    Case(
        "a list for a number",
        {"toml": settings("= 1.55", "= [1.55, 1.6]")},
        REFUSED,
        "[sands.dried], bulk_density_g_cm3: '[1.55, 1.6]' is not a number",
    ),
    *(
        Case(
            f"a column called {name!r}",
            {"dressings": DRESSINGS.replace("swath_m", name)},
            FOUND,
            f"dressings.csv: column '{name}' is not read (did you mean {meant}?)",
        )
        for name, meant in (
            ("Swath (m)", "swath_m"),
            ("SWATH ft", "swath_ft"),
            ("Spreader", "spreader"),
            ("Speed [km/h]", "speed_km_h"),
        )
    ),
    Case(
        "a misspelt tolerance",
        {"toml": settings("tolerance_percent", "tolerence_percent")},
        FOUND,
        "key 'tolerence_percent' is not read (did you mean tolerance_…?)",
    ),
    Case(
        "corners ten thousand kilometres high",
        {
            "surfaces": [
                surface(
                    "g1",
                    "green",
                    {
                        "type": "Polygon",
                        "coordinates": [[[*p, 1e7] for p in square(*G1, 20)["coordinates"][0]]],
                    },
                ),
                *SURFACES[1:],
            ]
        },
        REFUSED,
        "feature 1: its corners are 1e+07 m high in the mean, which can not be right",
    ),
)

CASES = (*WORDS, *DATES, *TWICE, *UNITS, *PLACES, *NAMES, *TOLD)
