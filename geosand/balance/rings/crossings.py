"""Where lines straight out of an edge cross the outlines of zones.

What of a line lies inside a zone is Σ sign·(its part up to the crossing), for a line of any start:
+1 where it leaves the zone, −1 where it enters. A line is held against the edges in the directions
that it spans; where an outline is not in order of direction, lines and edges are compared in blocks
of neighbours, those alone whose boxes meet.
"""

from __future__ import annotations

import numpy as np
import shapely

from geosand.areas.outline_bearings import (
    SPARE,
    Corners,
    Outlines,
    bearing,
    edge_towards,
    edges_towards,
    in_ring,
    outlines_of,
)
from geosand.balance.rings.blocks import blocks_of, near_blocks
from geosand.columns import Bools, Floats, Geometries, Ints, ragged, take
from geosand.tuples import NamedTuple

_BEYOND = 1.0137  #: of the cap: where to look beyond it; zones often end at the cap itself
_ROUNDING = 1 + 1e-9  #: of a square: no line that meets a ring is lost by it
_CLEAR = 1 + 1e-6  #: of a square: what rounding takes from it can not matter
_NOTHING_M = 1e-10  #: a line that begins on an outline does not cross it there


class Lines(NamedTuple):
    """Lines straight out of edges, each held against one ring and seen from the middle of it."""

    ring: Ints
    x: Floats  #: where it begins, m
    y: Floats
    out_x: Floats  #: unit direction
    out_y: Floats
    cap_m: Floats

    def ends(self, outlines: Outlines) -> tuple[Floats, Floats]:
        """A little beyond the cap, or where a line has left the circle of the farthest corner."""
        along = self.x * self.out_x + self.y * self.out_y
        square = (_CLEAR * outlines.square_m2).take(self.ring) - (self.x**2 + self.y**2)
        leaves = np.sqrt(np.maximum(along * along + square, 0.0)) - along
        far = np.clip(leaves, 0.0, self.cap_m * _BEYOND)
        return self.x + self.out_x * far, self.y + self.out_y * far

    def near(self, outlines: Outlines) -> Bools:
        """Which lines come as near to the middle as the farthest corner of the ring."""
        nearest = np.clip(-(self.x * self.out_x + self.y * self.out_y), 0.0, self.cap_m * _BEYOND)
        x, y = self.x + self.out_x * nearest, self.y + self.out_y * nearest
        return x * x + y * y <= outlines.square_m2[self.ring] * _ROUNDING


_Found = tuple[Ints, Floats, Floats]  # line, distance, sign


def crossings_of(
    at: Floats, out: Floats, first: Ints, last: Ints, zones: Geometries, cap_m: Floats
) -> tuple[Ints, Ints, Floats, Floats]:
    """Line, zone, distance from the line's start and sign of each crossing.

    ``at`` and ``out`` (n, 2) are starts and unit directions; lines ``first`` to before ``last`` are
    held against each of the polygons ``zones``, each line up to its ``cap_m`` (n). Crossings beyond
    the cap are counted together there, and left out where they make nothing.
    """
    outlines, corners = outlines_of(zones)
    ring, line = ragged(first[outlines.of], (last - first)[outlines.of])
    seen = Lines(
        ring=ring,
        x=at[:, 0][line] - outlines.middle_x[ring],
        y=at[:, 1][line] - outlines.middle_y[ring],
        out_x=out[:, 0][line],
        out_y=out[:, 1][line],
        cap_m=cap_m[line],
    )
    near = np.flatnonzero(seen.near(outlines))
    pair, distance, sign = crossings_with(take(seen, near), outlines, corners)
    pair = near[pair]
    ring = ring[pair]
    return line[pair], outlines.of[ring], distance, sign * outlines.sign[ring]


def crossings_with(lines: Lines, outlines: Outlines, corners: Corners) -> _Found:
    """Crossings of each line with its ring, as if that were an outer one."""
    in_order = outlines.ordered[lines.ring]
    if in_order.all():
        return _by_bearing(lines, outlines, corners)
    found = []
    other = np.flatnonzero(~in_order)
    other = other[np.argsort(lines.ring[other], kind="stable")]
    for way, rows in ((_by_bearing, np.flatnonzero(in_order)), (_by_blocks, other)):
        line, distance, sign = way(take(lines, rows), outlines, corners)
        found.append((rows[line], distance, sign))
    line, distance, sign = (np.concatenate(column) for column in zip(*found, strict=True))
    return line, distance, sign


