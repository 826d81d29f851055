"""Tables and sentences: as wide as they are in a pipe, folded at words to a window's width."""

from __future__ import annotations

import sys
import unicodedata
from collections.abc import Iterable, Sequence
from itertools import zip_longest

from geosand.columns import frozen
from geosand.errors import printable

PIPE_WIDTH = 160  #: a pipe has no width: wide enough that no figure is cut


@frozen
class Table:
    """A title, heads of one or more lines, and rows of texts."""

    title: str
    heads: Sequence[str]
    right: Sequence[bool]  #: columns set to the right, never folded: part of a figure is another
    rows: Sequence[Sequence[str]]

    def lines(self, width: int = PIPE_WIDTH) -> list[str]:
        """The table in ``width`` places, words on further lines; records if figures lack room."""
        widths = self._widths(width)
        if widths is None:
            return self.records(width)
        heads = [head.split("\n") for head in self.heads]
        tallest = max(map(len, heads))
        stood = [[""] * (tallest - len(head)) + head for head in heads]  # on the line below them
        whole = sum(widths) + len(widths) + 1
        return [
            *_wrapped(self.title, width),
            " " * whole,
            *[self._line(line, widths) for line in zip(*stood, strict=True)],
            f" {'─' * (whole - 2)} ",
            *[line for row in self.rows for line in self._row(row, widths)],
            " " * whole,
        ]

    def _widths(self, width: int) -> list[int] | None:
        """Widths of the columns, words folded to ``width`` in all; None if figures lack room."""
        columns = [[row[k] for row in self.rows] for k in range(len(self.heads))]
        heads = [max(map(_places, head.split("\n"))) for head in self.heads]
        widths = [max(h, *map(_places, c), 0) for h, c in zip(heads, columns, strict=True)]
        over = sum(widths) + len(widths) + 1 - width
        if over <= 0:
            return widths
        least = [
            most if right or head == "date" else max(place, *map(_longest_word, cells), 0)
            for most, place, head, right, cells in zip(
                widths, heads, self.heads, self.right, columns, strict=True
            )
        ]
        if over > sum(widths) - sum(least):
            return None
        for _ in range(over):
            widest = max(range(len(widths)), key=lambda k: widths[k] * (widths[k] > least[k]))
            widths[widest] -= 1
        return widths

    def _row(self, row: Sequence[str], widths: Sequence[int]) -> list[str]:
        """The lines of a row, its cells folded."""
        cells = [
            [cell] if _places(cell) <= room else _wrapped(cell, room)
            for cell, room in zip(row, widths, strict=True)
        ]
        return [self._line(line, widths) for line in zip_longest(*cells, fillvalue="")]

    def _line(self, cells: Sequence[str], widths: Sequence[int]) -> str:
        placed = []
        for cell, width, right in zip(cells, widths, self.right, strict=True):
            blank = " " * (width - _places(cell))
            placed.append(blank + cell if right else cell + blank)
        return f" {' '.join(placed)} "

    def records(self, width: int) -> list[str]:
        """The rows for a window in which the table has no room: each figure behind its head.

        >>> heads = ["dress-\\ning", "spread\\nkg", "note"]
        >>> row = ["D1", "9", ""]
        >>> made = Table(title="All", heads=heads, right=[False, True, False], rows=[row])
        >>> [line.replace("\\xa0", " ") for line in made.records(40)]
        ['All', '', 'D1: spread 9 kg', '']
        """
        heads = [head.replace("-\n", "").replace("\n", " ") for head in self.heads]
        lines = [*_wrapped(self.title, width), ""]
        for first, *cells in self.rows:
            said = [_said(head, cell) for head, cell in zip(heads[1:], cells, strict=True) if cell]
            kept = [
                one.replace(" ", "\N{NO-BREAK SPACE}") if len(one) < width - 3 else one
                for one in said
            ]
            name = f"{heads[0]} {first}" if self.right[0] else first  # a bare number tells nothing
            lines += _wrapped(f"{name}: {'; '.join(kept)}", width, indent="  ")
        return [*lines, ""]


def _said(head: str, figure: str) -> str:
    """A figure behind its head, whose unit stands behind the figure."""
    from geosand.units import SHOWN

    for shown in SHOWN.values():
        for _, unit, _ in shown.values():
            if f" {head}".endswith(f" {unit}") and any(map(str.isdigit, figure)):
                return f"{head.removesuffix(unit)}{figure} {unit}"
    return f"{head} {figure}"


