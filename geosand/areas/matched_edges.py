"""Edges that two surfaces have in common vertex by vertex, found by sorting.

Where an overlay cut one surface along another both have the same vertices. Equal numbers of edges
are neighbours when sorted, and are the same edge if their ends are. Whole rings (a hole and what is
drawn in it) are the same if they have as many edges and the sums of their numbers are equal, which
those of others are once in 2^64 times. That is a tenth of the work of comparing shapes.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from geosand.areas.rings import Rings
from geosand.columns import Bools, Floats, Ints, beginning_alike, begins, take
from geosand.tuples import NamedTuple

SAME_VERTEX_M = 1e-6  #: vertices that round to the same multiple of this are one
Numbers = NDArray[np.uint64]

#: Odd numbers of 64 bits whose products mix well: those of the golden ratio and of MurmurHash3.
_MIX = tuple(np.uint64(m) for m in (0x9E3779B97F4A7C15, 0xC2B2AE3D27D4EB4F, 0xFF51AFD7ED558CCD))

_WHOLE = 1.5 * 2**52  # added to a number, this rounds it to a whole one and leaves that in its bits


class Matched(NamedTuple):
    """Pairs of surfaces with edges in common, sorted; and which edges and surfaces those are."""

    lower: Ints  #: (P,)
    upper: Ints  #: (P,)
    length_m: Floats  #: (P,) of all edges of the pair
    along_m: Floats  #: (S,) of all matched edges of each surface
    common: Bools  #: (N,) whether another surface has this edge too

    def length_of(self, lower: Ints, upper: Ints) -> Floats:
        """Length in m (n,) of the edges of pairs; 0 where they have none in common."""
        if not len(self.lower):
            return np.zeros(len(lower))
        surfaces = len(self.along_m)
        key, wanted = self.lower * surfaces + self.upper, lower * surfaces + upper
        at = np.minimum(np.searchsorted(key, wanted), len(key) - 1)
        return np.where(key[at] == wanted, self.length_m[at], 0.0)


class Whole(NamedTuple):
    """Rings that two surfaces of one edition have in common, and the numbers of all edges."""

    number: Numbers  #: (N,) of each edge
    one: Ints  #: (n,) rings
    other: Ints  #: (n,)
    matched: Bools  #: (R,) which rings those are


def whole_rings(rings: Rings, edition: Ints) -> Whole:
    """Of rings in m of a plane; ``edition`` is of each surface (S,)."""
    number = edge_numbers(rings, SAME_VERTEX_M)
    one, other = same_rings(rings, rings.sum_edges(number), edition)
    matched = np.zeros(len(rings.first), dtype=np.bool_)
    matched[one] = matched[other] = True
    return Whole(number, one, other, matched)


def matched_edges(rings: Rings, rank: Ints, edition: Ints, whole: Whole) -> Matched:
    """The edges in m of a plane that two surfaces (S,) of one edition have in common.

    ``rank`` says which of two lies on top: that of the smaller one. ``whole`` says which rings are
    matched; of all others the edges are compared.
    """
    one, other = whole.one, whole.other
    common = rings.per_vertex(whole.matched)
    open_ = ~common
    open_[rings.last] = False  # no edge leads from a ring to the next
    edges = _edges_of(rings, np.flatnonzero(open_), whole.number, edition)
    common[edges.row] = common[edges.other] = True
    # those of whole rings, then by themselves; edges follow each other round a ring
    first = np.concatenate([rings.surface[one], edges.surface])
    second = np.concatenate([rings.surface[other], edges.other_surface])
    length = np.concatenate([rings.lengths[one], edges.lengths(rings.position)])
    surfaces = rings.surfaces
    along = np.bincount(first, length, surfaces) + np.bincount(second, length, surfaces)
    beneath = rank[first] > rank[second]
    key = np.where(beneath, first, second) * surfaces + np.where(beneath, second, first)
    new = begins(key)
    new[: len(one) + 1] = True  # sums in the same order, whichever rings of other sites are between
    starts = np.flatnonzero(new)
    runs = np.add.reduceat(length, starts) if len(starts) else length
    pairs, which = np.unique(key[starts], return_inverse=True)
    return Matched(
        lower=pairs // max(surfaces, 1),
        upper=pairs % max(surfaces, 1),
        length_m=np.bincount(which, runs, len(pairs)).astype(np.float64),
        along_m=along.astype(np.float64),
        common=common,
    )


class _Twice(NamedTuple):
    """Edges that two surfaces have, (n,), in the order of the earlier one's."""

    row: Ints  #: where the edge of the surface that is earlier in the table begins
    other: Ints  #: the same of the later one; of more than two the next
    surface: Ints
    other_surface: Ints

    def lengths(self, position: Floats) -> Floats:
        """In m."""
        square = np.zeros(len(self.row))
        for column in position.T:
            step = column[self.row + 1] - column[self.row]
            square += step * step
        return np.sqrt(square)