def _by_bearing(lines: Lines, outlines: Outlines, corners: Corners) -> _Found:
    """Crossings with outlines whose edges follow each other as seen from the middle."""
    ring, x, y, (end_x, end_y) = lines.ring, lines.x, lines.y, lines.ends(outlines)
    here = bearing(x, y)
    edge = edge_towards(outlines, corners, ring, here)
    begin = outlines.first.take(ring) + in_ring(edge, outlines.edges.take(ring))
    from_x, from_y = corners.x.take(begin), corners.y.take(begin)
    to_x, to_y = corners.x.take(begin + 1), corners.y.take(begin + 1)
    spare = (SPARE * outlines.square_m2).take(ring)
    # most lines stay between the directions of the two corners of one edge
    one = (from_x * y - from_y * x > spare) & (x * to_y - y * to_x > spare)
    one &= (from_x * end_y - from_y * end_x > spare) & (end_x * to_y - end_y * to_x > spare)
    crossed, distance, way = _met(lines, from_x, from_y, to_x, to_y)
    crossed &= one
    line = np.flatnonzero(crossed)
    found = [(line, distance.take(line), np.sign(way.take(line)))]
    nearest, more = begin, np.flatnonzero(~one)
    if len(more):
        first, edges = outlines.first[ring[more]], outlines.edges[ring[more]]
        start, count, last = _spanned(take(lines, more), here[more], outlines, corners)
        owner, place = ragged(start, count)
        edge = first[owner] + in_ring(place, edges[owner])
        nearest[more] = first + in_ring(last, edges)
        found.append(_crossed(lines, corners, more[owner], edge))
    still = np.flatnonzero(~crossed | (way < 0))
    still = still[end_x[still] ** 2 + end_y[still] ** 2 <= outlines.square_m2[ring[still]]]
    if len(still):
        mine = ring[still]
        first, edges = outlines.first[mine], outlines.edges[mine]
        nearest = nearest[still] - first
        inside = _still_inside(corners, first, edges, end_x[still], end_y[still], nearest)
        still = still[inside]
    return _together(lines, still, found)


def _spanned(
    lines: Lines, here: Floats, outlines: Outlines, corners: Corners
) -> tuple[Ints, Ints, Ints]:
    """Edges in the directions that lines span: the first, how many, and that where lines end.

    ``here``: bearing of their starts.
    """
    ring, (end_x, end_y) = lines.ring, lines.ends(outlines)
    turn = lines.x * end_y - lines.y * end_x
    there, onward = bearing(end_x, end_y), turn >= 0
    low, high = np.where(onward, here, there) - SPARE, np.where(onward, there, here) + SPARE
    # a line through the middle spans half a circle, on no side that could be told
    size = np.abs(lines.x * end_x) + np.abs(lines.y * end_y)
    through = (np.abs(turn) <= SPARE * size) & (lines.x * end_x + lines.y * end_y <= 0)
    low, high = np.where(through, 0.0, low), np.where(through, 3.999, high)
    high = np.where(high < low, high + 4.0, high)
    below = low < 0
    start, count = edges_towards(outlines, corners, ring, low + 4.0 * below, high + 4.0 * below)
    last = np.where(onward, start + count - 1, start)
    if through.any():
        count = np.where(through, outlines.edges[ring], count)
        last[through] = edge_towards(outlines, corners, ring[through], there[through])
    return start, count, last


def _still_inside(
    corners: Corners, first: Ints, edges: Ints, x: Floats, y: Floats, nearest: Ints
) -> Bools:
    """Which ends (x, y) lie within their ring; ``nearest``: edge in their direction, or beside."""
    edge = in_ring(nearest, edges)
    begin = first + edge
    # bearings are compared with something to spare
    edge -= corners.x[begin] * y - corners.y[begin] * x < 0
    edge += corners.x[begin + 1] * y - corners.y[begin + 1] * x >= 0
    begin = first + in_ring(edge, edges)
    from_x, from_y = corners.x[begin], corners.y[begin]
    along_x, along_y = corners.x[begin + 1] - from_x, corners.y[begin + 1] - from_y
    inside: Bools = along_x * (y - from_y) - along_y * (x - from_x) > 0
    return inside


