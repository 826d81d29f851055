"""One workbook of records (.xlsx) in place of the CSV files."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Sequence
from itertools import zip_longest
from typing import Any

from geosand.errors import Faults
from geosand.formats.csv_table import MAXIMUM_COLUMNS, MAXIMUM_ROWS, by_columns
from geosand.site.cells import Cell, RawTable

MAXIMUM_UNPACKED = 200_000_000
EMPTY_ROWS = 10_000  #: so many in a row, and nothing below them is looked at


def read_records(
    content: bytes, file: str, sheets: Sequence[str], faults: Faults
) -> dict[str, RawTable]:
    """The named sheets as tables; other sheets are left alone. Rows are numbered as shown."""
    tables: dict[str, RawTable] = {}
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            if sum(entry.file_size for entry in archive.infolist()) > MAXIMUM_UNPACKED:
                found = f"unpacks to more than {MAXIMUM_UNPACKED // 1_000_000} MB"
                faults.add(file, found, remedy="save it anew, without what is not needed")
                return {}
        for name, sheet, formulas in _sheets(content, sheets):
            place = f"{file}, sheet {name}"
            if name in tables:
                faults.add(place, "there are two sheets of this name", remedy="keep one of them")
            tables[name] = _table(sheet, formulas, place, faults)
    except Exception as problem:  # foreign bytes make the parser fail in ways no list holds
        found = f"is not a workbook that can be read: {str(problem)[:80] or type(problem).__name__}"
        faults.add(file, found, remedy="open it in a spreadsheet program and save it as .xlsx")
        return {}
    return tables


def _sheets(content: bytes, names: Sequence[str]) -> list[tuple[str, Any, Any]]:
    """Wanted sheets twice: with the results of formulas, and with the formulas themselves."""
    import openpyxl

    results = openpyxl.load_workbook(io.BytesIO(content), read_only=True, data_only=True)
    formulas = openpyxl.load_workbook(io.BytesIO(content), read_only=True, data_only=False)
    pairs = zip(results.worksheets, formulas.worksheets, strict=True)
    titles = [(sheet.title.strip().lower(), sheet, other) for sheet, other in pairs]
    return [found for found in titles if found[0] in names]


def _lines(sheet: Any) -> Any:
    sheet.reset_dimensions()  # a file may claim a million columns that it has not
    return sheet.iter_rows(values_only=True, max_col=MAXIMUM_COLUMNS + 1)


def _table(sheet: Any, formulas: Any, place: str, faults: Faults) -> RawTable:
    header: list[str] = []
    rows: list[int] = []
    cells: list[tuple[Cell, ...]] = []
    empty = 0
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
    return by_columns(header, rows, cells, place, faults)
