"""A table that is being read: which columns it has, whose its rows are, what is wrong or unread.

The rows may be of several sites: faults and findings then say of which they are.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from geosand.columns import Bools, Floats, Ints, begins, distinct
from geosand.errors import Faults, Finding
from geosand.site.cells import RawTable, loosely, nearest, quoted
from geosand.site.raw_columns import Column, Ids, any_written, blank_texts, repeated, written
from geosand.units import DOOR, factor_or_fault

SHOWN = 8  #: rows named in a finding
#: So many steps of 1 are no chance where rows are mostly alike; of readings more, as trays may be
#: laid in order of weight (12 simulated trays counted up 4 times in 10 %, 7 times in 0.4 %).
UP, UP_READINGS = 4, 7
SAME = 11  #: so many times the reading before it, too
DRAGGED = {
    1: "in each row 1 more: a cell that is dragged down counts up. Copy it if all are the same",
    0: "the same in each row: was one reading copied down, or is the scale too coarse to tell?",
}


class TableReader:
    """Finds the columns of one RawTable, noting faults; :meth:`finish` tells what was not read."""

    def __init__(self, table: RawTable, faults: Faults, findings: list[Finding]) -> None:
        self.table, self.faults, self.findings = table, faults, findings
        self.size, self.members = len(table.rows), table.members
        self.member = table.of_site()  #: which site each row is of
        self._begun = np.flatnonzero(begins(self.member))
        self.faulty: set[int] = set(table.told)  #: rows with a fault, which need no follow-up
        self.read: set[str] = set()
        self.known: set[str] = set()
        self._filled: dict[str, Bools] = {}
        self.units: list[list[str]] = []  #: names of one quantity with units, in order of columns
        self.bases: dict[str, str] = {}  #: quantities that were read, and the SI unit of each

    def has(self, name: str) -> Bools:
        """For each site (members,) whether the column is there with at least one filled cell."""
        if name not in self._filled:
            column = self.table.columns.get(name, ())
            several = self.members > 1 and len(column) > 0
            one = np.full(self.members, any_written(column)) if not several else None
            self._filled[name] = self.of(written(column)) if one is None else one
        return self._filled[name]

    def of(self, rows: Bools) -> Bools:
        """For each site (members,) whether any of its rows is in the mask."""
        out = np.zeros(self.members, dtype=np.bool_)
        if len(self._begun):
            out[self.member[self._begun[np.logical_or.reduceat(rows, self._begun)]]] = True
        return out

    def tell(self, rows: Bools, text: str, topic: str) -> None:
        """A finding about the file for each site that has any of ``rows``."""
        for k in np.flatnonzero(self.of(rows)).tolist():
            self.finding(text, topic, k)

    def tell_rows(self, rows: Ints, text: Callable[[Ints], str], topic: str) -> None:
        """A finding about the file for each site that has any of ``rows``, made of its own."""
        for k in distinct(self.member[rows]).tolist():
            self.finding(text(rows[self.member[rows] == k]), topic, k)

    def finding(self, text: str, topic: str, member: int, *, about: str = "") -> None:
        """A finding of one site (``member``) about the file, or about a thing in it."""
        about = about or self.table.file
        self.findings.append(Finding(about=about, text=text, topic=topic, member=member))

    def tell_nearly_same(self, names: Ids, thing: str) -> None:
        """A finding for names of one site that differ in case, blanks or zeros before a number."""
        loose = names.text.changed(loosely)
        keys = names.member * len(loose.words) + loose.code
        told = set()
        for row, start in repeated(keys, loose.matching(bool)):
            one, other = (names.text.words[names.text.code[k]] for k in (start, row))
            if one != other and (names.member[row], other) not in told:
                told.add((names.member[row], other))
                both = f"the {thing}s {quoted(one)} and {quoted(other)} have nearly the same name"
                text = f"{both}: check that no row means the other"
                self.finding(text, "file", int(names.member[row]))

    def tell_dragged(self, name: str, values: Floats, step: int, fewest: int) -> None:
        """A finding where rows follow each other by one ``step``, ``fewest`` times or more.

        With 1 they count up, as a cell that is dragged down; with 0 they are all the same.
        """
        alike = np.diff(values) == step
        if np.count_nonzero(alike) < fewest:
            return
        alike[self._begun[1:] - 1] = False  # from one site to the next
        ends = np.flatnonzero(np.diff(np.concatenate([[0], alike, [0]]))).tolist()
        for first, last in zip(ends[::2], ends[1::2], strict=True):
            if last - first >= fewest:
                figures = f"{values[first]:g} to {values[last]:g}, " if step else ""
                where = f"{self.place(first)} to {self.place(last)}, {name}"
                text = f"{where}: {figures}{DRAGGED[step]}"
                self.finding(text, "file", int(self.member[first]))

    def place(self, row: int) -> str:
        """Where a row stands, for a message: "row 5" or "feature 3"."""
        name = self.table.rows[row]
        return name if isinstance(name, str) else f"row {name}"

    def places(self, rows: Ints) -> str:
        """Where rows stand, the first few of them, for a finding."""
        names = [self.table.rows[row] for row in rows[:SHOWN].tolist()]
        word = ("rows " if len(rows) > 1 else "row ") if not isinstance(names[0], str) else ""
        more = f" and {len(rows) - SHOWN} more" if len(rows) > SHOWN else ""
        return f"{word}{', '.join(map(str, names))}{more}"

    def sound(self, rows: Bools) -> list[int]:
        """Those of ``rows`` (n,), by number, that have no fault yet: one of a row is enough."""
        return [row for row in np.flatnonzero(rows).tolist() if row not in self.faulty]

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
            member=int(self.member[row]),
        )

    def whole_fault(
        self, column: str | None, found: str, *, remedy: str = "", members: Bools | None = None
    ) -> None:
        """Note a fault of a column as a whole; its rows need no follow-up.

        ``members`` says for which sites, if not for all.
        """
        mine = np.ones(self.size, bool) if members is None else members[self.member]
        self.faulty.update(np.flatnonzero(mine).tolist())
        place = self.table.rows[0] if self.size and isinstance(self.table.rows[0], str) else None
        inside = place if place and not place.startswith("feature") else None
        told = range(self.members) if members is None else np.flatnonzero(members).tolist()
        for k in told:
            self.faults.add(
                self.table.file, found, row=inside, column=column, remedy=remedy, member=k
            )

    def meant(self, name: str) -> str:
        """A question for a remedy, naming an unread column that is nearly called ``name``."""
        unread = [n for n in self.table.columns if n not in self.read]
        others = [n for n in unread if n.startswith("u_") == name.startswith("u_")]
        near = nearest(name, others, cutoff=0.7)
        return f"did you mean {quoted(near[0])}? " if near else ""

    def column(self, name: str, *, required: bool = False) -> Column:
        """A column; blanks where there is no such column (a fault if ``required``)."""
        self.known.add(name)
        self.read.add(name)
        lacking = self._lacking(name) if required else None
        if lacking is not None and lacking.any():
            remedy = f"{self.meant(name)}Add {name}"
            thing = "" if self.size and not isinstance(self.table.rows[0], int) else "column "
            text = f"there is no {thing}{name}"
            self.whole_fault(None, text, remedy=remedy, members=lacking)
        found: Column | None = self.table.columns.get(name)
        return blank_texts(self.size) if found is None else found

    def columns_of(self, base: str, si: str) -> list[tuple[str, float]]:
        """The columns that carry ``base``, and the factor of each one's unit to ``si``.

        A column is one of ``base`` if what follows is a unit of the right measure, or if there is
        no other; then what follows is a fault. A site may have one of them only.
        """
        self.known.add(f"{base}_…")
        self.bases[base] = si
        good: list[tuple[str, float]] = []
        odd: list[tuple[str, str]] = []
        for name in self.table.columns:
            if not name.startswith(base):
                continue
            if name == base and self.has(name).any():
                self.read.add(name)
                found, remedy = f"{base} does not say its unit", f"call it {base}_{si} or the like"
                self.whole_fault(name, found, remedy=remedy, members=self.has(name))
            if not name.startswith(f"{base}_") or name in self.read:
                continue
            factor = factor_or_fault(name[len(base) + 1 :], si)
            if isinstance(factor, str):
                odd.append((name, factor))
            else:
                good.append((name, factor))
                self.read.add(name)
        self.units.append([name for name, _ in good])
        filled = [match for match in good if self.has(match[0]).any()]
        if len(filled) > 1:
            self._said_twice([name for name, _ in filled])
        if odd:
            self._odd_units(base, odd, [name for name, _ in good])
        return (filled if self.members > 1 else filled[:1]) or good[:1]

    def column_read(self, base: str) -> str:
        """The column that was read for ``base``, as it is called in the file."""
        names = [n for n in self.table.columns if n.startswith(f"{base}_") and n in self.read]
        return next((n for n in names if self.has(n).any()), [*names, f"{base}_…"][0])

    def _said_twice(self, names: Sequence[str]) -> None:
        number = np.sum([self.has(name) for name in names], axis=0)
        for k in np.flatnonzero(number > 1).tolist():
            mine = " and ".join(name for name in names if self.has(name)[k])
            self.faults.add(
                self.table.file, f"{mine} say the same thing", remedy="keep one of them", member=k
            )

    def _odd_units(self, base: str, odd: Sequence[tuple[str, str]], good: Sequence[str]) -> None:
        """Faults for columns whose unit can not be read, where a site has no other of that base."""
        alone = np.full(self.members, self.members > 1 or not good)
        if self.members > 1:
            alone = ~np.any([np.zeros(self.members, bool), *map(self.has, good)], axis=0)
        for name, reason in odd:
            if (self.has(name) & alone).any():
                self.read.add(name)
                remedy = self._other_base(base, name[len(base) + 1 :])
                self.whole_fault(name, reason, remedy=remedy, members=self.has(name) & alone)

    def _other_base(self, base: str, unit: str) -> str:
        """What to call a column whose unit is one of another quantity with the same first word."""
        word = base.partition("_")[0]
        alike = (b for b in self.bases if b.partition("_")[0] == word != "u")
        fits = (b for b in alike if not isinstance(factor_or_fault(unit, self.bases[b]), str))
        return next((f"call it {other}_{unit}" for other in fits), "")

    def finish(self) -> None:
        """Tell which columns were not read, with the likeliest meant name."""
        for name in self.table.columns:
            if name in self.read or not self.has(name).any():
                continue
            place = str(next(iter(self.table.rows), 0))
            thing = "column" if place.isdigit() or place.startswith("feature") else "key"
            told = np.flatnonzero(self.has(name))
            for k, hint in zip(told.tolist(), self._hints(name, told), strict=True):
                self.finding(f"{thing} {quoted(name)} is not read{hint}", "file", k)

    def _hints(self, name: str, members: Ints) -> list[str]:
        """What may be meant by an unread column, for each of the sites."""
        hints: dict[frozenset[str], str] = {}
        several = {name for names in self.units for name in names}
        out = []
        for k in members.tolist():
            mine = frozenset(filter(None, (self._read_of(names, k) for names in self.units)))
            if mine not in hints:
                known = (self.known - several) | mine
                names = {n.removesuffix("_…"): n for n in sorted(known)}
                near = nearest(name, names, cutoff=0.75)
                base, _, unit = name.rpartition("_")
                if not near and unit in DOOR:
                    near = nearest(base, names, cutoff=0.75)
                meant = self._as_written(name) or (names[near[0]] if near else "")
                hints[mine] = f" (did you mean {meant}?)" if meant else ""
            out.append(hints[mine])
        return out

    def _as_written(self, name: str) -> str:
        """What a name would be with small letters and _ for all else, where that is read here."""
        plain = "_".join("".join(c if c.isalnum() else " " for c in name.lower()).split())
        for base, si in self.bases.items():
            unit = plain.removeprefix(f"{base}_")
            if unit != plain and not isinstance(factor_or_fault(unit, si), str):
                return plain
        return plain if plain in self.known else ""

    def _read_of(self, names: Sequence[str], k: int) -> str:
        """Which of the names of one quantity is read of site ``k``, if it has any of them."""
        filled = next((name for name in names if self.has(name)[k]), "")
        return filled or next((name for name in names if self._present(name)[k]), "")

    def _lacking(self, name: str) -> Bools:
        """Which sites have columns or rows, but not this column; rows are told where blank."""
        table = self.table
        if name not in table.columns:
            return np.full(self.members, bool(self.size or table.columns))
        if name not in table.present:
            return np.zeros(self.members, dtype=np.bool_)
        headed = np.any(list(table.present.values()), axis=0)
        without_rows = ~self.of(np.ones(self.size, dtype=np.bool_))
        lacking: Bools = headed & without_rows & ~table.present[name]
        return lacking

    def _present(self, name: str) -> Bools:
        """For each site whether it has the column, be it blank."""
        if self.members == 1:
            return np.ones(1, dtype=np.bool_)
        present: Bools = self.table.present.get(name, self.has(name))
        return present
