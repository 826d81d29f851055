"""Tables to a workbook (.xlsx): heads with units, frozen panes, real numbers and dates, no formula.

The same tables give the same bytes: times inside the file are those of ``day``.
"""

from __future__ import annotations

import datetime
import io
import re
import zipfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

Value = str | float | int | bool | datetime.date | None

#: What a spreadsheet program would take for a formula.
FORMULA = ("=", "+", "-", "@", "\t", "\r")
DAY_FORMAT = "yyyy-mm-dd"
_NARROWEST, _WIDEST = 9, 60
_EARLIEST = (1980, 1, 1, 0, 0, 0)  #: the first time that a ZIP archive can hold
_FIRST = datetime.date(*_EARLIEST[:3])
_MODIFIED = re.compile(rb"(<dcterms:modified[^>]*>)[^<]*")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class SheetColumn:
    """A column's head with its unit, the format of its numbers, and whether its text is long."""

    head: str
    format: str = ""
    long: bool = False


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Sheet:
    """One table; ``frozen`` is how many columns stay in sight."""

    title: str
    columns: Sequence[SheetColumn]
    rows: Sequence[Sequence[Value]]
    frozen: int = 1


def workbook(sheets: Sequence[Sheet], *, title: str = "", day: datetime.date = _FIRST) -> bytes:
    """The file's content; empty tables keep their heads."""
    import openpyxl

    book = openpyxl.Workbook()
    book.remove(book.worksheets[0])
    book.properties.title = _printed(title) or None
    for sheet in sheets:
        _fill(book.create_sheet(sheet.title), sheet)
    return content_of(book, day)


def content_of(book: Any, day: datetime.date = _FIRST) -> bytes:
    """The file of an openpyxl ``book``, made on ``day`` at whatever hour."""
    from openpyxl.writer.excel import ExcelWriter

    book.properties.creator = "geosand"
    book.properties.created = datetime.datetime.combine(day, datetime.time())
    stream = io.BytesIO()
    ExcelWriter(book, _Settled(stream, day)).save()
    return stream.getvalue()


class _Settled(zipfile.ZipFile):
    """An archive that does not tell the hour at which it is made, which may be before 1980."""

    def __init__(self, stream: io.BytesIO, day: datetime.date) -> None:
        super().__init__(stream, "w", zipfile.ZIP_DEFLATED)
        self._modified = rb"\g<1>" + day.isoformat().encode() + b"T00:00:00Z"

    def write(self, filename: Any, arcname: Any = None, *_: Any) -> None:
        """A file of openpyxl, as ``writestr`` does."""
        self.writestr(arcname, Path(filename).read_bytes())

    def writestr(self, name: Any, data: Any, *_: Any) -> None:
        """An entry with the earliest time that there is."""
        if name == "docProps/core.xml":
            data = _MODIFIED.sub(self._modified, data)
        super().writestr(zipfile.ZipInfo(name, _EARLIEST), data, zipfile.ZIP_DEFLATED)


def put(cell: Any, value: Value) -> None:
    """Numbers as numbers; text as text, whatever it begins with: no formula is ever written."""
    if not isinstance(value, str):
        cell.value = value
        return
    cell.value = _printed(value)
    if value.startswith(FORMULA):
        cell.data_type = "s"
        cell.quotePrefix = True


def _printed(text: str) -> str:
    from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE

    return ILLEGAL_CHARACTERS_RE.sub("·", text)


def _fill(page: Any, sheet: Sheet) -> None:
    from openpyxl.styles import Alignment, Font
    from openpyxl.utils import get_column_letter

    bold, head_set = Font(bold=True), Alignment(wrap_text=True, vertical="bottom")
    wrapped = Alignment(wrap_text=True, vertical="top")
    for number, column in enumerate(sheet.columns, start=1):
        head = page.cell(row=1, column=number)
        put(head, column.head)
        head.font, head.alignment = bold, head_set
        page.column_dimensions[get_column_letter(number)].width = _width(sheet, number - 1)
    for line, row in enumerate(sheet.rows, start=2):
        for number, (value, column) in enumerate(zip(row, sheet.columns, strict=True), start=1):
            cell = page.cell(row=line, column=number)
            put(cell, value)
            if column.format and value is not None:
                cell.number_format = column.format
            if column.long:
                cell.alignment = wrapped
    page.freeze_panes = f"{get_column_letter(sheet.frozen + 1)}2"
    if sheet.rows:
        page.auto_filter.ref = f"A1:{get_column_letter(len(sheet.columns))}{len(sheet.rows) + 1}"
    _for_paper(page)


def _for_paper(page: Any) -> None:
    """One page wide, lying, with the head on every page."""
    page.page_setup.orientation = "landscape"
    page.page_setup.fitToWidth, page.page_setup.fitToHeight = 1, 0
    page.sheet_properties.pageSetUpPr.fitToPage = True
    page.print_title_rows = "1:1"


def _width(sheet: Sheet, k: int) -> float:
    """Wide enough for the longest text and for each word of the head."""
    column = sheet.columns[k]
    texts = [len(row[k]) for row in sheet.rows if isinstance(row[k], str)]  # type: ignore[arg-type]
    words = [len(word) + 1 for word in column.head.split()]
    numbers = [12] if column.format else []
    return min(max([_NARROWEST, *texts, *words, *numbers]) + 2, 90 if column.long else _WIDEST)
