"""``records.xlsx``: the empty record tables as sheets, with drop-downs for what is known."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from typing import Any

from geosand.formats.boundaries.site_text import SANDS

ROWS = 500  #: that the drop-downs reach
LISTS = "lists"  #: hidden sheet with the words to choose from; it is not read
_STATES = ("dry", "moist", "tapped")
_KINDS = ("delivery", "count")
_WIDTH = 12
#: Ends of the columns that hold an amount, which is never below 0.
_AMOUNTS = (
    *("_mm", "_in", "_kg", "_lb", "_short_ton", "_g", "_oz", "_cm3", "_ml"),
    *("_percent", "_kmh", "_mph"),
)


def empty_workbook(
    tables: Mapping[str, Sequence[str]], ids: Sequence[str], kinds: Sequence[str]
) -> bytes:
    """The workbook of ``tables`` by their columns.

    ``ids`` and ``kinds`` of the surfaces are offered where they may stand.
    """
    import openpyxl
    from openpyxl.styles import Font
    from openpyxl.utils import get_column_letter

    book = openpyxl.Workbook()
    book.remove(book.worksheets[0])
    for name, columns in tables.items():
        sheet = book.create_sheet(name)
        sheet.append(list(columns))
        sheet.freeze_panes = "B2"
        for number, column in enumerate(columns, start=1):
            sheet.cell(1, number).font = Font(bold=True)
            width = max(_WIDTH, len(column) + 2)
            sheet.column_dimensions[get_column_letter(number)].width = width
    lists = book.create_sheet(LISTS)
    offered = {"surface": list(ids), "surfaces": [*kinds, *ids], "sand": list(SANDS)}
    places = {
        name: _put(lists, number, name, words)
        for number, (name, words) in enumerate(offered.items(), start=1)
    }
    lists.sheet_state = "hidden"
    for name, columns in tables.items():
        for number, column in enumerate(columns, start=1):
            _validate(book[name], name, column, get_column_letter(number), places)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _put(sheet: Any, number: int, name: str, words: Sequence[str]) -> str:
    """Words in a column of the hidden sheet as text, and the formula that points to them."""
    from openpyxl.utils import get_column_letter

    sheet.cell(1, number, name)
    for row, word in enumerate(words, start=2):
        cell = sheet.cell(row, number, word)
        cell.data_type = "s"  # never a formula, whatever the word begins with
    letter = get_column_letter(number)
    return f"{LISTS}!${letter}$2:${letter}${max(len(words) + 1, 2)}"


def _validate(sheet: Any, table: str, column: str, letter: str, places: dict[str, str]) -> None:
    from openpyxl.worksheet.datavalidation import DataValidation

    rule: DataValidation | None = None
    if column == "dressing" and table != "dressings":
        rule = DataValidation(type="list", formula1=f"dressings!$A$2:$A${ROWS}")
        rule.error = "Name a dressing of the sheet dressings"
    elif column in places:
        rule = DataValidation(type="list", formula1=places[column])
        rule.error = "Choose from the list"
        # several ids or kinds may stand in one cell, which no list allows: offered, not enforced
        rule.showErrorMessage = column != "surfaces"
    elif column == "volume_state":
        rule = DataValidation(type="list", formula1=f'"{",".join(_STATES)}"')
        rule.error = "dry, moist or tapped; only dry gives a depth"
    elif (table, column) == ("deliveries", "kind"):
        rule = DataValidation(type="list", formula1=f'"{",".join(_KINDS)}"')
        rule.error = "delivery: sand bought; count: what lay in the yard that day"
    elif column == "date":
        rule = DataValidation(type="date", operator="greaterThan", formula1="36526")
        rule.error = "A date, such as 2026-04-30"
        for row in range(2, ROWS + 1):
            sheet[f"{letter}{row}"].number_format = "yyyy-mm-dd"
    elif column.endswith(_AMOUNTS) or column == "count":
        rule = DataValidation(type="decimal", operator="greaterThanOrEqual", formula1="0")
        rule.error = f"A number of 0 or more; the unit stands in the column's name: {column}"
    elif column in ("lon", "lat"):
        bound = 180 if column == "lon" else 90
        rule = DataValidation(
            type="decimal", operator="between", formula1=f"-{bound}", formula2=f"{bound}"
        )
        rule.error = f"Degrees from -{bound} to {bound}, WGS 84"
    if rule is not None:
        rule.allow_blank = True
        if rule.showErrorMessage is None or column not in places:
            rule.showErrorMessage = True
        sheet.add_data_validation(rule)
        rule.add(f"{letter}2:{letter}{ROWS}")
