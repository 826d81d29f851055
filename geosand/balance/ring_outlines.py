"""Outlines as rings of corners about a middle of their own, and which edges lie in a direction.

Where all corners of a ring follow each other as seen from its middle, a line meets only edges in
the directions that it spans itself. The *bearing* of a place is a number from 0 to 4 that grows
with its direction from east by north, west and south, and needs no angle.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import shapely

from geosand.balance.ring_strips import parts_of, ragged
from geosand.columns import Bools, Floats, Geometries, Ints

SPARE = 1e-7  #: of a bearing; more than rounding takes from it
_RING = 8.0  #: bearings of different rings are so far apart in ``Outlines.bearing``


class Outlines(NamedTuple):
    """Rings of polygons, one row a ring; corners (and so edges) are counted from ``first``."""

    of: Ints  #: row of the polygon
    sign: Floats  #: +1 for an outer ring, −1 for a hole
    middle_x: Floats
    middle_y: Floats
    first: Ints  #: its first corner
    edges: Ints  #: how many; as many corners and the first once more follow each other
    ordered: Bools  #: its corners follow each other as seen from its middle


class Corners(NamedTuple):
    """Corners anticlockwise round each ring, from its middle; the first comes once more at last."""

    x: Floats
    y: Floats
    #: From the lowest one round, with eight for each ring before. Where a ring's corners do not
    #: follow each other as seen from its middle, they tell nothing.
    bearing: Floats


def outlines_of(polygons: Geometries) -> tuple[Outlines, Corners]:
    """All rings of polygons and multipolygons, those of each together, in order."""
    parts, part_of = parts_of(polygons)
    rings, ring_part = shapely.get_rings(parts, return_index=True)
    box = shapely.bounds(rings)
    middle = (box[:, :2] + box[:, 2:]) / 2
    edges = shapely.get_num_coordinates(rings).astype(np.int64) - 1
    first = np.cumsum(edges + 1) - edges - 1
    ring, place = ragged(np.zeros(len(rings), np.int64), edges + 1)
    xy = shapely.get_coordinates(rings) - middle[ring]
    order = _from_lowest(xy[:, 0], xy[:, 1], first, edges, ring, place)
    x, y = xy[order, 0], xy[order, 1]
    angle = bearing(x, y) + np.where(place == edges[ring], 4.0, 0.0)
    ordered = _all_in_order(x, y, angle, ring, len(rings))
    outlines = Outlines(
        of=part_of[ring_part],
        sign=np.where(np.diff(ring_part, prepend=-1) != 0, 1.0, -1.0),
        middle_x=middle[:, 0],
        middle_y=middle[:, 1],
        first=first,
        edges=edges,
        ordered=ordered,
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


def _from_lowest(x: Floats, y: Floats, first: Ints, edges: Ints, ring: Ints, place: Ints) -> Ints:
    """Rows of corners in the order of ``Corners``."""
    angle = bearing(x, y)
    doubled = np.bincount(ring[1:], _crosses(x, y) * (ring[1:] == ring[:-1]), len(first))
    least: Floats = np.minimum.reduceat(angle, first) if len(x) else np.empty(0)
    lowest = np.flatnonzero(angle == least[ring])
    start = np.zeros(len(first), dtype=np.int64)
    start[ring[lowest][::-1]] = place[lowest][::-1]  # the first of them is set last
    way = np.where(doubled < 0, -1, 1)
    order: Ints = first[ring] + np.remainder(start[ring] + way[ring] * place, edges[ring])
    return order


def _crosses(x: Floats, y: Floats) -> Floats:
    """Twice the area to the left of the middle, from each corner to the next."""
    return x[:-1] * y[1:] - y[:-1] * x[1:]


def _all_in_order(x: Floats, y: Floats, angle: Floats, ring: Ints, rings: int) -> Bools:
    onward = (_crosses(x, y) > 0) & (np.diff(angle) > 0) | (ring[1:] != ring[:-1])
    ordered: Bools = np.bincount(ring[1:][~onward], minlength=rings) == 0
    return ordered


def farthest_corners_m(
    zones: Geometries, surfaces: Geometries, beyond_m: Floats, field: Ints, fields: int
) -> Floats:
    """Greatest distance by field (F,) of a zone's outer corners from its surface's outline.

    ``beyond_m`` (n) is added to those of each zone. 0 for a field without zones. Only corners that
    may be the farthest of their field are measured against the whole outline.
    """
    parts, of_part = parts_of(zones)
    corners, part = shapely.get_coordinates(shapely.get_exterior_ring(parts), return_index=True)
    row = of_part[part]
    outline = shapely.boundary(surfaces)
    at_most = _at_most_m(corners, row, surfaces) + beyond_m[row]
    of_corner, farthest = field[row], np.zeros(fields)
    highest = np.zeros(fields)
    np.maximum.at(highest, of_corner, at_most)
    few = np.flatnonzero(at_most == highest[of_corner])  # the likeliest corner of each field
    for _ in range(2):
        away = shapely.distance(shapely.points(corners[few]), outline[row[few]])
        np.maximum.at(farthest, of_corner[few], away + beyond_m[row[few]])
        few = np.flatnonzero(at_most > farthest[of_corner] * (1 + 1e-12))
    return farthest


def _at_most_m(corners: Floats, row: Ints, surfaces: Geometries) -> Floats:
    """Distance of corners from the edges in their direction, so not less than from the outline."""
    outlines, own = outlines_of(surfaces)
    usable = np.full(len(surfaces), -1)
    usable[outlines.of[outlines.ordered]] = np.flatnonzero(outlines.ordered)
    ring = usable[row]
    known = np.flatnonzero(ring >= 0)
    ring = ring[known]
    x = corners[known, 0] - outlines.middle_x[ring]
    y = corners[known, 1] - outlines.middle_y[ring]
    there = bearing(x, y)
    edge, _ = edges_towards(outlines, own, ring, there, there)
    square = np.full(len(known), np.inf)
    for beside in (-1, 0, 1):
        begin = outlines.first[ring] + in_ring(edge + beside, outlines.edges[ring])
        square = np.minimum(square, _square_to_edge(own, begin, x, y))
    out = np.full(len(row), np.inf)
    out[known] = np.sqrt(square)
    return out


def _square_to_edge(corners: Corners, begin: Ints, x: Floats, y: Floats) -> Floats:
    """Square of the distance of places from the edges that begin at these corners."""
    step_x, step_y = (c[begin + 1] - c[begin] for c in (corners.x, corners.y))
    away_x, away_y = x - corners.x[begin], y - corners.y[begin]
    along = (away_x * step_x + away_y * step_y) / (step_x * step_x + step_y * step_y)
    along = np.clip(along, 0.0, 1.0)
    square: Floats = (away_x - along * step_x) ** 2 + (away_y - along * step_y) ** 2
    return square
