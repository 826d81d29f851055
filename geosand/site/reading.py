"""Raw cells to checked columns: one reader for CSV rows, feature properties and TOML tables."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np

from geosand.columns import Bools, Dates, Floats, Ints, Strings
from geosand.site.cells import (
    LONGEST,
    NOTHING,
    UNSHOWN,
    Cell,
    as_text,
    is_blank,
    parse_day,
    parse_number,
    quoted,
)
from geosand.site.odd_texts import COMMENT, means_total, names_nothing, wrong_text
from geosand.site.raw_columns import (
    Texts,
    as_floats,
    blank_texts,
    cells_of,
    stripped,
    words_as_written,
)
from geosand.site.table_reader import TableReader

ANY = (0.0, np.inf)  #: every quantity is usual
#: Beyond these a year is a slip, or a spreadsheet's day 0.
DAYS = np.array(["1950-01-01", "2149-12-31"], dtype="datetime64[D]")
TRUE, FALSE = ("true", "yes", "1"), ("false", "no", "0")


class Reader(TableReader):
    """Takes checked columns out of one RawTable, noting faults."""

    def texts(
        self,
        name: str,
        *,
        required: bool = False,
        pattern: str = "",
        allowed: str = "",
        or_else: str = "",
        longest: int = LONGEST,
    ) -> Texts:
        """A text column (n,), stripped; "" where blank.

        ``or_else`` is what can be done beside writing what is required, ``longest`` the characters
        that a text may have.
        """
        remedy = f"write the {name}{or_else}"
        column = self.column(name, required=required)
        if name not in self.table.columns:
            return blank_texts(self.size)
        texts = stripped(column)
        most = max(map(len, texts.words), default=0)
        plain = most <= longest and "".join(texts.words).isprintable()
        if plain and not pattern and not (required and "" in texts.words):
            return texts
        wrong = {
            k: told
            for k, word in enumerate(texts.words)
            if (told := wrong_text(word, remedy if required else "", pattern, allowed, longest))
        }
        if wrong:
            for row in np.flatnonzero(np.isin(texts.code, list(wrong))).tolist():
                self.fault(row, name, **wrong[int(texts.code[row])])
        elif plain:
            return texts
        return texts.changed(lambda word: word[:longest].translate(UNSHOWN))

    def text(self, name: str) -> Strings:
        """The same, one text a row (n,)."""
        return self.texts(name).strings()

    def labels(self, name: str) -> Texts:
        """A text column (n,) of what may have a name or none; words for nothing are blank."""
        texts = self.texts(name).changed(lambda word: "" if word.lower() in NOTHING else word)
        for row in np.flatnonzero(texts.matching(names_nothing)).tolist():
            found = f"{quoted(texts.words[texts.code[row]])} is no {name}"
            self.fault(row, name, found, remedy=f"write the {name}, or leave the cell empty")
        return texts

    def names(self, name: str) -> Texts:
        """A text column (n,) by which each row is known; told are names of what is not to count.

        Such are those with a mark before some of them, and names of totals.
        """
        or_else = ", or take out the row if it holds a total or a note"
        texts = self.texts(name, required=True, or_else=or_else)
        marked = texts.matching(lambda word: word.startswith(COMMENT))
        some = self.of(~marked & texts.matching(bool)) if marked.any() else self.of(marked)
        said = f"read although {name} begins with a mark: delete what is not to count"
        rows = np.flatnonzero(marked)
        rows = rows[some[self.member[rows]]]
        self.tell_rows(rows, lambda mine: f"{self.places(mine)} {said}", "file")
        sums = np.flatnonzero(texts.matching(means_total))
        told = f"read although {name} is the word for a total: delete what is not to count"
        self.tell_rows(sums, lambda mine: f"{self.places(mine)} {told}", "file")
        return texts

    def choice(self, name: str, allowed: Sequence[str]) -> Strings:
        """A text column (n,) of a few allowed words, in lower case."""
        texts = self.texts(name).changed(str.lower)
        known = ("", *allowed)
        for row in np.flatnonzero(texts.matching(lambda word: word not in known)).tolist():
            found = f"{quoted(texts.words[texts.code[row]])} is not known"
            self.fault(row, name, found, allowed=", ".join(allowed))
        return texts.strings()

    def flag(self, name: str) -> Bools:
        """A yes/no column (n,)."""
        out = np.zeros(self.size, dtype=np.bool_)
        for row, cell in enumerate(cells_of(self.column(name))):
            word = as_text(cell).lower()
            out[row] = word in TRUE
            if not is_blank(cell) and word not in (*TRUE, *FALSE):
                self.fault(row, name, f"{quoted(cell)} is not known", allowed="true, false")
        return out

    def dates(self, name: str, *, required: bool = False) -> Dates:
        """A column of days (n,); NaT where blank."""
        column = self.column(name, required=required)
        needed = required and name in self.table.columns
        words = words_as_written(column)
        days = _days(cells_of(column)) if words is None else _days(words.words)[words.code]
        if np.isnat(days).any():
            self._no_dates(name, cells_of(column), np.isnat(days), needed=needed)
        for row in np.flatnonzero((days < DAYS[0]) | (days > DAYS[1])).tolist():
            allowed, remedy = f"{DAYS[0]} to {DAYS[1]}", "look at the year"
            found = f"{days[row]} can not be right"
            self.fault(row, name, found, allowed=allowed, remedy=remedy)
        return days

    def _no_dates(self, name: str, cells: Sequence[Cell], rows: Bools, *, needed: bool) -> None:
        for row in np.flatnonzero(rows).tolist():
            if not is_blank(cells[row]):
                self._no_date(row, name, cells[row])
            elif needed:
                self.fault(row, name, "no date is written here", allowed="2026-04-30")

    def _no_date(self, row: int, name: str, cell: Cell) -> None:
        from geosand.site.remedies import date_remedy  # for cells that can not be read only

        found, allowed = f"{quoted(cell)} is not a date", "year-month-day as in 2026-04-30"
        self.fault(row, name, found, allowed=allowed, remedy=date_remedy(cell))

    def quantity(
        self,
        base: str,
        si: str,
        *,
        required: bool = False,
        above: float | None = None,
        minimum: float | None = None,
        maximum: float | None = None,
        share_below: float = 0.0,
        usual: tuple[float, float] = ANY,
        up: int = 0,
    ) -> Floats:
        """A column of quantities (n,) in the SI unit ``si``; nan where blank.

        The unit is what follows ``base`` in the column's name. Limits are in SI. A percentage
        between 0 and ``share_below`` (a ratio) is told: 0.05 may be meant as a share, 5 %. So is
        what is not 0 and outside ``usual``, as another unit may be meant, and what counts ``up``
        in so many steps or more.
        """
        faults_before = len(self.faults.found)
        found = self.columns_of(base, si)
        if not found:
            if required and self.size and len(self.faults.found) == faults_before:
                found_none = f"there is no {base}_{si} or {base}_… with another unit"
                self.whole_fault(None, found_none, remedy=f"{self.meant(base)}Add {base}_{si}")
            return np.full(self.size, np.nan)
        out: Floats | None = None
        for name, factor in found:
            with np.errstate(over="ignore"):
                values = self.number(name, required=required and len(found) == 1)
                if up:
                    self.tell_dragged(name, values, 1, up)
                values = values * factor
            values = self._limits(name, values, factor, above, minimum, maximum)
            if share_below and factor < 1:
                self._shares(name, values, share_below)
            if usual != ANY:
                self.tell_unusual(name, values, factor, usual)
            out = values if out is None else np.where(np.isnan(out), values, out)
        assert out is not None
        if required and len(found) > 1:  # each of them is blank for the other sites
            for row in np.flatnonzero(np.isnan(out)).tolist():
                self.fault(row, base, "no number is written here", remedy="fill it in")
        return out

    def _shares(self, name: str, values: Floats, below: float) -> None:
        """A finding where percentages are as small as the shares of 1 that may be meant."""

        def text(rows: Ints) -> str:
            percent = values[rows[0]] * 100
            share = f"as a share of 1 it would be {percent * 100:.4g} %"
            return f"{self.places(rows)}, {name}: {percent:.4g} is read as percent; {share}"

        self.tell_rows(np.flatnonzero((values > 0) & (values < below)), text, "file")

    def tell_unusual(
        self, name: str, values: Floats, factor: float, usual: tuple[float, float]
    ) -> None:
        """A finding where quantities (SI) are far from what is usual: another unit may be meant."""

        def figure(value: float) -> str:
            return f"{float(f'{value / factor:.4g}'):.10g}"

        low, high = map(figure, usual)
        limits = f"{low} to {high}" if usual[0] else f"up to {high}"

        def text(rows: Ints) -> str:
            different = list(dict.fromkeys(map(figure, values[rows].tolist())))
            shown = f"{', '.join(different[:3])}{', …' if len(different) > 3 else ''}"
            return f"{self.places(rows)}, {name}: {shown} where {limits} is usual: check the unit"

        odd = (values > 0) & ((values < usual[0]) | (values > usual[1]))
        self.tell_rows(np.flatnonzero(odd), text, "file")

    def number(
        self,
        name: str,
        *,
        required: bool = False,
        above: float | None = None,
        minimum: float | None = None,
        maximum: float | None = None,
    ) -> Floats:
        """A column of plain numbers (n,), such as a count of bags; nan where blank."""
        column = self.column(name, required=required)
        needed = required and name in self.table.columns
        values = as_floats(column)
        if values is not None and not needed and {above, minimum, maximum} == {None}:
            return values  # all are finite or blank
        if values is None or (needed and np.isnan(values).any()):
            cells = cells_of(column)
            values = np.array(
                [self._one_number(row, name, c, needed) for row, c in enumerate(cells)]
            )
        return self._limits(name, values, 1.0, above, minimum, maximum)

    def _one_number(self, row: int, name: str, cell: Cell, required: bool) -> float:
        """One cell as a number; nan, with a fault where it should be one."""
        if is_blank(cell):
            if required:
                self.fault(row, name, "no number is written here", remedy="fill it in")
            return np.nan
        value = parse_number(cell)
        if value is not None:
            return value
        from geosand.site.remedies import number_remedy  # for cells that can not be read only

        allowed = "digits, with a point as the decimal mark and nothing between thousands"
        remedy = number_remedy(str(cell), self.table.file)
        self.fault(row, name, f"{quoted(cell)} is not a number", allowed=allowed, remedy=remedy)
        return np.nan

    def _limits(
        self,
        name: str,
        values: Floats,
        factor: float,
        above: float | None,
        minimum: float | None,
        maximum: float | None,
    ) -> Floats:
        """The values, nan with a fault where beyond a limit; limits are in the values' unit."""
        low = -np.inf if minimum is None else minimum - 1e-12 * abs(minimum)
        high = np.inf if maximum is None else maximum + 1e-12 * abs(maximum)
        least = np.fmin.reduce(values, initial=np.inf)
        most = np.fmax.reduce(values, initial=-np.inf)
        finite = least > -np.inf and most < np.inf
        if finite and low <= least and most <= high and (above is None or least > above):
            return values
        broken = [
            (np.zeros(len(values), bool) if above is None else values <= above, "more than", above),
            (values < low, "at least", minimum),
            ((values > high) | np.isinf(values), "at most", maximum),
        ]
        for mask, words, limit in broken:
            allowed = "a finite number" if limit is None else f"{words} {limit / factor:g}"
            for row in np.flatnonzero(mask).tolist():
                found = f"{values[row] / factor:g} can not be right"
                self.fault(row, name, found, allowed=allowed)
        wrong = broken[0][0] | broken[1][0] | broken[2][0]
        return np.where(wrong, np.nan, values) if wrong.any() else values


def _days(cells: Iterable[Cell]) -> Dates:
    """Each cell as a day, NaT where it is none."""
    nothing = np.datetime64("NaT", "D")
    days: list[Any] = [nothing if (day := parse_day(cell)) is None else day for cell in cells]
    return np.array(days, dtype="datetime64[D]")
