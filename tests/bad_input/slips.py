"""Slips that look like good records: a copied row, a day of another season.

Each is told or refused, as nobody would look for it in a figure. All are made for this project.
"""

from __future__ import annotations

from typing import Any

from tests.bad_input.case import ACCEPTED, FOUND, REFUSED, Case
from tests.bad_input.slips_in_figures import PLACES, UNITS
from tests.bad_input.slips_in_names import NAMES, WORDS
from tests.bad_input.spoiled import with_catch
from tests.sites import (
    CATCHES,
    DRESSINGS,
    LAT,
    LOADS,
    LON,
    SURFACES,
    TOML,
    collection,
    points,
    square,
    surface,
)

HEAD = "load,dressing,count,unit_mass_kg,u_label_percent,ticket\n"
U_MOISTURE = "u_moisture_percent = 0.2"


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


CASES = (*WORDS, *DATES, *TWICE, *UNITS, *PLACES, *NAMES, *TOLD)
