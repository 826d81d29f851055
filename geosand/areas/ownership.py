"""Which surface owns the ground where drawn surfaces overlap, and which edges owners share."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from geosand.areas.ellipsoid import ellipsoid_areas_m2
from geosand.columns import Floats, Geometries, Ints, Strings, freeze

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


def owned_geometries(geometries: Geometries, kinds: Strings, edition: Ints) -> Geometries:
    """The ground that each drawn surface (S,) owns: what lies on top is cut out of what is beneath.

    ``geometries`` are valid polygons in lon/lat degrees, ``kinds`` their kinds, ``edition`` a
    number per boundary survey: only surfaces of the same edition meet. A surface that nothing
    covers comes back as the same object; one that is wholly covered as an empty polygon. Parts
    that a cut leaves smaller than 1e-3 m² are dropped.
    """
    owned = geometries.copy()
    rank = precedence_ranks(kinds, ellipsoid_areas_m2(geometries))
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
    if distance:
        first, second = tree.query(geometries, predicate="dwithin", distance=distance)
    else:
        first, second = tree.query(geometries)
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


@dataclass(frozen=True, slots=True, kw_only=True)
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
    lower, upper = _ordered_pairs(plane_geometries, rank, edition, tolerance_m)
    outline = shapely.boundary(plane_geometries)
    tops, which = np.unique(upper, return_inverse=True)
    bands = shapely.buffer(outline[tops], tolerance_m, quad_segs=2)
    shapely.prepare(bands)
    length = shapely.length(shapely.intersection(outline[lower], bands[which]))
    long_enough = length > _CORNER_TOLERANCES * tolerance_m
    return SharedEdges(
        lower=lower[long_enough], upper=upper[long_enough], length_m=length[long_enough]
    )


def own_edges_m(perimeters_m: Floats, shared: SharedEdges) -> Floats:
    """Length in m of the edge that is each surface's own (S,): without what an upper one rules."""
    ruled = np.bincount(shared.lower, weights=shared.length_m, minlength=len(perimeters_m))
    own: Floats = np.maximum(perimeters_m - ruled, 0.0)
    return own
