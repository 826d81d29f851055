"""GeoJSON as others write it: any CRS in the old ``crs`` member, collections, text sequences."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import shapely

from geosand.columns import Floats
from geosand.errors import Fault, Refused
from geosand.formats.boundaries.drawn import (
    LON_LAT,
    MAXIMUM_RING,
    Drawn,
    Layer,
    attribute,
    heights_said,
    left_open_said,
    refused,
)
from geosand.formats.json_text import KEEP_ONE, read_json, twice_told

Json = Any
DEEPEST = 20
NO_GEOMETRY = "it has no geometry"
#: OGC 21-045, JSON-FG, has a second member for a geometry that is not in lon/lat.
IN_PLACE = "its outline is in a member 'place' (JSON-FG), which is not read: export plain GeoJSON"


class BadShape(ValueError):
    """What is wrong with one geometry."""


def read_geojson(path: Path, shown: str, crs_given: bool = False) -> list[Layer]:
    """One layer. A feature that can not be read keeps its place with the problem.

    ``crs_given`` says that a CRS comes from the user: then the file's own need not be understood.
    """
    content = path.read_bytes()
    encodings = ["utf-16"] if content[:2] in (b"\xff\xfe", b"\xfe\xff") else ["utf-8-sig", "cp1252"]
    for encoding in encodings:
        try:
            text = content.decode(encoding)
            break
        except UnicodeDecodeError:
            continue
    else:
        raise refused(shown, "is no text", remedy="export it again as GeoJSON")
    document = _parse(text, shown)
    features = _features(document, shown)
    try:
        crs = _crs(document, shown)
    except Refused:
        if not crs_given:
            raise
        crs = ""
    drawn = tuple(_drawn(feature, number) for number, feature in enumerate(features, start=1))
    said = () if crs else heights_said(drawn, "by RFC 7946, 3.1.1, they are above the ellipsoid")
    said += _left_open(features)
    if encoding == "cp1252":
        said += ("is not UTF-8; it is read as Windows-1252: look at names with accents",)
    return [Layer(name="", drawn=drawn, crs=crs or LON_LAT, assumed=not crs, findings=said)]


def _left_open(features: list[Json]) -> tuple[str, ...]:
    """Rings that lack their last position were closed: that is said, with the first of them."""
    shapes = (f.get("geometry") if isinstance(f, dict) else None for f in features)
    rows = [number for number, shape in enumerate(shapes, start=1) if _is_open(shape)]
    return left_open_said([f"feature {row}" for row in rows], "RFC 7946, 3.1.6")


def _is_open(shape: Json, depth: int = 0) -> bool:
    """Whether a ring in it does not return to its first position."""
    if not isinstance(shape, dict) or depth > DEEPEST:
        return False
    inside, cells = shape.get("geometries"), shape.get("coordinates")
    if isinstance(inside, list):
        return any(_is_open(g, depth + 1) for g in inside)
    if not isinstance(cells, list) or shape.get("type") not in ("Polygon", "MultiPolygon"):
        return False
    parts = cells if shape["type"] == "MultiPolygon" else [cells]
    rings = [r for part in parts if isinstance(part, list) for r in part if isinstance(r, list)]
    return any(
        isinstance(r[0], list) and isinstance(r[-1], list) and r[0][:2] != r[-1][:2]
        for r in rings
        if len(r) > 2
    )


def _parse(text: str, shown: str) -> Json:
    try:
        document, twice = read_json(text)
    except (ValueError, RecursionError) as problem:
        deep = isinstance(problem, RecursionError)
        words = "too deeply nested" if deep else str(problem)[:80]
    else:
        _refuse_twice(twice, shown)
        return document
    try:  # a feature after each record separator (RFC 8142), else one a line
        texts = text.split("\x1e") if "\x1e" in text else text.splitlines()
        read = [read_json(feature) for feature in texts if feature.strip()]
        features = [feature for feature, _ in read]
        if features and all(isinstance(f, dict) for f in features):
            twice = [(n, key) for n, (_, keys) in enumerate(read, start=1) for _, key in keys]
            _refuse_twice(twice, shown)
            return {"type": "FeatureCollection", "features": features}
    except (ValueError, RecursionError):
        pass
    raise refused(shown, f"is not JSON: {words}", remedy="export it again as GeoJSON")


def _refuse_twice(twice: list[tuple[int, str]], shown: str) -> None:
    """Refuse keys that stand twice: which of the two is meant nobody but their writer knows."""
    if twice:
        raise Refused(
            Fault(
                file=shown,
                row=f"feature {number}" if number else None,
                found=twice_told(key),
                remedy=KEEP_ONE,
            )
            for number, key in twice
        )


def _crs(document: Json, shown: str) -> str:
    crs = document.get("crs") if isinstance(document, dict) else None
    if crs is None:
        return ""
    properties = crs.get("properties") if isinstance(crs, dict) else None
    crs_type = crs.get("type") if isinstance(crs, dict) else None
    if crs_type is not None:
        if crs_type == "name" and isinstance(properties, dict):
            return str(properties.get("name", ""))
        if crs_type == "EPSG" and isinstance(properties, dict) and "code" in properties:
            return f"EPSG:{properties['code']}"
    said = "it is a link, which is not followed" if crs_type == "link" else str(crs)[:60]
    found = f"its crs member does not name a CRS: {said}"
    raise refused(shown, found, remedy="say the CRS yourself with --crs")


def _features(document: Json, shown: str) -> list[Json]:
    kind = document.get("type") if isinstance(document, dict) else type(document).__name__
    if kind == "FeatureCollection" and isinstance(document.get("features"), list):
        features: list[Json] = document["features"]
        return features
    if kind == "Feature":
        return [document]
    if kind in _MAKERS or kind == "GeometryCollection":
        return [{"type": "Feature", "properties": {}, "geometry": document}]
    other = _other_json(document, kind)
    found = f"is {other}, no GeoJSON" if other else f"is JSON, but {str(kind)[:40]!r} is no GeoJSON"
    raise refused(shown, found, allowed="a FeatureCollection", remedy="export it as GeoJSON")


def _other_json(document: Json, kind: Json) -> str:
    """What a document is that is no GeoJSON, by members that tell the usual ones; else ""."""
    keys = set(document) if isinstance(document, dict) else set[str]()
    if kind == "Topology":
        return "TopoJSON"
    if "features" in keys and keys & {"geometryType", "spatialReference"}:
        return "the JSON of a feature service (with rings and a spatialReference)"
    return "the answer of a map query service (with elements)" if "elements" in keys else ""


def _drawn(feature: Json, number: int) -> Drawn:
    place = f"feature {number}"
    if not isinstance(feature, dict) or feature.get("type") != "Feature":
        return Drawn(place=place, problem="it is no Feature (RFC 7946, 3.2)")
    found = feature.get("properties")
    cells = {str(k): attribute(v) for k, v in found.items()} if isinstance(found, dict) else {}
    if cells.get("id") is None and isinstance(feature.get("id"), (str, int)):
        cells["id"] = feature["id"]
    shape = feature.get("geometry")
    if shape is None:
        elsewhere = isinstance(feature.get("place"), dict)
        return Drawn(place=place, attributes=cells, problem=IN_PLACE if elsewhere else NO_GEOMETRY)
    try:
        return Drawn(place=place, attributes=cells, geometry=_shape(shape, 0))
    except BadShape as problem:
        return Drawn(place=place, attributes=cells, problem=str(problem))


def _shape(shape: Json, depth: int) -> Any:
    kind = shape.get("type") if isinstance(shape, dict) else None
    if kind == "GeometryCollection" and isinstance(shape.get("geometries"), list):
        if depth > DEEPEST:
            raise BadShape("its collections are too deeply nested")
        return shapely.GeometryCollection([_shape(g, depth + 1) for g in shape["geometries"]])
    if kind not in _MAKERS:
        raise BadShape(f"{str(kind)[:40]!r} is no geometry of GeoJSON")
    coordinates = shape.get("coordinates")
    if not isinstance(coordinates, list):
        raise BadShape("it has no coordinates")
    if not coordinates:
        raise BadShape("it is empty")
    return _MAKERS[kind](coordinates)


def positions(cells: Json) -> Floats:
    """Positions (n, 2 or 3); heights only where all have one. BadShape for anything else."""
    if not isinstance(cells, list) or not all(isinstance(p, list) and len(p) >= 2 for p in cells):
        raise BadShape("its coordinates are not positions")
    if len(cells) > MAXIMUM_RING:
        raise BadShape(f"a ring has {len(cells):,} vertices; at most {MAXIMUM_RING:,} are read")
    size = 3 if all(len(p) > 2 for p in cells) else 2
    try:
        if any(isinstance(v, (bool, str)) for p in cells for v in p[:size]):
            raise BadShape("its coordinates hold text")
        points = np.array([[float(v) for v in p[:size]] for p in cells]).reshape(-1, size)
    except (TypeError, ValueError, OverflowError) as problem:
        if isinstance(problem, BadShape):
            raise
        raise BadShape("its coordinates are not numbers") from problem
    if not np.isfinite(points[:, :2]).all():
        raise BadShape("a coordinate is not finite")
    return points if np.isfinite(points).all() else points[:, :2]


def ring(points: Floats) -> Any:
    """A ring of positions; one that lacks only its last position is closed, as any GIS does."""
    if len(np.unique(points[:, :2], axis=0)) < 3:
        raise BadShape(f"a ring has {len(np.unique(points[:, :2], axis=0))} corners; 3 are needed")
    if (points[0, :2] != points[-1, :2]).any():
        points = np.vstack([points, points[:1]])
    return shapely.linearrings(points)


def polygon(rings: Json) -> Any:
    """A polygon of rings given as lists of positions."""
    if not isinstance(rings, list) or not rings:
        raise BadShape("a polygon has no ring")
    shell, *holes = [ring(positions(cells)) for cells in rings]
    return shapely.polygons(shell, holes=holes or None)


def _line(cells: Json) -> Any:
    points = positions(cells)
    if len(points) < 2:
        raise BadShape("a line has one position")
    return shapely.linestrings(points)


def _each(make: Any, gather: Any) -> Any:
    return lambda cells: gather([make(c) for c in cells])


_MAKERS: dict[str, Any] = {
    "Point": lambda cells: shapely.points(positions([cells])[0]),
    "MultiPoint": lambda cells: shapely.multipoints(positions(cells)),
    "LineString": _line,
    "MultiLineString": _each(_line, shapely.multilinestrings),
    "Polygon": polygon,
    "MultiPolygon": _each(polygon, shapely.multipolygons),
}
