"""Which surface owns the ground where drawn surfaces overlap, and which edges owners share."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from geosand.areas.ellipsoid import ellipsoid_areas_m2
from geosand.areas.near_outlines import outlines_near
from geosand.areas.rings import Rings, rings_of
from geosand.columns import Bools, Floats, Geometries, Ints, Strings, freeze

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
_SAME_VERTEX_M = 1e-6
_CORNER_TOLERANCES = 4  # neighbours that meet only in a corner run together for about two


def precedence_ranks(kinds: Strings, areas_m2: Floats) -> Ints:
    """Rank 0 … S-1 of each surface (S,), 0 on top: PRECEDENCE, then smaller, then file order."""
    place = {kind: number for number, kind in enumerate(PRECEDENCE)}
    names, which = np.unique(kinds, return_inverse=True)
    level = np.array([place.get(str(name), place["other"]) for name in names], dtype=np.int64)
    order = np.lexsort((np.arange(len(kinds)), areas_m2, level[which]))
    ranks = np.empty(len(kinds), dtype=np.int64)
    ranks[order] = np.arange(len(kinds))
    return ranks


def owned_geometries(
    geometries: Geometries, kinds: Strings, edition: Ints, drawn_m2: Floats | None = None
) -> Geometries:
    """The ground that each drawn surface (S,) owns: what lies on top is cut out of what is beneath.

    ``geometries`` are valid polygons in lon/lat degrees, ``kinds`` their kinds, ``edition`` a
    number per boundary survey: only surfaces of the same edition meet; ``drawn_m2`` are their
    areas where they are known already. A surface that nothing
    covers comes back as the same object; one that is wholly covered as an empty polygon. Parts
    that a cut leaves smaller than 1e-3 m² are dropped.
    """
    owned = geometries.copy()
    areas = ellipsoid_areas_m2(geometries) if drawn_m2 is None else drawn_m2
    rank = precedence_ranks(kinds, areas)
    lower, upper = _ordered_pairs(geometries, rank, edition)
    holed, filler = filled_holes(geometries, edition)
    apart = np.isin(_pair(lower, upper), [*_pair(holed, filler), *_pair(filler, holed)])
    lower, upper = lower[~apart], upper[~apart]
    meeting = shapely.relate_pattern(geometries[lower], geometries[upper], "T********")
    lower, upper = lower[meeting], upper[meeting]
    if not lower.size:
        return owned
    cut, covering = _coverings(geometries, lower, upper, holed, filler)
    owned[cut] = _without_slivers(shapely.difference(geometries[cut], covering))
    return owned


def filled_holes(geometries: Geometries, edition: Ints) -> tuple[Ints, Ints]:
    """Rows (holed, filler): polygons of one edition, the second drawn in the hole of the first.

    Its outline and the hole have the same vertices. As a collar with its green is often drawn so,
    it is worth finding: the two have an edge in common but no ground, and need no comparison.
    Where several polygons are the same, only one is found.
    """
    plain = np.flatnonzero(shapely.get_type_id(geometries) == 3)
    holed = plain[shapely.get_num_interior_rings(geometries[plain]) > 0]
    rings, which = shapely.get_rings(geometries[holed], return_index=True)
    inner = np.diff(which, prepend=-1) == 0
    holes, owner = shapely.polygons(rings[inner]), holed[which[inner]]
    row = np.concatenate([owner, plain])
    bounds = np.concatenate([shapely.bounds(holes), shapely.bounds(geometries[plain])])
    is_shell = np.arange(len(row)) >= len(owner)
    order = np.lexsort((is_shell, *bounds.T, edition[row]))
    place, bounds, is_shell = order, bounds[order], is_shell[order]
    alike = (bounds[1:] == bounds[:-1]).all(axis=1) & (np.diff(edition[row[order]]) == 0)
    first = np.flatnonzero(alike & ~is_shell[:-1] & is_shell[1:])
    hole, shell = place[first], row[place[first + 1]]
    outlines = shapely.polygons(shapely.get_exterior_ring(geometries[shell]))
    same = shapely.equals_exact(shapely.normalize(holes[hole]), shapely.normalize(outlines))
    return owner[hole[same]], shell[same]


def _pair(one: Ints, other: Ints) -> Ints:
    """A number for each pair of rows."""
    return (one << 32) + other


def _coverings(
    geometries: Geometries, lower: Ints, upper: Ints, holed: Ints, filler: Ints
) -> tuple[Ints, Geometries]:
    """Rows that are covered in part, and all that lies on each of them as one geometry."""
    upper_shapes = geometries[upper]
    # a polygon that lies on the same one as what fills its only hole covers that as well
    known, pairs = np.isin(filler, upper), _pair(lower, upper)
    known &= shapely.get_num_interior_rings(geometries[holed]) == 1
    known &= shapely.get_num_interior_rings(geometries[filler]) == 0
    order = np.flatnonzero(known)[np.argsort(holed[known])]
    at = np.minimum(np.searchsorted(holed[order], upper), max(len(order) - 1, 0))
    within = np.full(len(upper), -1, dtype=np.int64)
    if len(order):
        within = np.where(holed[order][at] == upper, filler[order][at], -1)
    whole = (within >= 0) & np.isin(_pair(lower, within), pairs)
    upper_shapes[whole] = shapely.polygons(shapely.get_exterior_ring(upper_shapes[whole]))
    left = ~np.isin(pairs, _pair(lower[whole], within[whole]))
    lower, upper_shapes = lower[left], upper_shapes[left]
    order = np.argsort(lower, kind="stable")
    cut, first, count = np.unique(lower[order], return_index=True, return_counts=True)
    covering = upper_shapes[order[first]]
    several = np.flatnonzero(count > 1)
    if len(several):
        group = np.repeat(np.arange(len(cut)), count)
        mine = np.isin(group, several)
        covers = shapely.geometrycollections(
            upper_shapes[order[mine]], indices=np.searchsorted(several, group[mine])
        )
        # a collection's own parts overlap; its union is what lies on the surface beneath
        covering[several] = shapely.union_all(np.asarray(covers)[:, None], axis=1)
    return cut, covering


def _ordered_pairs(
    geometries: Geometries, rank: Ints, edition: Ints, distance: float = 0.0
) -> tuple[Ints, Ints]:
    """Rows (lower, upper) of the pairs of one edition whose boxes are within ``distance``."""
    tree = shapely.STRtree(geometries)
    west, south, east, north = shapely.bounds(geometries).T
    wide = shapely.box(west - distance, south - distance, east + distance, north + distance)
    first, second = tree.query(wide if distance else geometries)
    kept = (rank[first] > rank[second]) & (edition[first] == edition[second])
    lower, upper = first[kept], second[kept]
    order = np.lexsort((upper, lower))  # the tree's own order is not promised
    return lower[order], upper[order]


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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class SharedEdges:
    """Edges along which two owned surfaces touch, one row a pair."""

    lower: Ints  #: row of the surface that is beneath, to which the edge does not belong
    upper: Ints  #: row of the surface whose edge it is
    length_m: Floats  #: of the lower one's boundary along it

    def __post_init__(self) -> None:
        freeze(self)


def shared_edges(
    plane_geometries: Geometries, kinds: Strings, edition: Ints, tolerance_m: float = 0.05
) -> SharedEdges:
    """The edges that owned surfaces (S,) in metres of a plane share.

    An edge is shared where the boundary of the lower surface runs within ``tolerance_m`` of the
    upper one's, be it cut there by the overlay or digitised twice. Lengths err by about the
    tolerance at each end of a shared stretch; surfaces that meet in a corner only share none.
    Of two surfaces of the same kind the smaller one is the upper.
    """
    rank = precedence_ranks(kinds, shapely.area(plane_geometries))
    rings = rings_of(plane_geometries)
    lower, upper, length, closed = _common_segments(plane_geometries, rings, rank, edition)
    near_lower, near_upper = _ordered_pairs(plane_geometries, rank, edition, tolerance_m)
    # a surface whose whole boundary is matched already has no edge left to compare with anyone
    open_pair = ~(closed[near_lower] | closed[near_upper])
    near_lower, near_upper = near_lower[open_pair], near_upper[open_pair]
    near = shapely.dwithin(plane_geometries[near_lower], plane_geometries[near_upper], tolerance_m)
    near_lower, near_upper = near_lower[near], near_upper[near]
    matched = ~(closed[lower] | closed[upper])
    near_length = _lengths_within(plane_geometries, rings, near_lower, near_upper, tolerance_m)
    lower = np.concatenate([lower[~matched], near_lower])
    upper = np.concatenate([upper[~matched], near_upper])
    length = np.concatenate([length[~matched], near_length])
    kept = np.lexsort((upper, lower))
    kept = kept[length[kept] > _CORNER_TOLERANCES * tolerance_m]
    return SharedEdges(lower=lower[kept], upper=upper[kept], length_m=length[kept])


def _common_segments(
    geometries: Geometries, rings: Rings, rank: Ints, edition: Ints
) -> tuple[Ints, Ints, Floats, Bools]:
    """Pairs (lower, upper) with the length of the segments that both have, vertex by vertex.

    Edges made by an overlay are found by sorting, which is a tenth of the work of comparing
    shapes. The last column (S,) says whose whole boundary was matched so.
    """
    begin, end = rings.edges()
    spot = np.rint(rings.position / _SAME_VERTEX_M)
    _, vertex = np.unique(spot[:, 0] + 1j * spot[:, 1], return_inverse=True)
    following = np.roll(vertex, -1)
    following[rings.last] = vertex[rings.last]
    owner = np.repeat(rings.surface, rings.last - rings.first + 1)
    low, high = np.minimum(vertex, following), np.maximum(vertex, following)
    count = int(vertex.max(initial=0)) + 1
    # one number for an edge of an edition, whichever way it was drawn
    edge = (edition[owner] * count + low) * count + high
    order = np.argsort(edge, kind="stable")
    order = order[low[order] != high[order]]
    edge, owner = edge[order], owner[order]
    same = (np.diff(edge) == 0) & (np.diff(owner) != 0)
    first, second = owner[:-1][same], owner[1:][same]
    step = (end - begin)[order[:-1][same]]
    length = np.hypot(step[:, 0], step[:, 1])
    surfaces = len(geometries)
    matched = np.bincount(first, length, surfaces) + np.bincount(second, length, surfaces)
    whole = shapely.length(geometries)
    closed = (matched > whole * (1 - 1e-9)) & (whole > 0)
    is_lower = rank[first] > rank[second]
    lower, upper = np.where(is_lower, first, second), np.where(is_lower, second, first)
    pairs, which = np.unique(lower * surfaces + upper, return_inverse=True)
    total = np.bincount(which, length, len(pairs)).astype(np.float64)
    return pairs // max(surfaces, 1), pairs % max(surfaces, 1), total, closed


def _lengths_within(
    geometries: Geometries, rings: Rings, lower: Ints, upper: Ints, tolerance_m: float
) -> Floats:
    """Length of each lower one's boundary within the tolerance of the upper one's."""
    outline = shapely.boundary(geometries[lower])
    near = outlines_near(rings, upper, shapely.bounds(outline), tolerance_m)
    bands = shapely.buffer(near, tolerance_m, quad_segs=2)
    length: Floats = shapely.length(shapely.intersection(outline, bands))
    return length


def own_edges_m(perimeters_m: Floats, shared: SharedEdges) -> Floats:
    """Length in m of the edge that is each surface's own (S,): without what an upper one rules."""
    ruled = np.bincount(shared.lower, weights=shared.length_m, minlength=len(perimeters_m))
    own: Floats = np.maximum(perimeters_m - ruled, 0.0)
    return own
