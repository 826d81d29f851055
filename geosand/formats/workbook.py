"""One workbook of records (.xlsx) in place of the CSV files."""

from __future__ import annotations

import difflib
import io
import re
import zipfile
from collections.abc import Sequence
from itertools import zip_longest
from typing import Any

from geosand.errors import Faults
from geosand.formats.csv_table import MAXIMUM_COLUMNS, MAXIMUM_ROWS, by_columns
from geosand.site.cells import Cell, RawTable, quoted

MAXIMUM_UNPACKED = 200_000_000
MAXIMUM_BESIDE = 20_000_000  #: bytes of a part that is neither a sheet nor the texts of sheets
MAXIMUM_CELLS = 4_000_000  #: of all sheets
MAXIMUM_TEXTS = 1_000_000  #: that differ
LONGEST_SHEET, WIDEST_ROW = 1_048_576, 16_384  #: what spreadsheet programs hold
SAVE = "open it in a spreadsheet program and save it as .xlsx"
_OLD = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"  #: start of an OLE compound file
_ROW = re.compile(rb"<row [^>]*?\br=\"(-?\d{1,18})\"")
EMPTY_ROWS = 10_000  #: so many in a row, and nothing below them is looked at


def read_records(
    content: bytes, file: str, sheets: Sequence[str], faults: Faults
) -> dict[str, RawTable]:
    """The named sheets as tables; other sheets are left alone. Rows are numbered as shown."""
    tables: dict[str, RawTable] = {}
    try:
        if found := _too_much(content):
            faults.add(file, found, remedy="save it anew, without what is not needed")
            return {}
        found_sheets, others = _sheets(content, sheets)
        _check_names([name for name, *_ in found_sheets], others, sheets, file, faults)
        for name, sheet, formulas in found_sheets:
            place = f"{file}, sheet {name}"
            if name in tables:
                faults.add(place, "there are two sheets of this name", remedy="keep one of them")
            tables[name] = _table(sheet, formulas, place, faults)
    except Exception as problem:  # foreign bytes make the parser fail in ways no list holds
        if content.startswith(_OLD):
            faults.add(file, "is an old workbook (.xls), or has a password", remedy=SAVE)
            return {}
        found = f"is not a workbook that can be read: {str(problem)[:80] or type(problem).__name__}"
        faults.add(file, found, remedy=SAVE)
        return {}
    return tables


def _too_much(content: bytes) -> str:
    """Why a workbook would cost more memory and time than records can need; "" = it does not."""
    cells = 0
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        if sum(entry.file_size for entry in archive.infolist()) > MAXIMUM_UNPACKED:
            return f"unpacks to more than {MAXIMUM_UNPACKED // 1_000_000} MB"
        for entry in archive.infolist():
            if "worksheets/" in entry.filename:
                part = archive.read(entry)
                if part.count(b"row") > 4 * LONGEST_SHEET:  # its own limit is told by _table
                    return f"has a sheet of more than {LONGEST_SHEET:,} rows"
                cells += _cells(part)
                if any(_cells(row) > WIDEST_ROW for row in part.split(b"<row") if len(row) > 1e5):
                    return f"has a row of more than {WIDEST_ROW:,} cells"
            elif "sharedStrings" in entry.filename:
                if archive.read(entry).count(b"<si") > MAXIMUM_TEXTS:
                    return f"has more than {MAXIMUM_TEXTS:,} texts"
            elif entry.file_size > MAXIMUM_BESIDE:
                return f"unpacks to a part of more than {MAXIMUM_BESIDE // 1_000_000} MB"
            if cells > MAXIMUM_CELLS:
                return f"has more than {MAXIMUM_CELLS:,} cells"
    return ""


def _cells(part: bytes) -> int:
    return part.count(b"<c ") + part.count(b"<c>") + part.count(b":c ")


