"""GeoJSON as others write it: any CRS in the old ``crs`` member, collections, text sequences."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from geosand.columns import Floats
from geosand.formats.boundaries.drawn import LON_LAT, MAXIMUM_RING, Drawn, Layer, attribute, refused

Json = Any
DEEPEST = 20


class BadShape(ValueError):
    """What is wrong with one geometry."""


def read_geojson(path: Path, shown: str) -> list[Layer]:
    """One layer. A feature that can not be read keeps its place with the problem."""
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
    crs, features = _crs(document, shown), _features(document, shown)
    drawn = tuple(_drawn(feature, number) for number, feature in enumerate(features, start=1))
    return [Layer(name="", drawn=drawn, crs=crs or LON_LAT, assumed=not crs)]


def _parse(text: str, shown: str) -> Json:
    try:
        return json.loads(text)
    except (ValueError, RecursionError) as problem:
        deep = isinstance(problem, RecursionError)
        words = "too deeply nested" if deep else str(problem)[:80]
    try:  # one feature a line, with or without record separators (RFC 8142)
        lines = [line.strip(" \x1e\r") for line in text.splitlines()]
        features = [json.loads(line) for line in lines if line]
        if features and all(isinstance(f, dict) for f in features):
            return {"type": "FeatureCollection", "features": features}
    except (ValueError, RecursionError):
        pass
    raise refused(shown, f"is not JSON: {words}", remedy="export it again as GeoJSON")


def _crs(document: Json, shown: str) -> str:
    crs = document.get("crs") if isinstance(document, dict) else None
    if crs is None:
        return ""
    properties = crs.get("properties") if isinstance(crs, dict) else None
    if crs_type := (crs.get("type") if isinstance(crs, dict) else None):
        if crs_type == "name" and isinstance(properties, dict):
            return str(properties.get("name", ""))
        if crs_type == "EPSG" and isinstance(properties, dict) and "code" in properties:
            return f"EPSG:{properties['code']}"
    raise refused(
        shown,
        f"its crs member does not name a CRS: {str(crs)[:60]}",
        remedy="say the CRS yourself with --crs, after taking the member out",
    )


def _features(document: Json, shown: str) -> list[Json]:
    kind = document.get("type") if isinstance(document, dict) else type(document).__name__
    if kind == "FeatureCollection" and isinstance(document.get("features"), list):
        features: list[Json] = document["features"]
        return features
    if kind == "Feature":
        return [document]
    if kind in _MAKERS or kind == "GeometryCollection":
        return [{"type": "Feature", "properties": {}, "geometry": document}]
    found = f"is JSON, but {str(kind)[:40]!r} is no GeoJSON"
    raise refused(shown, found, allowed="a FeatureCollection", remedy="export it as GeoJSON")


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
        return Drawn(place=place, attributes=cells, problem="it has no geometry")
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
