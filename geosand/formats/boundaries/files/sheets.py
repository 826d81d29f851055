"""Sheets of a workbook as tables of text: offices hand over points and shapes in spreadsheets."""

from __future__ import annotations

import csv
import io
import warnings
from pathlib import Path
from typing import Any

from geosand.errors import Refused, refused
from geosand.formats.boundaries.files.survey_heads import HEAD_WITHIN, says_outlines, says_places
from geosand.formats.workbook_bytes import no_workbook, too_much

LONGEST = 200_000  #: rows of a sheet
FEWEST_NUMBERS = 2  #: of a row that can be a place


def sheets_of(path: Path, folder: Path) -> tuple[list[tuple[Path, str]], list[str]]:
    """A CSV copy in ``folder`` of each sheet of places, with its name; other sheets.

    Of places are those with heads that say so or with shapes; where there is none, those with
    numbers. Formulas count by their results. Raises Refused for what is no workbook or too much.
    """
    read = read_sheets(path)
    sheets = {title: rows for title, rows in read if any(map(_tells, rows))}
    titles = [title for title, rows in sheets.items() if _is_sure(rows)] or list(sheets)
    if not titles:
        raise refused(path.name, "has no sheet of points or shapes", allowed="rows of coordinates")
    whole = {title: _with_whole_heads(sheets[title]) for title in titles}
    if len(titles) > 1 and not any(map(_has_outlines, whole.values())):
        whole = {title: _with_title(rows, title) for title, rows in whole.items()}
    copies = []
    for number, (title, rows) in enumerate(whole.items(), start=1):
        copy = folder / f"sheet{number}.csv"
        with copy.open("w", newline="", encoding="utf-8") as file:
            csv.writer(file).writerows(rows)
        copies.append((copy, f"{path.name}/{title}"))
    return copies, [f"sheet {title}" for title, _ in read if title not in titles]


def read_sheets(path: Path) -> list[tuple[str, list[list[Any]]]]:
    """Name and rows of each sheet. Raises Refused for what is no workbook or too much."""
    import openpyxl

    content = path.read_bytes()
    try:
        if found := too_much(content):
            raise refused(path.name, found, remedy="save it anew, without what is not needed")
        with warnings.catch_warnings():  # of what openpyxl would not write again
            warnings.simplefilter("ignore", UserWarning)
            book = openpyxl.load_workbook(io.BytesIO(content), read_only=True, data_only=True)
            sheets = [(sheet.title, _rows(sheet)) for sheet in book.worksheets]
    except (MemoryError, Refused):
        raise
    except Exception as problem:  # foreign bytes make the parser fail in ways no list holds
        raise refused(path.name, no_workbook(content, problem)) from problem
    if any(len(rows) > LONGEST for _, rows in sheets):
        found = f"has a sheet of more than {LONGEST:,} rows"
        raise refused(path.name, found, remedy="export only the surfaces of this site")
    return sheets


def _rows(sheet: Any) -> list[list[Any]]:
    sheet.reset_dimensions()  # a file may claim a million columns that it has not
    rows = sheet.iter_rows(values_only=True, max_col=200, max_row=LONGEST + 1)
    return [[_in_a_line(cell) for cell in row] for row in rows]


def _in_a_line(cell: Any) -> Any:
    """A cell without breaks of lines, as heads have them: a survey's text is read by lines."""
    return " ".join(cell.splitlines()) if isinstance(cell, str) else "" if cell is None else cell


def _heads_of(rows: list[list[Any]]) -> int | None:
    """The first row that says which columns are places."""
    heads = enumerate(rows[:HEAD_WITHIN])
    return next((k for k, row in heads if says_places([*map(str, row)])), None)


def _has_outlines(rows: list[list[Any]]) -> bool:
    at = _heads_of(rows)
    return at is not None and says_outlines([*map(str, rows[at])])


def _with_whole_heads(rows: list[list[Any]]) -> list[list[Any]]:
    """The rows with heads that cells merged over two rows leave in the upper one."""
    at = _heads_of(rows)
    if not at:
        return rows
    pairs = zip(rows[at - 1], rows[at], strict=True)
    whole = [cell if str(cell).strip() else above for above, cell in pairs]
    return [*rows[:at], whole, *rows[at + 1 :]]


def _with_title(rows: list[list[Any]], title: str) -> list[list[Any]]:
    """The rows of places with the name of their sheet as what tells their outline from others."""
    at = _heads_of(rows)
    if at is None:
        return rows
    return [["string" if k == at else title, *row] for k, row in enumerate(rows)]


def _tells(row: list[Any]) -> bool:
    """Whether a row can be a place, or holds a shape as text."""
    numbers = sum(isinstance(cell, (int, float)) for cell in row)
    return numbers >= FEWEST_NUMBERS or _has_shape(row)


def _has_shape(row: list[Any]) -> bool:
    return any("((" in str(cell) for cell in row)


def _is_sure(rows: list[list[Any]]) -> bool:
    heads = ([str(cell) for cell in row] for row in rows[:HEAD_WITHIN])
    return any(map(says_places, heads)) or any(map(_has_shape, rows))
