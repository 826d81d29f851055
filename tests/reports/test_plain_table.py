"""Tables for pipes against rich's own layout, which they stand in for."""

import io

import numpy as np
import pytest
from rich.console import Console

from geosand.reports.plain_table import PIPE_WIDTH, Pipe, table


def as_rich_prints(what, *, soft_wrap=False):
    out = Console(width=PIPE_WIDTH, file=io.StringIO(), highlight=False, markup=False, emoji=False)
    out.print(what, soft_wrap=soft_wrap)
    return out.file.getvalue()


def piped(capsys, what, **options):
    Pipe().print(what, **options)
    return capsys.readouterr().out


@pytest.mark.parametrize("seed", range(12))
def test_tables_are_those_of_rich(seed, capsys):
    rng = np.random.default_rng(seed)
    words = ["", "9", "1\u202f204", "−12 to 7", "m²", "own catches", "a longer cell here"]
    heads = ["date", "over-\nthrow kg", "95 %\nof\nall", "state", "x"]
    columns = [(str(rng.choice(heads)), bool(rng.integers(2))) for _ in range(rng.integers(2, 9))]
    rows = rng.choice(words, (rng.integers(0, 9), len(columns))).tolist()
    made = table(
        str(rng.choice(["T", "a title that is longer than all of its table"])), columns, rows
    )
    assert made.lines() is not None
    assert piped(capsys, made) == as_rich_prints(made)


@pytest.mark.parametrize(
    ("title", "cell"),
    [
        ("Pitch", "much too long for a line " * 9),
        ("Pitch", "広い"),  # letters of two places
        ("Pitch", "a\tb"),
        ("Pitch", "e\u0301"),  # an accent that takes no place
        ("a title that is longer than any line " * 6, "x"),
    ],
)
def test_what_must_be_folded_or_measured_is_left_to_rich(title, cell, capsys):
    made = table(title, [("name", False), ("kg", True)], [[cell, "12"]])
    assert made.lines() is None
    assert piped(capsys, made) == as_rich_prints(made)


def printed(made, width):
    out = Console(width=width, file=io.StringIO(), highlight=False, markup=False, emoji=False)
    out.print(made)
    return [line.rstrip() for line in out.file.getvalue().splitlines()]


def ledger():
    heads = [
        ("surface", False),
        ("95 %\ninterval", True),
        ("short-\nfall mm", True),
        ("state", False),
    ]
    rows = [["g1", "5.95 to 6.53", "0.10", "under-dressed"], ["g2", "1 to 2", "−0.09", "on target"]]
    return table(
        "Depth", heads, [[cell.replace(" ", "\u202f") for cell in r[:3]] + r[3:] for r in rows]
    )


def test_in_a_narrow_window_words_are_folded_and_figures_are_not():
    natural = printed(ledger(), 80)
    assert len(natural) == 8
    folded = printed(ledger(), max(map(len, natural)) - 3)
    assert [line.replace("\u202f", "_").split() for line in folded[5:8]] == [
        ["g1", "5.95_to_6.53", "0.10", "under-"],
        ["dressed"],
        ["g2", "1_to_2", "−0.09", "on", "target"],
    ]


@pytest.mark.parametrize("width", [16, 20, 30])
def test_where_no_line_has_room_each_figure_stands_behind_its_head(width):
    """As a part of a figure would read as another figure."""
    lines = printed(ledger(), width)
    assert max(map(len, lines)) <= width
    text = " ".join(" ".join(lines).split()).replace("under- dressed", "under-dressed")
    first = "g1: 95 % interval 5.95 to 6.53; shortfall mm 0.10; state under-dressed"
    assert text == f"Depth {first} g2: 95 % interval 1 to 2; shortfall mm −0.09; state on target"


@pytest.mark.parametrize("text", ["", "one", "two\nlines", "[bold]not bold[/bold] :smile:"])
@pytest.mark.parametrize("soft_wrap", [False, True])
def test_texts_are_those_of_rich(text, soft_wrap, capsys):
    assert piped(capsys, text, soft_wrap=soft_wrap) == as_rich_prints(text, soft_wrap=soft_wrap)


def test_long_texts_are_folded_only_where_asked(capsys):
    text = "word " * 60 + "end"
    assert piped(capsys, text) == as_rich_prints(text)
    assert piped(capsys, text, soft_wrap=True) == text + "\n"


def test_a_row_that_begins_with_a_number_says_what_it_counts():
    rows = [["3", "18 / 13"]]
    made = table("Power", [("surfaces\ncaught", True), ("2 on each", True)], rows).records(40)
    assert "surfaces caught 3: 2 on each 18 / 13" in "\n".join(made).replace("\xa0", " ")
