"""One workbook of records (.xlsx) in place of the CSV files."""

from __future__ import annotations

import difflib
import io
import re
import warnings
from bisect import bisect_left, bisect_right
from collections import Counter
from collections.abc import Iterable, Sequence
from itertools import pairwise, zip_longest
from typing import Any

from geosand.errors import Faults, Finding, listed
from geosand.formats.csv_table import (
    MAXIMUM_COLUMNS,
    MAXIMUM_ROWS,
    by_columns,
    is_title,
    tell_title,
)
from geosand.formats.workbook_bytes import no_workbook, too_much
from geosand.site.cells import Cell, RawTable, quoted

SAVE = "open it in a spreadsheet program and save it as .xlsx"
_MERGED = re.compile(rb"<mergeCell\sref=[\"']([A-Z0-9:]{1,30})[\"']")
_PERCENT = re.compile(rb'%|numFmtId="(?:9|10)"')  #: formats of cells that show percent
_PREFIX = re.compile(rb"(</?)[\w.-]+:")
_FORMULA = re.compile(rb"<f[ />]")
#: Cells that hold something in columns beyond MAXIMUM_COLUMNS, which is KN; the next is looked at.
_FAR = re.compile(
    rb"<c\s[^>]*?\br=[\"'](K[P-Z]|[L-Z][A-Z]|[A-Z]{3})(\d{1,18})[\"'][^>]*>"
    rb"<(?:v|is|f)[ >](?!</)"
)
_LISTED = re.compile(rb'<(?:\w+:)?sheet [^>]*?\bname="([^"]*)"')
_ROW = re.compile(rb"<row\s[^>]*?\br=[\"'](-?\d{1,18})[\"']")
_CELL = re.compile(rb"<c\s[^>]*?\br=[\"']([A-Z]{1,3})(\d{1,18})[\"']")
_HIDDEN = re.compile(rb"<row\s(?=[^>]*\bhidden=[\"'](?:1|true)[\"'])[^>]*?\br=[\"'](\d{1,18})[\"']")
LISTS = "lists"  #: of drop-down lists: no records
EMPTY_ROWS = 10_000  #: so many in a row, and nothing below them is looked at


def read_records(
    content: bytes, file: str, sheets: Sequence[str], faults: Faults, findings: list[Finding]
) -> dict[str, RawTable]:
    """The named sheets as tables. Rows are numbered as shown.

    Other sheets are left alone; where a sheet of records is missing they are named.
    """
    with warnings.catch_warnings():  # of what openpyxl would not write again, as lists to pick from
        warnings.simplefilter("ignore", UserWarning)
        return _tables(content, file, sheets, faults, findings)


def _tables(
    content: bytes, file: str, sheets: Sequence[str], faults: Faults, findings: list[Finding]
) -> dict[str, RawTable]:
    tables: dict[str, RawTable] = {}
    try:
        if found := too_much(content):
            faults.add(file, found, remedy="save it anew, without what is not needed")
            return {}
        found_sheets, others, lost = _sheets(content, sheets)
        there = [name for name, *_ in found_sheets]
        _check_names(there, others, sheets, file, faults)
        for name in lost:
            found = "is named in the workbook, and is not in it"
            faults.add(f"{file}, sheet {name}", found, remedy="look for a whole copy of the file")
        if all(name in there for name in sheets[:3]):
            others = [other for other in others if _named_alike(other, sheets)]
        if others:
            said = f"sheet{'s' * (len(others) > 1)} {listed([*map(quoted, others)], 5)}"
            read = f"not read: the {said}; records are read from {', '.join(sheets)}"
            findings.append(Finding(about=file, text=read, topic="file"))
        for name, sheet, formulas in found_sheets:
            place = f"{file}, sheet {name}"
            if name in tables:
                faults.add(place, "there are two sheets of this name", remedy="keep one of them")
            tables[name] = _table(sheet, formulas, place, faults)
            _tell_unseen(sheet, tables[name], findings)
    except MemoryError:  # no fault of the file
        raise
    except Exception as problem:  # foreign bytes make the parser fail in ways no list holds
        faults.add(file, no_workbook(content, problem), remedy=SAVE)
        return {}
    return tables


def _named_alike(title: str, names: Sequence[str]) -> bool:
    """True for titles that begin like a sheet of records, as "catch D3"."""
    word = re.match("[a-z]*", title)[0].rstrip("s")[:6]  # type: ignore[index]
    return len(word) > 3 and any(name.startswith(word) for name in names)


def _last_filled(sheet: Any) -> int | None:
    """Number of the last row in a sheet's file that holds something; None where it says none.

    Looked up in the file's own text, as rows far below the others are not read one by one.
    """
    text = _part(sheet)
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


