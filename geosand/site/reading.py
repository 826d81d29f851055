"""Raw cells to checked columns: one reader for CSV rows, feature properties and TOML tables."""

from __future__ import annotations

import datetime
import difflib
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from geosand.columns import Bools, Dates, Floats, Strings
from geosand.errors import Faults, Finding
from geosand.units import UnitFault, factor_to_si

Cell = str | float | int | bool | datetime.date | None
SHOW = 40  #: characters of a cell quoted in a message


@dataclass(frozen=True, slots=True, kw_only=True)
class RawTable:
    """Cells as they stand in a file, by column, with the place of each row for messages."""

    file: str
    rows: Sequence[int | str]
    columns: Mapping[str, Sequence[Cell]]


def quoted(cell: Cell) -> str:
    """A cell as a message shows it: short, on one line, without control characters."""
    text = "".join(c if c.isprintable() else "·" for c in str(cell))
    return f"'{text[:SHOW]}…'" if len(text) > SHOW else f"'{text}'"


def is_blank(cell: Cell) -> bool:
    """True for a cell that holds nothing."""
    return cell is None or (isinstance(cell, str) and not cell.strip())


class Reader:
    """Takes columns out of one RawTable, noting faults; :meth:`finish` tells what was not read."""

    def __init__(self, table: RawTable, faults: Faults, findings: list[Finding]) -> None:
        self.table, self.faults, self.findings = table, faults, findings
        self.size = len(table.rows)
        self.read: set[str] = set()
        self.known: set[str] = set()

    def has(self, name: str) -> bool:
        """True where the column exists with at least one filled cell."""
        return not all(is_blank(c) for c in self.table.columns.get(name, ()))

    def fault(
        self, row: int, column: str | None, found: str, *, allowed: str = "", remedy: str = ""
    ) -> None:
        """Note a fault in row number ``row`` (counted from 0) of this table."""
        place = self.table.rows[row] if 0 <= row < self.size else None
        self.faults.add(
            self.table.file, found, row=place, column=column, allowed=allowed, remedy=remedy
        )

    def cells(self, name: str) -> Sequence[Cell]:
        """A column's cells; blanks where there is no such column."""
        self.known.add(name)
        self.read.add(name)
        return self.table.columns.get(name, [None] * self.size)

    def text(
        self, name: str, *, required: bool = False, pattern: str = "", allowed: str = ""
    ) -> Strings:
        """A text column (n,), stripped; "" where blank."""
        texts = ["" if is_blank(c) else _as_text(c) for c in self.cells(name)]
        for row, text in enumerate(texts):
            if required and not text:
                self.fault(row, name, "nothing is written here", remedy=f"give a {name}")
            elif text and pattern and not re.fullmatch(pattern, text):
                self.fault(row, name, f"{quoted(text)} can not be used", allowed=allowed)
        return np.array(texts, dtype=np.str_)

    def choice(self, name: str, allowed: Sequence[str]) -> Strings:
        """A text column (n,) of a few allowed words, in lower case."""
        texts = np.char.lower(self.text(name)) if self.size else np.array([], dtype=np.str_)
        for row in np.flatnonzero(~np.isin(texts, ["", *allowed])):
            self.fault(
                int(row),
                name,
                f"{quoted(str(texts[row]))} is not known",
                allowed=", ".join(allowed),
            )
        return texts

    def flag(self, name: str) -> Bools:
        """A yes/no column (n,)."""
        out = np.zeros(self.size, dtype=np.bool_)
        for row, cell in enumerate(self.cells(name)):
            word = str(cell).strip().lower()
            out[row] = word in ("true", "yes", "1")
            if not is_blank(cell) and word not in ("true", "yes", "1", "false", "no", "0"):
                self.fault(row, name, f"{quoted(cell)} is not known", allowed="true, false")
        return out

    def dates(self, name: str, *, required: bool = False) -> Dates:
        """A column of days (n,); NaT where blank."""
        out = np.full(self.size, "NaT", dtype="datetime64[D]")
        for row, cell in enumerate(self.cells(name)):
            if is_blank(cell):
                if required:
                    self.fault(row, name, "no date is written here", allowed="2026-04-30")
                continue
            day = parse_day(cell)
            if day is None:
                self.fault(
                    row,
                    name,
                    f"{quoted(cell)} is not a date",
                    allowed="year-month-day as in 2026-04-30",
                    remedy="write the date so that day and month can not be mixed up",
                )
            else:
                out[row] = day
        return out

    def column_of(self, base: str) -> tuple[str, str] | None:
        """The column that carries ``base`` with its unit: (column, unit); None if not there."""
        self.known.add(f"{base}_…")
        matches = []
        for name in self.table.columns:
            unit = name[len(base) + 1 :]
            if name.startswith(f"{base}_") and name not in self.read and unit:
                matches.append((name, unit))
            elif name == base:
                self.read.add(name)
                self.faults.add(
                    self.table.file,
                    f"{base!r} does not say its unit",
                    column=name,
                    remedy=f"put the unit into the column's name, like {base}_{{unit}}",
                )
        filled = [m for m in matches if self.has(m[0])]
        self.read.update(name for name, _ in matches)
        if len(filled) > 1:
            names = " and ".join(name for name, _ in filled)
            self.faults.add(
                self.table.file, f"{names} say the same thing", remedy="keep one of them"
            )
        return filled[0] if filled else (matches[0] if matches else None)

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
        found = self.column_of(base)
        if found is None:
            if required:
                self.faults.add(
                    self.table.file,
                    f"there is no column {base}_… with its unit",
                    remedy=f"add one, like {base}_{si}",
                )
            return np.full(self.size, np.nan)
        name, unit = found
        try:
            factor = factor_to_si(unit, si)
        except UnitFault as problem:
            self.faults.add(self.table.file, str(problem), column=name)
            return np.full(self.size, np.nan)
        values = self.number(name, required=required) * factor
        self._limits(name, values, factor, above, minimum, maximum)
        return values

    def quantity_free(self, name: str, *, above: float) -> Floats:
        """A required column of plain numbers above a bound, such as a count of bags."""
        values = self.number(name, required=True)
        self._limits(name, values, 1.0, above, None, None)
        return values

    def number(self, name: str, *, required: bool = False) -> Floats:
        """A column of plain numbers (n,); nan where blank."""
        cells = self.cells(name)
        fast = _all_floats(cells)
        if fast is not None and not required:
            return fast
        out = np.full(self.size, np.nan)
        for row, cell in enumerate(cells):
            if is_blank(cell):
                if required:
                    self.fault(row, name, "no number is written here", remedy="fill it in")
                continue
            value = parse_number(cell)
            if value is None:
                mark = "; write a point as the decimal mark" if "," in str(cell) else ""
                self.fault(row, name, f"{quoted(cell)} is not a number", allowed=f"digits{mark}")
            else:
                out[row] = value
        return out

    def _limits(
        self,
        name: str,
        values: Floats,
        factor: float,
        above: float | None,
        minimum: float | None,
        maximum: float | None,
    ) -> None:
        tests: list[tuple[float | None, Callable[[Floats, float], Bools], str]] = [
            (above, lambda v, b: v <= b, "more than"),
            (minimum, lambda v, b: v < b * (1 - 1e-12), "at least"),
            (maximum, lambda v, b: v > b * (1 + 1e-12), "at most"),
        ]
        for bound, broken, words in tests:
            if bound is not None:
                for row in np.flatnonzero(
                    broken(
                        np.where(
                            np.isnan(values), np.inf if words != "at most" else -np.inf, values
                        ),
                        bound,
                    )
                ):
                    self.fault(
                        int(row),
                        name,
                        f"{values[row] / factor:g} can not be right",
                        allowed=f"{words} {bound / factor:g}",
                    )

    def finish(self) -> None:
        """Tell which columns were not read, with the likeliest meant name."""
        names = sorted(n.removesuffix("_…") for n in self.known)
        for name in self.table.columns:
            if name in self.read or not self.has(name):
                continue
            near = difflib.get_close_matches(name, names, n=1, cutoff=0.75)
            hint = f"; did you mean {near[0]}?" if near else ""
            self.findings.append(
                Finding(
                    about=self.table.file,
                    text=f"column {quoted(name)} is not read{hint}",
                    topic="file",
                )
            )


