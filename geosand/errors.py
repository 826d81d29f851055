"""Faults and findings: which thing, what was found, what is allowed, what to do."""

from __future__ import annotations

import errno
from collections.abc import Iterable, Sequence

from geosand.tuples import NamedTuple

#: What follows where a cell can not be read, for which that is told already.
BLANK = ("nothing is written here", "no number is written here", "no date is written here")
NO_ROOM = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)
ALIKE = 5  #: faults that differ only in their row are told one by one up to this many


def printable(text: str) -> str:
    """Text as a terminal may show it: control and bidirectional characters become a dot.

    >>> printable("1\u202f500\u00a0kg \u202eabc") == "1\u202f500\u00a0kg ·abc"
    True
    """
    if text.isprintable():
        return text
    return "".join(c if c.isprintable() or c in _FIXED_SPACES else "·" for c in text)


#: Within figures: no-break space, narrow no-break space.
_FIXED_SPACES = "\u00a0\u202f"


#: Signals by which this process was told to stop: a library may pass over what is raised for them.
STOPS: list[int] = []


def stop_code(stop: KeyboardInterrupt) -> int:
    """Exit code of a run that was stopped, as shells give it: 128 and the number of the signal.

    >>> stop_code(KeyboardInterrupt()), stop_code(KeyboardInterrupt(15))
    (130, 143)
    """
    number = next(iter(stop.args), 2)
    return 128 + (number if isinstance(number, int) else 2)


class Fault(NamedTuple):
    """One thing wrong in one place of the input, with its remedy."""

    file: str
    found: str
    row: int | str | None = None  #: line as a spreadsheet counts it, or the feature's number
    column: str | None = None
    allowed: str = ""
    remedy: str = ""

    def __str__(self) -> str:
        place = self.file
        if self.row is not None:
            place += f", row {self.row}" if isinstance(self.row, int) else f", {self.row}"
        if self.column:
            place += f", {self.column}"
        text = f"{place}: {self.found}"
        if self.allowed:
            text += f"; allowed: {self.allowed}"
        if self.remedy:
            text += f". {self.remedy[0].upper()}{self.remedy[1:]}"
        return printable(text if text.endswith((".", "?", "!")) else text + ".")


class Finding(NamedTuple):
    """Something a reader should know before trusting a figure; nothing was refused."""

    about: str  #: id of the surface, dressing, catch or load, or the file
    text: str
    topic: str = ""  #: one of: area, catch, default, rate, balance, ring, season, file
    member: int = 0  #: which site it is of, where several are laid end to end

    def __str__(self) -> str:
        return printable(f"{self.about}: {self.text}" if self.about else self.text)


class Refused(Exception):
    """The data were refused. ``faults`` holds every fault that was found, not only the first.

    They are in order of files, as these were read, and of rows.

    The text has a line for each; of faults that are alike in all but their row, the rows after the
    first few are listed in one line.
    """

    def __init__(self, faults: Iterable[Fault] | Fault) -> None:
        several = (faults,) if isinstance(faults, Fault) else faults
        given = tuple(dict.fromkeys(map(_numbered, several)))
        files = list(dict.fromkeys(fault.file for fault in given))
        self.faults: Sequence[Fault] = tuple(
            sorted(given, key=lambda fault: (files.index(fault.file), _row_number(fault)))
        )
        super().__init__("\n".join(_lines(self.faults)))

    def __reduce__(self) -> tuple[type[Refused], tuple[Sequence[Fault]]]:
        return type(self), (self.faults,)  # as itself between processes, not as its text


class Undecided(Refused):
    """Nothing is wrong beyond doubt, but a person must decide before anything is written."""


class Unwritten(Refused):
    """The data are sound, but a result can not go where it should."""


def refused(
    file: str,
    found: str,
    *,
    row: str | None = None,
    column: str | None = None,
    allowed: str = "",
    remedy: str = "",
) -> Refused:
    """A refusal with one fault, to be raised."""
    return Refused(Fault(file, found, row, column, allowed, remedy))


