"""CSV as spreadsheets write it: UTF-8 (with or without BOM), UTF-16, Windows-1252; , ; or tab."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence

from geosand.errors import Faults, Finding
from geosand.site.cells import Cell, RawTable, quoted

MAXIMUM_ROWS = 200_000
MAXIMUM_COLUMNS = 300
MAXIMUM_LINES = 1_000_000  #: blank ones counted
_SEPARATOR_LINE = re.compile(
    r'"?sep=([,;\t])"?[,;\t]*(?:\r\n?|\n)', re.IGNORECASE
)  #: a spreadsheet's own first line


def decode(content: bytes, file: str, faults: Faults, findings: list[Finding]) -> str | None:
    """Text of a file; None with a fault for bytes that are no text."""
    wide = content[:2] in (b"\xff\xfe", b"\xfe\xff")
    for encoding in ("utf-16",) if wide else ("utf-8-sig", "cp1252"):
        try:
            text = content.decode(encoding)
        except UnicodeDecodeError:
            continue
        if "\0" in text:
            break
        if encoding == "cp1252":
            said = "is not UTF-8; it is read as Windows-1252: look at names with accents"
            findings.append(Finding(about=file, text=said, topic="file"))
        return text.lstrip("\ufeff")
    faults.add(file, "is not a text file", remedy="save it as text in UTF-8")
    return None


def read_csv(content: bytes, file: str, faults: Faults, findings: list[Finding]) -> RawTable:
    """Rows by column, blank rows left out; row numbers as a spreadsheet shows them.

    A quoted cell may hold line breaks: its row is one row, as in a spreadsheet.
    """
    text = decode(content, file, faults, findings)
    if text is None:
        return RawTable(file=file, rows=[], columns={}, unreadable=True)
    if text.lstrip()[:15].lower().startswith(("<!doctype", "<html")):
        faults.add(file, "is a web page, not CSV", remedy="download or export the table again")
        return RawTable(file=file, rows=[], columns={}, unreadable=True)
    said = _SEPARATOR_LINE.match(text)
    separator = said[1] if said else _separator(text)
    stream = io.StringIO(text[said.end() :] if said else text, newline="")
    lines = csv.reader(stream, delimiter=separator, strict=True, skipinitialspace=True)
    header: list[str] = []
    rows: list[int] = []
    cells: list[list[str]] = []
    number = 0
    try:
        for number, line in enumerate(lines, start=1):
            if not (line and line[0].strip()) and not "".join(line).strip():
                if number > MAXIMUM_LINES:
                    faults.add(file, f"more than {MAXIMUM_LINES:,} lines", remedy="split the file")
                    return RawTable(file=file, rows=[], columns={}, unreadable=True)
                continue
            if not header:
                header = [cell.strip() for cell in line]
            elif not rows and is_title(header, line):
                tell_title(header, file, faults)
                return RawTable(file=file, rows=[], columns={}, unreadable=True)
            elif not rows and len(header) == 1:
                found = f"the first line, {quoted(header[0])}, names one column only"
                faults.add(file, found, remedy="write , or ; or a tab between the columns")
                return RawTable(file=file, rows=[], columns={}, unreadable=True)
            elif len(line) == len(header):
                rows.append(number)
                cells.append(line)
            elif any(cell.strip() for cell in line[len(header) :]):
                found = f"{len(line)} cells for {len(header)} columns"
                remedy = "put a cell that holds the separator itself into quotes"
                faults.add(file, found, row=number, remedy=remedy)
            else:
                rows.append(number)
                cells.append((line + [""] * len(header))[: len(header)])
            if len(rows) > MAXIMUM_ROWS:
                faults.add(file, f"more than {MAXIMUM_ROWS:,} rows", remedy="split the file")
                return RawTable(file=file, rows=[], columns={}, unreadable=True)
    except csv.Error as problem:
        found = f"is not CSV: {problem}"
        faults.add(file, found, row=number + 1, remedy="check the quotes there and above")
        return RawTable(file=file, rows=[], columns={}, unreadable=True)
    if not header:
        faults.add(file, "is empty", remedy="its first line names the columns")
        return RawTable(file=file, rows=[], columns={}, unreadable=True)
    return by_columns(header, rows, cells, file, faults)


def _separator(text: str) -> str:
    first = next((line for line in io.StringIO(text) if line.strip()), "")
    return max(",;\t", key=first.count)


def is_title(header: Sequence[str], line: Sequence[Cell]) -> bool:
    """True where the first line holds one text and the next ones a table: what stands above it."""
    return sum(map(bool, header)) == 1 and sum(cell not in (None, "") for cell in line) > 2


def tell_title(header: Sequence[str], file: str, faults: Faults) -> None:
    """The fault of a table whose first line is no names of columns."""
    found = f"the first line is {quoted(''.join(header))} and names no columns"
    faults.add(file, found, remedy="delete what stands above the names of the columns")


def by_columns(
    header: Sequence[str],
    rows: Sequence[int],
    cells: Sequence[Sequence[Cell]],
    file: str,
    faults: Faults,
) -> RawTable:
    """Rows of cells as a table; faults for columns without a name, doubled or far too many."""
    if len(header) > MAXIMUM_COLUMNS:
        faults.add(file, f"has {len(header)} columns", allowed=f"at most {MAXIMUM_COLUMNS}")
        return RawTable(file=file, rows=[], columns={}, unreadable=True)
    columns: dict[str, list[Cell]] = {}
    upright = list(zip(*cells, strict=False)) if cells else [()] * len(header)
    for number, name in enumerate(header):
        column = _stripped(upright[number])
        if not name:
            if any(c is not None and c != "" for c in column):
                faults.add(file, f"column {number + 1} has no name", row=1, remedy="name it")
        elif name in columns:
            found = f"column {quoted(name)} stands twice"
            faults.add(file, found, row=1, remedy="keep one of them")
        else:
            columns[name] = column
    return RawTable(file=file, rows=rows, columns=columns)


def _stripped(column: Sequence[Cell]) -> list[Cell]:
    """The cells, texts without space around them."""
    if set(map(type, column)) == {str}:
        whole = "".join(column)  # type: ignore[arg-type]
        if whole.split(maxsplit=1) == [whole]:  # no space in any of them
            return list(column)
    return [c.strip() if isinstance(c, str) else c for c in column]
