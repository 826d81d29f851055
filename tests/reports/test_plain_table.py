"""Tables for pipes and windows; rich's own layout (SIMPLE_HEAD, no padding) is the reference."""

import io

import numpy as np
import pytest
from rich import box
from rich.console import Console
from rich.table import Table as RichTable
from rich.text import Text

from geosand.reports import plain_table
from geosand.reports.plain_table import PIPE_WIDTH, show, table


def as_rich_prints(made):
    of_rich = RichTable(box=box.SIMPLE_HEAD, pad_edge=False, padding=(0, 0))
    for head, right in zip(made.heads, made.right, strict=True):
        of_rich.add_column(Text(head), justify="right" if right else "left", no_wrap=True)
    for row in made.rows:
        of_rich.add_row(*map(Text, row))
    out = Console(width=PIPE_WIDTH, file=io.StringIO(), highlight=False, markup=False, emoji=False)
    out.print(Text(made.title))
    out.print(of_rich)
    return out.file.getvalue()


def piped(capsys, *parts):
    show(*parts)
    return capsys.readouterr().out


@pytest.mark.parametrize("seed", range(12))
def test_tables_are_those_of_rich(seed, capsys):
    rng = np.random.default_rng(seed)
    words = ["", "9", "1\u202f204", "−12 to 7", "m²", "own catches", "a longer cell here"]
    words += ["広い", "e\u0301"]  # letters of two places, and an accent that takes none
    heads = ["date", "over-\nthrow kg", "95 %\nof\nall", "state", "x"]
    columns = [(str(rng.choice(heads)), bool(rng.integers(2))) for _ in range(rng.integers(2, 9))]
    rows = rng.choice(words, (rng.integers(0, 9), len(columns))).tolist()
    made = table(
        str(rng.choice(["T", "a title that is longer than all of its table"])), columns, rows
    )
    assert piped(capsys, made) == as_rich_prints(made)


def test_a_cell_that_no_line_holds_is_folded_at_words():
    text = " ".join(f"word{k}" for k in range(60))
    lines = table("Pitch", [("name", False), ("kg", True)], [[text, "12"]]).lines()
    assert max(map(len, lines)) <= PIPE_WIDTH
    assert " ".join("".join(lines[4:-1]).split()).replace(" 12 ", " ") == text


def test_controls_never_reach_a_terminal(capsys):
    made = table("Pitch\x1b[31m", [("name", False), ("kg", True)], [["a\tb\x1b[2J", "12"]])
    assert "\x1b" not in piped(capsys, made) and "a·b·[2J" in made.rows[0]


def printed(made, width):
    return [line.rstrip() for line in made.lines(width)]


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
    first = "g1: 95 % interval 5.95 to 6.53; shortfall 0.10 mm; state under-dressed"
    assert text == f"Depth {first} g2: 95 % interval 1 to 2; shortfall −0.09 mm; state on target"


@pytest.mark.parametrize("text", ["", "one", "two\nlines", "[bold]not bold[/bold]", "word " * 60])
def test_texts_are_printed_whole(text, capsys):
    assert piped(capsys, text, "end") == f"{text}\nend\n"


@pytest.mark.parametrize("width", [30, 40, 80])
def test_in_a_window_sentences_are_folded_at_words_and_commands_are_not(width, capsys, monkeypatch):
    """As the copy of a folded command would run its first half."""
    monkeypatch.setattr(plain_table, "window", lambda: width)
    command, path = (
        "(geosand place --surfaces green --on 7)",
        "/my own sites/maps/the long one.html",
    )
    texts = ["short", f"  - sand on g1; {command} tells where to lay the trays, 3 kg/m² of it."]
    lines = piped(capsys, *texts, f"Map: {path}", " " + "word " * 40).splitlines()
    assert " ".join(" ".join(lines).split()) == " ".join(" ".join(
        [*texts, f"Map: {path}", "word " * 40]).split())  # fmt: skip
    assert sum(command in line for line in lines) == sum(path in line for line in lines) == 1
    assert all(len(line) <= width for line in lines if command not in line and path not in line)
    assert lines[0] == "short" and lines[2].startswith("    ")


@pytest.mark.parametrize(
    "whole",
    [
        "geosand bring FILE --into /sites/a",
        "geosand check /sites/long_name",
        "geosand areas a --against 2025-03-01",
        "C:\\My Documents\\a site\\the map.html",
        "/my sites/index.html",
        "/my sites: all; of 2026/the map.html",
        "C:\\a site; old\\index.html",
        "2.1\u202fmm",
        "2.15 kg/m²",
        "± 0.3 in",
    ],
)
@pytest.mark.parametrize("before", ["", "a ", "of all "])
def test_what_belongs_together_stays_in_one_line(whole, before, capsys, monkeypatch):
    """Also a path with a drive, what needs no brackets, and any unit."""
    monkeypatch.setattr(plain_table, "window", lambda: 20)
    end = "; tables" if whole.endswith("index.html") else ""
    lines = piped(capsys, f"{before}Index: {whole}{end}").splitlines()
    (line,) = [line for line in lines if whole in line]
    assert len(line) <= max(20, len(f"{whole};"))


def test_wide_letters_take_two_places_of_a_window(capsys, monkeypatch):
    """East Asian Width (Unicode Standard Annex #11)."""
    monkeypatch.setattr(plain_table, "window", lambda: 20)
    assert piped(capsys, "緑の芝生 緑の芝生 緑の芝生").splitlines() == [
        "緑の芝生 緑の芝生",
        "緑の芝生",
    ]


def test_a_row_that_begins_with_a_number_says_what_it_counts():
    rows = [["3", "18 / 13"]]
    made = table("Power", [("surfaces\ncaught", True), ("2 on each", True)], rows).records(40)
    assert "surfaces caught 3: 2 on each 18 / 13" in "\n".join(made).replace("\xa0", " ")
