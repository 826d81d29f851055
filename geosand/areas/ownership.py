"""Which surface owns the ground where drawn surfaces overlap, and which edges owners share."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from geosand.areas.ellipsoid import ellipsoid_areas_m2
from geosand.areas.rings import rings_of
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
    meeting = shapely.relate_pattern(geometries[lower], geometries[upper], "T********")
    lower, upper = lower[meeting], upper[meeting]
    if not lower.size:
        return owned
    order = np.argsort(lower, kind="stable")
    cut, group = np.unique(lower[order], return_inverse=True)
    covers = np.asarray(shapely.geometrycollections(geometries[upper[order]], indices=group))
    # a collection's own parts overlap; its union is what lies on the surface beneath
    covering = shapely.union_all(covers[:, None], axis=1)
    owned[cut] = _without_slivers(shapely.difference(geometries[cut], covering))
    return owned


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
    lower, upper, length, closed = _common_segments(plane_geometries, rank, edition)
    near_lower, near_upper = _ordered_pairs(plane_geometries, rank, edition, tolerance_m)
    # a surface whose whole boundary is matched already has no edge left to compare with anyone
    open_pair = ~(closed[near_lower] | closed[near_upper])
    near_lower, near_upper = near_lower[open_pair], near_upper[open_pair]
    near = shapely.dwithin(plane_geometries[near_lower], plane_geometries[near_upper], tolerance_m)
    near_lower, near_upper = near_lower[near], near_upper[near]
    matched = ~(closed[lower] | closed[upper])
    near_length = _lengths_within(plane_geometries, near_lower, near_upper, tolerance_m)
    lower = np.concatenate([lower[~matched], near_lower])
    upper = np.concatenate([upper[~matched], near_upper])
    length = np.concatenate([length[~matched], near_length])
    kept = np.lexsort((upper, lower))
    kept = kept[length[kept] > _CORNER_TOLERANCES * tolerance_m]
    return SharedEdges(lower=lower[kept], upper=upper[kept], length_m=length[kept])


def _common_segments(
    geometries: Geometries, rank: Ints, edition: Ints
) -> tuple[Ints, Ints, Floats, Bools]:
    """Pairs (lower, upper) with the length of the segments that both have, vertex by vertex.

    Edges made by an overlay are found by sorting, which is a tenth of the work of comparing
    shapes. The last column (S,) says whose whole boundary was matched so.
    """
    rings = rings_of(geometries)
    begin, end = rings.edges()
    spot = np.rint(rings.position / _SAME_VERTEX_M)
    _, vertex = np.unique(spot[:, 0] + 1j * spot[:, 1], return_inverse=True)
    following = np.roll(vertex, -1)
    following[rings.last] = vertex[rings.last]
    owner = np.repeat(rings.surface, rings.last - rings.first + 1)
    low, high = np.minimum(vertex, following), np.maximum(vertex, following)
    order = np.lexsort((high, low, edition[owner]))
    order = order[low[order] != high[order]]
    low, high, owner = low[order], high[order], owner[order]
    same = (np.diff(low) == 0) & (np.diff(high) == 0) & (np.diff(edition[owner]) == 0)
    same &= np.diff(owner) != 0
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


def _lengths_within(geometries: Geometries, lower: Ints, upper: Ints, tolerance_m: float) -> Floats:
    """Length of each lower one's boundary within the tolerance of the upper one's."""
    outline = shapely.boundary(geometries)
    tops, which = np.unique(upper, return_inverse=True)
    bands = shapely.buffer(outline[tops], tolerance_m, quad_segs=2)
    length: Floats = shapely.length(shapely.intersection(outline[lower], bands[which]))
    return length


def own_edges_m(perimeters_m: Floats, shared: SharedEdges) -> Floats:
    """Length in m of the edge that is each surface's own (S,): without what an upper one rules."""
    ruled = np.bincount(shared.lower, weights=shared.length_m, minlength=len(perimeters_m))
    own: Floats = np.maximum(perimeters_m - ruled, 0.0)
    return own