def _last_filled(sheet: Any) -> int | None:
    """Number of the last row in a sheet's file that holds something; None where it says none.

    Looked up in the file's own text, as rows far below the others are not read one by one.
    """
    text = sheet.parent._archive.read(sheet._worksheet_path)
    last = max(text.rfind(mark) for mark in (b"<v>", b"<is>", b"<f>"))
    start = text.rfind(b"<row", 0, last)
    said = _ROW.match(text, start) if last >= 0 and start >= 0 else None
    return int(said[1]) if said else None


def _check_names(
    there: Sequence[str], others: Sequence[str], names: Sequence[str], file: str, faults: Faults
) -> None:
    """A misspelt sheet would be records that nobody reads."""
    missing = [name for name in names if name not in there]
    for other in others:
        if meant := difflib.get_close_matches(other, missing, 1, 0.8):
            found = f"sheet {quoted(other)} is not read"
            faults.add(file, found, allowed=", ".join(names), remedy=f"call it {meant[0]}")
    if not there:
        faults.add(file, "has none of the sheets of records", allowed=", ".join(names))


def _sheets(content: bytes, names: Sequence[str]) -> tuple[list[tuple[str, Any, Any]], list[str]]:
    """Wanted sheets twice: with the results of formulas, and with the formulas themselves.

    Beside them the titles of the others.
    """
    import openpyxl

    results = openpyxl.load_workbook(io.BytesIO(content), read_only=True, data_only=True)
    formulas = openpyxl.load_workbook(io.BytesIO(content), read_only=True, data_only=False)
    pairs = zip(results.worksheets, formulas.worksheets, strict=True)
    titles = [(sheet.title.strip().lower(), sheet, other) for sheet, other in pairs]
    wanted = [found for found in titles if found[0] in names]
    return wanted, [title for title, *_ in titles if title not in names]


def _lines(sheet: Any) -> Any:
    sheet.reset_dimensions()  # a file may claim a million columns that it has not
    return sheet.iter_rows(values_only=True, max_col=MAXIMUM_COLUMNS + 1)


def _table(sheet: Any, formulas: Any, place: str, faults: Faults) -> RawTable:
    header: list[str] = []
    rows: list[int] = []
    cells: list[tuple[Cell, ...]] = []
    empty = number = 0
    both = zip_longest(_lines(sheet), _lines(formulas), fillvalue=())
    for number, (line, written) in enumerate(both, start=1):
        if not any(cell is not None and str(cell).strip() for cell in written):
            empty += 1
            if empty > EMPTY_ROWS:
                break
            continue
        empty = 0
        for k, (cell, formula) in enumerate(zip(line, written, strict=False)):
            if cell is None and isinstance(formula, str) and formula.startswith("="):
                name = header[k] if k < len(header) else None
                remedy = "open the workbook, let it calculate, and save it; or write the value"
                faults.add(
                    place, "a formula without its result", row=number, column=name, remedy=remedy
                )
        if not header:
            header = ["" if cell is None else str(cell).strip() for cell in line]
            while header and not header[-1]:
                header.pop()
            continue
        if any(cell is not None and str(cell).strip() for cell in line[len(header) :]):
            remedy = "name every column that holds something"
            faults.add(place, "a cell outside the named columns", row=number, remedy=remedy)
        rows.append(number)
        cells.append((tuple(line) + (None,) * len(header))[: len(header)])
        if len(rows) > MAXIMUM_ROWS:
            faults.add(place, f"more than {MAXIMUM_ROWS:,} rows", remedy="split it")
            break
    last = _last_filled(formulas) if len(rows) <= MAXIMUM_ROWS else None
    if last is not None and not 0 < last <= number:
        found = f"something stands in row {last}, below {EMPTY_ROWS:,} empty rows"
        remedy = "delete it, or the empty rows above it"
        faults.add(place, found if last > 0 else f"a row has the number {last}", remedy=remedy)
    return by_columns(header, rows, cells, place, faults)
