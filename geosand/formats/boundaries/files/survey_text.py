"""Text of survey controllers to cells: separator, decimal mark, heads with their units."""

from __future__ import annotations

import csv
import re
from dataclasses import dataclass, field
from pathlib import Path

from geosand.errors import refused
from geosand.formats.boundaries.files.survey_heads import (
    HEAD_WITHIN,
    NOUNS,
    PARTS,
    Row,
    head_of,
    named_columns,
    says_places,
    unit_above,
    with_groups,
)
from geosand.formats.boundaries.place.written_degrees import degrees_of
from geosand.site.cells import parse_number, quoted

LETTERS = {"P": "point", "N": "northing", "E": "easting", "Z": "elevation", "D": "code"}
LETTERS |= {"C": "code", "Y": "northing", "X": "easting", "H": "elevation", "S": "string"}
START = ("ST", "START", "B", "BEG", "BEGIN", "BL", "S")
CLOSE = ("CL", "CLS", "CLO", "CLOSE", "CLOSED", "C")
END = ("E", "EN", "END", "EL", "SP", "STOP")
BEFORE = ("START", "BEGIN", "CLOSE", "END")  #: commands that may also stand before the code
ORDER_ASKED = (
    "say it with --point-order: P point, N northing, E easting, Z elevation, D code, S string of "
    "line work, - a column to skip; PNEZD and PENZD are usual"
)
CODES_ASKED = "name it code in the heads, or say the order of the columns with --point-order"
#: Lines of two cells with one mark between them.
_TWO_CELLS = {m: re.compile(rf"\s*[^\s{m}]+ *{m} *[^\s{m}]+\s*") for m in (";", "\t", ",")}
_THOUSANDS = re.compile(r"[+-]?\d{1,3}([.,'’  ]\d{3})+([.,]\d+)?")


@dataclass(frozen=True, slots=True, kw_only=True)
class Columns:
    """Which column is what, and what a file's heads say of units."""

    order: dict[str, int]
    first: int = 0  #: row at which the points begin
    units: dict[str, str] = field(default_factory=dict)  #: quantity -> unit of its head
    degrees: bool = False  #: heads say latitude and longitude
    letters: bool = False  #: heads say x and y, not which of them runs north
    width: int = 0  #: of a row: as many cells as its heads or its order name
    parts: tuple[int, ...] = ()  #: columns behind that of codes which belong to the code
    sides: dict[str, int] = field(default_factory=dict)  #: quantity -> column of its N, S, E or W
    named: bool = False  #: the column of strings names outlines, that of codes says their kinds
    unit_row: int = -1  #: row above the heads that says the unit
    unread: tuple[str, ...] = ()  #: heads that say nothing of use here
    noun: str = ""  #: what the numbers of outlines are of, as in a column Green with 1 to 18


def rows_of(path: Path, shown: str) -> tuple[list[Row], bool]:
    """Rows of cells without notes and blank lines, and whether spaces separate them.

    Raises Refused for what is no text, or holds nothing.
    """
    content = path.read_bytes()
    utf16 = content[:2] in (b"\xff\xfe", b"\xfe\xff")
    try:
        text = content.decode("utf-16" if utf16 else "utf-8-sig")
    except UnicodeDecodeError:
        text = content.decode("cp1252", errors="replace")
    if "\0" in text:
        raise refused(shown, "is no text file", remedy="export the points as text")
    lines = [
        (k, line)
        for k, line in enumerate(text.splitlines(), start=1)
        if line.strip() and not line.lstrip().startswith(("#", "//", "!"))
    ]
    if not lines:
        raise refused(shown, "holds no points", remedy="export the points as text")
    most = csv.field_size_limit()
    if endless := next((k for k, line in lines if len(line) > most), 0):
        found = f"a line of more than {most:,} characters"
        raise refused(shown, found, row=f"row {endless}", remedy="export the points as text")
    some = [line for _, line in lines[:200]]
    # a semicolon or a tab separates though commas, as decimal marks, are more
    often = {mark: sum(line.count(mark) > 1 for line in some) for mark in ";\t,"}
    mark = max(often, key=lambda m: often[m])
    if not often[mark]:  # of two columns each line has one
        mark = next((m for m in often if all(map(_TWO_CELLS[m].fullmatch, some))), "")
    if not mark:
        return [(k, line.split()) for k, line in lines], True
    return [(k, next(csv.reader([line], delimiter=mark), [])) for k, line in lines], False


