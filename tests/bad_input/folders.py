"""The folder as a whole: editions, the workbook, two files that say the same. Cases made here."""

from __future__ import annotations

from tests.bad_input.case import ACCEPTED, FOUND, REFUSED, Case
from tests.bad_input.spoiled import BOOK, NO_CSV, cells_of, in_workbook, workbook
from tests.sites import CATCHES, LOADS, SURFACES, collection, points

NEARLY_NAMED = (
    *(
        Case(
            f"loads named {name}",
            {"loads": None, "files": {name: LOADS}},
            FOUND,
            f"{name}: is not read; what belongs there is read from loads.csv",
        )
        for name in ("Loads.csv", "loads.CSV", "loads.csv.csv", "load.csv", "loads.txt")
    ),
    Case(
        "loads downloaded a second time",
        {"files": {"loads (1).csv": LOADS}},
        FOUND,
        "loads (1).csv: is not read",
    ),
    Case("loads of last year beside", {"files": {"loads_last_year.csv": LOADS}}, ACCEPTED),
    Case(
        "an old workbook",
        {"files": {"records.xls": b"x"}},
        FOUND,
        "records.xls: is not read; what belongs there is read from records.xlsx",
    ),
    Case(
        "what a program leaves while a workbook is open",
        in_workbook() | {"files": {"records.xlsx": workbook(**BOOK), "~$records.xlsx": b"x"}},
        ACCEPTED,
    ),
    *(
        Case(
            f"an earlier survey in {name}",
            {"files": {name: collection(SURFACES)}},
            FOUND,
            "is not read; earlier surveys are read from editions/",
        )
        for name in (
            "editions/a.GEOJSON",
            "editions/a.json",
            "editions/a.shp",
            "Editions/a.geojson",
        )
    ),
)
CASES = (
    *NEARLY_NAMED,
    Case(
        "catches in two files",
        {"files": {"catches.geojson": points(CATCHES)}},
        REFUSED,
        "stands beside catches.csv",
    ),
    Case(
        "workbook and CSV",
        {"files": {"records.xlsx": workbook(**BOOK)}},
        REFUSED,
        "records.xlsx: stands beside",
    ),
    Case("a workbook", in_workbook(), ACCEPTED),
    Case(
        "a workbook without loads",
        in_workbook(loads=[LOADS.splitlines()[0].split(",")]),
        FOUND,
        "D1: no loads are recorded",
    ),
    Case(
        "a workbook with an empty sheet",
        in_workbook(catches=[]),
        FOUND,
        "D1: no catches lie on its surfaces",
    ),
    Case(
        "a formula in a workbook",
        in_workbook(loads=[*cells_of(LOADS), ["L2", "D1", "=2*3", 25, 0.25, 1]]),
        REFUSED,
        "records.xlsx",
    ),
    Case(
        "an error in a workbook",
        in_workbook(loads=[*cells_of(LOADS), ["L2", "D1", "#REF!", 25, 0.25, 1]]),
        REFUSED,
        "records.xlsx",
    ),
    Case(
        "a text number in a workbook",
        in_workbook(loads=[*cells_of(LOADS), ["L2", "D1", "two", 25, 0.25, 1]]),
        REFUSED,
        "'two' is not a number",
    ),
    Case(
        "a damaged workbook",
        {**NO_CSV, "files": {"records.xlsx": workbook(**BOOK)[:900]}},
        REFUSED,
        "records.xlsx",
    ),
    Case(
        "a CSV named records.xlsx",
        {**NO_CSV, "files": {"records.xlsx": LOADS}},
        REFUSED,
        "records.xlsx",
    ),
    Case("a strange file beside", {"files": {"notes.docx": b"PK\x03\x04"}}, ACCEPTED),
    Case(
        "an edition without a day",
        {"files": {"editions/old.geojson": collection(SURFACES)}},
        FOUND,
        "valid_from is not said beside earlier editions",
    ),
    Case(
        "two editions of one day",
        {
            "files": {
                "editions/2025-01-01.geojson": collection(SURFACES),
                "editions/b.geojson": collection(SURFACES, valid_from="2025-01-01"),
            }
        },
        REFUSED,
        "2025-01-01",
    ),
    Case(
        "a broken edition",
        {"files": {"editions/2025-01-01.geojson": "{"}},
        REFUSED,
        "editions/2025-01-01.geojson",
    ),
)
