"""Points of survey-controller text to lines and outlines: line work by code and sequence.

A code may end in a command: begin (B, ST, ...), end (E, END, ...) or close (CL, C, ...). A row that
can not be read costs the line it belongs to, not the file: without it that line is another shape.
"""

from __future__ import annotations

import re
from collections.abc import Collection
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from geosand.errors import Fault, Refused, listed, refused
from geosand.formats.boundaries.drawn import LON_LAT, MAXIMUM_RING, Drawn, Layer
from geosand.formats.boundaries.files.survey_heads import Row
from geosand.formats.boundaries.files.survey_text import (
    CLOSE,
    CODES_ASKED,
    END,
    START,
    Columns,
    code_and_commands,
    columns_of,
    decimal_comma,
    number_of,
    rows_of,
    with_signs,
)
from geosand.formats.boundaries.place.packed_degrees import PLAIN, WORDS, degrees_meant
from geosand.formats.boundaries.place.reference_systems import UNITS_M, horizontal
from geosand.formats.boundaries.words.kinds import recognise
from geosand.formats.boundaries.words.wishes import Wishes
from geosand.site.cells import Cell, quoted

#: Words after a code for where a curve begins, goes on or ends (common practice of field codes).
CURVES = ("PC", "PT", "PCC", "BC", "EC", "CRV", "CURVE", "ARC")
TO_AND_FRO = 2  #: steps up and steps down in a line's numbers; of one, a place was walked anew
_REMEDY = "write a point as the decimal mark, without thousands separators"
_CURVED = (
    "its code says %s, a place on a curve, and curves of survey text are not drawn: survey more "
    "points along it, or hand over the line work as DXF"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Point:
    """One row: where it is, or why that can not be read."""

    row: int
    name: str
    code: str
    string: str
    place: tuple[float, float, float]  #: easting, northing, elevation; nan = none
    problem: str = ""
    column: str = ""


@dataclass(slots=True)
class _String:
    """One line being walked: its code, its points, and whether a command closed it."""

    code: str
    points: list[_Point] = field(default_factory=list)
    closed: bool = False
    problem: str = ""


def read_survey(path: Path, shown: str, wishes: Wishes) -> list[Layer]:
    """Points by code and sequence to lines; a closing command makes a polygon at once.

    Raises Refused where the order of the columns is said nowhere, where no row can be read, and
    where degrees may be minutes and seconds too.
    """
    rows, spaces = rows_of(path, shown)
    columns = columns_of(rows, wishes.point_order, shown)
    body = with_signs(rows[columns.first :], columns)
    comma = decimal_comma(body, columns.order, shown)
    height = _height_factor(columns, shown)
    points = [_point(row, columns, comma, height, spaces) for row in body]
    if all(point.problem for point in points):
        _refuse(points, shown)
    said = ["commas are read as decimal marks"] if comma else []
    in_degrees = columns.degrees or (
        wishes.crs is not None and horizontal(wishes.crs, "--crs").is_geographic
    )
    word = WORDS.get((wishes.unit or "").strip().lower().replace(" ", "_"))
    if in_degrees:
        points, packed = _unpacked(points, body, columns, word, wishes, shown)
        if packed:
            said.append("its degrees have minutes and seconds run together: read as d.mmss")
    if columns.degrees:
        said.append("its heads say latitude and longitude: read as degrees of WGS 84")
    if columns.unread:
        are = "its column is" if len(columns.unread) == 1 else "its columns are"
        names = ", ".join(quoted(head) for head in columns.unread[:8])
        said.append(f"{are} not read: {names}")
    above = [quoted(" ".join(cells)) for _, cells in rows[: max(columns.first - 1, 0)]]
    if columns.unit_row >= 0:
        del above[columns.unit_row]
    if n := len(above):
        lines = "1 line above its heads is" if n == 1 else f"{n} lines above its heads are"
        said.append(f"{lines} not read: {', '.join(above[:5])}")
    if not {"code", "string"} & columns.order.keys():
        said.append(f"no column holds codes, which say what is one outline: {CODES_ASKED}")
    strings = _line_work(points)
    said += _out_of_order(strings)
    return [
        Layer(
            name="",
            drawn=tuple(_drawn(string, columns.named) for string in strings),
            crs=LON_LAT if columns.degrees else "",
            assumed=columns.degrees,
            closes_lines=True,
            heads_xy=columns.letters,
            unit=PLAIN if in_degrees and word else _plane_unit(columns, shown),
            findings=tuple(said),
        )
    ]


def _refuse(points: list[_Point], shown: str) -> None:
    if not points:
        raise refused(shown, "holds no points", remedy="export the points as text")
    raise Refused(
        Fault(file=shown, row=p.row, column=p.column, found=p.problem, remedy=_REMEDY)
        for p in points
    )


def _unpacked(
    points: list[_Point],
    body: list[Row],
    columns: Columns,
    word: str | None,
    wishes: Wishes,
    shown: str,
) -> tuple[list[_Point], bool]:
    """Points in degrees, and whether their numbers had minutes and seconds run together."""
    good = [k for k, point in enumerate(points) if not point.problem]
    lon, lat = (
        [body[k][1][columns.order[q]].strip() for k in good] for q in ("easting", "northing")
    )
    places = degrees_meant(lon, lat, word, wishes.near, shown)
    if places is None:
        return points, False
    out = list(points)
    for k, x, y in zip(good, *(column.tolist() for column in places), strict=True):
        out[k] = replace(points[k], place=(x, y, points[k].place[2]))
    return out, True


def _plane_unit(columns: Columns, shown: str) -> str:
    """The unit that the heads of northing and easting say; "" for none, and for degrees."""
    if columns.degrees:
        return ""
    found = {columns.units.get(q, "") for q in ("northing", "easting")}
    if len(found) > 1:
        text = f"northing and easting are in different units: {', '.join(sorted(found))}"
        raise refused(shown, text, remedy="export both in one unit")
    return found.pop()


def _height_factor(columns: Columns, shown: str) -> float:
    """What elevations are multiplied by to be in the unit of northing and easting (degrees: m)."""
    unit = columns.units.get("elevation", "")
    if not unit:
        return 1.0
    if columns.degrees:
        return UNITS_M[unit]
    plane = _plane_unit(columns, shown)
    if not plane:
        found = f"the head of elevation says {unit}, those of northing and easting say no unit"
        raise refused(shown, found, remedy="name the unit in all three heads, as in northing_ft")
    return UNITS_M[unit] / UNITS_M[plane]


def _point(row: Row, columns: Columns, comma: bool, height: float, spaces: bool) -> _Point:
    number, cells = row
    order = columns.order
    last = max(order.values())
    # a code or name may hold the separator: what is left over belongs to it
    over = max(len(cells) - columns.width, 0)
    rest = cells[last : last + 1 + over]
    rest += [cells[k + over] for k in columns.parts if k + over < len(cells)]
    told = order.get("code", order.get("string"))
    whole = [*cells[:last], " ".join(rest)] if told == last else cells
    filled = [*(cell.strip() for cell in whole), *[""] * (last + 1)]
    place, problem, column = [], "", ""
    for quantity in ("easting", "northing"):
        value, why = number_of(filled[order[quantity]], comma)
        place.append(np.nan if value is None else value)
        problem, column = (problem, column) if problem or not why else (why, quantity)
    if not problem and over and not spaces and all(_digits(c) for c in rest[:-1]):
        found = f"has {len(cells)} cells for {columns.width} columns"
        problem = f"{found}: is a comma its decimal mark, or does a head lack?"
    level, _ = number_of(filled[order["elevation"]], comma) if "elevation" in order else (None, "")
    return _Point(
        row=number,
        name=filled[order["point"]] if "point" in order else str(number),
        code=filled[order["code"]] if "code" in order else "",
        string=_called(columns.noun, filled[order["string"]]) if "string" in order else "",
        place=(place[0], place[1], np.nan if level is None else level * height),
        problem=problem,
        column=column,
    )


def _called(noun: str, text: str) -> str:
    """A number with what it is of: 7 in a column Green is Green 7."""
    return f"{noun} {text}" if noun and text and not recognise(text) else text


def _digits(cell: str) -> bool:
    return re.fullmatch(r"\s*-?\d+(\.\d+)?\s*", cell) is not None


def _out_of_order(strings: list[_String]) -> list[str]:
    """Words on lines whose points run to and fro in their numbers, as in a table sorted by text."""
    found = []
    for string in strings:
        names = [point.name for point in string.points]
        if all(name.isdecimal() for name in names):
            step = np.diff([int(name) for name in names])
            if min((step > 0).sum(), (step < 0).sum()) >= TO_AND_FRO:
                found.append(f"{quoted(string.code)} ({', '.join(names[:4])} …)")
    if not found:
        return []
    have = "1 line has" if len(found) == 1 else f"{len(found)} lines have"
    return [
        f"{have} points that do not stand in the order of their numbers: {listed(found, 3)}. They"
        " are joined as they stand; if they were walked by number, sort the rows by it"
    ]


def _line_work(points: list[_Point]) -> list[_String]:
    """Strings in order of their first point; a code met again goes on where it was left."""
    done: list[_String] = []
    going: dict[str, _String] = {}
    latest: _String | None = None
    for each in points:
        key, commands, curve = _key_of(each, going)
        bent = curve and not each.problem
        point = replace(each, problem=_CURVED % curve) if bent else each
        if not key and point.problem and latest is not None:
            latest.problem = latest.problem or _why(point)  # it was on the way of this line
        if not key or commands & set(START):
            going.pop(key, None)
        if key not in going:
            going[key] = _String(code=key)
            done.append(going[key])
        string = going[key]
        string.points.append(point)
        string.problem = string.problem or (_why(point) if point.problem else "")
        latest = string if key else latest
        if commands & set(CLOSE):
            string.closed = True
        if not key or commands & set((*CLOSE, *END)):
            going.pop(key)
            latest = latest if latest is not string else None
    return done


def _key_of(point: _Point, going: Collection[str]) -> tuple[str, set[str], str]:
    """Which line a point is of, its commands, and the word by which it says that it is on a curve.

    The latter only where it follows the code of a line that is ``going``, or begins here with PC.
    """
    code, commands = code_and_commands(point.code)
    before, _, last = code.rpartition(" ")
    key, straight = (" ".join(t for t in (c, point.string) if t) for c in (code, before))
    begun = straight in going or (last.upper() == "PC" and bool(commands & set(START)))
    if straight and begun and last.upper() in CURVES:
        return straight, commands, last
    return key, commands, ""


def _why(point: _Point) -> str:
    column = f", {point.column}" if point.column else ""
    return f"row {point.row}{column}: {point.problem}"


def _drawn(string: _String, named: bool) -> Drawn:
    code = string.code or "without code"
    first, last = string.points[0].name, string.points[-1].name
    span = f"points {first} to {last}" if len(string.points) > 1 else f"point {first}"
    cells: dict[str, Cell] = {"code": string.code, "point": first}
    name = string.points[0].string if named else string.code
    if named:
        cells = {"kind": string.points[0].code, "point": first}
    shape, problem = None, string.problem
    if not problem:
        shape, problem = _shape(string)
    return Drawn(
        place=f"code {code[:40]!r}, {span}" if string.code else f"{span} without code",
        geometry=shape,
        attributes=cells,
        name=name,
        problem=problem,
    )


def _shape(string: _String) -> tuple[Any, str]:
    plane = np.array([point.place for point in string.points], dtype=float)
    positions = plane if np.isfinite(plane[:, 2]).all() else plane[:, :2]
    if len(positions) > MAXIMUM_RING:
        return None, f"more than {MAXIMUM_RING:,} points"
    if len(positions) == 1:
        return shapely.points(positions[0]), ""
    if not string.closed:
        return shapely.LineString(positions), ""
    if len(np.unique(positions[:, :2], axis=0)) < 3:
        return None, "closed with fewer than 3 points"
    return shapely.Polygon(positions), ""
