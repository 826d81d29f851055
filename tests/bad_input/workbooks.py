"""``records.xlsx``: sheets, rows and parts that are not as they seem. Cases made here."""

from __future__ import annotations

import datetime
import io
import zipfile
from collections.abc import Callable
from typing import Any

from tests.bad_input.case import ACCEPTED, FOUND, REFUSED, Case
from tests.bad_input.spoiled import BOOK, NO_CSV, in_workbook, workbook

SHEET = "xl/worksheets/sheet2.xml"  #: of the loads
LAUGHS = b'<!DOCTYPE x [<!ENTITY a "ha"><!ENTITY b "%s"><!ENTITY c "%s">]>' % (
    b"&a;" * 999,
    b"&b;" * 999,
)


def patched(member: str, change: Callable[[bytes], bytes]) -> dict[str, Any]:
    """The valid site with a workbook of which one part's bytes are changed."""
    stream = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(workbook(**BOOK))) as sound,
        zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as spoiled,
    ):
        for name in sound.namelist():
            content = sound.read(name)
            spoiled.writestr(name, change(content) if name == member else content)
    return {**NO_CSV, "files": {"records.xlsx": stream.getvalue()}}


def edited(change: Callable[[Any], object]) -> dict[str, Any]:
    """The valid site with a workbook that was changed in a program."""
    import openpyxl

    book = openpyxl.load_workbook(io.BytesIO(workbook(**BOOK)))
    change(book)
    stream = io.BytesIO()
    book.save(stream)
    return {**NO_CSV, "files": {"records.xlsx": stream.getvalue()}}


def _far_down(book: Any) -> None:
    book["loads"]["A1048576"] = "L9"


def _far_right(book: Any) -> None:
    book["loads"]["G2"] = "x"


def _far_formats(book: Any) -> None:
    from openpyxl.styles import Font

    for row in range(1, 10_500):
        book["loads"].cell(row, 1).font = Font(bold=True)


def _merged(book: Any) -> None:
    book["catches"].merge_cells("B2:B7")


def _merged_head(book: Any) -> None:
    book["dressings"].merge_cells("A5:E5")


def _title_above(book: Any) -> None:
    book["catches"].insert_rows(1)
    book["catches"]["A1"] = "Catches of 2026"


def _array_formula(book: Any) -> None:
    from openpyxl.worksheet.formula import ArrayFormula

    book["catches"]["H2"] = ArrayFormula("H2", "=1+1")


def _called_otherwise(book: Any) -> None:
    book["catches"].title = "Fänge"


def _percent(book: Any) -> None:
    book["loads"]["F2"], book["loads"]["F2"].number_format = 4.0, "0%"


def _hidden(book: Any) -> None:
    book["catches"].sheet_state = "hidden"
    book["catches"].row_dimensions[3].hidden = True


def _filtered(book: Any) -> None:
    """As a filter leaves a sheet that shows two catches of six."""
    sheet = book["catches"]
    sheet.auto_filter.ref = "A1:H7"
    sheet.auto_filter.add_filter_column(0, ["c1", "c2"])
    for row in (4, 5, 6, 7):
        sheet.row_dimensions[row].hidden = True


def _struck_out(book: Any) -> None:
    from openpyxl.styles import Font

    for cell in book["catches"][2]:
        cell.font = Font(strike=True)


def _counted_from_1904(book: Any) -> None:
    from openpyxl.utils.datetime import CALENDAR_MAC_1904

    book.epoch = CALENDAR_MAC_1904
    book["dressings"]["B2"] = datetime.date(2026, 4, 10)


def _named_by_days(book: Any) -> None:
    """A dressing called 2026-04-10: a day in two sheets, a text in the third."""
    day = datetime.datetime(2026, 4, 10)
    book["dressings"]["A2"], book["loads"]["B2"] = day, "2026-04-10"
    for row in range(2, 8):
        book["catches"].cell(row, 2).value = day


def _in_cell(sheet: str, place: str, value: str) -> Callable[[Any], None]:
    def change(book: Any) -> None:
        book[sheet][place] = value

    return change


def _as_texts(book: Any) -> None:
    """Numbers behind an apostrophe, as spreadsheets keep them."""
    for row in range(2, 8):
        cell = book["catches"].cell(row, 8)
        cell.value, cell.quotePrefix = f"{cell.value:g} ", True


def _currency(book: Any) -> None:
    book["loads"]["D2"].number_format = '"\u20ac" #,##0.00'


def _units_below(book: Any) -> None:
    book["loads"].insert_rows(2)
    book["loads"]["C2"], book["loads"]["D2"] = "bags", "kg"


def _blank_column(book: Any) -> None:
    book["loads"].insert_cols(1)


