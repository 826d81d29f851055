"""One workbook of records (.xlsx) in place of the CSV files."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Sequence
from typing import Any

from geosand.errors import Faults
from geosand.site.reading import Cell, RawTable, quoted

MAXIMUM_UNPACKED = 500_000_000
MAXIMUM_ROWS = 200_000


def read_records(
    content: bytes, file: str, sheets: Sequence[str], faults: Faults
) -> dict[str, RawTable]:
    """The named sheets as tables; other sheets are left alone. Rows are numbered as shown."""
    import openpyxl
    from openpyxl.utils.exceptions import InvalidFileException

    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            if sum(entry.file_size for entry in archive.infolist()) > MAXIMUM_UNPACKED:
                faults.add(file, "unpacks to more than 500 MB", remedy="save it anew")
                return {}
        book = openpyxl.load_workbook(io.BytesIO(content), read_only=True, data_only=True)
    except (zipfile.BadZipFile, InvalidFileException, KeyError, ValueError, OSError) as problem:
        faults.add(file, f"is not a workbook: {str(problem)[:80]}", remedy="save it as .xlsx")
        return {}
    tables: dict[str, RawTable] = {}
    for sheet in book.worksheets:
        name = sheet.title.strip().lower()
        if name in sheets:
            tables[name] = _sheet(sheet, f"{file}, sheet {name}", faults)
    book.close()
    return tables


def _sheet(sheet: Any, place: str, faults: Faults) -> RawTable:
    header: list[str] = []
    rows: list[int] = []
    cells: list[tuple[Cell, ...]] = []
    for number, line in enumerate(sheet.iter_rows(values_only=True), start=1):
        if not any(cell is not None and str(cell).strip() for cell in line):
            continue
        if not header:
            header = ["" if cell is None else str(cell).strip() for cell in line]
            continue
        rows.append(number)
        cells.append((line + (None,) * len(header))[: len(header)])
        if len(rows) > MAXIMUM_ROWS:
            faults.add(place, f"more than {MAXIMUM_ROWS:,} rows", remedy="split it")
            break
    columns: dict[str, list[Cell]] = {}
    for k, name in enumerate(header):
        if name in columns:
            faults.add(place, f"column {quoted(name)} stands twice", row=1, remedy="keep one")
        elif name:
            columns[name] = [row[k] for row in cells]
    return RawTable(file=place, rows=rows, columns=columns)
