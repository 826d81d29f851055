"""Tables as text: laid out here for files and pipes, by rich where there is a terminal.

Loading rich costs a short run a tenth of its time; a pipe needs neither its colours nor its folding
to the width of a window.
"""

from __future__ import annotations

import sys
import unicodedata
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from geosand.columns import frozen

if TYPE_CHECKING:
    from rich.console import Console, ConsoleOptions, RenderableType
    from rich.table import Table as RichTable

PIPE_WIDTH = 160  #: a pipe has no width: wide enough that no figure is cut


@frozen
class Table:
    """A title, heads of one or more lines, and rows of texts."""

    title: str
    heads: Sequence[str]
    right: Sequence[bool]  #: columns set to the right, never folded: part of a figure is another
    rows: Sequence[Sequence[str]]

    def __rich_console__(
        self, console: Console, options: ConsoleOptions
    ) -> Iterator[RenderableType]:
        from rich.text import Text

        folded = self.folded(options.max_width)
        if folded is None:
            records = self.records(options.max_width)
            yield Text("\n".join(records), overflow="fold")
        else:
            yield Text(
                self.title, style="bold"
            )  # above, as rich would fold it to the table's width
            yield folded._set()

    def folded(self, width: int) -> Table | None:
        """The table in ``width`` places, words on further lines; None if figures have no room."""
        from rich.cells import cell_len

        widths, least = [], []
        for k, (head, right) in enumerate(zip(self.heads, self.right, strict=True)):
            cells, stays = [row[k] for row in self.rows], right or head == "date"
            words = cells if stays else [part for cell in cells for part in _wrapped(cell, 1)]
            heads = [cell_len(line) for line in head.split("\n")]
            widths.append(max([*heads, *map(cell_len, cells)]))
            least.append(max([*heads, *map(cell_len, words)]))
        over = sum(widths) + len(widths) + 1 - width
        if over > sum(widths) - sum(least):
            return None
        for _ in range(over):
            widest = max(range(len(widths)), key=lambda k: widths[k] * (widths[k] > least[k]))
            widths[widest] -= 1
        rows = [
            [
                cell if cell_len(cell) <= room else "\n".join(_wrapped(cell, room))
                for cell, room in zip(row, widths, strict=True)
            ]
            for row in self.rows
        ]
        return replace(self, rows=rows)

    def _set(self) -> RichTable:
        from rich import box
        from rich.table import Table as RichTable
        from rich.text import Text

        made = RichTable(box=box.SIMPLE_HEAD, pad_edge=False, padding=(0, 0))
        for head, right in zip(self.heads, self.right, strict=True):
            made.add_column(Text(head), justify="right" if right else "left", no_wrap=True)
        for row in self.rows:
            made.add_row(*[Text(cell) for cell in row])
        return made

    def records(self, width: int) -> list[str]:
        """The rows for a window in which the table has no room: each figure behind its head.

        >>> heads = ["dress-\\ning", "spread\\nkg", "note"]
        >>> row = ["D1", "9", ""]
        >>> made = Table(title="All", heads=heads, right=[False, True, False], rows=[row])
        >>> [line.replace("\\xa0", " ") for line in made.records(40)]
        ['All', '', 'D1: spread kg 9', '']
        """
        heads = [head.replace("-\n", "").replace("\n", " ") for head in self.heads]
        lines = [*_wrapped(self.title, width), ""]
        for first, *cells in self.rows:
            said = [f"{head} {cell}" for head, cell in zip(heads[1:], cells, strict=True) if cell]
            kept = [
                one.replace(" ", "\N{NO-BREAK SPACE}") if len(one) < width - 3 else one
                for one in said
            ]
            name = f"{heads[0]} {first}" if self.right[0] else first  # a bare number tells nothing
            lines += _wrapped(f"{name}: {'; '.join(kept)}", width, indent="  ")
        return [*lines, ""]

    def lines(self, width: int = PIPE_WIDTH) -> list[str] | None:
        """The table as rich sets it; None where rich must fold it, or has letters to measure."""
        heads = [head.split("\n") for head in self.heads]
        columns = [[*head, *(row[k] for row in self.rows)] for k, head in enumerate(heads)]
        texts = [self.title, *[text for column in columns for text in column]]
        widths = [max(map(len, column)) for column in columns]
        whole = sum(widths) + len(widths) + 1
        if max(len(self.title), whole) > width or not all(map(_plain, texts)):
            return None
        tallest = max(map(len, heads))
        stood = [[""] * (tallest - len(head)) + head for head in heads]  # on the line below them
        return [
            self.title,
            " " * whole,
            *[self._line(line, widths) for line in zip(*stood, strict=True)],
            f" {'─' * (whole - 2)} ",
            *[self._line(row, widths) for row in self.rows],
            " " * whole,
        ]

    def _line(self, cells: Sequence[str], widths: Sequence[int]) -> str:
        placed = [
            cell.rjust(width) if right else cell.ljust(width)
            for cell, width, right in zip(cells, widths, self.right, strict=True)
        ]
        return f" {' '.join(placed)} "


class Pipe:
    """Where there is no terminal: prints as rich's console does, without loading it."""

    width = PIPE_WIDTH
    is_terminal = False

    def print(self, what: str | Table = "", *, soft_wrap: bool = False) -> None:
        """Print a text, whole where ``soft_wrap``, or a table."""
        lines = what.lines() if isinstance(what, Table) else _unfolded(what, soft_wrap)
        if lines is not None:
            sys.stdout.write("".join(f"{line}\n" for line in lines))
            sys.stdout.flush()  # a reader that has gone is noticed here
            return
        from rich.console import Console

        rich = Console(width=PIPE_WIDTH, highlight=False, markup=False, emoji=False)
        rich.print(what, soft_wrap=soft_wrap)


def console() -> Console | Pipe:
    """A console as wide as the terminal."""
    if not sys.stdout.isatty():
        return Pipe()
    from rich.console import Console

    return Console(highlight=False, markup=False, emoji=False)


def table(title: str, columns: Iterable[tuple[str, bool]], rows: Iterable[Iterable[str]]) -> Table:
    """A plain table; a column is (head, right aligned)."""
    heads, right = zip(*columns, strict=True)
    return Table(title=title, heads=heads, right=right, rows=[list(row) for row in rows])


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


def _unfolded(text: str, soft_wrap: bool) -> list[str] | None:
    """The lines of a text; None where one must be folded, or has signs that are not printed."""
    lines = text.split("\n")
    fit = soft_wrap or max(map(len, lines)) <= PIPE_WIDTH
    return lines if fit and all(map(_plain, lines)) else None


def _plain(text: str) -> bool:
    """Whether each letter of a text takes one place and is printed."""
    if text.isascii():
        return text.isprintable()
    return all(
        unicodedata.category(letter) not in ("Mn", "Me", "Cc", "Cf")
        and unicodedata.east_asian_width(letter) not in "WF"
        for letter in text
    )
