"""Geometries of GeoJSON (RFC 7946, 3.1) to shapes: what is wrong with one costs no other."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import shapely

from geosand.areas.crossings import without_collapsed
from geosand.columns import Floats
from geosand.formats.boundaries.drawn import MAXIMUM_RING, Drawn

Json = Any
DEEPEST = 20


class BadShape(ValueError):
    """What is wrong with one geometry."""


def with_shape(thing: Drawn, shape: Json) -> Drawn:
    """The thing with a geometry of GeoJSON, or with the reason why it has none."""
    if shape is None:
        return replace(thing, geometry=None, problem="it has no geometry")
    try:
        return replace(thing, geometry=geometry_of(shape), problem="")
    except BadShape as problem:
        return replace(thing, geometry=None, problem=str(problem))


def geometry_of(shape: Json, depth: int = 0) -> Any:
    """The shape of a geometry. Raises BadShape with what is wrong with it."""
    kind = shape.get("type") if isinstance(shape, dict) else None
    if kind == "GeometryCollection" and isinstance(shape.get("geometries"), list):
        if depth > DEEPEST:
            raise BadShape("its collections are too deeply nested")
        return shapely.GeometryCollection([geometry_of(g, depth + 1) for g in shape["geometries"]])
    if not isinstance(kind, str) or kind not in MAKERS:
        raise BadShape(f"{str(kind)[:40]!r} is no geometry of GeoJSON")
    coordinates = shape.get("coordinates")
    if not isinstance(coordinates, list):
        raise BadShape("it has no coordinates")
    if not coordinates:
        raise BadShape("it is empty")
    return MAKERS[kind](coordinates)


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
    if not len(points):
        raise BadShape("a ring has no corners")
    if (points[0, :2] != points[-1, :2]).any():
        points = np.vstack([points, points[:1]])
    return shapely.linearrings(np.vstack([*[points[:1]] * (3 - len(points)), points]))


def polygon(rings: Json) -> Any:
    """A polygon of rings given as lists of positions."""
    if not isinstance(rings, list) or not rings:
        raise BadShape("a polygon has no ring")
    shell, *holes = [ring(positions(cells)) for cells in rings]
    return shapely.polygons(shell, holes=holes or None)


def with_corners(shape: Any) -> Any:
    """The polygons, where one of them has three corners; else BadShape.

    Beside it others may have fewer: rounding leaves such of small holes and islands.
    """
    if without_collapsed(shape) is None:
        shells = shapely.get_exterior_ring(shapely.get_parts(shape))
        count = len(np.unique(shapely.get_coordinates(shells[0]), axis=0))
        raise BadShape(f"a ring has {count} corner{'s' * (count > 1)}; 3 are needed")
    return shape


def _line(cells: Json) -> Any:
    points = positions(cells)
    if len(points) < 2:
        raise BadShape("a line has one position")
    return shapely.linestrings(points)


def _each(make: Any, gather: Any) -> Any:
    return lambda cells: gather([make(c) for c in cells])


MAKERS: dict[str, Any] = {
    "Point": lambda cells: shapely.points(positions([cells])[0]),
    "MultiPoint": lambda cells: shapely.multipoints(positions(cells)),
    "LineString": _line,
    "MultiLineString": _each(_line, shapely.multilinestrings),
    "Polygon": lambda cells: with_corners(polygon(cells)),
    "MultiPolygon": lambda cells: with_corners(shapely.multipolygons([polygon(c) for c in cells])),
}
