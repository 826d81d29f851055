"""CSV as spreadsheets write it: UTF-8 (with or without BOM), UTF-16, Windows-1252; , ; or tab."""

from __future__ import annotations

import csv
import io

from geosand.errors import Faults
from geosand.site.reading import Cell, RawTable, quoted

MAXIMUM_ROWS = 1_000_000


def decode(content: bytes, file: str, faults: Faults) -> str:
    """Text of a file; a fault for bytes that are no text."""
    if content[:2] in (b"\xff\xfe", b"\xfe\xff"):
        encodings = ["utf-16"]
    else:
        encodings = ["utf-8-sig", "cp1252"]
    for encoding in encodings:
        try:
            text = content.decode(encoding)
        except UnicodeDecodeError:
            continue
        if "\0" in text:
            break
        return text
    faults.add(file, "is not a text file", remedy="save it as CSV, UTF-8")
    return ""


def read_csv(content: bytes, file: str, faults: Faults) -> RawTable:
    """Rows by column; row numbers as a spreadsheet counts lines, blank lines left out."""
    text = decode(content, file, faults)
    lines = csv.reader(io.StringIO(text, newline=""), delimiter=_delimiter(text), strict=True)
    header: list[str] | None = None
    rows: list[int] = []
    cells: list[list[str]] = []
    start = 1
    try:
        for line in lines:
            number, start = start, lines.line_num + 1
            if not any(cell.strip() for cell in line):
                continue
            if header is None:
                header = [cell.strip() for cell in line]
                continue
            if any(cell.strip() for cell in line[len(header) :]):
                faults.add(
                    file,
                    f"{len(line)} cells for {len(header)} columns",
                    row=number,
                    remedy="put a cell that holds the separator itself into quotes",
                )
                continue
            rows.append(number)
            cells.append((line + [""] * len(header))[: len(header)])
            if len(rows) > MAXIMUM_ROWS:
                faults.add(file, f"more than {MAXIMUM_ROWS:,} rows", remedy="split the file")
                break
    except csv.Error as problem:
        faults.add(
            file, f"is not CSV: {problem}", row=lines.line_num, remedy="check the quotes there"
        )
    if header is None:
        faults.add(file, "is empty", remedy="its first line names the columns")
        return RawTable(file=file, rows=[], columns={})
    return RawTable(file=file, rows=rows, columns=_columns(header, cells, file, faults))


def _delimiter(text: str) -> str:
    first = next((line for line in text.splitlines() if line.strip()), "")
    return max(",;\t", key=first.count)


def _columns(
    header: list[str], cells: list[list[str]], file: str, faults: Faults
) -> dict[str, list[Cell]]:
    columns: dict[str, list[Cell]] = {}
    for number, name in enumerate(header):
        column: list[Cell] = [row[number].strip() for row in cells]
        if not name:
            if any(column):
                faults.add(file, f"column {number + 1} has no name", row=1, remedy="name it")
        elif name in columns:
            faults.add(
                file, f"column {quoted(name)} stands twice", row=1, remedy="keep one of them"
            )
        else:
            columns[name] = column
    return columns
