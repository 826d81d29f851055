"""Which surface owns the ground where drawn surfaces overlap."""

from __future__ import annotations

import numpy as np
import shapely

from geosand.areas.ellipsoid import ellipsoid_areas_m2
from geosand.areas.matched_edges import edge_numbers, same_rings
from geosand.areas.near_pairs import near_pairs
from geosand.areas.rings import Rings, rings_of
from geosand.columns import Bools, Floats, Geometries, Ints, Strings

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

_SLIVER_M2 = 1e-3  # parts of an overlay smaller than this are numerical dust


def precedence_ranks(kinds: Strings, areas_m2: Floats) -> Ints:
    """Rank 0 … S-1 of each surface (S,), 0 on top: PRECEDENCE, then smaller, then file order."""
    place = {kind: number for number, kind in enumerate(PRECEDENCE)}
    names, which = np.unique(kinds, return_inverse=True)
    level = np.array([place.get(str(name), place["other"]) for name in names], dtype=np.int64)
    order = np.lexsort((np.arange(len(kinds)), areas_m2, level[which]))
    ranks = np.empty(len(kinds), dtype=np.int64)
    ranks[order] = np.arange(len(kinds))
    return ranks


def owned_geometries(geometries: Geometries, kinds: Strings, edition: Ints) -> Geometries:
    """The ground that each drawn surface (S,) owns: what lies on top is cut out of what is beneath.

    As ``cut_ground``; a surface that nothing covers comes back as the same object.
    """
    owned, rings = geometries.copy(), rings_of(geometries)
    cut, left = cut_ground(geometries, kinds, edition, ellipsoid_areas_m2(rings), rings)
    owned[cut] = left
    return owned


def cut_ground(
    geometries: Geometries, kinds: Strings, edition: Ints, drawn_m2: Floats, rings: Rings
) -> tuple[Ints, Geometries]:
    """Rows that others of their edition lie on, and what is left of the ground of each.

    ``geometries`` (S,) are valid polygons in lon/lat degrees and ``rings`` theirs, ``kinds`` their
    kinds, ``edition`` a number per boundary survey: only surfaces of the same edition meet;
    ``drawn_m2`` are their areas. One that is wholly covered is left an empty polygon. Parts that a
    cut leaves smaller than 1e-3 m² are dropped.
    """
    rank = precedence_ranks(kinds, drawn_m2)
    lower, upper = ordered_pairs(geometries, rank, edition)
    holed, filler = filled_holes(rings, edition)
    side_by_side = np.concatenate([_pair(holed, filler), _pair(filler, holed)])
    apart = _among(_pair(lower, upper), side_by_side)
    lower, upper, shapes = _with_what_fills(geometries, lower[~apart], upper[~apart], holed, filler)
    meeting = shapely.relate_pattern(geometries[lower], shapes, "T********")
    cut, covering = _coverings(lower[meeting], shapes[meeting])
    return cut, _without_slivers(shapely.difference(geometries[cut], covering))


def filled_holes(rings: Rings, edition: Ints) -> tuple[Ints, Ints]:
    """Rows (holed, filler): polygons of one edition, the second drawn in the hole of the first.

    Its outline and the hole have the same vertices. As a collar with its green is often drawn so,
    it is worth finding: the two have an edge in common but no ground, and need no comparison.
    Where several polygons are the same, none is found.
    """
    x, y = (rings.position.T + 0.0).view(np.int64)  # the digits themselves; there is no -0.0
    one, other = same_rings(rings, edge_numbers(rings, x, y), edition)
    hole, shell = np.where(rings.is_hole[one], (one, other), (other, one))
    parts = np.bincount(rings.surface[~rings.is_hole], minlength=rings.surfaces)
    holed, filler = rings.surface[hole], rings.surface[shell]
    kept = rings.is_hole[hole] & ~rings.is_hole[shell] & (parts[holed] == 1) & (parts[filler] == 1)
    kept = np.flatnonzero(kept)[np.argsort(hole[kept])]
    return holed[kept], filler[kept]


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


def _coverings(lower: Ints, shapes: Geometries) -> tuple[Ints, Geometries]:
    """Rows that are covered in part, and all that lies on each of them as one geometry."""
    order = np.argsort(lower, kind="stable")
    cut, first, count = np.unique(lower[order], return_index=True, return_counts=True)
    covering = shapes[order[first]]
    several = np.flatnonzero(count > 1)
    if len(several):
        group = np.repeat(np.arange(len(cut)), count)
        mine = (count > 1)[group]
        covers = shapely.geometrycollections(
            shapes[order[mine]], indices=np.searchsorted(several, group[mine])
        )
        # a collection's own parts overlap; its union is what lies on the surface beneath
        covering[several] = shapely.union_all(np.asarray(covers)[:, None], axis=1)
    return cut, covering


def ordered_pairs(
    geometries: Geometries, rank: Ints, edition: Ints, distance: float = 0.0
) -> tuple[Ints, Ints]:
    """Rows (lower, upper) of the pairs of one edition whose boxes may be within ``distance``."""
    bounds = shapely.bounds(geometries)
    first, second = near_pairs(bounds, edition, bounds, edition, distance)
    beneath = rank[first] > rank[second]
    return first[beneath], second[beneath]


def _without_slivers(geometries: Geometries) -> Geometries:
    """Polygons rebuilt from their parts of at least 1e-3 m²; empty where none is left."""
    parts, row = shapely.get_parts(geometries, return_index=True)
    areal = shapely.get_type_id(parts) == 3
    parts, row = parts[areal], row[areal]
    large = ellipsoid_areas_m2(parts) >= _SLIVER_M2
    parts, row = parts[large], row[large]
    rebuilt = np.full(len(geometries), shapely.Polygon(), dtype=object)
    if not parts.size:
        return rebuilt
    rows, start, count = np.unique(row, return_index=True, return_counts=True)
    several = shapely.multipolygons(parts, indices=np.repeat(np.arange(len(rows)), count))
    rebuilt[rows] = np.where(count == 1, parts[start], several)
    return rebuilt
