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


CUT = "was the file cut off?"


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"load,dressing,cou", [f"t.csv: holds no more than one line, which does not end: {CUT}"]),
        (b"a,b\n", []),
        (
            b"a,b,c\n1,2,3\n4,5",
            [f"t.csv: row 3, the last, has 2 of 3 cells and no end of its line: {CUT}"],
        ),
        (b"a,b,c\n1,2,3\n4,5\n", []),  # as spreadsheets leave blanks at the end of a row out
        (b"a,b,c\n1,2\n4,5", []),
        (b"a,b,c\r\n1,2,3\r\n4,5,6", []),
    ],
)
def test_a_file_that_was_cut_off_is_told(content, told):
    _, faults, findings = read(content)
    assert (faults, findings) == ([], told)


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"a,b,c\n1,2,\n1,5,3,\n4,5,6\n", ["row 3 has"]),
        (b"a,b\n1,5,\n1,2\n4,5, \n", ["rows 2, 4 have"]),
        (b"a,b\n1,5,\n", ["row 2 has"]),
        (b"a,b\n1,2,\n3,4,\n", []),
        (b"a,b,\n1,2,\n3,4,\n", []),
    ],
)
def test_single_rows_with_more_cells_than_columns_are_told(content, told):
    """A decimal comma moves what follows it by one cell, unseen where the last one is blank."""
    _, faults, findings = read(content)
    text = " more cells than columns, the last blank: look for a separator in a cell"
    assert (faults, findings) == ([], [f"t.csv: {place}{text}" for place in told])


@pytest.mark.parametrize(
    ("cells", "doubted"),
    [
        ("a;1.000;2", True),
        ("a;25;24.850", True),
        ("a;-3.500;", True),
        ("a;1.000;2.5", False),
        ("a;0.125;2", False),
        ("a;1000;2", False),
        ("1.2.2026;7;8", False),
    ],
)
def test_points_that_may_mark_thousands_are_told(cells, doubted):
    _, _, findings = read(f"n;x;y\n{cells}\n".encode())
    assert [f.rpartition(": write")[0][-16:] for f in findings] == ["the decimal mark"] * doubted
    assert read(f"n;x;y\n{cells}\n".replace(";", ",").encode())[2] == []
