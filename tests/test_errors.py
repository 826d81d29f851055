"""Texts of faults and findings."""

from __future__ import annotations

import pickle

import pytest

from geosand.errors import Fault, Faults, Finding, Refused, Undecided, listed, refused


@pytest.mark.parametrize(
    ("fault", "text"),
    [
        (Fault(file="a.csv", found="is empty"), "a.csv: is empty."),
        (Fault(file="a.csv", row=7, found="is odd"), "a.csv, row 7: is odd."),
        (Fault(file="a.csv", row="feature 7", column="id", found="x"), "a.csv, feature 7, id: x."),
        (Fault(file="a", found="x", allowed="y"), "a: x; allowed: y."),
        (Fault(file="a", found="x", remedy="do y"), "a: x. Do y."),
        (
            Fault(file="a", found="x", allowed="y", remedy="did you mean z?"),
            "a: x; allowed: y. Did you mean z?",
        ),
        (Fault(file="a\x1b[2J\u202e", found="x\ny"), "a·[2J·: x·y."),
    ],
)
def test_a_fault_says_where_what_and_what_to_do(fault, text):
    assert str(fault) == text


def test_a_finding():
    assert str(Finding(about="g1", text="is small", topic="area")) == "g1: is small"
    assert str(Finding(about="", text="is small")) == "is small"
    assert str(Finding(about="g\x07", text="bell")) == "g·: bell"


def test_nothing_is_raised_without_faults():
    Faults().refuse()


def test_all_faults_are_raised_together_each_once_by_file_and_row():
    faults = Faults()
    faults.add("b.csv", "second", row=10)
    faults.add("b.csv", "first", row=9)
    faults.add("a.csv", "third", row="feature 10")
    faults.add("a.csv", "fourth", row="feature 9")
    faults.add("a.csv", "whole")
    faults.add("b.csv", "first", row=9)
    with pytest.raises(Refused) as caught:
        faults.refuse()
    assert [f.found for f in caught.value.faults] == ["first", "second", "whole", "fourth", "third"]
    assert str(caught.value).splitlines()[0] == "b.csv, row 9: first."


@pytest.mark.parametrize(("rows", "lines"), [(5, 5), (6, 6), (7, 6)])
def test_faults_alike_are_listed_in_one_line_from_seven_on(rows, lines):
    faults = [Fault(file="a.csv", row=k, column="x", found=f"'{k}'") for k in range(2, 2 + rows)]
    text = str(Refused(faults)).splitlines()
    assert len(text) == lines
    if rows == 7:
        assert text[-1] == "a.csv, x: the like in 2 more rows: 7, 8."


def test_one_fault_alone():
    problem = Refused(Fault(file="a", found="x"))
    assert str(problem) == "a: x."
    assert len(problem.faults) == 1


@pytest.mark.parametrize("kind", [Refused, Undecided])
def test_a_refusal_goes_from_one_process_to_another(kind):
    faults = [
        Fault(file="loads.csv", found="is odd", row=3),
        Fault(file="site.toml", found="is empty"),
    ]
    told = pickle.loads(pickle.dumps(kind(faults)))
    assert (type(told), told.faults, str(told)) == (kind, tuple(faults), str(kind(faults)))


def test_the_same_fault_in_many_rows_is_one_line():
    faults = Faults()
    for row in range(2, 40):
        faults.add("a.csv", "'D9' is not in the dressings", row=row, column="dressing")
    faults.add("a.csv", "'D8' is not in the dressings", row=40, column="dressing")
    with pytest.raises(Refused) as refusal:
        faults.refuse()
    assert len(refusal.value.faults) == 39
    assert str(refusal.value).splitlines() == [
        "a.csv, rows 2, 3, 4, 5, 6 and 33 more, dressing: 'D9' is not in the dressings.",
        "a.csv, row 40, dressing: 'D8' is not in the dressings.",
    ]


def test_rows_that_are_named_are_listed_as_those_that_are_numbers():
    """Boundaries name the place of a drawn thing, as "row 5"."""
    faults = [Fault(file="a.csv", row=f"row {k}", found="no shape") for k in (5, 7, 11)]
    assert str(Refused(faults)) == "a.csv, rows 5, 7, 11: no shape."


def test_a_cell_that_can_not_be_read_is_not_called_empty_too():
    faults = Faults()
    faults.add("a.xlsx", "a formula without its result", row=2, column="count")
    faults.add("a.xlsx", "no number is written here", row=2, column="count")
    faults.add("a.xlsx", "no number is written here", row=3, column="count")
    assert [(fault.row, fault.found[:9]) for fault in faults.found] == [
        (2, "a formula"),
        (3, "no number"),
    ]


def test_a_refusal_of_one_fault_has_each_part_in_its_place():
    told = refused("a.csv", "x", row="row 7", column="id", allowed="y", remedy="do z")
    assert str(told) == "a.csv, row 7, id: x; allowed: y. Do z."


@pytest.mark.parametrize(
    ("count", "text"), [(3, "a, b, c"), (4, "a, b, c, d"), (5, "a, b, c and 2 more")]
)
def test_a_last_name_is_told_as_one_more_is_no_shorter(count, text):
    assert listed(list("abcde")[:count], 3) == text
