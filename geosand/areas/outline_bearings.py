"""Outlines as rings of corners about a middle of their own, and which edges lie in a direction.

Where all corners of a ring follow each other as seen from its middle, a line meets only edges in
the directions that it spans itself. The *bearing* of a place is a number from 0 to 4 that grows
with its direction from east by north, west and south, and needs no angle.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import shapely

from geosand.columns import Bools, Floats, Geometries, Ints, ragged

SPARE = 1e-7  #: of a bearing; more than rounding takes from it
_RING = 8.0  #: bearings of different rings are so far apart in ``Outlines.bearing``


class Outlines(NamedTuple):
    """Rings of polygons, one row a ring; corners (and so edges) are counted from ``first``."""

    of: Ints  #: row of the polygon
    sign: Floats  #: +1 for an outer ring, −1 for a hole
    middle_x: Floats  #: of its box
    middle_y: Floats
    first: Ints  #: its first corner
    edges: Ints  #: how many; as many corners and the first once more follow each other
    ordered: Bools  #: its corners follow each other as seen from its middle
    square_m2: Floats  #: square of the distance of its farthest corner from the middle


class Corners(NamedTuple):
    """Corners anticlockwise round each ring, from its middle; the first comes once more at last."""

    x: Floats
    y: Floats
    #: From the lowest one round, with eight for each ring before. Where a ring's corners do not
    #: follow each other as seen from its middle, they tell nothing.
    bearing: Floats


def parts_of(shapes: Geometries) -> tuple[Geometries, Ints]:
    """Polygons of polygons and multipolygons, and whose part each is."""
    if (shapely.get_type_id(shapes) == 3).all():  # as they are, which copies none
        return shapes, np.arange(len(shapes))
    parts, row = shapely.get_parts(shapes, return_index=True)
    return parts, row.astype(np.int64)


def outlines_of(polygons: Geometries) -> tuple[Outlines, Corners]:
    """All rings of polygons and multipolygons, those of each together, in order."""
    parts, part_of = parts_of(polygons)
    rings, ring_part = shapely.get_rings(parts, return_index=True)
    box = shapely.bounds(rings)
    outlines, corners = outlines_of_rings(rings, (box[:, :2] + box[:, 2:]) / 2)
    outer = np.ones(len(rings), dtype=np.bool_)
    outer[1:] = ring_part[1:] != ring_part[:-1]
    return outlines._replace(of=part_of[ring_part], sign=np.where(outer, 1.0, -1.0)), corners


def outlines_of_rings(rings: Geometries, middle: Floats) -> tuple[Outlines, Corners]:
    """Outer rings, each of a polygon of its own; ``middle`` (n, 2) is where each is seen from."""
    edges = shapely.get_num_coordinates(rings).astype(np.int64) - 1
    first = np.cumsum(edges + 1) - edges - 1
    ring, place = ragged(np.zeros(len(rings), np.int64), edges + 1)
    xy = shapely.get_coordinates(rings)
    x, y = xy[:, 0] - middle[:, 0][ring], xy[:, 1] - middle[:, 1][ring]
    angle, onward = bearing(x, y), shapely.is_ccw(rings)
    order = _from_lowest(angle, first, edges, ring, place, onward)
    x, y, angle = x[order], y[order], angle[order]
    angle[first + edges] += 4.0
    ordered = _all_in_order(x, y, angle, ring, len(rings))
    outlines = Outlines(
        of=np.arange(len(rings)),
        sign=np.ones(len(rings)),
        middle_x=middle[:, 0],
        middle_y=middle[:, 1],
        first=first,
        edges=edges,
        ordered=ordered,
        square_m2=np.maximum.reduceat(x * x + y * y, first) if len(x) else np.empty(0),
    )
    return outlines, Corners(x=x, y=y, bearing=np.where(ordered[ring], angle, 0.0) + _RING * ring)


def bearing(x: Floats, y: Floats) -> Floats:
    """Direction of places from the middle, from 0 (east) to below 4; 0 of the middle itself.

    >>> bearing(np.array([2.0, 0.0, -1.0, 0.0]), np.array([0.0, 3.0, 0.0, -1.0])).tolist()
    [0.0, 1.0, 2.0, 3.0]
    """
    away = np.abs(x) + np.abs(y)
    up = y / np.where(away > 0, away, 1.0)
    found: Floats = np.where(x < 0, 2.0 - up, np.where(y < 0, 4.0 + up, up))
    return np.where(found < 4.0, found, 0.0)


def edge_towards(outlines: Outlines, corners: Corners, ring: Ints, there: Floats) -> Ints:
    """Edge (−1: the last) of ordered rings that lies towards a bearing."""
    place = np.searchsorted(corners.bearing, _RING * ring + there, side="right")
    edge: Ints = place - 1 - outlines.first[ring]
    return edge


def edges_towards(
    outlines: Outlines, corners: Corners, ring: Ints, low: Floats, high: Floats
) -> tuple[Ints, Ints]:
    """First edge (−1: the last) of ordered rings that lies between two bearings, and how many.

    ``low`` is from 0 to below 4, ``high`` from there to below 8.
    """
    first, edges = outlines.first[ring], outlines.edges[ring]
    above = _RING * ring
    start = np.searchsorted(corners.bearing, above + low, side="right") - 1 - first
    round_ = high >= 4.0
    end = np.searchsorted(corners.bearing, above + high - 4.0 * round_, side="right") - 1 - first
    end += edges * round_
    return start, np.minimum(end - start + 1, edges)


def in_ring(edge: Ints, edges: Ints) -> Ints:
    """Edges counted on past the last or back past the first, by at most a whole round."""
    found: Ints = np.where(edge < 0, edge + edges, np.where(edge >= edges, edge - edges, edge))
    return found


def _from_lowest(
    angle: Floats, first: Ints, edges: Ints, ring: Ints, place: Ints, onward: Bools
) -> Ints:
    """Rows of corners in the order of ``Corners``; ``onward``: rings that go anticlockwise."""
    least: Floats = np.minimum.reduceat(angle, first) if len(angle) else np.empty(0)
    lowest = np.flatnonzero(angle == least[ring])
    start = np.zeros(len(first), dtype=np.int64)
    start[ring[lowest][::-1]] = place[lowest][::-1]  # the first of them is set last
    away = np.where(onward[ring], place, -place)
    order: Ints = first[ring] + in_ring(start[ring] + away, edges[ring])
    return order


def _crosses(x: Floats, y: Floats) -> Floats:
    """Twice the area to the left of the middle, from each corner to the next."""
    return x[:-1] * y[1:] - y[:-1] * x[1:]


def _all_in_order(x: Floats, y: Floats, angle: Floats, ring: Ints, rings: int) -> Bools:
    onward = (_crosses(x, y) > 0) & (np.diff(angle) > 0) | (ring[1:] != ring[:-1])
    ordered: Bools = np.bincount(ring[1:][~onward], minlength=rings) == 0
    return ordered


def square_to_edge(corners: Corners, begin: Ints, x: Floats, y: Floats) -> Floats:
    """Square of the distance of places from the edges that begin at these corners."""
    step_x, step_y = (c[begin + 1] - c[begin] for c in (corners.x, corners.y))
    away_x, away_y = x - corners.x[begin], y - corners.y[begin]
    along = (away_x * step_x + away_y * step_y) / (step_x * step_x + step_y * step_y)
    along = np.clip(along, 0.0, 1.0)
    square: Floats = (away_x - along * step_x) ** 2 + (away_y - along * step_y) ** 2
    return square


class Bends(NamedTuple):
    """Edges with the corners at their ends; one row a corner of ``Corners``, 0 at the last ones."""

    length_m: Floats
    half_tan: Floats  #: tangent of half the turn; positive where the outline is convex
    half_before: Floats  #: that of the corner where the edge begins
    from_middle_m: Floats  #: of the line through the edge; positive where it goes anticlockwise


def bends_of(outlines: Outlines, corners: Corners) -> Bends:
    """nan beside edges without a length."""
    x, y, first, last = corners.x, corners.y, outlines.first, outlines.first + outlines.edges - 1
    step_x, step_y, half, before = np.zeros((4, len(x)))
    step_x[:-1], step_y[:-1] = x[1:] - x[:-1], y[1:] - y[:-1]
    step_x[last + 1], step_y[last + 1] = step_x[first], step_y[first]  # the first edge once more
    length = np.sqrt(step_x * step_x + step_y * step_y)
    with np.errstate(invalid="ignore", divide="ignore"):
        middle = (x * step_y - y * step_x) / length
        sine = step_x[:-1] * step_y[1:] - step_y[:-1] * step_x[1:]
        cosine = step_x[:-1] * step_x[1:] + step_y[:-1] * step_y[1:]
        half[:-1] = sine / (length[:-1] * length[1:] + cosine)
    half[last + 1] = length[last + 1] = 0.0
    before[1:] = half[:-1]
    before[first], before[last + 1] = half[last], 0.0
    return Bends(length_m=length, half_tan=half, half_before=before, from_middle_m=middle)


def sums_by_ring(outlines: Outlines, column: Floats) -> Floats:
    """Sums of a column with one row a corner."""
    rings = len(outlines.first)
    ring = np.repeat(np.arange(rings), outlines.edges + 1)
    return np.bincount(ring, column, rings).astype(np.float64)
