"""Raw cells to checked columns: one reader for CSV rows, feature properties and TOML tables."""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np

from geosand.columns import Bools, Dates, Floats, Strings
from geosand.errors import Faults, Finding
from geosand.site.cells import (
    LONGEST,
    UNSHOWN,
    Cell,
    RawTable,
    all_floats,
    as_text,
    is_blank,
    is_clean,
    nearest,
    parse_day,
    parse_number,
    plain_texts,
    quoted,
)
from geosand.units import UnitFault, factor_to_si

SERIAL_DAYS = (20_000, 80_000)  #: spreadsheets count days from 1900: 1954 to 2119
TRUE, FALSE = ("true", "yes", "1"), ("false", "no", "0")


class Reader:
    """Takes columns out of one RawTable, noting faults; :meth:`finish` tells what was not read."""

    def __init__(self, table: RawTable, faults: Faults, findings: list[Finding]) -> None:
        self.table, self.faults, self.findings = table, faults, findings
        self.size = len(table.rows)
        self.faulty: set[int] = set(table.told)  #: rows with a fault, which need no follow-up
        self.read: set[str] = set()
        self.known: set[str] = set()

    def has(self, name: str) -> bool:
        """True where the column exists with at least one filled cell."""
        return not all(is_blank(c) for c in self.table.columns.get(name, ()))

    def fault(
        self, row: int, column: str | None, found: str, *, allowed: str = "", remedy: str = ""
    ) -> None:
        """Note a fault in row number ``row`` (counted from 0) of this table."""
        self.faulty.add(row)
        self.faults.add(
            self.table.file,
            found,
            row=self.table.rows[row],
            column=column,
            allowed=allowed,
            remedy=remedy,
        )

    def whole_fault(self, column: str | None, found: str, *, remedy: str = "") -> None:
        """Note a fault of a column as a whole; its rows need no follow-up."""
        self.faulty.update(range(self.size))
        place = self.table.rows[0] if self.size and isinstance(self.table.rows[0], str) else None
        inside = place if place and not place.startswith("feature") else None
        self.faults.add(self.table.file, found, row=inside, column=column, remedy=remedy)

    def meant(self, name: str) -> str:
        """A question for a remedy, naming an unread column that is nearly called ``name``."""
        others = {n.lower(): n for n in self.table.columns if n not in self.read}
        near = nearest(name, others, cutoff=0.7)
        return f"did you mean {quoted(others[near[0]])}? " if near else ""

    def cells(self, name: str, *, required: bool = False) -> Sequence[Cell]:
        """A column's cells; blanks where there is no such column (a fault if ``required``)."""
        self.known.add(name)
        self.read.add(name)
        if required and self.size and name not in self.table.columns:
            remedy = f"{self.meant(name)}Add {name}"
            self.whole_fault(None, f"there is no {name}", remedy=remedy)
        return self.table.columns.get(name, [None] * self.size)

    def text(
        self, name: str, *, required: bool = False, pattern: str = "", allowed: str = ""
    ) -> Strings:
        """A text column (n,), stripped; "" where blank."""
        cells = self.cells(name, required=required)
        if name not in self.table.columns:
            return np.full(self.size, "", dtype=np.str_)
        plain = plain_texts(cells)
        if plain is not None and not pattern and not (required and "" in plain):
            return np.array(plain, dtype=np.str_)
        texts = ["" if is_blank(c) else as_text(c) for c in cells]
        needed = required and name in self.table.columns
        for row, text in enumerate(texts):
            if needed and not text:
                self.fault(row, name, "nothing is written here", remedy=f"write the {name}")
            elif len(text) > LONGEST:
                self.fault(row, name, f"a text of {len(text):,} characters", allowed=f"{LONGEST:,}")
            elif not is_clean(text):
                found = f"{quoted(text)} holds control characters"
                self.fault(row, name, found, remedy="write it anew")
            elif text and pattern and not re.fullmatch(pattern, text):
                self.fault(row, name, f"{quoted(text)} can not be used", allowed=allowed)
        short = [text[:LONGEST].translate(UNSHOWN) for text in texts]
        return np.array(short, dtype=np.str_)

    def choice(self, name: str, allowed: Sequence[str]) -> Strings:
        """A text column (n,) of a few allowed words, in lower case."""
        texts = np.char.lower(self.text(name)) if self.size else np.array([], dtype=np.str_)
        for row in np.flatnonzero(~np.isin(texts, ["", *allowed])).tolist():
            found = f"{quoted(str(texts[row]))} is not known"
            self.fault(row, name, found, allowed=", ".join(allowed))
        return texts

    def flag(self, name: str) -> Bools:
        """A yes/no column (n,)."""
        out = np.zeros(self.size, dtype=np.bool_)
        for row, cell in enumerate(self.cells(name)):
            word = as_text(cell).lower()
            out[row] = word in TRUE
            if not is_blank(cell) and word not in (*TRUE, *FALSE):
                self.fault(row, name, f"{quoted(cell)} is not known", allowed="true, false")
        return out

    def dates(self, name: str, *, required: bool = False) -> Dates:
        """A column of days (n,); NaT where blank."""
        out = np.full(self.size, "NaT", dtype="datetime64[D]")
        cells = self.cells(name, required=required)
        needed = required and name in self.table.columns
        for row, cell in enumerate(cells):
            if is_blank(cell):
                if needed:
                    self.fault(row, name, "no date is written here", allowed="2026-04-30")
                continue
            day = parse_day(cell)
            if day is None:
                self._no_date(row, name, cell)
            else:
                out[row] = day
        return out

    def _no_date(self, row: int, name: str, cell: Cell) -> None:
        number = parse_number(cell)
        remedy = "write the date so that day and month can not be mixed up"
        if number is not None and SERIAL_DAYS[0] < number < SERIAL_DAYS[1]:
            remedy = "it looks like a spreadsheet's day number: give the column the date format"
        self.fault(
            row,
            name,
            f"{quoted(cell)} is not a date",
            allowed="year-month-day as in 2026-04-30",
            remedy=remedy,
        )

    def column_of(self, base: str, si: str) -> tuple[str, float] | None:
        """The column that carries ``base``, and the factor of its unit to ``si``; None if absent.

        A column is one of ``base`` if what follows is a unit of the right measure, or if there is
        no other; then what follows is a fault.
        """
        self.known.add(f"{base}_…")
        good: list[tuple[str, float]] = []
        odd: list[tuple[str, str]] = []
        for name in self.table.columns:
            if name == base and self.has(name):
                self.read.add(name)
                found, remedy = f"{base} does not say its unit", f"call it {base}_{si} or the like"
                self.whole_fault(name, found, remedy=remedy)
            if not name.startswith(f"{base}_") or name in self.read:
                continue
            try:
                good.append((name, factor_to_si(name[len(base) + 1 :], si)))
                self.read.add(name)
            except UnitFault as problem:
                odd.append((name, str(problem)))
        filled = [match for match in good if self.has(match[0])]
        if len(filled) > 1:
            names = " and ".join(name for name, _ in filled)
            self.faults.add(
                self.table.file, f"{names} say the same thing", remedy="keep one of them"
            )
        if not good:
            for name, reason in odd:
                if self.has(name):
                    self.read.add(name)
                    self.whole_fault(name, reason)
        return next(iter(filled or good), None)

    def quantity(
        self,
        base: str,
        si: str,
        *,
        required: bool = False,
        above: float | None = None,
        minimum: float | None = None,
        maximum: float | None = None,
    ) -> Floats:
        """A column of quantities (n,) in the SI unit ``si``; nan where blank.

        The unit is what follows ``base`` in the column's name. Limits are in SI.
        """
        faults_before = len(self.faults.found)
        found = self.column_of(base, si)
        if found is None:
            if required and self.size and len(self.faults.found) == faults_before:
                found_none = f"there is no {base}_{si} or {base}_… with another unit"
                self.whole_fault(None, found_none, remedy=f"{self.meant(base)}Add {base}_{si}")
            return np.full(self.size, np.nan)
        name, factor = found
        with np.errstate(over="ignore"):
            values = self.number(name, required=required) * factor
        return self._limits(name, values, factor, above, minimum, maximum)

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
        cells = self.cells(name, required=required)
        needed = required and name in self.table.columns
        values = all_floats(cells)
        if values is None or (needed and np.isnan(values).any()):
            values = np.array(
                [self._one_number(row, name, c, needed) for row, c in enumerate(cells)]
            )
        return self._limits(name, values, 1.0, above, minimum, maximum)

    def _one_number(self, row: int, name: str, cell: Cell, required: bool) -> float:
        if is_blank(cell):
            if required:
                self.fault(row, name, "no number is written here", remedy="fill it in")
            return np.nan
        value = parse_number(cell)
        if value is not None:
            return value
        allowed = "digits, with a point as the decimal mark and nothing between thousands"
        self.fault(row, name, f"{quoted(cell)} is not a number", allowed=allowed)
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

    def finish(self) -> None:
        """Tell which columns were not read, with the likeliest meant name."""
        names = {n.removesuffix("_…"): n for n in sorted(self.known)}
        for name in self.table.columns:
            if name in self.read or not self.has(name):
                continue
            near = nearest(name.lower(), names, cutoff=0.75)
            hint = f" (did you mean {names[near[0]]}?)" if near else ""
            place = str(next(iter(self.table.rows), 0))
            thing = "column" if place.isdigit() or place.startswith("feature") else "key"
            text = f"{thing} {quoted(name)} is not read{hint}"
            self.findings.append(Finding(about=self.table.file, text=text, topic="file"))
