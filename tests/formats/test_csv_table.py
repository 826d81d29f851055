"""CSV as spreadsheets write it."""

from __future__ import annotations

import pytest

from geosand.errors import Faults
from geosand.formats.csv_table import read_csv


def read(content: bytes):
    faults, findings = Faults(), []
    table = read_csv(content, "t.csv", faults, findings)
    return table, [str(f) for f in faults.found], [str(f) for f in findings]


@pytest.mark.parametrize(
    ("content", "text"),
    [
        (b"", "t.csv: is empty. Its first line names the columns."),
        (b" \n\n,,\n", "t.csv: is empty. Its first line names the columns."),
        (b"a\0b", "t.csv: is not a text file. Save it as text in UTF-8."),
        ("a,b".encode("utf-16-le"), "t.csv: is not a text file. Save it as text in UTF-8."),
        (b"\xff\xfea", "t.csv: is not a text file. Save it as text in UTF-8."),
        (b"\x81\x8d", "t.csv: is not a text file. Save it as text in UTF-8."),
        (
            b"a,b\n1,2,3\n",
            "t.csv, row 2: 3 cells for 2 columns. Put a cell that holds the separator"
            " itself into quotes.",
        ),
        (b"a,a\n1,2\n", "t.csv, row 1: column 'a' stands twice. Keep one of them."),
        (b"a,,c\n1,2,3\n", "t.csv, row 1: column 2 has no name. Name it."),
        (
            b",".join(b"c%d" % k for k in range(301)),
            "t.csv: has 301 columns; allowed: at most 300.",
        ),
    ],
)
def test_faults(content, text):
    assert read(content)[1] == [text]


def test_an_unclosed_quote_names_the_row_where_it_began():
    _, faults, _ = read(b'a,b\n1,2\n"3,4\n5,6\n')
    assert len(faults) == 1
    assert faults[0].startswith("t.csv, row 3: is not CSV: ")
    assert faults[0].endswith("Check the quotes there and above.")


def test_rows_are_those_of_a_spreadsheet():
    table, faults, _ = read(b'\na,b\n\n"two\nlines",1\n,\n3,4\n')
    assert list(table.rows) == [4, 6]
    assert table.columns == {"a": ["two\nlines", "3"], "b": ["1", "4"]}
    assert faults == []


def test_short_rows_are_filled_with_blanks():
    table, faults, _ = read(b"a,b,c\n1\n")
    assert table.columns == {"a": ["1"], "b": [""], "c": [""]}
    assert faults == []


def test_a_separator_inside_quotes_is_text():
    table, _, _ = read(b'a;b\n"1;2";3\n')
    assert table.columns == {"a": ["1;2"], "b": ["3"]}


def test_too_many_rows():
    _, faults, _ = read(b"a,b\n" + b"1,2\n" * 200_001)
    assert faults == ["t.csv: more than 200,000 rows. Split the file."]


def test_a_finding_tells_the_encoding():
    table, _, findings = read("a,b\nGrün,1\n".encode("cp1252"))
    assert table.columns == {"a": ["Grün"], "b": ["1"]}
    assert len(findings) == 1
