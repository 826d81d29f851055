"""Which edges of two outlines come near each other, and which stretch of each is within a distance.

What is within a distance of a straight edge is a strip with two round ends. It is convex, so that
a straight line has one stretch in it: from the first to the last of what the strip and the two
discs hold of it. Edges that are not near need not be compared.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from geosand.areas.near_pairs import near_pairs
from geosand.areas.rings import Rings
from geosand.columns import Bools, Floats, Ints, begins, ragged
from geosand.tuples import NamedTuple

_COMPARED = 20_000  #: up to here the edges of two outlines are compared each with each


class Boxes(NamedTuple):
    """Upright boxes, columns (n,); one with a side of nan meets nothing."""

    west: Floats
    south: Floats
    east: Floats
    north: Floats

    @classmethod
    def of_rings(cls, rings: Rings) -> Boxes:
        """The box of each ring."""
        sides = np.empty((4, len(rings.first)))
        for rows, block in rings.blocks():
            for k, column in enumerate(np.ascontiguousarray(block.position.T)):
                np.minimum.reduceat(column, block.first, out=sides[k, rows])
                np.maximum.reduceat(column, block.first, out=sides[k + 2, rows])
        return cls(*sides)

    def of_rows(self, kept: Bools | Ints | slice) -> Boxes:
        """Some of them."""
        return Boxes(*(side[kept] for side in self))

    def wider(self, by: float) -> Boxes:
        """The boxes widened on all sides."""
        return Boxes(self.west - by, self.south - by, self.east + by, self.north + by)

    def within(self, other: Boxes) -> Boxes:
        """What each has in common with another one that it meets."""
        low = (np.maximum(self[k], other[k]) for k in (0, 1))
        return Boxes(*low, *(np.minimum(self[k], other[k]) for k in (2, 3)))

    def around(self, row: Ints, rows: int) -> Boxes:
        """The box round all of each row (rows,), nan where there are none; ``row`` ascends."""
        first = np.flatnonzero(begins(row))
        sides = np.full((4, rows), np.nan)
        if len(first):
            extremes = (np.minimum, np.minimum, np.maximum, np.maximum)
            for k, (extreme, side) in enumerate(zip(extremes, self, strict=True)):
                sides[k, row[first]] = extreme.reduceat(side, first)
        return Boxes(*sides)

    def meet_edges(self, position: Floats, vertex: Ints, corners: Ints) -> Ints:
        """Which edges meet their box, each of a run of ``corners`` (n,) vertices along a ring.

        ``vertex`` are the rows of ``position``, run by run; an edge is told by its first one.
        """
        met = np.ones(len(vertex), dtype=np.bool_)
        met[np.cumsum(corners) - 1] = False  # no edge begins where a run ends
        for column, sides in zip(
            position.T, ((self.west, self.east), (self.south, self.north)), strict=True
        ):
            at = column[vertex]
            for beyond, side in zip((np.greater_equal, np.less_equal), sides, strict=True):
                inside = beyond(at, np.repeat(side, corners))
                met[:-1] &= inside[:-1] | inside[1:]
        return np.flatnonzero(met)

    def meet(self, other: Boxes) -> Bools:
        """Whether each has a place in common with another."""
        meets = (self.east >= other.west) & (self.west <= other.east)
        meets &= (self.north >= other.south) & (self.south <= other.north)
        return meets


class Edges(NamedTuple):
    """Edges of the outlines of a list of surfaces, one row an edge, in the order of the list."""

    rings: Rings
    row: Ints  #: in the list
    vertex: Ints  #: row in ``rings`` of its beginning

    @classmethod
    def of(cls, rings: Rings, boxes: Boxes, surface: Ints, limit: Boxes) -> Edges:
        """Edges of each ``surface`` (n,), a number in ``rings``, that meet its limit.

        ``boxes`` are those of the rings.
        """
        bounds = np.searchsorted(rings.surface, np.arange(rings.surfaces + 1))
        row, ring = ragged(bounds[surface], np.diff(bounds)[surface])
        met = boxes.of_rows(ring).meet(limit.of_rows(row))
        ring, row = ring[met], row[met]
        corners = (rings.last - rings.first + 1)[ring]
        of_ring, vertex = ragged(rings.first[ring], corners)
        edge = limit.of_rows(row).meet_edges(rings.position, vertex, corners)
        return cls(rings, row[of_ring[edge]], vertex[edge])

    def of_rows(self, kept: Bools | Ints | slice) -> Edges:
        """Some of them."""
        return Edges(self.rings, self.row[kept], self.vertex[kept])

    def ends(self) -> tuple[Floats, Floats]:
        """Where each begins and ends, (n, 2)."""
        position = self.rings.position
        return position.take(self.vertex, axis=0), position.take(self.vertex + 1, axis=0)

    def boxes(self) -> Boxes:
        """The box of each."""
        begin, end = self.ends()
        return Boxes(*np.minimum(begin, end).T, *np.maximum(begin, end).T)


def near_edges(edges: Edges, box: Boxes, others: Edges, distance: float) -> tuple[Edges, Edges]:
    """Pairs (n,) of edges of the same row that may be within ``distance`` of each other.

    ``box`` is of each of the ``edges``, or of that part of it that may be near any other.
    """
    rows = 1 + max(edges.row.max(initial=-1), others.row.max(initial=-1))
    other_box = others.boxes().wider(distance)
    count = np.bincount(others.row, minlength=rows)
    many = count * np.bincount(edges.row, minlength=rows) > _COMPARED
    here = np.flatnonzero(~many[edges.row])
    of_here, other = ragged((np.cumsum(count) - count)[edges.row[here]], count[edges.row[here]])
    one = here[of_here]
    if many.any():
        left, right = (np.flatnonzero(many[table.row]) for table in (edges, others))
        found = near_pairs(
            np.column_stack(box.of_rows(left)),
            edges.row[left],
            np.column_stack(other_box.of_rows(right)),
            others.row[right],
        )
        one, other = np.append(one, left[found[0]]), np.append(other, right[found[1]])
    for k in (0, 1):  # most are apart one way or the other: the rest is compared both ways
        met = box[k + 2][one] >= other_box[k][other]
        met &= box[k][one] <= other_box[k + 2][other]
        kept = np.flatnonzero(met)  # by a mask it would take three times as long
        one, other = one.take(kept), other.take(kept)
    return edges.of_rows(one), others.of_rows(other)


def stretches_within(
    begin: Floats, end: Floats, other_begin: Floats, other_end: Floats, distance: float
) -> tuple[Floats, Floats]:
    """From and to which part of its length (n,), 0 to 1, each edge is near the other one.

    Corners are (n, 2). Where it is not near at all, the second is not above the first; parts of an
    edge of no length mean nothing.

    >>> one = np.array([[0.0, 0.0]]), np.array([[10.0, 0.0]])
    >>> other = np.array([[2.0, 1.0]]), np.array([[7.0, 1.0]])
    >>> [round(float(part[0]), 3) for part in stretches_within(*one, *other, 1.25)]
    [0.125, 0.775]
    """
    step, along = end - begin, other_end - other_begin
    from_begin, from_end = begin - other_begin, begin - other_end
    with np.errstate(divide="ignore", invalid="ignore"):
        length = np.sqrt(_dot(along, along))
        strip = _between(_dot(from_begin, along) / length, _dot(step, along) / length, 0.0, length)
        sides = _between(
            _cross(along, from_begin) / length, _cross(along, step) / length, -distance, distance
        )
        parts = (
            (np.maximum(strip[0], sides[0]), np.minimum(strip[1], sides[1])),
            _in_disc(from_begin, step, distance),
            _in_disc(from_end, step, distance),
        )
    start, stop = np.full(len(begin), np.inf), np.full(len(begin), -np.inf)
    for first, last in parts:
        there = last >= first  # nothing is nan or the wrong way round
        start = np.where(there, np.minimum(start, first), start)
        stop = np.where(there, np.maximum(stop, last), stop)
    return np.maximum(start, 0.0), np.minimum(stop, 1.0)


def covered_parts(edge: Ints, start: Floats, stop: Floats) -> Floats:
    """What each stretch (n,) adds to those of its ``edge`` before it; by edge and start, sorted.

    Summed over the stretches of an edge it is the part of its length that any of them covers.

    >>> covered_parts(np.zeros(3, int), np.array([0.0, 0.1, 0.5]), np.array([0.4, 0.2, 0.6]))
    array([0.4, 0. , 0.1])
    """
    by_stop = np.lexsort((stop, edge))
    rank = np.empty(len(edge), dtype=np.int64)
    rank[by_stop] = np.arange(len(edge))
    # ranks of a later edge are above all of an earlier one: the largest so far is of this edge
    farthest = stop[by_stop][np.maximum.accumulate(rank)]
    before = np.append(-np.inf, farthest)[: len(edge)]
    before[begins(edge)] = -np.inf
    added: Floats = np.maximum(stop - np.maximum(start, before), 0.0)
    return added


def _between(at: Floats, slope: Floats, low: Any, high: Any) -> tuple[Floats, Floats]:
    """Where ``at`` + t · ``slope`` is between two bounds; on a level line everywhere or nowhere."""
    one, other = (low - at) / slope, (high - at) / slope
    return np.minimum(one, other), np.maximum(one, other)


def _in_disc(from_centre: Floats, step: Floats, radius: float) -> tuple[Floats, Floats]:
    """Where a line is in a disc; nan where it passes by."""
    square = _dot(step, step)
    away = _cross(step, from_centre)
    foot = -_dot(from_centre, step) / square
    half = np.sqrt(radius * radius - away * away / square) / np.sqrt(square)
    return foot - half, foot + half


def _dot(one: Floats, other: Floats) -> Floats:
    return one[:, 0] * other[:, 0] + one[:, 1] * other[:, 1]


def _cross(one: Floats, other: Floats) -> Floats:
    return one[:, 0] * other[:, 1] - one[:, 1] * other[:, 0]