def _chart(book: Any) -> None:
    from openpyxl.chart import BarChart, Reference

    chart = BarChart()
    chart.add_data(Reference(book["loads"], min_col=3, min_row=1, max_row=2))
    book.create_chartsheet("picture", 0).add_chart(chart)


def dated(day: Any) -> dict[str, Any]:
    return in_workbook(
        dressings=[["dressing", "date", "surfaces", "swath_m"], ["D1", day, "green", 4]]
    )


MACROS = (
    b"application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml",
    b"application/vnd.ms-excel.sheet.macroEnabled.main+xml",
)
SHEETS = (
    Case("a chart on a sheet of its own", edited(_chart), ACCEPTED),
    Case("a hidden sheet", edited(lambda b: setattr(b["loads"], "sheet_state", "hidden")),
         FOUND, "sheet loads: the sheet is hidden, and read like all others"),
    Case("a sheet that only a macro can show",
         edited(lambda b: setattr(b["catches"], "sheet_state", "veryHidden")),
         FOUND, "sheet catches: the sheet is hidden, and read like all others"),
    Case("a hidden sheet of something else",
         edited(lambda b: setattr(b.create_sheet("prices"), "sheet_state", "hidden")), ACCEPTED),
    Case("a macro workbook renamed", patched("[Content_Types].xml", lambda x: x.replace(*MACROS)),
         ACCEPTED),
    Case(
        "sheets that differ in case",
        patched("xl/workbook.xml", lambda x: x.replace(b'name="catches"', b'name="LOADS"')),
        REFUSED,
        "sheet loads: there are two sheets of this name",
    ),
    Case("a misspelt sheet", edited(lambda b: setattr(b["loads"], "title", "Load")), REFUSED,
         "records.xlsx: sheet 'load' is not read; allowed: dressings, loads, catches, deliveries."
         " Call it loads"),
    *(
        Case(f"a further sheet {title!r}", edited(lambda b, t=title: b.create_sheet(t)), FOUND,
             f"not read: the sheet {title.lower()!r}; records are read from dressings, loads")
        for title in ("catches D2", "Catch", "loads (2)")
    ),
    *(
        Case(f"a further sheet {title!r}", edited(lambda b, t=title: b.create_sheet(t)), ACCEPTED)
        for title in ("loading", "notes", "L", "2026")
    ),
    Case("a workbook of other things", {**NO_CSV, "files": {"records.xlsx": workbook(a=[[1]])}},
         REFUSED, "has none of the sheets of records"),
    Case("an old or locked workbook",
         {**NO_CSV, "files": {"records.xlsx": b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600)}},
         REFUSED, "is an old workbook (.xls), or has a password"),
)  # fmt: skip
CELLS = (
    Case("a load below a million empty rows", edited(_far_down), REFUSED,
         "sheet loads: something stands in row 1048576, below 10,000 empty rows"),
    Case("formats far down", edited(_far_formats), ACCEPTED),
    Case("a cell beside the columns", edited(_far_right), REFUSED, "outside the named columns"),
    Case("a merged head", edited(lambda b: b["loads"].merge_cells("A1:C1")), REFUSED,
         "sheet loads: there is no column dressing"),
    Case("merged dressings", edited(lambda b: b["catches"].merge_cells("B2:B7")), REFUSED,
         "sheet catches, rows 3, 4, 5, 6, 7, dressing: nothing is written here"),
    Case("a date", dated(datetime.date(2026, 4, 10)), ACCEPTED),
    Case("a date with its hour", dated(datetime.datetime(2026, 4, 10, 23, 59, 59)), ACCEPTED),
    Case("a date as text", dated("10.04.2026"), REFUSED, "'10.04.2026' is not a date"),
    Case("a date as a day number", dated(46122), REFUSED, "looks like a spreadsheet's day number"),
    Case("an hour for a date", dated(datetime.time(4, 5)), REFUSED, "'04:05:00' is not a date"),
    Case("true for a number",
         in_workbook(loads=[["load", "dressing", "count", "unit_mass_kg"], ["L1", "D1", True, 25]]),
         REFUSED, "row 2, count: 'True' is not a number"),
    Case("32,767 letters",
         in_workbook(loads=[["load", "dressing", "count", "unit_mass_kg"],
                            ["x" * 32767, "D1", 1, 2]]),
         REFUSED, "a text of 32,767 characters; allowed: 1,000"),
)  # fmt: skip
PARTS = (
    Case("a row with a negative number",
         patched(SHEET, lambda x: x.replace(b'<row r="2"', b'<row r="-5"')), REFUSED,
         "a row has the number -5"),
    Case("a row with an endless number",
         patched(SHEET, lambda x: x.replace(b'<row r="2"', b'<row r="9999999999"')), REFUSED,
         "something stands in row 9999999999"),
    Case("a cell twice, of which the parser takes the second",
         patched(SHEET, lambda x: x.replace(
             b"<c r=\"C2\"", b"<c r=\"C2\" t=\"n\"><v>40</v></c><c r=\"C2\"")), REFUSED,
         "stands in the file twice"),
    Case("entities that grow", patched(SHEET, lambda x: LAUGHS + x.replace(b"L1", b"&c;")), REFUSED,
         "is not a workbook that can be read"),
    Case("a file of this machine as an entity",
         patched(SHEET, lambda x: b'<!DOCTYPE x [<!ENTITY a SYSTEM "file:///etc/hostname">]>'
                 + x.replace(b"L1", b"&a;")), REFUSED, "is not a workbook that can be read"),
    Case("a row of a million cells",
         patched(SHEET, lambda x: x.replace(
             b"</sheetData>", b"<row>" + b"<c><v>1</v></c>" * 10**6 + b"</row></sheetData>")),
         REFUSED, "has a row of more than 16,384 cells"),
    Case("a style of 21 MB",
         patched("xl/styles.xml",
                 lambda x: x.replace(b"<fonts", b"<!--%s--><fonts" % (b"x" * 21_000_000))),
         REFUSED, "unpacks to a part of more than 20 MB"),
    Case("a sheet of 205 MB",
         patched(SHEET, lambda x: x.replace(b"</sheetData>", b" " * 205_000_000 + b"</sheetData>")),
         REFUSED, "unpacks to more than 200 MB"),
)  # fmt: skip
AS_PEOPLE_LEAVE_THEM = (
    Case(
        "cells merged over rows",
        edited(_merged),
        REFUSED,
        "the cells B2:B7 are merged: only the first holds what is written. Take the merging back",
    ),
    Case("cells merged in one row", edited(_merged_head), ACCEPTED),
    Case(
        "a title above the columns of a sheet",
        edited(_title_above),
        REFUSED,
        "the first line is 'Catches of 2026' and names no columns. Delete what stands above",
    ),
    Case(
        "a formula without its result is told once",
        edited(_in_cell("loads", "C2", "=50+2")),
        REFUSED,
        "refused: 1 thing is wrong.\n  - records.xlsx, sheet loads, row 2, count: a formula",
    ),
    Case(
        "a web page that is called a workbook",
        {**NO_CSV, "files": {"records.xlsx": b"<html><table></table></html>"}},
        REFUSED,
        "records.xlsx: is a web page that is called .xlsx",
    ),
    Case(
        "an array formula without its result",
        edited(_array_formula),
        REFUSED,
        "sheet catches, row 2, gross_g: a formula without its result",
    ),
    Case(
        "a sheet of another name",
        edited(_called_otherwise),
        FOUND,
        "not read: the sheet 'fänge'; records are read from dressings, loads, catches, deliveries",
    ),
    Case(
        "400 % where 5 % is meant",
        edited(_percent),
        REFUSED,
        "u_label_percent: 400 can not be right",
    ),
    Case(
        "a hidden sheet with a hidden row",
        edited(_hidden),
        FOUND,
        "sheet catches: row 3 is hidden, and read like all others",
    ),
    Case(
        "a filtered table",
        edited(_filtered),
        FOUND,
        "sheet catches: rows 4, 5, 6, 7 are hidden, and read like all others",
    ),
    Case(
        "a row struck out",
        edited(_struck_out),
        FOUND,
        "sheet catches: row 2 is struck out, and read like all others",
    ),
    Case("days that count from 1904", edited(_counted_from_1904), ACCEPTED),
    Case("names that became days", edited(_named_by_days), ACCEPTED),
    Case(
        "a column taken over with its thousands",
        edited(_in_cell("catches", "H2", "1,142")),
        REFUSED,
        "row 2, gross_g: '1,142' is not a number",
    ),
    Case("numbers kept as texts", edited(_as_texts), ACCEPTED),
    Case("a currency for a number", edited(_currency), ACCEPTED),
    Case(
        "a note below the table",
        edited(_in_cell("loads", "C5", "weighed on the old scale")),
        REFUSED,
        "sheet loads, row 5, load: nothing is written here. Write the load, or take out the row",
    ),
    Case(
        "units in a row below the head",
        edited(_units_below),
        REFUSED,
        "sheet loads, row 2, unit_mass_kg: 'kg' is not a number",
    ),
    Case("a blank column before the first", edited(_blank_column), ACCEPTED),
)


CASES = (*SHEETS, *CELLS, *PARTS, *AS_PEOPLE_LEAVE_THEM)
