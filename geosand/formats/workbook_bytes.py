"""A workbook before it is opened: whether it would cost too much, and why bytes are none at all."""

from __future__ import annotations

import io
import re
import zipfile

MAXIMUM_UNPACKED = 200_000_000
MAXIMUM_BESIDE = 20_000_000  #: bytes of a part that is neither a sheet nor the texts of sheets
MAXIMUM_CELLS = 4_000_000  #: of all sheets
MAXIMUM_TEXTS = 1_000_000  #: that differ
LONGEST_SHEET, WIDEST_ROW = 1_048_576, 16_384  #: what spreadsheet programs hold
#: How Python says that a text is no number.
_NO_NUMBER = re.compile(
    r"(?:invalid literal for int\(\)|could not convert string to float).*?: (.*)"
)
_OLD = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"  #: start of an OLE compound file


def no_workbook(content: bytes, problem: Exception) -> str:
    """Why bytes are no workbook, in words that help who has the file."""
    if content.startswith(_OLD):
        return "is an old workbook (.xls), or has a password"
    if not content.startswith(b"PK"):
        start = content[:1000].lstrip().lower()
        if b"<html" in start or b"<table" in start:
            return "is a web page that is called .xlsx"
        text = bool(start) and b"\0" not in start
        return "is no workbook (.xlsx)" + (
            ": it holds plain text, as a CSV file does" if text else ""
        )
    if b"opendocument" in content[:200]:
        return "is a workbook of another kind (.ods)"
    reason = str(problem).partition("\n")[0].replace(" from None", "")[:80].rstrip(".")
    if odd := _NO_NUMBER.match(reason):
        return f"holds {odd[1]} in a cell of numbers"
    own = isinstance(problem, (zipfile.BadZipFile, OSError, ValueError)) and reason
    return f"is not a workbook that can be read{f': {reason}' if own else ''}"


def too_much(content: bytes) -> str:
    """Why a workbook would cost more memory and time than records can need; "" = it does not."""
    cells = 0
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        if sum(entry.file_size for entry in archive.infolist()) > MAXIMUM_UNPACKED:
            return f"unpacks to more than {MAXIMUM_UNPACKED // 1_000_000} MB"
        for entry in archive.infolist():
            if "worksheets/" in entry.filename:
                part = archive.read(entry)
                if part.count(b"row") > 4 * LONGEST_SHEET:  # its own limit is told at reading
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
