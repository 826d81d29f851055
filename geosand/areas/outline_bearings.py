"""Outlines as rings of corners about a middle of their own, and which edges lie in a direction.

Where all corners of a ring follow each other as seen from its middle, a line meets only edges in
the directions that it spans itself. The *bearing* of a place is a number from 0 to 4 that grows
with its direction from east by north, west and south, and needs no angle.
"""

from __future__ import annotations

import numpy as np
import shapely

from geosand.areas.near_edges import Boxes
from geosand.areas.rings import rings_of
from geosand.columns import Bools, Floats, Geometries, Ints
from geosand.tuples import NamedTuple

SPARE = 1e-7  #: of a bearing; more than rounding takes from it
_NOTHING = 1e-300  #: a place no farther from the middle is in no direction
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
    rings = rings_of(polygons)
    box = Boxes.of_rings(rings)
    middle = np.column_stack(((box.west + box.east) / 2, (box.south + box.north) / 2))
    sizes = rings.last - rings.first
    outlines, corners = _outlines(rings.position, rings.first, sizes, middle)
    sign = np.where(rings.is_hole, -1.0, 1.0)
    return outlines._replace(of=rings.surface, sign=sign), corners


def outlines_of_rings(rings: Geometries, middle: Floats) -> tuple[Outlines, Corners]:
    """Outer rings, each of a polygon of its own; ``middle`` (n, 2) is where each is seen from."""
    edges = shapely.get_num_coordinates(rings).astype(np.int64) - 1
    first = np.cumsum(edges + 1) - edges - 1
    return _outlines(shapely.get_coordinates(rings), first, edges, middle)


def _outlines(
    position: Floats, first: Ints, edges: Ints, middle: Floats
) -> tuple[Outlines, Corners]:
    """Of rings that lie one behind the other, their first corners once more at the end of each."""
    size, last = edges + 1, first + edges
    x, y = (position[:, k] - np.repeat(middle[:, k], size) for k in (0, 1))
    angle, (turn, least) = bearing(x, y), _turn_and_least(x, y, first, last)
    order = _from_lowest(angle, first, edges, turn > 0)
    x, y, angle = x.take(order), y.take(order), angle.take(order)
    angle[last] += 4.0
    ordered = (least > 0) & _ascends(angle, first, last)
    square = x * x
    square += y * y
    outlines = Outlines(
        of=np.arange(len(first)),
        sign=np.ones(len(first)),
        middle_x=middle[:, 0],
        middle_y=middle[:, 1],
        first=first,
        edges=edges,
        ordered=ordered,
        square_m2=np.maximum.reduceat(square, first) if len(first) else np.empty(0),
    )
    if not ordered.all():
        angle[np.repeat(~ordered, size)] = 0.0
    angle += np.repeat(_RING * np.arange(len(first)), size)
    return outlines, Corners(x=x, y=y, bearing=angle)


def bearing(x: Floats, y: Floats) -> Floats:
    """Direction of places from the middle, from 0 (east) to below 4; 0 of the middle itself.

    >>> bearing(np.array([2.0, 0.0, -1.0, 0.0]), np.array([0.0, 3.0, 0.0, -1.0])).tolist()
    [0.0, 1.0, 2.0, 3.0]
    """
    away = np.abs(x)
    away += np.abs(y)
    np.maximum(away, _NOTHING, out=away)
    up = np.divide(y, away, out=away)
    found: Floats = np.where(x < 0, 2.0 - up, up)
    found += 4.0 * (found < 0)
    found[found >= 4.0] = 0.0
    return found


def edge_towards(outlines: Outlines, corners: Corners, ring: Ints, there: Floats) -> Ints:
    """Edge (−1: the last) of ordered rings that lies towards a bearing."""
    place = np.searchsorted(corners.bearing, _RING * ring + there, side="right")
    return place - 1 - outlines.first[ring]


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
    """Edges counted on past the last or back past the first."""
    return edge % edges


def _from_lowest(angle: Floats, first: Ints, edges: Ints, onward: Bools) -> Ints:
    """Rows of corners in the order of ``Corners``; ``onward``: rings that go anticlockwise."""
    size = edges + 1
    least: Floats = np.minimum.reduceat(angle, first) if len(first) else np.empty(0)
    lowest = np.flatnonzero(angle == np.repeat(least, size))
    start = np.zeros(len(first), dtype=np.int64)
    ring = np.searchsorted(first, lowest, side="right") - 1
    start[ring[::-1]] = lowest[::-1]  # the first of them is set last
    # from row to row one on, or one back, and once round the ring's end
    step = np.repeat(np.where(onward, 1, -1), size)
    step[first] = np.diff(start, prepend=0)
    round_ = np.where(onward, 2 * first + edges - start, start + 1)
    step[round_] -= np.where(onward, edges, -edges)
    return np.cumsum(step, out=step)


def _turn_and_least(x: Floats, y: Floats, first: Ints, last: Ints) -> tuple[Floats, Floats]:
    """Twice the area of each ring, positive anticlockwise; and the least from any of its edges.

    What an edge adds is positive where it goes the same way round the middle as its ring.
    """
    cross = np.empty(len(x))
    np.multiply(x[:-1], y[1:], out=cross[:-1])
    cross[:-1] -= y[:-1] * x[1:]
    cross[last] = 0.0  # no edge leads from a ring to the next
    turn = np.add.reduceat(cross, first)
    cross *= np.repeat(np.where(turn > 0, 1.0, -1.0), last - first + 1)
    cross[last] = np.inf
    return turn, np.minimum.reduceat(cross, first)


def _ascends(angle: Floats, first: Ints, last: Ints) -> Bools:
    """Whether the bearings of each ring grow from corner to corner."""
    step = np.empty(len(angle))
    np.subtract(angle[1:], angle[:-1], out=step[:-1])
    step[last] = np.inf
    return np.minimum.reduceat(step, first) > 0 if len(first) else step > 0


def square_to_edge(corners: Corners, begin: Ints, x: Floats, y: Floats) -> Floats:
    """Square of the distance of places from the edges that begin at these corners."""
    from_x, from_y, after = corners.x.take(begin), corners.y.take(begin), begin + 1
    step_x, step_y = corners.x.take(after) - from_x, corners.y.take(after) - from_y
    away_x, away_y = x - from_x, y - from_y
    along = (away_x * step_x + away_y * step_y) / (step_x * step_x + step_y * step_y)
    along = np.clip(along, 0.0, 1.0)
    return (away_x - along * step_x) ** 2 + (away_y - along * step_y) ** 2


def square_to_edges_beside(
    outlines: Outlines, corners: Corners, ring: Ints, edge: Ints, x: Floats, y: Floats
) -> Floats:
    """The least of these to an edge and to those before and after it in its ring.

    Rounding tells which edge lies towards a place.
    """
    beside = edge + np.array([[-1], [0], [1]])
    begin = outlines.first[ring] + in_ring(beside, outlines.edges[ring])
    nearest: Floats = square_to_edge(corners, begin, x, y).min(axis=0)
    return nearest


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
    return np.add.reduceat(column, outlines.first)