def window() -> int | None:
    """How many letters a line of the terminal holds; None where output goes into a pipe."""
    if not sys.stdout.isatty():
        return None
    import shutil  # with all its packers, a hundredth of a balance's start

    return shutil.get_terminal_size().columns


def show(*parts: str | Table) -> None:
    """Print texts and tables, in a window folded at words; a reader that has gone is noticed here.

    Names in a text may be a stranger's, also those of folders: nothing in them steers the terminal.
    """
    wide = window()
    for part in parts:
        if isinstance(part, Table):
            lines = part.lines(wide or PIPE_WIDTH)
        else:
            texts = [printable(text) for text in part.split("\n")]
            lines = [line for text in texts for line in _folded(text, wide)] if wide else texts
        sys.stdout.write("".join(f"{line}\n" for line in lines))
    sys.stdout.flush()


def for_people(text: str) -> str:
    """A text for stderr: folded at words where that is a window, as it stands elsewhere."""
    if not sys.stderr.isatty():
        return text
    import os

    try:
        wide = os.get_terminal_size(sys.stderr.fileno()).columns or PIPE_WIDTH
    except (OSError, ValueError):
        return text
    return "\n".join(line for part in text.split("\n") for line in _folded(part, wide))


def _folded(text: str, width: int) -> list[str]:
    """A sentence in lines of a window; a command or a path in it stays whole, to be copied.

    >>> _folded("  1. lay trays on g1 (geosand place --on 4) and g2", 24)
    ['  1. lay trays on g1', '     (geosand place --on 4)', '     and g2']
    >>> _folded("known to ± 4 %", 12)
    ['known to', '± 4 %']
    """
    if _places(text) <= width:
        return [text]
    import re

    from geosand.reports.words import glued

    whole = re.sub(_WHOLE, lambda found: found[0].replace(" ", "\0"), glued(text, "\0"))
    indent = " " * len(re.sub(r"^( *(?:- |\d+\. )?).*", r"\1", whole))
    lines = [""]
    for word in re.findall(r"^ *(?:- |\d+\. )?[^ ]+| +[^ ]+", whole):
        longer = lines[-1] + word
        if not lines[-1] or _places(longer) <= width:
            lines[-1] = longer
        else:
            lines.append(indent + word.lstrip(" "))
    return [line.replace("\0", " ") for line in lines]


#: A command with its options; behind a colon the path of a file, also with a drive; a whole path
#: may hold colons and semicolons.
_WHOLE = (
    r"\bgeosand [a-z]+(?: \S+(?= --|$))?(?: --[\w-]+ \S+)*"
    r"|(?<=: )(?:[A-Za-z]:)?[^:;]*[/\\][^:;]*\.(?:\w{2,8}$|html(?=;))"
    r"|(?<=: )(?:[A-Za-z]:)?[/\\].*\.(?:\w{2,8}$|html(?=; tables))"
)


def table(title: str, columns: Iterable[tuple[str, bool]], rows: Iterable[Iterable[str]]) -> Table:
    """A plain table; a column is (head, right aligned)."""
    heads, right = zip(*columns, strict=True)
    cells = [[printable(cell) for cell in row] for row in rows]
    return Table(title=printable(title), heads=heads, right=right, rows=cells)


def by_columns(title: str, *columns: tuple[str, bool, Iterable[object]]) -> Table:
    """The same of columns (head, right aligned, cells).

    >>> by_columns("All", ("id", False, ["g1", "g2"]), ("n", True, [1, 2])).rows
    [['g1', '1'], ['g2', '2']]
    """
    rows = zip(*(map(str, cells) for _, _, cells in columns), strict=True)
    return table(title, [(head, right) for head, right, _ in columns], rows)


def _wrapped(text: str, width: int, indent: str = "") -> list[str]:
    """Lines of whole words of a text, cut after spaces and hyphens."""
    import textwrap

    lines = textwrap.wrap(text, width, subsequent_indent=indent, break_long_words=False)
    return lines or [text]


def _longest_word(text: str) -> int:
    return max(map(_places, _wrapped(text, 1)))


def _places(text: str) -> int:
    """How many places of a line a text takes: wide letters two, accents of their own none."""
    if text.isascii():
        return len(text)
    wide = sum(unicodedata.east_asian_width(letter) in "WF" for letter in text)
    return len(text) + wide - sum(unicodedata.category(c) in ("Mn", "Me", "Cf") for c in text)
