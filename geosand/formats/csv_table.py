"""CSV as spreadsheets write it: UTF-8 (with or without BOM), UTF-16, Windows-1252; , ; or tab."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Iterator, Sequence
from itertools import chain

from geosand.errors import Faults, Finding, listed
from geosand.site.cells import NUMBER, Cell, RawTable, quoted

SEPARATORS = ",;\t"
MAXIMUM_ROWS = 200_000
MAXIMUM_COLUMNS = 300
MAXIMUM_LINES = 1_000_000  #: blank ones counted
_SEPARATOR_LINE = re.compile(
    r'"?sep=([,;|\t])"?[,;|\t]*(?:\r\n?|\n)', re.IGNORECASE
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


class _Told(Exception):
    """There is no table; why is among the faults."""


def read_csv(
    content: bytes,
    file: str,
    faults: Faults,
    findings: list[Finding],
    separators: str = SEPARATORS,
) -> RawTable:
    """Rows by column, blank rows left out; row numbers as a spreadsheet shows them.

    A quoted cell may hold line breaks: its row is one row, as in a spreadsheet. Where there is no
    table a fault says why.
    """
    text = decode(content, file, faults, findings)
    try:
        if text is None:
            raise _Told
        if text.lstrip()[:15].lower().startswith(("<!doctype", "<html")):
            faults.add(file, "is a web page, not CSV", remedy="download or export the table again")
            raise _Told
        said = _SEPARATOR_LINE.match(text)
        separator = said[1] if said else _separator(text, separators)
        stream = io.StringIO(text[said.end() :] if said else text, newline="")
        lines = csv.reader(stream, delimiter=separator, strict=True, skipinitialspace=True)
        header, rows, cells, widths = _cells(_numbered(lines, file, faults), file, faults)
    except _Told:
        return RawTable(file=file, unreadable=True)
    odds = [*_odd_lines(len(header), rows, widths, ended=text.endswith(("\n", "\r")))]
    if separator == ";" and (doubt := _marked_thousands(cells)):
        odds.append(doubt)
    for odd in odds:
        findings.append(Finding(about=file, text=odd, topic="file"))
    return by_columns(header, rows, cells, file, faults)


def _odd_lines(
    columns: int, rows: Sequence[int], widths: Sequence[int], *, ended: bool
) -> Iterator[str]:
    """What is odd about a last line that does not end, and rows with more cells than columns."""
    if not ended and not rows:
        yield "holds no more than one line, which does not end: was the file cut off?"
    elif not ended and widths[-1] < min([columns, *widths[:-1]]):
        cells = f"has {widths[-1]} of {columns} cells and no end of its line"
        yield f"row {rows[-1]}, the last, {cells}: was the file cut off?"
    wide = [str(row) for row, width in zip(rows, widths, strict=True) if width > columns]
    if wide and (len(wide) < len(rows) or len(rows) == 1):
        place = f"rows {listed(wide, 8)} have" if len(wide) > 1 else f"row {wide[0]} has"
        yield f"{place} more cells than columns, the last blank: look for a separator in a cell"


def _marked_thousands(cells: Iterable[Sequence[str]]) -> str:
    """What to ask where all points may mark thousands, as where a comma is the decimal mark.

    Spreadsheets write ; between cells there.
    """
    figures = (cell for line in cells for cell in line if "." in cell and NUMBER.fullmatch(cell))
    first = next(figures, "")
    marked = re.compile(r"\s*[+-]?[1-9]\d{0,2}\.\d{3}\s*", re.ASCII)
    if not first or not all(map(marked.fullmatch, chain((first,), figures))):
        return ""
    number = first.strip()
    plain = number.replace(".", "")
    return f"{number} is read with its point as the decimal mark: write {plain} if that is meant"


def _numbered(
    lines: Iterable[list[str]], file: str, faults: Faults
) -> Iterator[tuple[int, list[str]]]:
    """The rows that are not blank, with their numbers."""
    number = 0
    try:
        for number, line in enumerate(lines, start=1):
            if (line and line[0].strip()) or "".join(line).strip():
                yield number, line
            elif number > MAXIMUM_LINES:
                faults.add(file, f"more than {MAXIMUM_LINES:,} lines", remedy="split the file")
                raise _Told
    except csv.Error as problem:
        words = {"unexpected end": "a quote that begins there is never closed"}
        words |= {"field larger": "a cell of more than 131,072 characters begins there"}
        told = next((said for start, said in words.items() if start in str(problem)), str(problem))
        remedy = "check the quotes there and above"
        faults.add(file, f"is not CSV: {told}", row=number + 1, remedy=remedy)
        raise _Told from problem


def _cells(
    lines: Iterator[tuple[int, list[str]]], file: str, faults: Faults
) -> tuple[list[str], list[int], list[list[str]], list[int]]:
    """Names of the columns, numbers of the rows, a cell a column of each, and how many it had."""
    header = [cell.strip() for cell in next(lines, (0, []))[1]]
    if not header:
        faults.add(file, "is empty", remedy="its first line names the columns")
        raise _Told
    width = len(header)
    rows: list[int] = []
    cells: list[list[str]] = []
    widths: list[int] = []
    for number, line in lines:
        if not rows:
            _check_header(header, line, file, faults)
        if len(line) > width and any(cell.strip() for cell in line[width:]):
            found = f"{len(line)} cells for {width} columns"
            remedy = "put a cell that holds the separator itself into quotes"
            faults.add(file, found, row=number, remedy=remedy)
            continue
        rows.append(number)
        widths.append(len(line))
        cells.append(line if len(line) == width else (line + [""] * width)[:width])
        if len(rows) > MAXIMUM_ROWS:
            faults.add(file, f"more than {MAXIMUM_ROWS:,} rows", remedy="split the file")
            raise _Told
    return header, rows, cells, widths


def _check_header(header: list[str], below: list[str], file: str, faults: Faults) -> None:
    """A fault, and the end, where the first line names no columns."""
    if is_title(header, below):
        tell_title(header, file, faults)
        raise _Told
    if len(header) == 1:
        found = f"the first line, {quoted(header[0])}, names one column only"
        remedy = "delete it if it is a title; else write , or ; or a tab between the columns"
        faults.add(file, found, remedy=remedy)
        raise _Told


def _separator(text: str, separators: str) -> str:
    first = next((line for line in io.StringIO(text) if line.strip()), "")
    return max(separators, key=first.count)


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
        return RawTable(file=file, unreadable=True)
    columns: dict[str, list[Cell]] = {}
    rows, cells = _without_heads(header, rows, cells, file, faults)
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


def _without_heads(
    header: Sequence[str],
    rows: Sequence[int],
    cells: Sequence[Sequence[Cell]],
    file: str,
    faults: Faults,
) -> tuple[Sequence[int], Sequence[Sequence[Cell]]]:
    """The rows but those that name the columns once more, as where tables were pasted together."""
    again = [k for k, line in enumerate(cells) if line[0] == header[0] and _is_head(line, header)]
    for k in again:
        found = "names the columns once more"
        faults.add(
            file, found, row=rows[k], remedy="delete this row, if those below have the same columns"
        )
    if not again:
        return rows, cells
    left = sorted(set(range(len(rows))) - set(again))
    return [rows[k] for k in left], [cells[k] for k in left]


def _is_head(line: Sequence[Cell], header: Sequence[str]) -> bool:
    pairs = zip(line, header, strict=False)
    return any(header) and all((cell or "") == name for cell, name in pairs)


def _stripped(column: Sequence[Cell]) -> list[Cell]:
    """The cells, texts without space around them."""
    if set(map(type, column)) == {str}:
        whole = "".join(column)  # type: ignore[arg-type]
        if whole.split(maxsplit=1) == [whole]:  # no space in any of them
            return list(column)
    return [c.strip() if isinstance(c, str) else c for c in column]
