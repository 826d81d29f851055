"""Ids, kinds and dressings that name what is not there; catches in wrong places."""

from __future__ import annotations

from tests.bad_input.case import FOUND, REFUSED, Case
from tests.bad_input.spoiled import EXTRA_LOAD, csv_text, with_catch
from tests.sites import CATCHES, DRESSINGS, G1, G2, LAT, LON, SURFACES, catch, square, surface

CASES = (
    Case(
        "an unknown surface in a dressing",
        {"dressings": DRESSINGS.replace(",green,", ",g9,")},
        REFUSED,
        "'g9'",
    ),
    Case(
        "a misspelt kind in a dressing",
        {"dressings": DRESSINGS.replace(",green,", ",greeen,")},
        REFUSED,
        "'greeen'",
    ),
    Case(
        "no surface in a dressing",
        {"dressings": DRESSINGS.replace(",green,", ",,")},
        REFUSED,
        "dressings.csv, row 2, surfaces",
    ),
    Case(
        "a load without its dressing",
        {"loads": EXTRA_LOAD.replace("L2,D1", "L2,D9")},
        REFUSED,
        "'D9'",
    ),
    Case(
        "a load of no dressing",
        {"loads": EXTRA_LOAD.replace("L2,D1", "L2,")},
        REFUSED,
        "loads.csv, row 3, dressing",
    ),
    Case("a catch without its dressing", {"catches": with_catch(dressing="D9")}, REFUSED, "'D9'"),
    Case(
        "a load to a surface of another dressing",
        {"loads": "load,dressing,count,unit_mass_kg,surfaces\nL1,D1,52,25,t1\n"},
        REFUSED,
        "t1",
    ),
    Case(
        "a load to an unknown surface",
        {"loads": "load,dressing,count,unit_mass_kg,surfaces\nL1,D1,52,25,g9\n"},
        REFUSED,
        "'g9'",
    ),
    Case(
        "a surface in two rows of a dressing",
        {"dressings": DRESSINGS + "D1,2026-04-10,g1,0.3,4\n"},
        REFUSED,
        "g1",
    ),
    Case(
        "one dressing on two days",
        {"dressings": DRESSINGS + "D1,2026-04-11,t1,0.3,4\n"},
        REFUSED,
        "dressings.csv, row 3",
    ),
    Case(
        "a catch that names another surface",
        {"catches": with_catch(surface="g2")},
        REFUSED,
        "catches.csv, row 2",
    ),
    Case("a catch on an unknown surface", {"catches": with_catch(surface="g9")}, REFUSED, "'g9'"),
    Case("a catch in the middle of nowhere", {"catches": with_catch(lon=LON + 0.03)}, FOUND, "c1"),
    Case(
        "a catch on another continent",
        {"catches": with_catch(lon=100.0)},
        REFUSED,
        "catches.csv, row 2",
    ),
    Case(
        "a catch with swapped axes",
        {"catches": with_catch(lon=LAT, lat=LON)},
        REFUSED,
        "catches.csv, row 2",
    ),
    Case("a latitude of 95", {"catches": with_catch(lat=95.0)}, REFUSED, "catches.csv, row 2"),
    Case("a catch on no dressed surface", {"catches": with_catch(lat=LAT + 0.003)}, FOUND, "c1"),
    Case(
        "a catch without a position",
        {"catches": csv_text(with_catch(lon=""))},
        REFUSED,
        "catches.csv, row 2, lon",
    ),
    Case(
        "the same catch twice, far apart",
        {"catches": [*CATCHES, catch(4, catch="c1")]},
        REFUSED,
        "c1",
    ),
    Case(
        "an unknown sand",
        {"dressings": "dressing,date,surfaces,sand\nD1,2026-04-10,green,river\n"},
        REFUSED,
        "'river'",
    ),
    Case(
        "cyclic around",
        {
            "surfaces": [
                surface("g1", "collar", square(*G1, 20.0), around="g2"),
                surface("g2", "collar", square(*G2, 30.0), around="g1"),
                SURFACES[2],
            ]
        },
        REFUSED,
        "around",
    ),
    Case(
        "around itself",
        {"surfaces": [surface("g1", "green", square(*G1, 20.0), around="g1"), *SURFACES[1:]]},
        REFUSED,
        "around",
    ),
    Case(
        "around an unknown surface",
        {
            "surfaces": [
                *SURFACES,
                surface("c9", "collar", square(LON, LAT + 0.006, 5.0), around="g9"),
            ]
        },
        REFUSED,
        "'g9'",
    ),
)
