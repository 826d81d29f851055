"""Workbooks whose XML other programs wrote in another way."""

from __future__ import annotations

import io
import re
import zipfile

import openpyxl
import pytest

from geosand.formats.site_folder import read_site
from tests.formats.test_workbook import (
    DRESSINGS,
    LOADS,
    NO_CSV,
    ROWS,
    with_sheets,
    workbook,
)
from tests.sites import refusal


@pytest.fixture
def with_book(site_folder):
    return lambda content: site_folder("book", files={"records.xlsx": content}, **NO_CSV)


def with_prefixes(content: bytes) -> bytes:
    """The same workbook with every element of its sheets and styles in a prefix, as .NET's
    libraries write it (Namespaces in XML 1.0, section 3)."""
    stream = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(content)) as before,
        zipfile.ZipFile(stream, "w") as after,
    ):
        for name in before.namelist():
            text = before.read(name)
            if "worksheets/" in name or name.endswith("styles.xml"):
                text = re.sub(rb"<(/?)(?=[a-zA-Z])", rb"<\1x-1:", text)
                text = text.replace(b" xmlns=", b" xmlns:x-1=", 1)
            after.writestr(name, text)
    return stream.getvalue()


def test_elements_with_a_prefix_hide_nothing(with_book):
    book = openpyxl.load_workbook(
        io.BytesIO(workbook(dressings=DRESSINGS, loads=LOADS, catches=ROWS))
    )
    book["catches"].row_dimensions[3].hidden = True
    book["catches"]["A4"].font = openpyxl.styles.Font(strike=True)
    book["loads"]["A20000"] = "L2"
    stream = io.BytesIO()
    book.save(stream)
    (below,) = refusal(with_book(with_prefixes(stream.getvalue())))
    assert "something stands in row 20000, below 10,000 empty rows" in below
    del book["loads"]._cells[20_000, 1]
    stream = io.BytesIO()
    book.save(stream)
    told = [str(f.text) for f in read_site(with_book(with_prefixes(stream.getvalue()))).findings]
    assert any(text.startswith("row 3 is hidden") for text in told)
    assert any(text.startswith("row 4 is struck out") for text in told)
    book["catches"].merge_cells("B2:B7")
    stream = io.BytesIO()
    book.save(stream)
    assert "B2:B7 are merged" in refusal(with_book(with_prefixes(stream.getvalue())))[0]


def with_quotes(text: bytes) -> bytes:
    return text.replace(b'"', b"'").replace(b"<c ", b"<c\n").replace(b"<row ", b"<row\t")


def test_attributes_in_single_quotes_and_on_lines_of_their_own_hide_nothing(with_book):
    """XML 1.0, section 3.1: white space before an attribute, quotes of either kind around it."""

    def again(text: bytes) -> bytes:
        first, second, *_ = re.findall(rb"<row .*?</row>", text, re.DOTALL)
        return with_quotes(text.replace(second, second + first))

    sound = workbook(dressings=DRESSINGS, loads=LOADS, catches=ROWS)
    told = [str(f.text) for f in read_site(with_book(with_sheets(sound, with_quotes))).findings]
    assert not any("hidden" in text for text in told)
    found = refusal(with_book(with_sheets(sound, again)))
    assert sum("row 1: stands in the file behind a later row" in line for line in found) == 3
    assert sum(", A: stands in the file twice" in line for line in found) == 3
    book = openpyxl.load_workbook(io.BytesIO(sound))
    book["catches"].row_dimensions[3].hidden = True
    stream = io.BytesIO()
    book.save(stream)
    quoted = with_sheets(stream.getvalue(), with_quotes)
    told = [str(f.text) for f in read_site(with_book(quoted)).findings]
    assert any(text.startswith("row 3 is hidden") for text in told)
    book["catches"].merge_cells("B2:B7")
    book["loads"]["LA2"] = 5
    stream = io.BytesIO()
    book.save(stream)
    found = refusal(with_book(with_sheets(stream.getvalue(), with_quotes)))
    assert any("B2:B7 are merged" in line for line in found)
    assert any("something stands in column LA" in line for line in found)