def _edges_of(rings: Rings, rows: Ints, number: Numbers, edition: Ints) -> _Twice:
    """Those of the edges from ``rows`` (n,), ascending, that two surfaces have."""
    number, repeated = _repeated(number[rows])
    rows = rows[repeated]
    owner = rings.per_vertex(rings.surface)[rows]
    one, other = _same_edges(rings.position, number, rows, owner, edition)
    order = np.argsort(rows[one])
    one, other = one[order], other[order]
    return _Twice(rows[one], rows[other], owner[one], owner[other])


def edge_numbers(rings: Rings, unit: float | None = None) -> Numbers:
    """A number of 64 bits for the edge from each vertex (N,), either way alike; 0 at a ring's end.

    Made from the places of the vertices as multiples of ``unit``, or from all their digits.
    """
    numbers: Numbers = np.empty(len(rings.position), dtype=np.uint64)
    for rows, block, number in _numbered(rings, unit):
        numbers[rings.first[rows.start] :][: len(block.position)] = number
    return numbers


def ring_numbers(rings: Rings) -> Numbers:
    """The sums (R,) of the numbers of the edges of each ring, made from all their digits."""
    sums: Numbers = np.zeros(len(rings.first), dtype=np.uint64)
    for rows, block, number in _numbered(rings, None):
        sums[rows] = block.sum_edges(number)
    return sums


def _numbered(rings: Rings, unit: float | None) -> Iterator[tuple[slice, Rings, Numbers]]:
    """Blocks of rings with the numbers of their edges, which are good until the next block."""
    for rows, block, room in rings.blocks_with_room(2):
        if unit is None:
            np.add(block.position.T, 0.0, out=room)  # there is no -0.0
        else:
            np.divide(block.position.T, unit, out=room)
            np.add(room, _WHOLE, out=room)
        mixed, other = room.view(np.uint64)
        mixed *= _MIX[0]
        other *= _MIX[1]
        mixed += other
        mixed ^= np.right_shift(mixed, np.uint64(32), out=other)
        mixed *= _MIX[2]
        mixed ^= np.right_shift(mixed, np.uint64(29), out=other)
        np.add(mixed[1:], mixed[:-1], out=other[:-1])
        other[block.last] = 0
        yield rows, block, other


def same_rings(rings: Rings, total: Numbers, edition: Ints) -> tuple[Ints, Ints]:
    """Rings (one, other) of two surfaces of one edition that have all their edges in common.

    ``total`` (R,) are the sums of the numbers of their edges, ``edition`` is of each surface. Where
    more than two have the same ring none of them is found.
    """
    if not len(rings.first):
        return rings.first, rings.first
    size = rings.last - rings.first
    survey = edition[rings.surface]
    # one number for ring and survey: rings that are the same follow each other, in their order
    _, order = _repeated(total + survey.astype(np.uint64) * _MIX[0])
    total, size, survey = total[order], size[order], survey[order]
    same = (total[1:] == total[:-1]) & (size[1:] == size[:-1]) & (survey[1:] == survey[:-1])
    beside = np.concatenate([[False], same, [False]])
    two = same & ~beside[:-2] & ~beside[2:]
    one, other = order[:-1][two], order[1:][two]
    apart = rings.surface[one] != rings.surface[other]
    return one[apart], other[apart]


def _same_edges(
    position: Floats, number: Numbers, rows: Ints, owner: Ints, edition: Ints
) -> tuple[Ints, Ints]:
    """Pairs of places in the list of edges from ``rows`` (n,) that are one edge of two surfaces.

    By their ``number`` (n,), which ascends; ``owner`` (n,) is the surface of each.
    """
    begin, end = (
        [np.rint(column[at] / SAME_VERTEX_M) for column in position.T] for at in (rows, rows + 1)
    )
    edges = _Edges(begin[0], begin[1], end[0], end[1], edition[owner])
    listed = np.arange(len(rows))
    alike = edges.like_next()
    mixed_up = ~alike & (number[1:] == number[:-1]) & (np.diff(edges.edition) <= 0)
    if mixed_up.any():  # different edges by chance, or editions that do not follow each other
        listed = edges.order()
        alike = take(edges, listed).like_next()
    alike &= owner[listed[:-1]] != owner[listed[1:]]
    return listed[:-1][alike], listed[1:][alike]


class _Edges(NamedTuple):
    """Places of both ends of edges, columns (n,) of whole numbers, and the edition each is of."""

    x: Floats
    y: Floats
    end_x: Floats
    end_y: Floats
    edition: Ints

    def like_next(self) -> Bools:
        """Whether each edge but the last is the same as the next one, drawn either way."""
        one, other = (take(self, k) for k in (slice(-1), slice(1, None)))
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
    bits, some = np.uint64(len(numbers).bit_length()), beginning_alike(numbers)
    both = numbers.take(some) >> bits
    both <<= bits
    both |= some.astype(np.uint64)
    both.sort()
    head = both >> bits
    same = head[1:] == head[:-1]
    kept = np.zeros(len(head), dtype=np.bool_)
    kept[1:] = same
    kept[:-1] |= same
    rows = (both[kept] & ((np.uint64(1) << bits) - np.uint64(1))).astype(np.int64)
    return head[kept], rows
