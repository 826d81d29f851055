"""Slips in names and words: nearly the same, in other letters, in the wrong place.

All are made for this project.
"""

from __future__ import annotations

from typing import Any

from tests.bad_input.case import ACCEPTED, FOUND, REFUSED, Case
from tests.bad_input.spoiled import csv_text, settings, with_catch
from tests.sites import (
    CATCHES,
    DRESSINGS,
    G1,
    G2,
    LOADS,
    SURFACES,
    T1,
    TOML,
    square,
    surface,
)


def catch_of(value: str) -> dict[str, Any]:
    """Catch c1 with this reject_reason."""
    return {"catches": with_catch(reject_reason=value)}


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