def _sheets(
    content: bytes, names: Sequence[str]
) -> tuple[list[tuple[str, Any, Any]], list[str], list[str]]:
    """Wanted sheets twice: with the results of formulas, and with the formulas themselves.

    Beside them the titles of the others, and of those wanted that the file names and lacks.
    """
    import openpyxl

    results = openpyxl.load_workbook(io.BytesIO(content), read_only=True, data_only=True)
    formulas = openpyxl.load_workbook(io.BytesIO(content), read_only=True, data_only=False)
    if not results.worksheets:
        raise ValueError("no sheet of the usual kind is in it (of Strict Open XML none is)")
    pairs = zip(results.worksheets, formulas.worksheets, strict=True)
    titles = [(sheet.title.strip().lower(), sheet, other) for sheet, other in pairs]
    wanted = [found for found in titles if found[0] in names]
    others = [title for title, *_ in titles if title not in (*names, LISTS)]
    return wanted, others, _lost(results, names)


def _lost(book: Any, names: Sequence[str]) -> list[str]:
    """Sheets of a damaged workbook that it names: its parser leaves out what is not there."""
    main = "xl/workbook.xml"
    text = book._archive.read(main) if main in book._archive.namelist() else b""
    named = {title.decode(errors="replace").strip().lower() for title in _LISTED.findall(text)}
    named -= {title.strip().lower() for title in book.sheetnames}
    return [name for name in names if name in named]


def _part(sheet: Any) -> bytes:
    """A sheet's text in the file, elements without the prefix that some programs give them."""
    text = bytes(sheet.parent._archive.read(sheet._worksheet_path))
    return _PREFIX.sub(rb"\1", text) if b":row " in text else text


def _lines(sheet: Any) -> Any:
    sheet.reset_dimensions()  # a file may claim a million columns that it has not
    return sheet.iter_rows(values_only=True, max_col=MAXIMUM_COLUMNS + 1)


def _table(sheet: Any, formulas: Any, place: str, faults: Faults) -> RawTable:
    """A sheet as a table: rows with their numbers, results of formulas, percent as shown."""
    header: list[str] = []
    rows: list[int] = []
    cells: list[tuple[Cell, ...]] = []
    empty = number = 0
    unreadable = RawTable(file=place, unreadable=True)
    both: Iterable[Any] = zip_longest(_lines(sheet), _lines(formulas), fillvalue=())
    if not _FORMULA.search(_part(formulas)):  # a look at the values is enough, in half the time
        both = ((line, line) for line in _lines(sheet))
    for number, (line, written) in enumerate(both, start=1):
        if not _any_filled(written):
            empty += 1
            if empty > EMPTY_ROWS:
                break
            continue
        empty = 0
        if not header:
            header = ["" if cell is None else str(cell).strip() for cell in line]
            while header and not header[-1]:
                header.pop()
            continue
        if not rows and is_title(header, line):
            tell_title(header, place, faults)
            return unreadable
        _check_row(line, written, header, number, place, faults)
        rows.append(number)
        cells.append((tuple(line) + (None,) * len(header))[: len(header)])
        if len(rows) > MAXIMUM_ROWS:
            faults.add(place, f"more than {MAXIMUM_ROWS:,} rows", remedy="split it")
            return unreadable
    last = _last_filled(formulas)
    if last is not None and not 0 < last <= number:
        found = f"something stands in row {last}, below {EMPTY_ROWS:,} empty rows"
        remedy = "delete it, or the empty rows above it"
        faults.add(place, found if last > 0 else f"a row has the number {last}", remedy=remedy)
    if far := _FAR.search(_part(formulas)):
        found = f"something stands in column {far[1].decode()}"
        allowed = f"at most {MAXIMUM_COLUMNS} columns"
        faults.add(place, found, row=int(far[2]), allowed=allowed, remedy="delete it")
    if row := _out_of_order(formulas):
        faults.add(place, "stands in the file behind a later row", row=row, remedy=SAVE)
    for column, row in _twice(formulas):
        faults.add(place, "stands in the file twice", row=row, column=column, remedy=SAVE)
    _check_merged(formulas, rows, len(header), place, faults)
    return by_columns(header, rows, _percents_as_shown(sheet, header, rows, cells), place, faults)


def _out_of_order(sheet: Any) -> int | None:
    """Number of a row that is not above the one before it: the parser would leave rows out."""
    numbers = map(int, _ROW.findall(_part(sheet)))
    return next((below for above, below in pairwise(numbers) if below <= above), None)


