"""A column says the same as cells, as texts each told once, and as floats; lookups within sites."""

from __future__ import annotations

import numpy as np
import pytest

from geosand.errors import Faults
from geosand.site.cells import RawTable
from geosand.site.raw_columns import (
    Texts,
    find,
    first_come,
    in_rows,
    joined,
    place_said,
    repeated,
    row_places,
    stripped,
)
from geosand.site.reading import Reader

CELLS = (
    *(None, "", " ", "7", " 7 ", "7.5", "-3", "1e3", "1_0", "nan", "inf", "1e999", "x", "0x1f"),
    *("2026-04-30", "2026-04-30T10:00", "\u00a02026-04-30", "2026-02-30", "true", "No", "a\tb"),
    *("٣", "a\x00b", "y" * 1001, "\u202eabc", "Green", "green ", "dry", "5,5", "46142"),
)


def as_texts(cells):
    words = list(dict.fromkeys(cell or "" for cell in cells))
    code = [words.index(cell or "") for cell in cells]
    return Texts(words=words, code=np.array(code, dtype=np.int64))


def read_all(column, size):
    """All that a reader can make of a column, with the faults that it finds."""
    out = []
    table = RawTable(file="t.csv", rows=list(range(2, size + 2)), columns={"a_mm": column})
    for read in (
        lambda reader: reader.text("a_mm"),
        lambda reader: reader.texts(
            "a_mm", required=True, pattern="[a-z]+", allowed="letters"
        ).strings(),
        lambda reader: reader.choice("a_mm", ["dry", "moist"]),
        lambda reader: reader.number("a_mm", required=True, above=0.0),
        lambda reader: reader.quantity("a", "m", minimum=0.0, maximum=5.0),
        lambda reader: reader.dates("a_mm", required=True),
        lambda reader: reader.flag("a_mm"),
        lambda reader: reader.has("a_mm"),
    ):
        faults, findings = Faults(), []
        reader = Reader(table, faults, findings)
        values = read(reader)
        reader.finish()
        out.append((values.tolist(), [str(f) for f in faults.found], findings, reader.faulty))
    return out


def same(one, other):
    return repr(one) == repr(other)  # nan is nan


def test_texts_are_read_as_their_cells_are():
    rng = np.random.default_rng(3)
    samples = [list(CELLS), ["7", "8", "7"], ["", None], ["2026-01-01", "2026-01-02"]]
    samples += [[CELLS[k] for k in rng.integers(len(CELLS), size=4)] for _ in range(100)]
    for cells in samples:
        told = read_all(as_texts(cells), len(cells))
        assert same(read_all(cells, len(cells)), told)
        assert same(read_all(np.array(cells, dtype=object), len(cells)), told)


def test_floats_are_read_as_their_cells_are():
    rng = np.random.default_rng(4)
    pool = np.array([np.nan, 0.0, -1.0, 7.0, 7.5, 1e-9, 1e14, 4999.0, 5001.0, 46142.0])
    for _ in range(60):
        column = rng.choice(pool, 5)
        cells = [None if np.isnan(value) else value for value in column.tolist()]
        assert same(read_all(cells, 5), read_all(column, 5))


def test_numbers_without_end_are_no_numbers_in_any_column():
    cells = [1.0, np.inf]
    assert same(read_all(cells, 2), read_all(np.array(cells), 2))


def test_a_text_is_found_in_its_own_site_only():
    known = in_rows(["a", "b", "a", "c"])
    wanted = in_rows(["a", "a", "b", "b", "c", "x", ""])
    found = find(known, np.array([0, 0, 1, 1]), wanted, np.array([0, 1, 0, 1, 0, 1, 0]))
    assert found.tolist() == [0, 2, 1, -1, -1, -1, -1]
    none = find(in_rows([]), np.zeros(0, dtype=np.int64), wanted, np.zeros(7, dtype=np.int64))
    assert none.tolist() == [-1] * 7


def test_keys_in_the_order_in_which_they_first_come():
    keys = np.array([5, 2, 5, 9, 2, 2], dtype=np.int64)
    first, number = first_come(keys)
    assert first.tolist() == [0, 1, 3]
    assert number.tolist() == [0, 1, 0, 2, 1, 1]
    among = np.array([False, True, True, True, True, True])
    assert repeated(keys, among) == [(4, 1), (5, 1)]


def test_columns_of_texts_one_below_the_other():
    both = joined([in_rows(["a", "b", "a"]), in_rows(["c", "b"])])
    assert both.strings().tolist() == ["a", "b", "a", "c", "b"]
    assert len(set(both.words)) == len(both.words) == 3
    assert stripped([" a", "a ", 7.0, None]).strings().tolist() == ["a", "a", "7", ""]


@pytest.mark.parametrize("name", ["gross", "gross_ells"])
def test_a_unit_is_a_fault_of_the_sites_that_use_it(name):
    member = np.array([0, 0, 1, 1, 2])
    columns = {
        name: np.array([np.nan, np.nan, 3.0, np.nan, np.nan]),
        "gross_g": np.array([5.0, 6.0, np.nan, np.nan, np.nan]),
        "gross_oz": np.array([np.nan, np.nan, np.nan, np.nan, 1.0]),
    }
    rows = [2, 3, 4, 5, 6]
    faults = Faults()
    table = RawTable(file="t.csv", rows=rows, columns=columns, member=member, members=3)
    values = Reader(table, faults, []).quantity("gross", "kg")
    assert faults.members == {1}
    assert values[[0, 1, 4]] == pytest.approx([0.005, 0.006, 0.028349523125], rel=1e-12)


def test_rows_that_count_on_from_one_site_to_the_next_were_not_dragged():
    columns, member = {"count": np.arange(6.0)}, np.repeat([0, 1], 3)
    table = RawTable(file="t.csv", rows=[2, 3, 4] * 2, columns=columns, member=member, members=2)
    for fewest, sites in ((3, []), (2, [0, 1])):
        findings = []
        Reader(table, Faults(), findings).tell_dragged("count", columns["count"], 1, fewest)
        assert [f.member for f in findings] == sites


def test_what_is_not_read_is_told_to_the_sites_that_say_it():
    columns = {"grain": np.array([np.nan, 1.0, np.nan]), "gross_g": np.array([1.0, np.nan, 1.0])}
    member, findings = np.array([0, 1, 2]), []
    table = RawTable(file="t.csv", rows=[2, 3, 4], columns=columns, member=member, members=3)
    reader = Reader(table, Faults(), findings)
    reader.quantity("gross", "kg")
    reader.finish()
    assert [(f.member, f.text) for f in findings] == [(1, "column 'grain' is not read")]


def test_places_are_the_numbers_of_rows_and_of_features():
    for rows in ([], [0], [9, 10, 99, 100, 7]):
        assert row_places(rows).tolist() == rows
        assert row_places(np.array(rows, dtype=np.int64)).tolist() == rows
    mixed = ["feature 1", 3, "feature 22"]
    assert [place_said(place) for place in row_places(mixed).tolist()] == mixed
