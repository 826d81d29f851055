"""The errors of two surveys that do not cancel: those of stretches that only one of them draws."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely

from geosand.areas.pairing import Pairs, Regrouping
from geosand.areas.register import AreaRegister
from geosand.areas.rings import rings_of
from geosand.areas.uncertainty import AreaErrors
from geosand.columns import Floats, Geometries, Ints

KEPT_M = 0.001  #: edges nearer to each other than this are drawn the same
TOUCH_M = 0.05  #: within this an edge runs along another surface's, as in ``shared_edges``


def moved_errors(
    old_areas: AreaRegister,
    new_areas: AreaRegister,
    pairs: Pairs,
    accuracy_m: tuple[Floats, Floats],
    regrouped: Sequence[Regrouping] = (),
) -> tuple[AreaErrors, AreaErrors, Floats]:
    """Errors of both surveys left after what they draw alike, and the moved length of a pair.

    ``accuracy_m`` are those of the vertices of each survey. An edge is drawn alike where a partner
    has it; all members of a regrouping are partners of each other.
    """
    old_plane = new_areas.plane.to_plane(old_areas.owned)
    new_plane = new_areas.owned_plane
    olds, news = _partners(pairs, regrouped)
    here, there = (old_plane, olds), (new_plane, news)
    old_edges, old_moved = _moved_edges(old_areas.errors, *here, *there)
    new_edges, new_moved = _moved_edges(new_areas.errors, *there, *here)
    old_vertices, new_vertices = (e.u_vertices_m2.copy() for e in (old_edges, new_edges))
    old_vertices[pairs.old] = 0.0  # a vertex may be of both: their joint error stands with the new
    new_vertices[pairs.new] = _vertex_spread_m2(
        old_plane[pairs.old],
        new_plane[pairs.new],
        accuracy_m[0][pairs.old],
        accuracy_m[1][pairs.new],
    )
    return (
        replace(old_edges, u_vertices_m2=old_vertices),
        replace(new_edges, u_vertices_m2=new_vertices),
        old_moved[pairs.old] + new_moved[pairs.new],
    )


def _partners(pairs: Pairs, regrouped: Sequence[Regrouping]) -> tuple[Ints, Ints]:
    """Rows (old, new) of all pairs, each once, those within a regrouping among them."""
    within = [np.meshgrid(one.old, one.new, indexing="ij") for one in regrouped]
    olds = np.concatenate([pairs.old, *(old.ravel() for old, _ in within)])
    news = np.concatenate([pairs.new, *(new.ravel() for _, new in within)])
    both = np.unique(np.column_stack([olds, news]), axis=0)
    return both[:, 0], both[:, 1]


def _moved_edges(
    errors: AreaErrors, plane: Geometries, rows: Ints, other_plane: Geometries, other_rows: Ints
) -> tuple[AreaErrors, Floats]:
    """The errors with lengths of moved stretches only; unpaired surfaces keep their whole edge."""
    outline = shapely.boundary(plane)
    moved = outline.copy()
    order = np.argsort(rows, kind="stable")
    mine, group = np.unique(rows[order], return_inverse=True)
    others = shapely.boundary(other_plane[other_rows[order]])
    if mine.size:
        together = np.asarray(shapely.geometrycollections(others, indices=group))
        moved[mine] = shapely.difference(
            outline[mine], shapely.buffer(together, KEPT_M, quad_segs=2)
        )
    shared = errors.shared
    beside = shapely.buffer(outline[shared.upper], TOUCH_M, quad_segs=2)
    length = shapely.length(shapely.intersection(moved[shared.lower], beside))
    length = np.minimum(length, shared.length_m)
    total = shapely.length(moved)
    ruled = np.bincount(shared.lower, weights=length, minlength=len(plane))
    own = np.clip(total - ruled, 0.0, errors.own_edge_m)
    return replace(errors, own_edge_m=own, shared=replace(shared, length_m=length)), total


def _vertex_spread_m2(
    old: Geometries, new: Geometries, old_accuracy_m: Floats, new_accuracy_m: Floats
) -> Floats:
    """u of each difference from vertices: s²·Σ|g|², g the area's derivative by a vertex's place.

    A vertex that both have (to a millimetre) has one error, its derivative is new less old.
    """
    owner, spot, slope, accuracy = [], [], [], []
    for sign, shapes, s in ((-1.0, old, old_accuracy_m), (1.0, new, new_accuracy_m)):
        rings = rings_of(shapely.orient_polygons(shapes))
        before, after = rings.neighbours()
        counts = np.ones(len(rings.position), dtype=np.bool_)
        counts[rings.last] = False
        surface = rings.per_vertex(rings.surface)[counts]
        owner.append(surface)
        spot.append(np.rint(rings.position[counts] / KEPT_M))
        slope.append(sign * (after - before)[counts] / 2)
        accuracy.append(s[surface])
    keys = np.column_stack([np.concatenate(owner), np.concatenate(spot)])
    places, which = np.unique(keys, axis=0, return_inverse=True)
    total, s = np.zeros((len(places), 2)), np.zeros(len(places))
    np.add.at(total, which, np.concatenate(slope))
    np.maximum.at(s, which, np.concatenate(accuracy))
    variance = s**2 * (total**2).sum(axis=1)
    surface = places[:, 0].astype(np.int64)
    return np.sqrt(np.bincount(surface, variance, minlength=len(old)))
