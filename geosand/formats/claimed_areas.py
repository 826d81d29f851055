"""A list of claimed areas (CSV or .xlsx): which surface, how large, what tolerance."""

from __future__ import annotations

import csv
import io
import re
from pathlib import Path
from typing import Any

import numpy as np

from geosand.columns import Floats, Ints, Strings, columns
from geosand.errors import Faults, Finding, Refused, listed
from geosand.formats.csv_table import read_csv
from geosand.formats.plain_files import plain_bytes
from geosand.site.cells import quoted, word_key
from geosand.site.reading import Reader

MAXIMUM_MB = 20
LARGEST_M2 = 1e9
HEAD_WITHIN = 20  #: rows of a sheet within which its heads stand
#: Labels of lines that add up others.
SUMS = re.compile(r"\b(?:sub-? ?total|total|sum)s?\b", re.IGNORECASE)
WORKBOOKS = (b"PK\x03\x04", b"\xd0\xcf\x11\xe0")  #: how .xlsx, .ods and .xls begin
#: A column of areas as it is headed for people; each unit of these as columns here say it.
_HEADED = re.compile(r"\W*area\b[\W_]*(.*?)\W*", re.IGNORECASE)
_UNITS = {
    **dict.fromkeys(("ha", "hectare", "hectares"), "ha"),
    **dict.fromkeys(("ac", "acre", "acres"), "acre"),
    **dict.fromkeys(("m2", "m²", "sq m", "sqm", "sq. m", "square metres", "square meters"), "m2"),
    **dict.fromkeys(("ft2", "ft²", "sq ft", "sqft", "sf", "sq. ft", "square feet"), "ft2"),
}


@columns
class ClaimedAreas:
    """One row a claim, in file order."""

    label: Strings  #: the id or name as it is written
    area_m2: Floats
    unit_m2: float  #: size of the unit that the list is in
    tolerance: Floats  #: share; nan = not said
    row: Ints  #: row in the file


def read_claimed_areas(path: Path) -> tuple[ClaimedAreas, list[Finding]]:
    """Columns ``id``, ``name`` or ``surface``, ``area_…`` with its unit (area_m2, area_ft2,
    area_ha, area_acre), and if wanted ``tolerance_percent``.

    Raises Refused with all faults of the file. A surface that stands twice is a fault.
    """
    faults, findings = Faults(), list[Finding]()
    content = plain_bytes(path, str(path), MAXIMUM_MB, faults, "name a CSV file")
    if content.startswith(WORKBOOKS):
        content = _sheet_of(path, faults)
    faults.refuse()
    table = read_csv(content, path.name, faults, findings)
    if table.unreadable:
        faults.refuse()
    reader = Reader(table, faults, findings)
    head = "name" if {"id", "name"} & set(table.columns) else "surface"  # as a register heads it
    ids, names = reader.text("id"), reader.text(head)
    label = np.where(ids == "", names, ids)
    if not {"id", "name", "surface"} & set(table.columns):
        remedy = f"{reader.meant('name') or reader.meant('surface')}Add id or name"
        reader.whole_fault(None, "there is no id and no name", remedy=remedy)
    else:
        _check_labels(reader, label)
    named = not _misnamed(reader)
    area = reader.quantity("area", "m2", required=named, above=0.0, maximum=LARGEST_M2)
    tolerance = reader.quantity("tolerance", "ratio", minimum=0.0, maximum=1.0)
    if not reader.size:
        faults.add(path.name, "holds no claims", remedy="give a row for each surface")
    reader.finish()
    faults.refuse()
    rows = np.array([int(row) for row in table.rows], dtype=np.int64)
    column = Reader(table, faults, findings).columns_of("area", "m2")  # it was read without fault
    return ClaimedAreas(
        label=label,
        area_m2=area,
        unit_m2=column[0][1] if column else 1.0,
        tolerance=tolerance,
        row=rows,
    ), findings


def _misnamed(reader: Reader) -> bool:
    """Tells of a column such as "Area (ha)" where there is no area_ha or the like."""
    if any(name.startswith("area") for name in reader.table.columns):
        return False
    for name in reader.table.columns:
        found = _HEADED.fullmatch(name)
        if unit := _UNITS.get(found[1].lower(), "") if found else "":
            remedy = f"call that column area_{unit}"
            reader.whole_fault(None, f"the areas are headed {quoted(name)}", remedy=remedy)
            return True
    return False


def _check_labels(reader: Reader, label: Strings) -> None:
    """Faults for rows without a label, and for labels that are there twice, but those of sums."""
    first: dict[str, int] = {}
    for row, text in enumerate(label.tolist()):
        key = word_key(text)
        if not text:
            reader.fault(row, "id", "no id and no name is written here", remedy="name the surface")
        elif key in first and not SUMS.search(text):
            found = f"{quoted(text)} is there already (row {reader.table.rows[first[key]]})"
            reader.fault(row, "id", found, remedy="give each surface one row")
        first.setdefault(key, row)


def _sheet_of(path: Path, faults: Faults) -> bytes:
    """The one sheet with claimed areas as CSV, what stands above its heads left blank."""
    from geosand.formats.boundaries.files.sheets import read_sheets

    try:
        sheets = read_sheets(path)
    except Refused as refusal:
        for fault in refusal.faults:
            remedy = "save it as .xlsx, or its sheet as CSV"
            faults.add(path.name, fault.found, remedy=fault.remedy or remedy)
        return b""
    lists = [(rows, at) for _, rows in sheets for at in _heads(rows)[:1]]
    if len(lists) != 1:
        names = listed([title for title, _ in sheets], 6)
        found = f"has {len(lists)} sheets with heads of claimed areas, of {names}"
        allowed = "one sheet with the columns id or name, and area_m2 (or _ft2, _ha, _acre)"
        remedy = "keep the one that is meant" if lists else "name the columns of one so"
        faults.add(path.name, found, allowed=allowed, remedy=remedy)
        return b""
    ((rows, at),) = lists
    text = io.StringIO(newline="")
    csv.writer(text).writerows([*([""] for _ in rows[:at]), *rows[at:]])
    return text.getvalue().encode()


def _heads(rows: list[list[Any]]) -> list[int]:
    """Of the first rows those that can be heads of claimed areas."""
    words = [{str(cell).strip().lower() for cell in row} for row in rows[:HEAD_WITHIN]]
    return [
        k
        for k, row in enumerate(words)
        if row & {"id", "name"} and any(word.startswith("area") for word in row)
    ]