def columns_of(rows: list[Row], point_order: str | None, shown: str) -> Columns:
    """Columns by the user's order, else by the heads; Refused where neither says them."""
    heads = next((k for k, (_, cells) in enumerate(rows[:HEAD_WITHIN]) if says_places(cells)), None)
    if point_order is not None:
        letters = point_order.strip().upper().replace(",", "")
        if not re.fullmatch(r"[PNEZDCYXHS-]+", letters) or not _complete(letters):
            raise refused(
                shown,
                f"the point order {quoted(point_order)} can not be used",
                allowed="letters of P, N, E, Z, D, S and -, with one N and one E",
                remedy=ORDER_ASKED,
            )
        order = {LETTERS[c]: k for k, c in enumerate(letters) if c != "-"}
        if heads is None:
            first = _first_with_digits(rows, order)
            return Columns(order=order, first=first, width=len(letters))
        _, units, degrees = named_columns(rows[heads][1])
        return Columns(
            order=order, first=heads + 1, units=units, degrees=degrees, width=len(letters)
        )
    if heads is None:
        start = ", ".join(rows[0][1])[:60]
        found = f"the order of its columns is said nowhere (first row: {start})"
        raise refused(shown, found, remedy=ORDER_ASKED)
    cells = rows[heads][1]
    order, units, degrees = named_columns(cells)
    plain, order = order, with_groups(rows[heads + 1 :], cells, order)
    unit_row, unit = (-1, "") if units or degrees else unit_above(rows[:heads])
    parts = _parts_of_code(rows[heads + 1 :], cells, order)
    sides = _sides(rows[heads + 1 :], cells, order) if degrees else {}
    named = {*order.values(), *parts, *sides.values()}
    first_letters = {head_of(cells[order[q]])[0][:1] for q in ("northing", "easting")}
    unread = tuple(c.strip() for k, c in enumerate(cells) if c.strip() and k not in named)
    return Columns(
        order=order,
        first=heads + 1,
        units=dict.fromkeys(order, unit) if unit else units,
        degrees=degrees,
        letters=first_letters == {"x", "y"},
        width=len(cells),
        parts=parts,
        sides=sides,
        named="string" in order and "string" not in plain,
        unit_row=unit_row,
        unread=unread,
        noun=_noun(cells[order["string"]]) if "string" in order else "",
    )


def _noun(head: str) -> str:
    return head.strip() if head_of(head)[0] in NOUNS else ""


def _parts_of_code(rows: list[Row], heads: list[str], order: dict[str, int]) -> tuple[int, ...]:
    """Columns behind the last, that of codes, which are part of the code.

    Those without a head, of commands here and there, or of numbers of holes and such; not those of
    times, accuracies or the state of the receiver.
    """
    last = max(order.values())
    parts = []
    for k in range(last + 1, len(heads)) if order.get("code") == last else ():
        cells = {row[k].strip().upper() if k < len(row) else "" for _, row in rows}
        commands = "" in cells and cells - {""} <= {*START, *CLOSE, *END}
        if commands or not heads[k].strip() or head_of(heads[k])[0] in PARTS:
            parts.append(k)
    return tuple(parts)


