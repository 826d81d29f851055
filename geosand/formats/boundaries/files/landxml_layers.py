"""Parcels and plan features of LandXML 1.x: northing before easting, arcs by their centres."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from geosand.columns import Floats
from geosand.errors import refused
from geosand.formats.boundaries.drawn import Drawn, Layer
from geosand.formats.boundaries.files.gdal_layers import ARC_STEP_DEG
from geosand.formats.boundaries.files.xml_layers import Element, root_of, tag_of

APART = 0.002  #: units by which sides that follow each other may be apart: rounding of both
#: linearUnit of LandXML 1.2 -> our unit.
UNITS = {"meter": "m", "millimeter": "mm", "centimeter": "cm", "kilometer": "km", "inch": "in"}
UNITS |= {"foot": "ft", "USSurveyFoot": "us_survey_ft", "yard": "yd"}
OUTLINES = ("Parcel", "PlanFeature")


class _Unread(Exception):
    """Why an outline is not drawn."""


def read_landxml(path: Path, shown: str) -> list[Layer]:
    """One layer of a file's parcels and plan features. Raises Refused where it has none."""
    root = root_of(path, shown)
    named = {str(e.get("name")): e for e in root.iter() if tag_of(e) == "CgPoint"}
    found = [e for e in root.iter() if tag_of(e) in OUTLINES and [*_geometries(e)]]
    if not found:
        found_text = "is LandXML without parcels and plan features"
        raise refused(shown, found_text, remedy="export the outlines as parcels, or as DXF")
    system = next((e for e in root.iter() if tag_of(e) == "CoordinateSystem"), None)
    code = "" if system is None else str(system.get("epsgCode") or "")
    units = next((u.get("linearUnit") for e in root.iter() if tag_of(e) == "Units" for u in e), "")
    return [
        Layer(
            name="",
            drawn=tuple(_drawn(e, k, named) for k, e in enumerate(found, start=1)),
            crs=f"EPSG:{code}" if code.isdigit() else "",
            closes_lines=True,
            unit=UNITS.get(str(units), ""),
        )
    ]


def _geometries(element: Element) -> Iterator[Element]:
    return (child for child in element if tag_of(child) == "CoordGeom")


def _drawn(element: Element, number: int, named: Mapping[str, Element]) -> Drawn:
    name = str(element.get("name") or "")
    geometry, problem = None, ""
    try:
        runs = [_run(list(geometry), named) for geometry in _geometries(element)]
        geometry = _shape(runs)
    except _Unread as why:
        problem = str(why)
    kept = {k: v for k, v in element.attrib.items() if k not in ("area", "perimeter", "state")}
    place = f"{tag_of(element)} {number}{f' {name!r}' if name else ''}"
    return Drawn(place=place, name=name, geometry=geometry, attributes=kept, problem=problem)


def _shape(runs: list[Floats]) -> Any:
    """What closed runs enclose, every other one a hole; else the lines."""
    closed = all(len(r) > 3 and np.hypot(*(r[0] - r[-1])) <= APART for r in runs)
    if not closed:
        return shapely.MultiLineString([run.tolist() for run in runs])
    rings = [shapely.polygons(np.vstack([run[:-1], run[:1]])) for run in runs]
    area: Any = rings[0]
    for ring in rings[1:]:
        area = shapely.symmetric_difference(area, ring)
    return area


def _run(sides: list[Element], named: Mapping[str, Element]) -> Floats:
    """Points (n, 2), easting before northing, along sides that follow each other."""
    points = list[Floats]()
    for side in sides:
        if tag_of(side) not in ("Line", "Curve", "IrregularLine", "Chain"):
            raise _Unread(f"it has a side that is not read ({tag_of(side)[:30]})")
        along = _along(side, named)
        if points and np.hypot(*(points[-1][-1] - along[0])) > APART:
            raise _Unread("its sides do not follow each other")
        points.append(along[1:] if points else along)
    if sum(map(len, points)) < 2:
        raise _Unread("it has no sides")
    return np.vstack(points)


def _along(side: Element, named: Mapping[str, Element]) -> Floats:
    ends = {tag_of(child): child for child in side}
    if tag_of(side) == "Chain":
        names = (side.text or "").split()
        return np.array([_place(named.get(n), named) for n in names or ("",)])
    start, end = (_place(ends.get(name), named) for name in ("Start", "End"))
    between = next((e for tag, e in ends.items() if tag.startswith("PntList")), None)
    if between is not None:
        size, numbers = (3 if tag_of(between) == "PntList3D" else 2), _numbers(between)
        if len(numbers) % size:
            raise _Unread("a corner of it is no pair of numbers")
        return np.vstack([start, numbers.reshape(-1, size)[:, [1, 0]], end])
    if tag_of(side) == "Line":
        return np.array([start, end])
    centre = _place(ends.get("Center"), named)
    (from_x, from_y), (to_x, to_y) = start - centre, end - centre
    if abs(math.hypot(from_x, from_y) - math.hypot(to_x, to_y)) > 5 * APART:
        raise _Unread("the ends of an arc of it are not equally far from its centre")
    turn = math.atan2(to_y, to_x) - math.atan2(from_y, from_x)
    turns = {"ccw": turn % math.tau or math.tau, "cw": -(-turn % math.tau or math.tau)}
    if (turn := turns.get(str(side.get("rot")), math.nan)) != turn:
        raise _Unread("an arc of it does not say which way it turns")
    count = max(math.ceil(abs(math.degrees(turn)) / ARC_STEP_DEG), 1)
    angle = math.atan2(from_y, from_x) + turn * np.linspace(0, 1, count + 1)
    arc = centre + math.hypot(from_x, from_y) * np.column_stack([np.cos(angle), np.sin(angle)])
    return np.vstack([start, arc[1:-1], end])


def _place(element: Element | None, named: Mapping[str, Element], depth: int = 0) -> Floats:
    """Easting and northing (2,) of a point, or of the one whose name it gives."""
    if element is None or depth > 4:
        raise _Unread("a corner of it is not in the file")
    if element.get("pntRef") and not (element.text or "").strip():
        return _place(named.get(str(element.get("pntRef"))), named, depth + 1)
    return _numbers(element)[[1, 0]]


def _numbers(element: Element) -> Floats:
    try:
        numbers = np.array([float(word) for word in (element.text or "").split()])
    except ValueError:
        numbers = np.empty(0)
    if len(numbers) < 2 or not np.isfinite(numbers).all():
        raise _Unread("a corner of it is no pair of numbers")
    return numbers