def _by_blocks(lines: Lines, outlines: Outlines, corners: Corners) -> _Found:
    """Crossings with any outlines, of lines sorted by ring."""
    x, y = lines.ends(outlines)
    begin, end = np.column_stack((lines.x, lines.y)), np.column_stack((x, y))
    count = len(outlines.of)
    rays = blocks_of(np.minimum(begin, end), np.maximum(begin, end), lines.ring, count)
    used = np.bincount(lines.ring, minlength=count) > 0
    ring, place = ragged(np.zeros(count, np.int64), np.where(used, outlines.edges, 0))
    row = outlines.first[ring] + place
    corner = np.column_stack((corners.x, corners.y))
    from_, to = corner[row], corner[row + 1]
    pieces = blocks_of(np.minimum(from_, to), np.maximum(from_, to), ring, count)
    every = np.flatnonzero(used)
    found = []
    for ray, piece in near_blocks(rays, pieces, (every, every)):
        known = rays.known[ray][:, :, None] & pieces.known[piece][:, None]
        pair, edge = np.broadcast_arrays(rays.rows[ray][:, :, None], pieces.rows[piece][:, None])
        found.append(_crossed(lines, corners, pair[known], row[edge[known]]))
    still = np.flatnonzero(_ends_inside(lines, outlines, corners, x, y))
    return _together(lines, still, found)


def _ends_inside(lines: Lines, outlines: Outlines, corners: Corners, x: Floats, y: Floats) -> Bools:
    """Which ends lie within their ring, whatever its form."""
    used = np.flatnonzero(np.bincount(lines.ring, minlength=len(outlines.of)))
    place, row = ragged(outlines.first[used], outlines.edges[used] + 1)
    xy = np.column_stack((corners.x[row], corners.y[row]))
    rings = np.asarray(shapely.polygons(shapely.linearrings(xy, indices=place)))
    shapely.prepare(rings)
    return shapely.contains_xy(rings[np.searchsorted(used, lines.ring)], x, y)


def _met(
    lines: Lines, from_x: Floats, from_y: Floats, to_x: Floats, to_y: Floats
) -> tuple[Bools, Floats, Floats]:
    """Which lines cross the edge beside each, how far out, and, in its sign, which way."""
    from_x, from_y, to_x, to_y = from_x - lines.x, from_y - lines.y, to_x - lines.x, to_y - lines.y
    # a corner is on one side of a line for both of its edges, so that no crossing is lost
    begin = lines.out_x * from_y - lines.out_y * from_x
    end = lines.out_x * to_y - lines.out_y * to_x
    way = end - begin
    distance = from_x * to_y - from_y * to_x
    with np.errstate(divide="ignore", invalid="ignore"):  # of those that do not cross
        distance /= way
    crossed = (begin > 0) != (end > 0)
    crossed &= (distance > _NOTHING_M) & (distance < lines.cap_m * _BEYOND)
    return crossed, distance, way


def _crossed(lines: Lines, corners: Corners, line: Ints, edge: Ints) -> _Found:
    """Which of the lines cross the edge beside them, how far out and which way; not beyond."""
    # most of many pairs are told apart by the two sides alone
    out_x, out_y = lines.out_x.take(line), lines.out_y.take(line)
    x, y = lines.x.take(line), lines.y.take(line)
    begin = out_x * (corners.y.take(edge) - y) - out_y * (corners.x.take(edge) - x)
    end = out_x * (corners.y.take(edge + 1) - y) - out_y * (corners.x.take(edge + 1) - x)
    some = np.flatnonzero((begin > 0) != (end > 0))
    line, edge = line.take(some), edge.take(some)
    ends = [c.take(r) for r in (edge, edge + 1) for c in (corners.x, corners.y)]
    crossed, distance, way = _met(take(lines, line), *ends)
    return line[crossed], distance[crossed], np.sign(way[crossed])


def _together(lines: Lines, still: Ints, found: list[_Found]) -> _Found:
    """The crossings, with those beyond the cap as one there: of the lines ``still`` inside."""
    found = [(still, lines.cap_m[still], np.ones(len(still))), *found]
    pair, distance, sign = (np.concatenate(column) for column in zip(*found, strict=True))
    return pair, np.minimum(distance, lines.cap_m[pair]), sign
