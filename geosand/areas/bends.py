"""What an outline of straight edges leaves out of a round one through the same corners.

A mown edge that was walked or traced with a corner every few metres is drawn by its chords: a green
of 26 m with corners 4 m apart lacks 1.5 % of its area, which no u of vertices or edges holds.
"""

from __future__ import annotations

import numpy as np

from geosand.areas.ellipsoid import radii_m
from geosand.areas.rings import Rings, rings_of
from geosand.columns import Bools, Floats, Geometries

#: A larger turn is taken as a corner of the ground: of a tee or a path, not of an arc.
_CORNER_RAD = np.radians(50.0)
SAME_DEG = 1e-8  #: about a millimetre: vertices nearer to each other than this are the same
#: An edge this many times as long as one beside it is a straight side, not a part of their arc.
_LONGER = 3.0


def round_edges_m2(geometries: Geometries, beside: Geometries | None = None) -> Floats:
    """Area (S,) in m² that polygons in lon/lat would have more, were edges between bends round.

    Between two bends to the same side an edge of length s stands for an arc that turns by t, the
    mean of both turns: the segment of a circle has s² t / 12 (for small t). Hollow bends count
    negative. Edges that polygons ``beside`` (S,) draw with the same vertices are left out.
    """
    rings = rings_of(geometries)
    length, turn, arc_turn = _bends(rings)
    if beside is not None:
        arc_turn = np.where(_drawn_alike(rings, rings_of(beside)), 0.0, arc_turn)
    outward = np.where(rings.is_hole, -1.0, 1.0) * np.sign(rings.sum_vertices(turn))
    return rings.sum_rings(rings.sum_vertices(length**2 * arc_turn / 12) * outward)


def largest_sagitta_m(geometries: Geometries) -> Floats:
    """How far (S,) in m the middle of an edge lies from such an arc at most: s t / 8."""
    rings = rings_of(geometries)
    length, _, arc_turn = _bends(rings)
    largest = np.zeros(rings.surfaces)
    np.maximum.at(largest, rings.per_vertex(rings.surface), length * np.abs(arc_turn) / 8)
    return largest


def _drawn_alike(rings: Rings, others: Rings) -> Bools:
    """Which edges (N,) of a surface the same surface of ``others`` has too, either way round."""
    both = []
    for one in (rings, others):
        spots = np.rint(np.stack(one.edges()) / SAME_DEG)
        first, second = np.sort(spots[..., 0] + 1j * spots[..., 1], axis=0)  # by both parts
        both.append(np.column_stack([one.per_vertex(one.surface), first, second]))
    kind = np.unique(np.concatenate(both), axis=0, return_inverse=True)[1].ravel()
    return np.isin(kind[: len(both[0])], kind[len(both[0]) :])


def sides_m(rings: Rings) -> tuple[Floats, Floats]:
    """Steps (N, 2) in metres east and north to each vertex from the one before, and to the next."""
    before, after = rings.neighbours()
    meridian, parallel = radii_m(rings.position[:, 1])
    metres = np.radians(1.0) * np.column_stack([parallel, meridian])
    return (rings.position - before) * metres, (after - rings.position) * metres


def _bends(rings: Rings) -> tuple[Floats, Floats, Floats]:
    """Of the edge from each vertex its length, the turn at the vertex, and that of its arc or 0."""
    back, ahead = sides_m(rings)
    turn = np.arctan2(
        back[:, 0] * ahead[:, 1] - back[:, 1] * ahead[:, 0], (back * ahead).sum(axis=1)
    )
    following = np.roll(turn, -1)  # a ring ends with its first vertex again
    arc = (turn * following > 0) & (np.fmax(np.abs(turn), np.abs(following)) < _CORNER_RAD)
    arc[rings.last] = False
    length = np.hypot(*ahead.T)
    # who puts corners close along an arc leaves a long edge straight on purpose
    arc &= length <= _LONGER * np.fmin(np.hypot(*back.T), np.roll(length, -1))
    return length, turn, np.where(arc, (turn + following) / 2, 0.0)
