"""Columns as files hold them, looked at as a whole: cells, numbers, or texts each told once.

A column is a list (or object array) of cells, an array of floats with nan for blanks, or
:class:`Texts`. All three are judged alike, so that a site says the same whichever way its columns
came; the latter two spare a look at each cell.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from geosand.columns import Bools, Floats, Geometries, Ints, Strings, begins, columns, frozen
from geosand.site.cells import Cell, RawTable, all_floats, as_text, is_blank, tidied


@columns
class Texts:
    """A column of texts: the different words, each once, and the number of each row's; "" = blank.

    A word need not be in any row.
    """

    words: Sequence[str]
    code: Ints

    def __len__(self) -> int:
        return len(self.code)

    def strings(self) -> Strings:
        """One text a row (n,)."""
        return np.array(self.words, dtype=np.str_)[self.code]

    def matching(self, test: Callable[[str], bool]) -> Bools:
        """True for the rows (n,) whose word passes; it is asked once a word."""
        passes = [bool(test(word)) for word in self.words]
        if len(set(passes)) == 1:
            return np.full(len(self.code), passes[0])
        return np.array(passes, dtype=np.bool_).take(self.code)

    def changed(self, change: Callable[[str], str]) -> Texts:
        """Each word changed; words that become the same are one."""
        words = list(map(change, self.words))
        if len(set(words)) == len(words):
            return Texts(words=words, code=self.code)
        merged = in_rows(words)
        return Texts(words=merged.words, code=merged.code[self.code])

    def take(self, rows: Ints) -> Texts:
        """Other rows of the same words."""
        return Texts(words=self.words, code=self.code[rows])


Column = Sequence[Cell] | Floats | Geometries | Texts


def in_rows(texts: Sequence[str]) -> Texts:
    """The texts as a column, one a row."""
    place = {word: k for k, word in enumerate(dict.fromkeys(texts))}
    code = np.fromiter(map(place.__getitem__, texts), dtype=np.int64, count=len(texts))
    return Texts(words=list(place), code=code)


def blank_texts(size: int) -> Texts:
    """A column in which nothing is written."""
    return Texts(words=[""], code=np.zeros(size, dtype=np.int64))


def cells_of(column: Column) -> Sequence[Cell]:
    """The cells one by one, None for blanks of a typed column."""
    if isinstance(column, Texts):
        return [column.words[k] or None for k in column.code.tolist()]
    if not isinstance(column, np.ndarray):
        return column
    if column.dtype.kind == "f":
        return [None if value != value else value for value in column.tolist()]  # noqa: PLR0124
    cells: list[Cell] = column.tolist()
    return cells


def written(column: Column) -> Bools:
    """True for each cell (n,) that holds something."""
    if isinstance(column, Texts):
        return column.matching(lambda word: bool(word.strip()))
    if isinstance(column, np.ndarray) and column.dtype.kind == "f":
        return ~np.isnan(column)
    return np.array([not is_blank(c) for c in cells_of(column)], dtype=np.bool_)


def any_written(column: Column) -> bool:
    """True where any cell holds something."""
    if isinstance(column, (Texts, np.ndarray)):
        return bool(written(column).any())
    return not all(is_blank(c) for c in column)


def words_as_written(column: Column) -> Texts | None:
    """The texts as they stand, None where a cell is of another kind; blanks are ""."""
    if isinstance(column, Texts):
        return column
    if isinstance(column, np.ndarray) and column.dtype.kind == "f":
        return None
    cells = cells_of(column)
    kinds = set(map(type, cells))
    if not kinds <= {str, type(None)}:
        return None
    return in_rows(cells if kinds == {str} else [cell or "" for cell in cells])  # type: ignore[arg-type, misc]


def stripped(column: Column) -> Texts:
    """Every cell as text without space around it; 7.0 is 7, blanks are ""."""
    texts = words_as_written(column)
    if texts is None:
        words = ["" if is_blank(c) else as_text(c) for c in cells_of(column)]
        texts = in_rows(words)
    return texts.changed(str.strip if "".join(texts.words).isascii() else tidied)


def alike(column: Column, rows: Ints, others: Ints) -> Bools:
    """True where a column says the same in each of ``rows`` (k,) and of ``others``."""
    if isinstance(column, Texts):
        same: Bools = column.code[rows] == column.code[others]
        return same
    if isinstance(column, np.ndarray) and column.dtype.kind == "f":
        one, other = column[rows], column[others]
        equal: Bools = (one == other) | (np.isnan(one) & np.isnan(other))
        return equal
    cells, pairs = cells_of(column), zip(rows.tolist(), others.tolist(), strict=True)
    return np.array([cells[a] == cells[b] for a, b in pairs], dtype=np.bool_)


def same_rows(table: RawTable, key: Texts, besides: Sequence[str] = ()) -> tuple[Ints, Ints]:
    """Rows (k,) that say the same as an earlier one of their ``key`` and site, and those (k,).

    Blank keys are none; columns ``besides`` are not looked at.
    """
    pairs = repeated(table.of_site() * len(key.words) + key.code, key.matching(bool))
    rows, others = np.array(pairs, dtype=np.int64).reshape(-1, 2).T
    for name, column in table.columns.items():
        if name not in besides:
            same = alike(column, rows, others)
            rows, others = rows[same], others[same]
    return rows, others


def as_floats(column: Column) -> Floats | None:
    """The cells as finite floats (n,), nan for blanks; None where any is doubtful."""
    if isinstance(column, Texts):
        values = all_floats(column.words)
        return None if values is None else values[column.code]
    if isinstance(column, np.ndarray) and column.dtype.kind == "f":
        numbers: Floats = column.astype(np.float64, copy=False)
        return None if np.isinf(numbers).any() else numbers
    return all_floats(cells_of(column))


def joined(columns: Sequence[Texts]) -> Texts:
    """Columns of texts one below the other."""
    if len(columns) == 1:
        return columns[0]
    begun = np.cumsum([0, *(len(c.words) for c in columns)])
    codes = [c.code + start for c, start in zip(columns, begun.tolist(), strict=False)]
    words = [word for c in columns for word in c.words]
    return Texts(words=words, code=np.concatenate(codes)).changed(str)


def row_places(rows: Sequence[int | str]) -> Ints:
    """Where each row stands in its file (n,): its number, below zero that of a feature.

    >>> row_places(["feature 3", 5]).tolist()
    [-3, 5]
    """
    numbers = np.asarray(rows if len(rows) else np.empty(0, dtype=np.int64))
    if numbers.dtype.kind == "i":
        return numbers
    signed = (-int(r.rpartition(" ")[2]) if isinstance(r, str) else r for r in rows)
    return np.array(list(signed), dtype=np.int64)


def place_said(place: int) -> int | str:
    """A place of ``row_places`` as faults name it."""
    return place if place >= 0 else f"feature {-place}"


def first_come(keys: Ints) -> tuple[Ints, Ints]:
    """Where each different key first stands (m,), in that order, and every row's key (n,) in it."""
    in_order = keys if (keys[1:] > keys[:-1]).all() else np.sort(keys)
    if not (in_order[1:] == in_order[:-1]).any():  # as mostly, in a tenth of the time
        return np.arange(len(keys)), np.arange(len(keys))
    _, first, inverse = np.unique(keys, return_index=True, return_inverse=True)
    order = np.argsort(first)
    number = np.empty(len(first), dtype=np.int64)
    number[order] = np.arange(len(first))
    return first[order], number[inverse]


