"""Which surface owns the ground where drawn surfaces overlap."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

import numpy as np
import shapely

from geosand.areas.ellipsoid import ellipsoid_areas_m2
from geosand.areas.matched_edges import ring_numbers, same_rings
from geosand.areas.near_pairs import near_each_other
from geosand.areas.overlay import united
from geosand.areas.rings import Rings, rings_of
from geosand.areas.slivers import without_slivers
from geosand.columns import Bools, Floats, Geometries, Ints, Strings, begins, ragged

#: What lies on top of what, the topmost first; a kind that is not named here counts as "other".
PRECEDENCE = (
    "green",
    "collar",
    "tee",
    "bunker",
    "water",
    "path",
    "approach",
    "surround",
    "fairway",
    "pitch",
    "lawn",
    "other",
)

#: Areas closer than this times the root of one are equal: nine decimals of a degree round a corner
#: by 0.03 mm (one standard deviation), 4e-5 m times its side of a square; of two, six times that.
_SAME_AREA_M = 3e-4
_BLOCK_VERTICES = 4_000_000  #: of pairs that are compared at once


def precedence_levels(kinds: Strings) -> Ints:
    """Place (S,) of each kind in PRECEDENCE, 0 on top."""
    place = {kind: number for number, kind in enumerate(PRECEDENCE)}
    names, which = np.unique(kinds, return_inverse=True)
    level = np.array([place.get(str(name), place["other"]) for name in names], dtype=np.int64)
    return np.asarray(level[which], dtype=np.int64)


def same_area(smaller_m2: Floats, larger_m2: Floats) -> Bools:
    """Whether two areas (n,) are too close for nine decimals of a degree to tell them apart."""
    return np.asarray(larger_m2 - smaller_m2 <= _SAME_AREA_M * np.sqrt(smaller_m2))


def precedence_ranks(kinds: Strings, areas_m2: Floats, edition: Ints | None = None) -> Ints:
    """Rank 0 … S-1 of each surface (S,), 0 on top: PRECEDENCE, then smaller, then file order.

    Areas that rounding could exchange are equal, so that last digits decide nothing; of a row of
    areas each is then equal to the next. Ranks are to be compared within an ``edition`` (S,) only.
    """
    of = np.zeros(len(kinds), dtype=np.int64) if edition is None else edition
    level = of * len(PRECEDENCE) + precedence_levels(kinds)
    order = np.lexsort((areas_m2, level))
    area = areas_m2[order]
    alike = np.zeros(len(kinds), dtype=np.bool_)  # as large as the one before
    alike[1:] = same_area(area[:-1], area[1:])
    alike[1:] &= np.diff(level[order]) == 0
    if alike.any():
        group = np.cumsum(~alike)
        rows = np.flatnonzero(alike | np.append(alike[1:], False))
        order[rows] = order[rows][np.lexsort((order[rows], group[rows]))]
    ranks = np.empty(len(kinds), dtype=np.int64)
    ranks[order] = np.arange(len(kinds))
    return ranks


def owned_geometries(geometries: Geometries, kinds: Strings, edition: Ints) -> Geometries:
    """The ground that each drawn surface (S,) owns: what lies on top is cut out of what is beneath.

    As ``cut_ground``; a surface that nothing covers comes back as the same object.
    """
    owned, rings = geometries.copy(), rings_of(geometries)
    rank = precedence_ranks(kinds, ellipsoid_areas_m2(rings), edition)
    cut, left, _ = cut_ground(geometries, rank, edition, rings)
    owned[cut] = left
    return owned


def cut_ground(
    geometries: Geometries, rank: Ints, edition: Ints, rings: Rings
) -> tuple[Ints, Geometries, Floats]:
    """Rows that others of their edition lie on, what is left of the ground of each and its area.

    ``geometries`` (S,) are valid polygons in lon/lat degrees and ``rings`` theirs, ``rank`` says
    which of two lies on top (``precedence_ranks``), ``edition`` is a number per boundary survey:
    only surfaces of the same edition meet. One that is wholly covered is left an empty polygon.
    Parts that a cut leaves smaller than 1e-3 m² are dropped, and hairs along its edges.
    """
    bounds = shapely.bounds(geometries)
    lower, upper = ordered_pairs(bounds, rank, edition)
    holed, filler = filled_holes(rings, edition)
    side_by_side = np.concatenate([_pair(holed, filler), _pair(filler, holed)])
    apart = _among(_pair(lower, upper), side_by_side)
    lower, upper, shapes = _with_what_fills(geometries, lower[~apart], upper[~apart], holed, filler)
    rows, left = [np.zeros(0, dtype=np.int64)], [np.zeros(0, dtype=object)]
    for some in _blocks(geometries, lower, upper):
        beneath, above = lower[some], shapes[some]
        meeting = _meeting(rings, beneath, bounds[upper[some]], geometries[beneath], above)
        covering, cut = united(above[meeting], beneath[meeting])
        rows.append(cut)
        left.append(shapely.difference(geometries[cut], covering))
    return np.concatenate(rows), *without_slivers(np.concatenate(left))


def _blocks(geometries: Geometries, lower: Ints, upper: Ints) -> Iterator[slice]:
    """Runs of pairs (n,), sorted by ``lower``, all pairs of a lower one in the same run.

    All at once a thousand surfaces on the same ground would take 2 GB.
    """
    vertices = shapely.get_num_coordinates(geometries)
    total = np.cumsum(vertices[lower] + vertices[upper])
    first = np.flatnonzero(begins(lower))
    starts = first[begins(total[first] // _BLOCK_VERTICES)]
    for start, stop in pairwise([*starts.tolist(), len(lower)]):
        yield slice(start, stop)


def filled_holes(rings: Rings, edition: Ints) -> tuple[Ints, Ints]:
    """Rows (holed, filler): polygons of one edition, the second drawn in the hole of the first.

    Its outline and the hole have the same vertices. As a collar with its green is often drawn so,
    it is worth finding: the two have an edge in common but no ground, and need no comparison.
    Where several polygons are the same, none is found.
    """
    one, other = same_rings(rings, ring_numbers(rings), edition)
    hole, shell = np.where(rings.is_hole[one], (one, other), (other, one))
    parts = np.bincount(rings.surface[~rings.is_hole], minlength=rings.surfaces)
    holed, filler = rings.surface[hole], rings.surface[shell]
    kept = rings.is_hole[hole] & ~rings.is_hole[shell] & (parts[holed] == 1) & (parts[filler] == 1)
    kept = np.flatnonzero(kept)[np.argsort(hole[kept])]
    return holed[kept], filler[kept]


def _meeting(
    rings: Rings, lower: Ints, bounds: Floats, beneath: Geometries, shapes: Geometries
) -> Bools:
    """Whether each pair (n,) of polygons has ground in common, not an edge only.

    Mostly a corner of the ``lower`` one, a row of ``rings``, is within the upper one, which is soon
    seen; ``bounds`` (n, 4) are of the upper one.
    """
    corner = _midmost_corners(rings, lower, bounds)
    x, y = rings.position[corner].T
    found: Bools = shapely.contains_xy(shapes, x, y)
    rest = np.flatnonzero(~found)
    found[rest] = shapely.relate_pattern(beneath[rest], shapes[rest], "T********")
    return found


def _midmost_corners(rings: Rings, surface: Ints, bounds: Floats) -> Ints:
    """The vertex of each ``surface`` (n,), of its first ring, that is nearest the middle of a box.

    ``bounds`` (n, 4) are those boxes; distances are in widths and heights of them.
    """
    ring = np.searchsorted(rings.surface, surface)
    pair, vertex = ragged(rings.first[ring], (rings.last - rings.first)[ring])
    away = np.zeros(len(vertex))
    for k, column in enumerate(rings.position.T):
        low, high = bounds[:, k], bounds[:, k + 2]
        middle, width = (low + high) / 2, np.maximum(high - low, 1e-300)
        np.maximum(away, np.abs(column[vertex] - middle[pair]) / width[pair], out=away)
    corner = rings.first[ring]
    if len(vertex):
        nearest = np.minimum.reduceat(away, np.flatnonzero(begins(pair)))
        here = np.flatnonzero(away == nearest[pair])
        corner[pair[here]] = vertex[here]
    return corner


def _pair(one: Ints, other: Ints) -> Ints:
    """A number for each pair of rows."""
    return (one << 32) + other


def _among(numbers: Ints, others: Ints) -> Bools:
    """Whether each number (n,) is one of the others."""
    if not len(others):
        return np.zeros(len(numbers), dtype=np.bool_)
    known = np.sort(others)
    found: Bools = known[np.minimum(np.searchsorted(known, numbers), len(known) - 1)] == numbers
    return found


def _with_what_fills(
    geometries: Geometries, lower: Ints, upper: Ints, holed: Ints, filler: Ints
) -> tuple[Ints, Ints, Geometries]:
    """Pairs and the shapes of their upper ones, those drawn in the only hole of another with it.

    What lies on the same surface as what fills its hole covers that as well: its outline does.
    """
    shapes = geometries[upper]
    known = shapely.get_num_interior_rings(geometries[holed]) == 1
    known &= shapely.get_num_interior_rings(geometries[filler]) == 0
    within = np.full(len(geometries), -1, dtype=np.int64)
    within[holed[known]] = filler[known]
    pairs, inner = _pair(lower, upper), within[upper]
    whole = (inner >= 0) & _among(_pair(lower, inner), pairs)
    shapes[whole] = shapely.polygons(shapely.get_exterior_ring(shapes[whole]))
    left = ~_among(pairs, _pair(lower[whole], inner[whole]))
    return lower[left], upper[left], shapes[left]


def ordered_pairs(
    bounds: Floats, rank: Ints, edition: Ints, distance: float = 0.0
) -> tuple[Ints, Ints]:
    """Rows (lower, upper) of the pairs of one edition whose boxes may be within ``distance``."""
    one, other = near_each_other(bounds, edition, distance)
    beneath = rank[one] > rank[other]
    lower, upper = np.where(beneath, one, other), np.where(beneath, other, one)
    order = np.argsort(_pair(lower, upper), kind="stable")
    return lower[order], upper[order]
