"""``records.xlsx``: the empty record tables as sheets, with drop-downs for what is known."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from geosand.formats.boundaries.sites.site_text import SANDS
from geosand.formats.workbook_writing import content_of

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
    return content_of(book)


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
    """Hold the cells of a column to what may stand in them."""
    if column == "date":
        for row in range(2, ROWS + 1):
            sheet[f"{letter}{row}"].number_format = "yyyy-mm-dd"
    rule, error = _rule(table, column, places)
    if rule:
        from openpyxl.worksheet.datavalidation import DataValidation

        checked = DataValidation(**rule, error=error, allow_blank=True)
        # several ids or kinds may stand in one cell, which no list allows: offered, not enforced
        checked.showErrorMessage = column != "surfaces"
        sheet.add_data_validation(checked)
        checked.add(f"{letter}2:{letter}{ROWS}")


def _rule(table: str, column: str, places: dict[str, str]) -> tuple[dict[str, Any], str]:
    """What a spreadsheet checks a column's cells by, and what it says of others; none is empty."""
    if column == "dressing" and table != "dressings":
        named = {"type": "list", "formula1": f"dressings!$A$2:$A${ROWS}"}
        return named, "Name a dressing of the sheet dressings"
    if column in places:
        return {"type": "list", "formula1": places[column]}, "Choose from the list"
    if column == "volume_state":
        states = {"type": "list", "formula1": f'"{",".join(_STATES)}"'}
        return states, "dry, moist or tapped; only dry gives a depth"
    if (table, column) == ("deliveries", "kind"):
        kinds = {"type": "list", "formula1": f'"{",".join(_KINDS)}"'}
        return kinds, "delivery: sand bought; count: what lay in the yard that day"
    if column == "date":
        days = {"type": "date", "operator": "greaterThan", "formula1": "36526"}  # 2000-01-01
        return days, "A date, such as 2026-04-30"
    if column.endswith(_AMOUNTS) or column == "count":
        amounts = {"type": "decimal", "operator": "greaterThanOrEqual", "formula1": "0"}
        return amounts, f"A number of 0 or more; the unit stands in the column's name: {column}"
    if column in ("lon", "lat"):
        bound = 180 if column == "lon" else 90
        limits = {"formula1": f"-{bound}", "formula2": f"{bound}"}
        degrees = {"type": "decimal", "operator": "between", **limits}
        return degrees, f"Degrees from -{bound} to {bound}, WGS 84"
    return {}, ""