def repeated(keys: Ints, among: Bools) -> list[tuple[int, int]]:
    """Each row of ``among`` whose key stood in an earlier one of them: (row, the first of them)."""
    rows = np.flatnonzero(among)
    first, number = first_come(keys[rows])
    start = first[number]
    again = np.flatnonzero(start != np.arange(len(rows)))
    return list(zip(rows[again].tolist(), rows[start[again]].tolist(), strict=True))


def find(known: Texts, known_of: Ints, wanted: Texts, wanted_of: Ints) -> Ints:
    """Row of ``known`` (n,) with the text of each row of ``wanted``; -1 where there is none.

    Only rows of the same number in ``known_of`` and ``wanted_of`` meet.
    """
    code = {word: k for k, word in enumerate(wanted.words)}
    codes = np.array([code.get(word, -1) for word in known.words], dtype=np.int64)[known.code]
    rows = np.flatnonzero(codes >= 0)
    keys = known_of[rows] * len(code) + codes[rows]
    order = np.argsort(keys, kind="stable")
    every = wanted_of * len(code) + wanted.code
    if not len(order) or not len(every):
        return np.full(len(every), -1, dtype=np.int64)
    begun = np.flatnonzero(begins(every))  # rows that follow each other mostly name the same
    sought = every[begun]
    place = order[np.maximum(np.searchsorted(keys[order], sought, side="right") - 1, 0)]
    found = np.where(keys[place] == sought, rows[place], -1)
    return np.repeat(found, np.diff(begun, append=len(every)))


@frozen
class Ids:
    """Names that each site has once, those of the first site first."""

    text: Texts
    member: Ints

    def find(self, wanted: Texts, member: Ints) -> Ints:
        """Row of each text among these; -1 where its site has no such name."""
        return find(self.text, self.member, wanted, member)
