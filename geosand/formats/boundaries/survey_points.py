"""Survey-controller text: point, northing, easting, elevation, code in any order; line work."""

from __future__ import annotations

import csv
import re
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from geosand.errors import Faults
from geosand.formats.boundaries.drawn import MAXIMUM_RING, Drawn, Layer, refused
from geosand.site.cells import Cell, parse_number, quoted

LETTERS = {"P": "point", "N": "northing", "E": "easting", "Z": "elevation", "D": "code"}
LETTERS |= {"C": "code", "Y": "northing", "X": "easting", "H": "elevation"}
HEADERS = {
    "point": ("point", "pt", "p", "no", "nr", "number", "name", "id", "point_id", "pointid", "pnt"),
    "northing": ("northing", "north", "n", "y", "northing_m", "northing_ft", "lat", "latitude"),
    "easting": ("easting", "east", "e", "x", "easting_m", "easting_ft", "lon", "long", "longitude"),
    "elevation": ("elevation", "elev", "el", "z", "h", "height", "level", "rl", "elevation_m"),
    "code": ("code", "d", "desc", "description", "feature", "fc", "c", "kind", "feature_code"),
}
START = ("ST", "START", "B", "BEG", "BEGIN", "BL", "S")
CLOSE = ("CL", "CLS", "CLO", "CLOSE", "CLOSED", "C")
END = ("E", "EN", "END", "EL", "SP", "STOP")
ORDER_ASKED = (
    "say it with --point-order: P point, N northing, E easting, Z elevation, D code, - a column to "
    "skip; PNEZD and PENZD are usual"
)


@dataclass(slots=True)
class _String:
    """One line being walked: its code, its points, and whether a command closed it."""

    code: str
    first: str
    points: list[tuple[float, float, float]] = field(default_factory=list)
    names: list[str] = field(default_factory=list)
    closed: bool = False


def read_survey(path: Path, shown: str, point_order: str | None) -> list[Layer]:
    """Points by code and sequence to lines; a closing command makes a polygon at once.

    Raises Refused with every bad row, and where the order of the columns is said nowhere.
    """
    rows = _rows(path, shown)
    order, header = _order(rows, point_order, shown)
    points = _points(rows[1:] if header else rows, order, shown)
    drawn = _line_work(points)
    return [Layer(name="", drawn=tuple(drawn), closes_lines=True)]


def _rows(path: Path, shown: str) -> list[tuple[int, list[str]]]:
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
    mark = max(",;\t", key=lines[0][1].count)
    if mark not in lines[0][1]:
        return [(k, line.split()) for k, line in lines]
    return [(k, next(csv.reader([line], delimiter=mark), [])) for k, line in lines]


def _order(
    rows: list[tuple[int, list[str]]], point_order: str | None, shown: str
) -> tuple[dict[str, int], bool]:
    """Column of each quantity, and whether the first row is a header."""
    cells = [re.sub(r"[^a-z]+", "_", cell.strip().lower()).strip("_") for cell in rows[0][1]]
    named = {q: k for q, words in HEADERS.items() for k, c in enumerate(cells) if c in words}
    header = "northing" in named and "easting" in named
    if point_order is not None:
        letters = point_order.strip().upper().replace(",", "")
        if not re.fullmatch(r"[PNEZDCYXH-]+", letters) or not _complete(letters):
            raise refused(
                shown,
                f"the point order {quoted(point_order)} can not be used",
                allowed="letters of P, N, E, Z, D and -, with one N and one E",
                remedy=ORDER_ASKED,
            )
        order = {LETTERS[c]: k for k, c in enumerate(letters) if c != "-"}
        return order, header or not _numeric(rows[0][1], order)
    if not header:
        start = ", ".join(rows[0][1])[:60]
        found = f"the order of its columns is said nowhere (first row: {start})"
        raise refused(shown, found, remedy=ORDER_ASKED)
    return named, True


def _complete(letters: str) -> bool:
    quantities = [LETTERS[c] for c in letters if c != "-"]
    return len(set(quantities)) == len(quantities) and {"northing", "easting"} <= set(quantities)


def _numeric(cells: list[str], order: dict[str, int]) -> bool:
    k = order["northing"]
    return k < len(cells) and parse_number(cells[k]) is not None


def _points(
    rows: list[tuple[int, list[str]]], order: dict[str, int], shown: str
) -> list[tuple[str, str, tuple[float, float, float]]]:
    """Name, code and (easting, northing, elevation) of each row."""
    faults = Faults()
    points = []
    last = max(order.values())
    for number, cells in rows:
        # a code may hold the separator: what is left over belongs to the last column
        whole = [*cells[:last], " ".join(cells[last:])] if order.get("code") == last else cells
        filled = [*(cell.strip() for cell in whole), *[""] * (last + 1)]
        place = []
        for quantity in ("easting", "northing"):
            value = parse_number(filled[order[quantity]])
            if value is None:
                text = filled[order[quantity]]
                remedy = "write a point as the decimal mark, without thousands separators"
                found = f"{quoted(text)} is not a number" if text else "no number is written here"
                faults.add(shown, found, row=number, column=quantity, remedy=remedy)
            place.append(np.nan if value is None else value)
        height = parse_number(filled[order["elevation"]]) if "elevation" in order else None
        name = filled[order["point"]] if "point" in order else str(number)
        code = filled[order["code"]] if "code" in order else ""
        points.append((name, code, (place[0], place[1], np.nan if height is None else height)))
    faults.refuse()
    return points


def _line_work(points: list[tuple[str, str, tuple[float, float, float]]]) -> list[Drawn]:
    """Strings in order of their first point; a code met again goes on where it was left."""
    done: list[_String] = []
    going: dict[str, _String] = {}
    for name, code, place in points:
        key, commands = _code(code)
        if not key or commands & set(START):
            going.pop(key, None)
        if key not in going:
            going[key] = _String(code=key, first=name)
            done.append(going[key])
        string = going[key]
        string.points.append(place)
        string.names.append(name)
        if commands & set(CLOSE):
            string.closed = True
        if not key or commands & set((*CLOSE, *END)):
            going.pop(key)
    return [_string(string) for string in done]


def _code(text: str) -> tuple[str, set[str]]:
    """``GRN 7 CL`` -> string "GRN 7" and its commands; the first word is never a command."""
    words = re.split(r"[\s./*+]+", text.strip())
    commands = {w.upper() for w in words[1:] if w.upper() in (*START, *CLOSE, *END)}
    plain = [w for k, w in enumerate(words) if k == 0 or w.upper() not in commands]
    return " ".join(plain[:1] + [w for w in plain[1:] if w]), commands


def _string(string: _String) -> Drawn:
    code = string.code or "without code"
    span = f"{string.first} to {string.names[-1]}" if len(string.names) > 1 else string.first
    place = f"code {code[:40]!r}, points {span}"
    cells: dict[str, Cell] = {"code": string.code, "point": string.first}
    plane = np.array(string.points, dtype=float)
    positions = plane if np.isfinite(plane[:, 2]).all() else plane[:, :2]
    shape: Any
    problem = ""
    if len(positions) > MAXIMUM_RING:
        shape, problem = None, f"more than {MAXIMUM_RING:,} points"
    elif len(positions) == 1:
        shape = shapely.points(positions[0])
    elif string.closed and len(np.unique(positions[:, :2], axis=0)) < 3:
        shape, problem = None, "closed with fewer than 3 points"
    else:
        shape = shapely.Polygon(positions) if string.closed else shapely.LineString(positions)
    return Drawn(place=place, geometry=shape, attributes=cells, name=string.code, problem=problem)
