"""Which edges the owners of ground share, and how long they are.

An edge is shared with the surface that has it too, vertex by vertex, which is found by sorting; for
the rest, digitised twice, where the boundary of the lower surface runs within a tolerance of the
upper one's.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from geosand.areas.matched_edges import Matched, matched_edges
from geosand.areas.near_edges import Boxes, Edges, covered_parts, near_edges, stretches_within
from geosand.areas.ownership import ordered_pairs, precedence_ranks
from geosand.areas.rings import Rings, rings_of
from geosand.columns import Floats, Geometries, Ints, Strings, freeze

_CORNER_TOLERANCES = 4  # neighbours that meet only in a corner run together for about two


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class SharedEdges:
    """Edges along which two owned surfaces touch, one row a pair."""

    lower: Ints  #: row of the surface that is beneath, to which the edge does not belong
    upper: Ints  #: row of the surface whose edge it is
    length_m: Floats  #: of the lower one's boundary along it

    def __post_init__(self) -> None:
        freeze(self)


def shared_edges(
    plane_geometries: Geometries,
    kinds: Strings,
    edition: Ints,
    tolerance_m: float = 0.05,
    rings: Rings | None = None,
) -> SharedEdges:
    """The edges that owned surfaces (S,) in metres of a plane share; ``rings`` are theirs.

    Only surfaces of the same ``edition`` meet. Lengths err by about the tolerance at each end of a
    shared stretch; surfaces that meet in a corner only share none. Of two surfaces of the same
    kind the smaller one is the upper.
    """
    rings = rings_of(plane_geometries) if rings is None else rings
    rank = precedence_ranks(kinds, shapely.area(plane_geometries))
    length_of_ring = rings.lengths()
    matched = matched_edges(rings, rank, edition, length_of_ring)
    whole = rings.sum_rings(length_of_ring)
    closed = (matched.along_m > whole * (1 - 1e-9)) & (whole > 0)
    done = closed[matched.lower] | closed[matched.upper]
    # a surface whose whole boundary is matched already has no edge left to compare with anyone
    boxes, rows = Boxes.of_rings(rings), np.flatnonzero(~closed)
    box = boxes.around(rings.surface, rings.surfaces)
    bounds = np.column_stack(box.of_rows(rows))
    lower, upper = ordered_pairs(bounds, rank[rows], edition[rows], tolerance_m)
    lower, upper = rows[lower], rows[upper]
    length = matched.length_of(lower, upper)
    near = length > 0
    near[~near] = shapely.dwithin(
        plane_geometries[lower[~near]], plane_geometries[upper[~near]], tolerance_m
    )
    lower, upper, length = lower[near], upper[near], length[near]
    limit = box.of_rows(upper).wider(2 * tolerance_m)
    length = length + _lengths_within(rings, boxes, matched, lower, upper, limit, tolerance_m)
    lower = np.concatenate([matched.lower[done], lower])
    upper = np.concatenate([matched.upper[done], upper])
    length = np.concatenate([matched.length_m[done], length])
    kept = np.lexsort((upper, lower))
    kept = kept[length[kept] > _CORNER_TOLERANCES * tolerance_m]
    return SharedEdges(lower=lower[kept], upper=upper[kept], length_m=length[kept])


def _lengths_within(
    rings: Rings,
    boxes: Boxes,
    matched: Matched,
    lower: Ints,
    upper: Ints,
    limit: Boxes,
    tolerance_m: float,
) -> Floats:
    """Length of each lower one's boundary within the tolerance of the upper one's.

    Without the edges that it has in common with any surface: they are shared with that one, so that
    no edge is twice in a sum, be it beside a gap of less than the tolerance. ``boxes`` are of the
    rings; beyond its ``limit`` no edge of a lower one is near.
    """
    reach = 2 * tolerance_m
    edges = Edges.of(rings, boxes, lower, limit)
    edges = edges.of_rows(~matched.common[edges.vertex])
    box = edges.boxes().within(limit.of_rows(edges.row))
    others = Edges.of(rings, boxes, upper, box.around(edges.row, len(lower)).wider(reach))
    edges, others = near_edges(edges, box, others, reach)
    start, stop = stretches_within(*edges.ends(), *others.ends(), tolerance_m)
    near = np.flatnonzero(stop > start)
    near = near[np.lexsort((start[near], edges.vertex[near], edges.row[near]))]
    edges, start, stop = edges.of_rows(near), start[near], stop[near]
    key = edges.row * len(rings.position) + edges.vertex
    step = np.subtract(*edges.ends())
    long = np.sqrt(step[:, 0] * step[:, 0] + step[:, 1] * step[:, 1])
    part = covered_parts(key, start, stop)
    length: Floats = np.bincount(edges.row, part * long, len(lower)).astype(np.float64)
    return length


def own_edges_m(perimeters_m: Floats, shared: SharedEdges) -> Floats:
    """Length in m of the edge that is each surface's own (S,): without what an upper one rules."""
    ruled = np.bincount(shared.lower, weights=shared.length_m, minlength=len(perimeters_m))
    own: Floats = np.maximum(perimeters_m - ruled, 0.0)
    return own
