"""What a hand slips into: dragged cells, names in two ways, a letter for a digit, a table too deep.

All are made for this project.
"""

from __future__ import annotations

import io
import json
import re
import zipfile
from collections.abc import Callable
from typing import Any

from tests.bad_input.case import ACCEPTED, FOUND, REFUSED, Case
from tests.bad_input.spoiled import BOOK, NO_CSV, settings, workbook
from tests.sites import CATCHES, DRESSINGS, LOADS, SURFACES, collection

#: Names of the usual kind of workbook, and of the strict one (ISO/IEC 29500-1:2016).
STRICT = {
    "http://schemas.openxmlformats.org/spreadsheetml/2006/main": (
        "http://purl.oclc.org/ooxml/spreadsheetml/main"
    ),
    "http://schemas.openxmlformats.org/officeDocument/2006/relationships": (
        "http://purl.oclc.org/ooxml/officeDocument/relationships"
    ),
}


def numbered(name: str, figures: list[Any]) -> dict[str, Any]:
    """As many catches as figures, side by side, with these in a column."""
    rows = []
    for k, figure in enumerate(figures):
        like = CATCHES[k % 6]
        place = {"catch": f"c{k}", "lon": float(str(like["lon"])) + k // 6 * 1e-5}
        rows.append(like | place | {name: figure})
    return {"catches": rows}


def loads(counts: list[int]) -> dict[str, Any]:
    """Loads of D1 with these numbers of bags."""
    head = LOADS.split("\n", 1)[0]
    rows = [f"L{k},D1,{n},25,0.25,1" for k, n in enumerate(counts)]
    return {"loads": "\n".join([head, *rows, ""])}


def spreaders(one: str, other: str) -> dict[str, Any]:
    """Two dressings, each with its spreader."""
    rows = f"D1,2026-04-10,green,{one}\nD2,2026-05-10,green,{other}\n"
    return {"dressings": f"dressing,date,surfaces,spreader\n{rows}"}


def without(name: str, **others: str) -> dict[str, Any]:
    """Surfaces without a property, or with it by another name, and catches that name surfaces."""
    features = [dict(f) for f in SURFACES]
    for feature in features:
        feature["properties"] = dict(feature["properties"])
        value = feature["properties"].pop(name)
        feature["properties"] |= dict.fromkeys(others.values(), value)
    catches = [c | {"surface": "g1" if k < 3 else "g2"} for k, c in enumerate(CATCHES)]
    return {"surfaces": features, "catches": catches}


def rewritten(change: Callable[[str], str]) -> dict[str, Any]:
    """The valid records in a workbook, each of whose parts was changed."""
    old, new = zipfile.ZipFile(io.BytesIO(workbook(**BOOK))), io.BytesIO()
    with zipfile.ZipFile(new, "w") as archive:
        for entry in old.namelist():
            archive.writestr(entry, change(old.read(entry).decode()))
    return {**NO_CSV, "files": {"records.xlsx": new.getvalue()}}


def of_the_strict_kind(part: str) -> str:
    """A part as in the other kind of .xlsx that spreadsheet programs offer."""
    for usual, strict in STRICT.items():
        part = part.replace(usual, strict)
    return part


def from_the_end(part: str) -> str:
    """A sheet whose rows stand in the file from the last to the second."""
    head, *rows = re.findall("<row .*?</row>", part) or [""]
    return part.replace("".join([head, *rows]), "".join([head, *rows[::-1]]))


DRAGGED = (
    Case(
        "a tray's length that counts up",
        numbered("tray_length_mm", [400, 401, 402, 403, 404, 405]),
        FOUND,
        "row 2 to row 7, tray_length_mm: 400 to 405, in each row 1 more: a cell that is dragged",
    ),
    Case("trays laid in order of weight", numbered("tare_g", [*range(44, 51), 50]), ACCEPTED),
    Case(
        "tares that count up",
        numbered("tare_g", [*range(44, 52)]),
        FOUND,
        "row 2 to row 9, tare_g: 44 to 51, in each row 1 more",
    ),
    Case(
        "bags that count up",
        loads([8, 9, 10, 11, 12]),
        FOUND,
        "row 2 to row 6, count: 8 to 12, in each row 1 more",
    ),
    Case("bags that count up by chance", loads([10, 11, 12, 13, 6]), ACCEPTED),
    Case(
        "one reading for twelve trays",
        numbered("gross_g", [142] * 12),
        FOUND,
        "row 2 to row 13, gross_g: the same in each row: was one reading copied down, or is the",
    ),
    Case("one reading for eleven trays", numbered("gross_g", [142] * 11), ACCEPTED),
)

NAMES = (
    Case(
        "a spreader in another case",
        spreaders("twin disc", "Twin Disc"),
        FOUND,
        "the spreaders 'twin disc' and 'Twin Disc' have nearly the same name",
    ),
    Case(
        "a spreader with a sign that nobody sees",
        spreaders("twin disc", "twin disc\u200b"),
        FOUND,
        "the spreaders 'twin disc' and 'twin disc·' have nearly the same name",
    ),
    Case(
        "an id of which only the letter is written",
        {"dressings": DRESSINGS.replace("green", "g")},
        REFUSED,
        "'g' is neither a surface's id nor a kind in the boundaries. Write ids or kinds",
    ),
)

FIGURES = (
    Case(
        "a mix with a twelfth of sand",
        {"toml": settings("[sands.dried]\n", "[sands.dried]\nsand_mass_fraction = 0.08\n")},
        FOUND,
        "sand_mass_fraction: 0.08 where 0.3 to 1 is usual",
    ),
    Case(
        "a mix with seven tenths of sand",
        {"toml": settings("[sands.dried]\n", "[sands.dried]\nsand_mass_fraction = 0.7\n")},
        ACCEPTED,
    ),
    Case(
        "a bag known to a quarter",
        {"loads": LOADS.replace("0.25", "6")},
        FOUND,
        "row 2, u_unit_mass_kg: 24 % of the mass: check it, and its unit",
    ),
    Case(
        "a bag in pounds known to a quarter",
        {"loads": LOADS.replace("mass_kg", "mass_lb").replace("0.25", "6")},
        FOUND,
        "row 2, u_unit_mass_lb: 24 % of the mass",
    ),
    Case(
        "u of a density in another unit",
        {"toml": settings("u_bulk_density_g_cm3", "u_bulk_density_kg_m3")},
        FOUND,
        "u_bulk_density_kg_m3: 0.03 where 1 to 150 is usual",
    ),
    Case(
        "a phone's accuracy in centimetres",
        {"toml": settings("position_accuracy_m = 1.0", "position_accuracy_m = 100")},
        FOUND,
        "position_accuracy_m: 100 where up to 30 is usual",
    ),
    Case(
        "plans of two dressings beyond the target",
        {
            "toml": settings("green = 9.0", "green = 0.9"),
            "dressings": f"{DRESSINGS}D2,2026-05-10,green,0.6,4\n",
        },
        FOUND,
        "g1: 1.2 mm were planned on g1, whose target for the whole season is 0.9 mm",
    ),
    Case(
        "a season without an end",
        {"toml": settings("season_end = 2026-11-30\n", "")},
        FOUND,
        "season_end is not said: the target so far is what was planned",
    ),
    Case(
        "a table too deep",
        {"toml": settings("[catches]", "[catches.trays]")},
        FOUND,
        "site.toml: key 'trays' is not read",
    ),
)

TOLD = (
    Case(
        "a letter for a digit",
        {"loads": LOADS.replace("0.25", "O.25")},
        REFUSED,
        "Write the digits 0 and 1 where the letters O, l or I stand",
    ),
    Case(
        "a letter for the last digit",
        {"loads": LOADS.replace("L1,D1,52", "L1,D1,5O")},
        REFUSED,
        "Write the digits 0 and 1 where the letters O, l or I stand",
    ),
    Case(
        "a number with a word",
        {"loads": LOADS.replace("L1,D1,52", "L1,D1,ca. 52")},
        REFUSED,
        "Write the number alone",
    ),
    Case(
        "a row one column beside its own",
        {"loads": LOADS.replace("L1,D1,52", "L1,D1,D1")},
        REFUSED,
        "Write the number alone, or look whether the cells of this row stand one column beside",
    ),
    Case(
        "ids by another name are told once",
        without("id", other="ID"),
        REFUSED,
        "refused: 1 thing is wrong.\n  - surfaces.geojson: there is no id. Did you mean 'ID'?",
    ),
    Case(
        "no kinds are told once",
        without("kind"),
        REFUSED,
        "refused: 1 thing is wrong.\n  - surfaces.geojson: there is no kind",
    ),
    Case(
        "a moisture that is said nowhere is told once",
        {"toml": settings("moisture_dry_basis_percent = 0.0\nu_moisture_percent = 0.2\n", "")},
        REFUSED,
        "refused: 1 thing is wrong.\n  - loads.csv, row 2, moisture_dry_basis_percent",
    ),
    Case(
        "a moisture that is said nowhere beside another fault of the row",
        {
            "toml": settings("moisture_dry_basis_percent = 0.0\nu_moisture_percent = 0.2\n", ""),
            "loads": LOADS.replace("52", "many"),
        },
        REFUSED,
        "refused: 2 things are wrong.",
    ),
    Case(
        "JSON of another kind is told once",
        {"surfaces": json.dumps(collection([{"attributes": {"id": "g1"}, "geometry": {}}]))},
        REFUSED,
        "refused: 1 thing is wrong.\n  - surfaces.geojson, feature 1: is no Feature",
    ),
    Case(
        "a workbook of the strict kind",
        rewritten(of_the_strict_kind),
        REFUSED,
        "no sheet of the usual kind is in it (of Strict Open XML none is)",
    ),
    Case(
        "a workbook with its rows in another order",
        rewritten(from_the_end),
        REFUSED,
        "sheet catches, row 6: stands in the file behind a later row",
    ),
)

CASES = (*DRAGGED, *NAMES, *FIGURES, *TOLD)