def _numbered(fault: Fault) -> Fault:
    """The fault with the row "row 7", as boundaries have it, as the number 7."""
    word, _, number = str(fault.row).partition(" ")
    return fault._replace(row=int(number)) if word == "row" and number.isdecimal() else fault


def listed(names: Sequence[str], most: int = 6) -> str:
    """Up to ``most`` names and how many more; a last one is named, as "1 more" is no shorter."""
    told = most + 1 if len(names) == most + 1 else most
    more = f" and {len(names) - told} more" if len(names) > told else ""
    return ", ".join(names[:told]) + more


def listed_dressings(names: Sequence[str], most: int = 6) -> str:
    """The same of dressings; where bare numbers name them it says that they are dressings.

    >>> listed_dressings(["1", "2"]), listed_dressings(["D1", "D2"])
    ('dressings 1, 2', 'D1, D2')
    """
    word = f"dressing{'' if len(names) == 1 else 's'} " if any(map(str.isdecimal, names)) else ""
    return word + listed(names, most)


def _row_number(fault: Fault) -> int:
    """The number in a row's name; -1 for a fault of a file or column as a whole."""
    digits = str(fault.row).rpartition(" ")[2]
    return int(digits) if digits.isascii() and digits.isdigit() else -1


def _lines(faults: Sequence[Fault]) -> list[str]:
    """A line a fault, file by file and column by column; of many that are alike the first few."""
    alike: dict[tuple[str, str | None, str, str], list[Fault]] = {}
    for fault in faults:
        key = (fault.file, fault.column, fault.allowed, fault.remedy)
        alike.setdefault(key, []).append(fault)
    lines: list[str] = []
    for group in alike.values():
        same: dict[str, list[Fault]] = {}
        for fault in group:
            same.setdefault(fault.found, []).append(fault)
        told = len(same) if len(same) <= ALIKE + 1 else ALIKE
        for faults_in_rows in list(same.values())[:told]:
            lines += _of_rows(faults_in_rows)
        if rest := [fault for later in list(same.values())[told:] for fault in later]:
            rest.sort(key=_row_number)
            rows = ", ".join(dict.fromkeys(str(fault.row) for fault in rest[:20]))
            place = f"{rest[0].file}, {rest[0].column}" if rest[0].column else rest[0].file
            more = ", …" if len(rest) > 20 else ""
            lines.append(printable(f"{place}: the like in {len(rest)} more rows: {rows}{more}."))
    return lines


def _of_rows(faults: Sequence[Fault]) -> list[str]:
    """One and the same fault in some rows: a line each of one or two, else one line for all."""
    if len(faults) < 3 or faults[0].row is None:
        return [str(fault) for fault in faults]
    rows = ", ".join(str(fault.row) for fault in faults[:ALIKE])
    more = f" and {len(faults) - ALIKE} more" if len(faults) > ALIKE else ""
    word = "rows " if isinstance(faults[0].row, int) else ""
    return [str(faults[0]._replace(row=f"{word}{rows}{more}"))]


class Faults:
    """Collects faults while files are read; :meth:`refuse` raises them all together."""

    def __init__(self) -> None:
        self.found: list[Fault] = []
        self.members: set[int] = set()  #: sites with a fault, where several are read together
        self._cells: set[tuple[str, int | str | None, str | None, int]] = set()

    def add(
        self,
        file: str,
        found: str,
        *,
        row: int | str | None = None,
        column: str | None = None,
        allowed: str = "",
        remedy: str = "",
        member: int = 0,
    ) -> None:
        """Note one fault and go on reading."""
        self.members.add(member)
        cell = (file, row, column, member)
        if found in BLANK and cell in self._cells:
            return  # why nothing can be read there is told
        self._cells.add(cell)
        self.found.append(
            Fault(file=file, row=row, column=column, found=found, allowed=allowed, remedy=remedy)
        )

    def refuse(self) -> None:
        """Raise :class:`Refused` with all faults noted so far; do nothing if there are none."""
        if self.found:
            raise Refused(self.found)
