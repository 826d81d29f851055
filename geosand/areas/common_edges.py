"""Which edges the owners of ground share, and how long they are.

An edge is shared with the surface that has it too, vertex by vertex, which is found by sorting; for
the rest, digitised twice, where the boundary of the lower surface runs within a tolerance of the
upper one's.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import shapely

from geosand.areas.matched_edges import matched_edges, whole_rings
from geosand.areas.near_edges import Boxes, Edges, covered_parts, near_edges, stretches_within
from geosand.areas.ownership import ordered_pairs
from geosand.areas.rings import Rings, rings_of
from geosand.columns import Floats, Geometries, Ints, begins, columns

_AT_ONCE = 10_000  #: edges: of dense outlines each has hundreds beside it
_CORNER_TOLERANCES = 4  # neighbours that meet only in a corner run together for about two


@columns
class SharedEdges:
    """Edges along which two owned surfaces touch, one row a pair."""

    lower: Ints  #: row of the surface that is beneath, to which the edge does not belong
    upper: Ints  #: row of the surface whose edge it is
    length_m: Floats  #: of the lower one's boundary along it


def shared_edges(
    plane_geometries: Geometries,
    rank: Ints,
    edition: Ints,
    tolerance_m: float = 0.05,
    rings: Rings | None = None,
) -> SharedEdges:
    """The edges that owned surfaces (S,) in metres of a plane share; ``rings`` are theirs.

    ``rank`` says which of two lies on top, that of the smaller one; it must be that by which their
    ground was cut. Only surfaces of the same ``edition`` meet. Lengths err by about the tolerance
    at each end of a shared stretch; surfaces that meet in a corner only share none.
    """
    rings = rings_of(plane_geometries) if rings is None else rings
    matched = matched_edges(rings, rank, edition, whole_rings(rings, edition))
    around = rings.sum_rings(rings.lengths)
    closed = (matched.along_m > around * (1 - 1e-9)) & (around > 0)
    boxes = Boxes.of_rings(rings)
    box = boxes.around(rings.surface, rings.surfaces)
    # a surface whose whole boundary is matched already has no edge left to compare with anyone
    left = np.flatnonzero(~closed)
    lower, upper = ordered_pairs(
        np.column_stack(box.of_rows(left)), rank[left], edition[left], tolerance_m
    )
    lower, upper = left[lower], left[upper]
    length = matched.length_of(lower, upper)
    near = length > 0
    apart = np.flatnonzero(~near)
    near[apart] = shapely.dwithin(
        plane_geometries[lower[apart]], plane_geometries[upper[apart]], tolerance_m
    )
    lower, upper, length = lower[near], upper[near], length[near]
    limit = box.of_rows(upper).wider(2 * tolerance_m)
    edges = Edges.of(rings, boxes, lower, limit)
    edges = edges.of_rows(~matched.common[edges.vertex])
    length = length + _lengths_within(edges, boxes, upper, limit, tolerance_m)
    done = closed[matched.lower] | closed[matched.upper]
    lower = np.concatenate([matched.lower[done], lower])
    upper = np.concatenate([matched.upper[done], upper])
    length = np.concatenate([matched.length_m[done], length])
    kept = np.lexsort((upper, lower))
    kept = kept[length[kept] > _CORNER_TOLERANCES * tolerance_m]
    return SharedEdges(lower=lower[kept], upper=upper[kept], length_m=length[kept])


def _lengths_within(
    edges: Edges, boxes: Boxes, upper: Ints, limit: Boxes, tolerance_m: float
) -> Floats:
    """Length (n,) of each lower one's ``edges`` within the tolerance of the ``upper`` one's edges.

    Given without the edges that it has in common with any surface: they are shared with that one,
    so that no edge is twice in a sum, be it beside a gap of less than the tolerance. Beyond its
    ``limit`` no edge of a lower one is near. ``boxes`` are those of the rings.
    """
    reach, pairs = 2 * tolerance_m, len(upper)
    box = edges.boxes().within(limit.of_rows(edges.row))
    around = box.around(edges.row, pairs).wider(reach)
    others = Edges.of(edges.rings, boxes, upper, around)
    row, length = [np.empty(0, dtype=np.int64)], [np.empty(0)]
    for some in _some_at_once(edges.row):
        ends = np.searchsorted(others.row, edges.row[[some.start, some.stop - 1]] + (0, 1))
        beside = others.of_rows(slice(*ends.tolist()))
        near = near_edges(edges.of_rows(some), box.of_rows(some), beside, reach)
        near_row, near_m = _covered_m(*near, tolerance_m)
        row.append(near_row)
        length.append(near_m)
    return np.bincount(np.concatenate(row), np.concatenate(length), pairs).astype(np.float64)


def _some_at_once(row: Ints) -> list[slice]:
    """Edges whose stretches are held at once; ``row`` (n,) ascends.

    A row is divided only where it is long, and so whatever other rows there are: how its parts are
    summed must not depend on them.
    """
    first = np.flatnonzero(begins(row))
    size = np.diff(first, append=len(row))
    cuts = {*first[begins(first // _AT_ONCE)].tolist(), len(row)}
    for k in np.flatnonzero(size > _AT_ONCE).tolist():
        end = int(first[k] + size[k])
        cuts |= {*range(int(first[k]), end, _AT_ONCE), end}
    return [slice(*ends) for ends in pairwise(sorted(cuts))]


def _covered_m(edges: Edges, others: Edges, tolerance_m: float) -> tuple[Ints, Floats]:
    """Row and length in m of what each pair of edges adds to what is near, where it adds any."""
    start, stop = stretches_within(*edges.ends(), *others.ends(), tolerance_m)
    near = np.flatnonzero(stop > start)
    near = near[np.lexsort((start[near], edges.vertex[near], edges.row[near]))]
    edges, start, stop = edges.of_rows(near), start[near], stop[near]
    key = edges.row * len(edges.rings.position) + edges.vertex
    part = covered_parts(key, start, stop)
    kept = np.flatnonzero(part)
    edges = edges.of_rows(kept)
    step = np.subtract(*edges.ends())
    long = np.sqrt(step[:, 0] * step[:, 0] + step[:, 1] * step[:, 1])
    return edges.row, part[kept] * long


def own_edges_m(perimeters_m: Floats, shared: SharedEdges) -> Floats:
    """Length in m of the edge that is each surface's own (S,): without what an upper one rules."""
    ruled = np.bincount(shared.lower, weights=shared.length_m, minlength=len(perimeters_m))
    return np.maximum(perimeters_m - ruled, 0.0)