def _twice(sheet: Any) -> list[tuple[str, int]]:
    """Column and row of cells of which the parser would take the last one alone, a few of them."""
    cells = _CELL.findall(_part(sheet))
    if len(set(cells)) == len(cells):
        return []
    return [(cell[0].decode(), int(cell[1])) for cell, n in Counter(cells).most_common(8) if n > 1]


def _filled(cell: Any) -> bool:
    return cell is not None and bool(str(cell).strip())


def _any_filled(line: Sequence[Any]) -> bool:
    """Lines come as wide as a table may be: most of their cells are None."""
    return line.count(None) < len(line) and any(map(_filled, line))


def _check_row(
    line: Sequence[Any],
    written: Sequence[Any],
    header: Sequence[str],
    number: int,
    place: str,
    faults: Faults,
) -> None:
    """Faults for formulas that were never worked out, and for cells beside the table."""
    differ = enumerate(zip(line, written, strict=False)) if line != written else ()
    for k, (cell, formula) in differ:
        if cell is None and _filled(formula):
            name = header[k] if k < len(header) else None
            found = "a formula without its result"
            remedy = "open the workbook, let it calculate, and save it; or write the value"
            faults.add(place, found, row=number, column=name, remedy=remedy)
    if _any_filled(line[len(header) :]):
        remedy = "name every column that holds something"
        faults.add(place, "a cell outside the named columns", row=number, remedy=remedy)


def _check_merged(
    sheet: Any, rows: Sequence[int], columns: int, place: str, faults: Faults
) -> None:
    """Cells merged over several rows: only the first holds what is meant for all, or for one."""
    from openpyxl.utils import range_boundaries

    for found in _MERGED.findall(_part(sheet)):
        bounds = range_boundaries(found.decode("ascii", "replace"))
        left, top, _, bottom = (bound or 0 for bound in bounds)
        within = bisect_right(rows, bottom) - bisect_left(rows, top)
        if within > 1 and left <= columns:
            text = f"the cells {found.decode()} are merged: only the first holds what is written"
            faults.add(place, text, remedy="take the merging back and fill in each row")


def _tell_unseen(sheet: Any, table: RawTable, findings: list[Finding]) -> None:
    """Findings for what is read although nobody sees it, or it was struck out."""
    archive, rows = sheet.parent._archive, set(table.rows)
    if rows and sheet.sheet_state != "visible":
        text = "the sheet is hidden, and read like all others: delete it if it is not to count"
        findings.append(Finding(about=table.file, text=text, topic="file"))
    hidden = [int(number) for number in _HIDDEN.findall(_part(sheet))]
    struck = []
    if b"strike" in _styles(archive) and rows:
        struck = [
            number
            for number, line in enumerate(sheet.iter_rows(max_row=max(rows)), start=1)
            if any(cell.value is not None and cell.font.strike for cell in line)
        ]
    for numbers, words in ((hidden, "hidden"), (struck, "struck out")):
        mine = [str(number) for number in numbers if number in rows]
        if mine:
            place = f"rows {listed(mine, 8)} are" if len(mine) > 1 else f"row {mine[0]} is"
            text = f"{place} {words}, and read like all others: delete what is not to count"
            findings.append(Finding(about=table.file, text=text, topic="file"))


def _styles(archive: Any) -> bytes:
    name = "xl/styles.xml"
    return bytes(archive.read(name)) if name in archive.namelist() else b""


def _percents_as_shown(
    sheet: Any, header: Sequence[str], rows: Sequence[int], cells: list[tuple[Cell, ...]]
) -> list[tuple[Cell, ...]]:
    """The rows, where 5 % in a column of percent is 5, though the file holds 0.05."""
    columns = [k for k, name in enumerate(header) if "percent" in name]
    if not columns or not _PERCENT.search(_styles(sheet.parent._archive)):
        return cells
    place = {row: k for k, row in enumerate(rows)}
    for line in sheet.iter_rows(min_col=columns[0] + 1, max_col=columns[-1] + 1):
        for cell in line:
            shown = type(cell.value) in (int, float) and _shows_percent(cell.number_format)
            if shown and cell.row in place and cell.column - 1 in columns:
                row = list(cells[place[cell.row]])
                row[cell.column - 1] = round(float(cell.value) * 100, 12)
                cells[place[cell.row]] = tuple(row)
    return cells


def _shows_percent(shown: str | None) -> bool:
    """True for formats that multiply by 100; a sign in quotes or behind a backslash is only text.

    ECMA-376 part 1, 18.8.31, from memory.
    """
    return "%" in re.sub(r'"[^"]*"|\\.', "", shown or "")
