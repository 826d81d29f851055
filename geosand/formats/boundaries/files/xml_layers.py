"""KML with all its folders, and GPX tracks and routes; both are lon/lat by their standards."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any
from xml.etree import ElementTree
from xml.parsers.expat import errors

import numpy as np
import shapely

from geosand.columns import Floats
from geosand.errors import refused
from geosand.formats.boundaries.drawn import (
    LON_LAT,
    MAXIMUM_FEATURES,
    Drawn,
    Layer,
    attribute,
    heights_said,
)
from geosand.formats.boundaries.files.json_shapes import BadShape, ring, with_corners
from geosand.formats.boundaries.files.unpack import check_xml
from geosand.site.cells import Cell

Element = ElementTree.Element
#: OGC KML 2.3: absolute altitudes are above the EGM96 geoid, about sea level (from memory).
HEIGHTS = "by KML 2.3 they are above sea level, and tracing programs often write 0 or a guess"
CONTAINERS = ("Document", "Folder", "kml")
SHAPES = ("Polygon", "LineString", "LinearRing", "Point", "Track", "Model", "MultiTrack")


def tag_of(element: Element) -> str:
    return element.tag.rpartition("}")[2].rpartition(":")[2] if isinstance(element.tag, str) else ""


def root_of(path: Path, shown: str) -> Element:
    """The outermost element. Raises Refused for what is not whole XML or declares entities."""
    check_xml(path, shown)
    content = path.read_bytes()  # fed by pieces, a tag is read again from its start with each
    try:
        try:
            return ElementTree.fromstring(content)
        except ElementTree.ParseError as problem:
            if problem.code != errors.codes[errors.XML_ERROR_UNBOUND_PREFIX]:
                raise
        return ElementTree.fromstring(_with_prefixes(content))
    except (ElementTree.ParseError, ValueError, LookupError) as problem:
        found = f"is not whole XML: {str(problem)[:80]}"
        raise refused(shown, found, remedy="export it again") from problem


def _with_prefixes(content: bytes) -> bytes:
    """The text with every prefix declared: programs write ``gx:`` and ``xsi:`` without."""
    used = set(re.findall(rb"[<\s/]([A-Za-z_][\w.-]*):[A-Za-z_]", content))
    told = set(re.findall(rb"xmlns:([\w.-]+)", content)) | {b"xml", b"xmlns"}
    names = b"".join(b' xmlns:%s="urn:undeclared:%s"' % (p, p) for p in sorted(used - told))
    return re.sub(rb"(<(?![?!])[^\s>/]+)", lambda m: m[0] + names, content, count=1)


def check_whole_xml(path: Path, shown: str) -> None:
    """Refuse XML that is cut off or broken: a driver would read nothing and say nothing."""
    check_xml(path, shown)
    parser = ElementTree.XMLParser(target=object())  # which builds nothing
    try:
        parser.feed(path.read_bytes())
        parser.close()
    except (ElementTree.ParseError, ValueError, LookupError) as problem:
        found = f"is not whole XML: {str(problem)[:80]}"
        raise refused(shown, found, remedy="export it again") from problem


def _text(element: Element, name: str) -> str:
    for child in element:
        if tag_of(child) == name:
            return (child.text or "").strip()
    return ""


def read_kml(path: Path, shown: str) -> list[Layer]:
    """Every placemark of every folder; the folders' names become the thing's folder."""
    root = root_of(path, shown)
    several = sum(tag_of(element) == "Document" for element in root.iter()) > 1
    named = ("Folder", "Document") if several else ("Folder",)
    fields = _own_placemarks(root)
    drawn: list[Drawn] = []
    links, hidden, relative = list[str](), 0, 0
    stack: list[tuple[Element, str, int]] = [(root, "", 0)]
    while stack:  # a stack, since a hostile file nests deeper than Python recurses
        element, folder, depth = stack.pop()
        tag = tag_of(element)
        if tag == "Placemark" or tag in fields:
            above = " / ".join(t for t in (folder, tag) if t) if tag in fields else folder
            thing = _placemark(element, above, len(drawn) + 1, fields.get(tag, ()))
            on_ground = bool(shapely.has_z(thing.geometry)) and _is_relative(element)
            drawn.append(
                replace(thing, geometry=shapely.force_2d(thing.geometry)) if on_ground else thing
            )
            relative += on_ground
            hidden += _text(element, "visibility") == "0"
            if len(drawn) > MAXIMUM_FEATURES:
                raise refused(shown, f"has more than {MAXIMUM_FEATURES:,} placemarks")
        elif tag in CONTAINERS:
            name = _text(element, "name") if tag in named else ""
            inner = " / ".join(t for t in (folder, name) if t) if depth < 20 else folder
            stack += [(child, inner, depth + 1) for child in reversed(element)]
        elif tag == "NetworkLink":
            links.append(next((p.text or "" for p in element.iter() if tag_of(p) == "href"), ""))
    said = list(heights_said(drawn, HEIGHTS))
    if hidden:
        one = "1 placemark is" if hidden == 1 else f"{hidden} placemarks are"
        said.append(f"{one} switched off in it (visibility 0), and read all the same")
    if relative:
        are = "shape has" if relative == 1 else "shapes have"
        said.append(f"{relative} {are} heights above the ground: they are no elevations, not kept")
    things, told = tuple(drawn), tuple(said)
    return [Layer(name="", drawn=things, crs=LON_LAT, findings=told, links=tuple(links))]


def _is_relative(element: Element) -> bool:
    """Whether heights in it are above the ground or the bottom of the sea."""
    modes = (part.text or "" for part in element.iter() if tag_of(part) == "altitudeMode")
    return any("relativeTo" in mode for mode in modes)


def _own_placemarks(root: Element) -> dict[str, list[str]]:
    """Tags that a schema of KML 2.0 or 2.1 makes placemarks, each with the names of its fields.

    ``<Schema name="Greens" parent="Placemark">``: surfaces are then ``<Greens>`` (from memory).
    """
    found = {}
    for schema in root.iter():
        if tag_of(schema) != "Schema":
            continue
        name, parent = (schema.get(k) or _text(schema, k) for k in ("name", "parent"))
        if name and name not in CONTAINERS and parent == "Placemark":
            fields = (f for f in schema if tag_of(f) == "SimpleField")
            found[name] = [f.get("name") or _text(f, "name") for f in fields]
    return found


def _placemark(element: Element, folder: str, number: int, fields: Sequence[str] = ()) -> Drawn:
    name = str(attribute(_text(element, "name")) or "")
    place = f"placemark {number}" + (f" {name[:40]!r}" if name else "")
    place += f" in folder {folder[:60]!r}" if folder else ""
    cells: dict[str, Cell] = {field: _text(element, field) for field in fields}
    for part in element.iter():
        if tag_of(part) == "Data":
            cells[part.get("name", "")] = attribute(_text(part, "value"))
        elif tag_of(part) == "SimpleData":
            cells[part.get("name", "")] = attribute((part.text or "").strip())
    try:
        shapes = [_kml_shape(part) for part in _outermost(element)]
        geometry = shapes[0] if len(shapes) == 1 else _together(shapes)
        if geometry is not None and geometry.geom_type in ("Polygon", "MultiPolygon"):
            geometry = with_corners(geometry)
        problem = "" if shapes else "it has no geometry"
        if shapes and all(shape.is_empty for shape in shapes):
            problem = "a track in time or a model"
    except BadShape as fault:
        geometry, problem = None, str(fault)
    return Drawn(
        place=place, geometry=geometry, attributes=cells, folder=folder, name=name, problem=problem
    )


def _together(shapes: list[Any]) -> Any:
    if shapes and all(shape.geom_type == "Polygon" for shape in shapes):
        return shapely.multipolygons(shapes)
    return shapely.GeometryCollection(shapes) if shapes else None


def _outermost(element: Element) -> Iterator[Element]:
    stack = list(reversed(element))
    while stack:
        part = stack.pop()
        if tag_of(part) in SHAPES:
            yield part
        elif tag_of(part) == "MultiGeometry":
            stack += reversed(part)


def _kml_shape(element: Element) -> Any:
    tag = tag_of(element)
    if tag == "Polygon":
        rings: dict[str, list[Any]] = {"outerBoundaryIs": [], "innerBoundaryIs": []}
        for side in element:
            if tag_of(side) in rings:
                found = [p for p in side.iter() if tag_of(p) == "LinearRing"]
                rings[tag_of(side)] += [ring(_coordinates(r)) for r in found]
        if len(rings["outerBoundaryIs"]) != 1:
            raise BadShape(f"a polygon has {len(rings['outerBoundaryIs'])} outer rings")
        shell, holes = rings["outerBoundaryIs"][0], rings["innerBoundaryIs"]
        return shapely.polygons(shell, holes=holes or None)
    if tag in ("LineString", "LinearRing"):
        points = _coordinates(element)
        if len(points) < 2:
            raise BadShape("a line has fewer than 2 positions")
        return shapely.linestrings(points)
    if tag == "Point":
        return shapely.points(_coordinates(element)[0])
    return shapely.MultiPoint()  # tracks in time and models: counted as no polygon


def _coordinates(element: Element) -> Floats:
    text = _text(element, "coordinates")
    rows = [position.rstrip(",").split(",") for position in text.replace(", ", ",").split()]
    if not rows:
        raise BadShape("it has no coordinates")
    if wide := next((row for row in rows if len(row) > 3), None):
        raise BadShape(
            f"a position has more than three numbers ({','.join(wide)[:60]}): commas stand between"
            " numbers, a decimal mark is a point (KML 2.3)"
        )
    size = 3 if all(len(row) > 2 for row in rows) else 2
    try:
        points = np.array([[float(v) for v in row[:size]] for row in rows])
    except ValueError as problem:
        raise BadShape("its coordinates are not numbers") from problem
    if points.ndim != 2 or points.shape[1] < 2 or not np.isfinite(points).all():
        raise BadShape("its coordinates are not positions of finite numbers")
    return points


def read_gpx(path: Path, shown: str) -> list[Layer]:
    """Tracks and routes as lines to be closed; waypoints as points."""
    root = root_of(path, shown)
    drawn: list[Drawn] = []
    for element in root:
        tag, number = tag_of(element), len(drawn) + 1
        if tag not in ("trk", "rte", "wpt"):
            continue
        words = {"trk": "track", "rte": "route", "wpt": "waypoint"}
        name = _text(element, "name")
        cells: dict[str, Cell] = {
            key: text for key in ("type", "desc", "cmt") if (text := _text(element, key))
        }
        try:
            geometry, problem = _gpx_shape(element, tag), ""
        except BadShape as fault:
            geometry, problem = None, str(fault)
        place = f"{words[tag]} {number}" + (f" {name[:40]!r}" if name else "")
        drawn.append(
            Drawn(place=place, geometry=geometry, attributes=cells, name=name, problem=problem)
        )
    said = heights_said(drawn, "GPX says of them only that they are metres")
    return [Layer(name="", drawn=tuple(drawn), crs=LON_LAT, closes_lines=True, findings=said)]


def _gpx_shape(element: Element, tag: str) -> Any:
    if tag == "wpt":
        return shapely.points(_gpx_points([element])[0])
    if tag == "rte":
        groups = [[p for p in element if tag_of(p) == "rtept"]]
    else:
        segments = [s for s in element if tag_of(s) == "trkseg"]
        groups = [[p for p in s if tag_of(p) == "trkpt"] for s in segments]
    lines = [_gpx_points(points) for points in groups if len(points) > 1]
    if not lines:
        raise BadShape("it has fewer than 2 positions")
    return shapely.MultiLineString(lines)


def _gpx_points(elements: list[Element]) -> Floats:
    heights = [_text(e, "ele") for e in elements]
    try:
        points = np.array([[float(e.get("lon", "")), float(e.get("lat", ""))] for e in elements])
        if all(heights):
            points = np.column_stack([points, [float(h) for h in heights]])
    except ValueError as problem:
        raise BadShape("its positions are not numbers") from problem
    if not np.isfinite(points).all():
        raise BadShape("its positions are not finite")
    return points
