"""Edges that two surfaces have in common vertex by vertex, found by sorting.

Where an overlay cut one surface along another both have the same vertices. Equal numbers of edges
are neighbours when sorted, and are the same edge if their ends are. Whole rings (a hole and what is
drawn in it) are the same if they have as many edges and the sums of their numbers are equal, which
those of others are once in 2^64 times. That is a tenth of the work of comparing shapes.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from geosand.areas.rings import Rings
from geosand.columns import Bools, Floats, Ints

SAME_VERTEX_M = 1e-6  #: vertices that round to the same multiple of this are one
Numbers = NDArray[np.uint64]

#: Odd numbers of 64 bits whose products mix well: those of the golden ratio and of MurmurHash3.
_MIX = tuple(np.uint64(m) for m in (0x9E3779B97F4A7C15, 0xC2B2AE3D27D4EB4F, 0xFF51AFD7ED558CCD))


class Matched(NamedTuple):
    """Pairs of surfaces with edges in common, sorted; and which edges and surfaces those are."""

    lower: Ints  #: (P,)
    upper: Ints  #: (P,)
    length_m: Floats  #: (P,) of all edges of the pair
    along_m: Floats  #: (S,) of all matched edges of each surface
    before: Ints  #: (N,) the surface that has this edge too, one earlier in the order of rows
    after: Ints  #: (N,) the same, one later; -1 = none

    def has(self, edge: Ints) -> Bools:
        """Whether each ``edge``, a row of the rings, is one of another surface as well."""
        found: Bools = (self.before[edge] >= 0) | (self.after[edge] >= 0)
        return found

    def length_of(self, lower: Ints, upper: Ints) -> Floats:
        """Length in m (n,) of the edges of pairs; 0 where they have none in common."""
        if not len(self.lower):
            return np.zeros(len(lower))
        surfaces = len(self.along_m)
        key, wanted = self.lower * surfaces + self.upper, lower * surfaces + upper
        at = np.minimum(np.searchsorted(key, wanted), len(key) - 1)
        return np.where(key[at] == wanted, self.length_m[at], 0.0)


def matched_edges(rings: Rings, rank: Ints, edition: Ints) -> Matched:
    """The edges in m of a plane that two surfaces (S,) of one edition have in common.

    ``rank`` says which of two lies on top: that of the smaller one.
    """
    owner = np.repeat(rings.surface, rings.last - rings.first + 1)
    before, after = _other_owners(rings, owner, edition)
    one = np.flatnonzero(after >= 0)
    first, second = owner[one], after[one]
    step = rings.position[one + 1] - rings.position[one]
    length = np.sqrt(step[:, 0] * step[:, 0] + step[:, 1] * step[:, 1])
    surfaces = rings.surfaces
    along = np.bincount(first, length, surfaces) + np.bincount(second, length, surfaces)
    beneath = rank[first] > rank[second]
    key = np.where(beneath, first, second) * surfaces + np.where(beneath, second, first)
    # edges follow each other round a ring: whole runs are of one pair
    starts = np.flatnonzero(np.diff(key, prepend=-1))
    runs = np.add.reduceat(length, starts) if len(starts) else length
    pairs, which = np.unique(key[starts], return_inverse=True)
    return Matched(
        lower=pairs // max(surfaces, 1),
        upper=pairs % max(surfaces, 1),
        length_m=np.bincount(which, runs, len(pairs)).astype(np.float64),
        along_m=along.astype(np.float64),
        before=before,
        after=after,
    )


def _other_owners(rings: Rings, owner: Ints, edition: Ints) -> tuple[Ints, Ints]:
    """For each edge (N,) the surfaces earlier and later in the table that have it too, -1 = none.

    Where more than two have an edge, the next ones.
    """
    x, y = np.rint(rings.position.T / SAME_VERTEX_M).astype(np.int64)
    number = edge_numbers(rings, x, y)
    one, other = same_rings(rings, number, edition)
    of_ring = np.full((2, len(rings.first)), -1)
    of_ring[0, other], of_ring[1, one] = rings.surface[one], rings.surface[other]
    before, after = np.repeat(of_ring, rings.last - rings.first + 1, axis=1)
    before[rings.last] = after[rings.last] = -1
    alone = (before < 0) & (after < 0)
    alone[rings.last] = False
    rest = np.flatnonzero(alone)
    one, other = _same_edges(x, y, number[rest], rest, owner, edition)
    before[other], after[one] = owner[one], owner[other]
    return before, after


def edge_numbers(rings: Rings, x: Ints, y: Ints) -> Numbers:
    """A number of 64 bits for the edge from each vertex (N,), either way alike; 0 at a ring's end.

    ``x`` and ``y`` are the places of the vertices as whole numbers.
    """
    mixed = x.astype(np.uint64) * _MIX[0] + y.astype(np.uint64) * _MIX[1]
    mixed ^= mixed >> np.uint64(32)
    mixed *= _MIX[2]
    mixed ^= mixed >> np.uint64(29)
    numbers: Numbers = mixed + np.roll(mixed, -1)
    numbers[rings.last] = 0
    return numbers


def same_rings(rings: Rings, numbers: Numbers, edition: Ints) -> tuple[Ints, Ints]:
    """Rings (one, other) of two surfaces of one edition that have all their edges in common.

    ``numbers`` are those of the edges, ``edition`` is of each surface. Where more than two have
    the same ring none of them is found.
    """
    if not len(rings.first):
        return rings.first, rings.first
    total, size = np.add.reduceat(numbers, rings.first), rings.last - rings.first
    survey = edition[rings.surface]
    order = np.lexsort((size, survey, total))
    total, size, survey = total[order], size[order], survey[order]
    same = (total[1:] == total[:-1]) & (size[1:] == size[:-1]) & (survey[1:] == survey[:-1])
    beside = np.concatenate([[False], same, [False]])
    two = same & ~beside[:-2] & ~beside[2:]
    one, other = order[:-1][two], order[1:][two]
    apart = rings.surface[one] != rings.surface[other]
    return one[apart], other[apart]


def _same_edges(
    x: Ints, y: Ints, number: Numbers, rows: Ints, owner: Ints, edition: Ints
) -> tuple[Ints, Ints]:
    """Pairs of ``rows`` (n,) with the same ``number`` (n,) that are one edge of two surfaces."""
    number, repeated = _repeated(number)
    rows = rows[repeated]
    edges = _Edges(x[rows], y[rows], x[rows + 1], y[rows + 1], edition[owner[rows]])
    alike = edges.like_next()
    mixed_up = ~alike & (number[1:] == number[:-1]) & (np.diff(edges.edition) <= 0)
    if mixed_up.any():  # different edges by chance, or editions that do not follow each other
        order = edges.order()
        rows, edges = rows[order], _Edges(*(column[order] for column in edges))
        alike = edges.like_next()
    alike &= owner[rows[:-1]] != owner[rows[1:]]
    return rows[:-1][alike], rows[1:][alike]


class _Edges(NamedTuple):
    """Places of both ends of edges, columns (n,), and the edition each is of."""

    x: Ints
    y: Ints
    end_x: Ints
    end_y: Ints
    edition: Ints

    def like_next(self) -> Bools:
        """Whether each edge but the last is the same as the next one, drawn either way."""
        one, other = (_Edges(*(column[k] for column in self)) for k in (slice(-1), slice(1, None)))
        forth = (one.x == other.x) & (one.y == other.y)
        forth &= (one.end_x == other.end_x) & (one.end_y == other.end_y)
        back = (one.x == other.end_x) & (one.y == other.end_y)
        back &= (one.end_x == other.x) & (one.end_y == other.y)
        same: Bools = (forth | back) & (one.edition == other.edition)
        return same

    def order(self) -> Ints:
        """Rows with the same edges beside each other, otherwise in their own order."""
        west = self.x < self.end_x
        west |= (self.x == self.end_x) & (self.y < self.end_y)
        ends = [
            np.where(west, one, other)
            for here, there in ((self.x, self.end_x), (self.y, self.end_y))
            for one, other in ((here, there), (there, here))
        ]
        return np.lexsort((*ends, self.edition))


def _repeated(numbers: Numbers) -> tuple[Numbers, Ints]:
    """Those that come more than once but for their last digits, and their rows: sorted by both.

    The row stands in place of the last digits, so that sorting numbers does it.
    """
    bits = np.uint64(len(numbers).bit_length())
    row = np.arange(len(numbers), dtype=np.uint64)
    both = np.sort((numbers >> bits << bits) | row)
    head = both >> bits
    same = head[1:] == head[:-1]
    kept = np.zeros(len(head), dtype=np.bool_)
    kept[1:] = same
    kept[:-1] |= same
    rows = (both[kept] & ((np.uint64(1) << bits) - np.uint64(1))).astype(np.int64)
    return head[kept], rows
