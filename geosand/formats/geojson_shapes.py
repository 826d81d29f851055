"""Geometries of GeoJSON (RFC 7946, section 3.1) to shapely, or what is wrong with one."""

from __future__ import annotations

import math
from itertools import chain
from typing import Any

import numpy as np
import shapely

from geosand.columns import Floats, Geometries
from geosand.errors import Finding
from geosand.formats.json_text import Json, as_cell
from geosand.site.cells import Cell, quoted

MAXIMUM_VERTICES = 200_000
_NO_NUMBERS = "its coordinates are not positions of numbers"


class ShapeFault(ValueError):
    """What is wrong with one geometry; the caller knows where it stands."""


def _numbers(positions: Json, size: int) -> Floats:
    """The first ``size`` numbers of each position (n, size)."""
    try:
        flat = list(chain.from_iterable(positions))
        lengths = set(map(len, positions))
        if set(map(type, flat)) <= {int, float} and len(lengths) == 1 and min(lengths) >= size:
            return np.array(flat, dtype=np.float64).reshape(len(positions), -1)[:, :size]
        texts = any(isinstance(v, (bool, str)) for p in positions for v in p[:size])
        if not texts and all(len(p) >= size for p in positions):
            return np.array([[float(v) for v in p[:size]] for p in positions]).reshape(-1, size)
    except (TypeError, ValueError, KeyError, OverflowError):
        pass
    raise ShapeFault(_NO_NUMBERS)


def _ring(ring: Json) -> Floats:
    """Positions (n, 2) of a closed ring, or (n, 3) where all have a height."""
    if not isinstance(ring, list):
        raise ShapeFault("its coordinates are not rings of positions")
    if len(ring) < 4:
        raise ShapeFault(f"a ring has {len(ring)} positions; at least 4 are needed")
    if len(ring) > MAXIMUM_VERTICES:
        raise ShapeFault(
            f"a ring has {len(ring):,} vertices; at most {MAXIMUM_VERTICES:,} are read"
        )
    points = _numbers(ring, 2)
    if not np.isfinite(points).all():
        raise ShapeFault("a position is not finite")
    if (points[0] != points[-1]).any():
        raise ShapeFault("a ring is not closed: its last position must equal its first")
    if all(len(p) > 2 for p in ring):
        heights = _numbers(ring, 3)
        return heights if np.isfinite(heights).all() else points
    return points


def plain_polygons(shapes: list[Json]) -> Geometries | None:
    """All at once, where all are polygons of closed rings in two dimensions; else None.

    What is wrong, or less plain, is found by a look at each.
    """
    if not shapes or not all(isinstance(s, dict) and s.get("type") == "Polygon" for s in shapes):
        return None
    try:
        rings = [ring for shape in shapes for ring in shape["coordinates"]]
        positions = list(chain.from_iterable(rings))
        flat = list(chain.from_iterable(positions))
        if set(map(type, flat)) != {float} or set(map(len, positions)) != {2}:
            return None
        size = np.array([len(ring) for ring in rings])
        parts = np.array([len(shape["coordinates"]) for shape in shapes])
    except (TypeError, KeyError):
        return None
    kinds = set(map(type, rings)) | set(map(type, positions))
    points = np.array(flat, dtype=np.float64).reshape(-1, 2)
    end = np.cumsum(size)
    closed = size.min() >= 4 and (points[end - size] == points[end - 1]).all()
    if kinds != {list} or not closed or not parts.all() or size.max() > MAXIMUM_VERTICES:
        return None
    if not np.isfinite(points).all():
        return None
    offsets = np.append(0, end), np.append(0, np.cumsum(parts))
    return np.asarray(shapely.from_ragged_array(shapely.GeometryType.POLYGON, points, offsets))


def polygons_of(shape: Json, place: str, findings: list[Finding]) -> Any:
    """A shapely Polygon or MultiPolygon, None for null; ShapeFault for anything else."""
    if shape is None:
        return None
    kind = shape.get("type") if isinstance(shape, dict) else None
    if kind == "Polygon":
        return _polygon(shape.get("coordinates"))
    if kind == "MultiPolygon":
        rings = shape.get("coordinates")
        if not isinstance(rings, list):
            raise ShapeFault("its coordinates are not polygons")
        return shapely.MultiPolygon([_polygon(r) for r in rings])
    parts = shape.get("geometries") if kind == "GeometryCollection" else None
    if isinstance(parts, list):
        wanted = ("Polygon", "MultiPolygon")
        kept = [p for p in parts if isinstance(p, dict) and p.get("type") in wanted]
        found = [polygons_of(part, place, findings) for part in kept]
        if found and all(shapely.is_valid(found)):
            text = "only the polygons of a GeometryCollection are used"
            if len(kept) < len(parts):
                findings.append(Finding(about=place, text=text, topic="file"))
            return shapely.union_all(found)
        raise ShapeFault("a GeometryCollection without sound polygons")
    raise ShapeFault(f"{quoted(as_cell(kind))} is no Polygon or MultiPolygon")


def _polygon(rings: Json) -> Any:
    if not isinstance(rings, list):
        raise ShapeFault("its coordinates are not rings of positions")
    if not rings:
        return shapely.Polygon()
    shell, *holes = [_ring(ring) for ring in rings]
    return shapely.Polygon(shell, holes)


def position_of(shape: Json) -> tuple[Cell, Cell]:
    """Longitude and latitude of a Point, None of null; ShapeFault for anything else."""
    if shape is None:
        return None, None
    if not isinstance(shape, dict) or shape.get("type") != "Point":
        kind = shape.get("type") if isinstance(shape, dict) else shape
        raise ShapeFault(f"{quoted(as_cell(kind))} is no Point")
    place = shape.get("coordinates")
    if not isinstance(place, list) or len(place) < 2 or not {*map(type, place[:2])} <= {int, float}:
        raise ShapeFault(_NO_NUMBERS)
    try:
        lon, lat = map(float, place[:2])
    except OverflowError:
        raise ShapeFault(_NO_NUMBERS) from None
    if not (math.isfinite(lon) and math.isfinite(lat)):
        raise ShapeFault("a position is not finite")
    return lon, lat