def _sides(rows: list[Row], heads: list[str], order: dict[str, int]) -> dict[str, int]:
    """Columns that say N or S, and E or W, of every number of latitude and longitude, if both do.

    One alone may mean anything: S is also a state of the receiver.
    """
    found: dict[str, int] = {}
    for quantity, letters in (("northing", "NS"), ("easting", "EW")):
        at = order[quantity]
        for k in {*range(len(heads))} - {*order.values()}:
            cells = [row[k].strip().upper() for _, row in rows if max(k, at) < len(row)]
            if cells and all(cell and cell in letters for cell in cells):
                found.setdefault(quantity, k)
    return found if len(found) == 2 else {}


def with_signs(rows: list[Row], columns: Columns) -> list[Row]:
    """Rows with a minus before what their columns of sides say is of the south or west."""
    for quantity, k in columns.sides.items():
        at = columns.order[quantity]
        rows = [
            (row, [*cells[:at], f"-{cells[at].strip().lstrip('+-')}", *cells[at + 1 :]])
            if max(k, at) < len(cells) and cells[k].strip().upper() in ("S", "W")
            else (row, cells)
            for row, cells in rows
        ]
    return rows


def _first_with_digits(rows: list[Row], order: dict[str, int]) -> int:
    """Rows at the top without a digit where northing and easting stand are heads, not points."""
    for k, (_, cells) in enumerate(rows[:HEAD_WITHIN]):
        where = [cells[order[q]] for q in ("northing", "easting") if order[q] < len(cells)]
        if any(c.isdigit() for c in "".join(where)):
            return k
    return 0


def _complete(letters: str) -> bool:
    quantities = [LETTERS[c] for c in letters if c != "-"]
    return len(set(quantities)) == len(quantities) and {"northing", "easting"} <= set(quantities)


def decimal_comma(rows: list[Row], order: dict[str, int], shown: str) -> bool:
    """Whether commas are decimal marks in the columns of places.

    Refused where every number has three digits after its only comma, as thousands would.
    """
    cells = [
        cells[order[q]].strip()
        for _, cells in rows
        for q in ("northing", "easting")
        if order[q] < len(cells)
    ]
    commas = [c for c in cells if re.fullmatch(r"[+-]?\d+,\d+", c)]
    if not commas:
        return False
    if all(re.fullmatch(r"[+-]?[1-9]\d{0,2},\d{3}", c) for c in commas):
        found = f"{quoted(commas[0])} can be thousands or decimals"
        raise refused(shown, found, remedy="write a point as the decimal mark")
    return True


def number_of(text: str, comma: bool) -> tuple[float | None, str]:
    """A number, also in degrees with minutes and seconds; else None and what is wrong with it."""
    plain = text.strip()
    if not plain:
        return None, "no number is written here"
    value = parse_number(plain.replace(",", ".") if comma and plain.count(",") == 1 else plain)
    if value is None:
        value = degrees_of(plain)
    if value is not None:
        return value, ""
    if _THOUSANDS.fullmatch(plain):
        return None, f"{quoted(plain)} has thousands separators: write it without"
    return None, f"{quoted(plain)} is not a number"


def code_and_commands(text: str) -> tuple[str, set[str]]:
    """String and commands of a code.

    The first word is a command only where it is a whole word for one and a code follows.

    >>> code_and_commands("GRN 7 CL"), code_and_commands("G1-B"), code_and_commands("BEGIN T2")
    (('GRN 7', {'CL'}), ('G1', {'B'}), ('T2', {'BEGIN'}))
    """
    every = (*START, *CLOSE, *END)
    words = [word for word in re.split(r"[\s./*+]+", text.strip()) if word]
    head, mark, tail = words[0].replace("_", "-").rpartition("-") if words else ("", "", "")
    if mark and head and tail.upper() in every:
        words[:1] = [words[0][: len(head)], tail]
    commands = {word.upper() for word in words[1:] if word.upper() in every}
    plain = [w for k, w in enumerate(words) if k == 0 or w.upper() not in every]
    if len(plain) > 1 and plain[0].upper() in BEFORE:
        commands.add(plain.pop(0).upper())
    return " ".join(plain), commands