def _as_text(cell: Cell) -> str:
    if isinstance(cell, float) and cell.is_integer() and abs(cell) < 1e15:
        return str(int(cell))
    return str(cell).strip()


def _all_floats(cells: Sequence[Cell]) -> Floats | None:
    """All cells as floats at once, nan for blanks; None where any cell is doubtful."""
    try:
        values = np.array([np.nan if c is None or c == "" else float(c) for c in cells])  # type: ignore[arg-type]
    except (TypeError, ValueError, OverflowError):
        return None
    doubtful = any(isinstance(c, bool) or (isinstance(c, str) and "_" in c) for c in cells)
    blanks = sum(c is None or c == "" for c in cells)
    if doubtful or int((~np.isfinite(values)).sum()) != blanks:
        return None
    return values


def parse_number(cell: Cell) -> float | None:
    """A finite number, or None. No thousands separators, no decimal comma, no nan."""
    if isinstance(cell, bool) or isinstance(cell, datetime.date) or cell is None:
        return None
    if isinstance(cell, str) and not re.fullmatch(
        r"\s*[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?\s*", cell, re.ASCII
    ):
        return None
    try:
        value = float(cell)
    except (ValueError, OverflowError):
        return None
    return value if np.isfinite(value) else None


def parse_day(cell: Cell) -> np.datetime64 | None:
    """A day from a date, a datetime or ISO 8601 text; None for anything else."""
    if isinstance(cell, datetime.datetime):
        return np.datetime64(cell.date(), "D")
    if isinstance(cell, datetime.date):
        return np.datetime64(cell, "D")
    match = re.fullmatch(r"\s*(\d{4}-\d{2}-\d{2})(?:[T ]00:00(?::00)?)?\s*", str(cell), re.ASCII)
    try:
        return np.datetime64(datetime.date.fromisoformat(match[1]), "D") if match else None
    except ValueError:
        return None
