"""Outlines of surfaces as straight edges, in order round each ring."""

from __future__ import annotations

import numpy as np
import shapely

from geosand.areas.rings import rings_of
from geosand.columns import Floats, Geometries, Ints
from geosand.tuples import NamedTuple


class Edges(NamedTuple):
    """Straight pieces of outlines, the surface on their left; one row a piece."""

    row: Ints
    x: Floats  #: where it starts, m
    y: Floats
    along_x: Floats  #: unit vector
    along_y: Floats
    length_m: Floats
    turn_rad: Floats  #: at the end of the piece; positive where the surface is convex
    after: Ints  #: the next piece of the same ring


def edges_of(surfaces: Geometries) -> Edges:
    """The straight pieces of all rings of polygons, with the surface on the left."""
    rings = rings_of(shapely.orient_polygons(surfaces))
    ring = rings.per_vertex(np.arange(len(rings.first)))
    x, y = np.ascontiguousarray(rings.position.T)
    step_x, step_y = x[1:] - x[:-1], y[1:] - y[:-1]
    length = np.sqrt(step_x * step_x + step_y * step_y)
    kept = np.flatnonzero((ring[1:] == ring[:-1]) & (length > 1e-9))
    length, ring = length[kept], ring[kept]
    along_x, along_y = step_x[kept] / length, step_y[kept] / length
    after = _after_in_ring(ring)
    next_x, next_y = along_x[after], along_y[after]
    turn = np.arctan2(along_x * next_y - along_y * next_x, along_x * next_x + along_y * next_y)
    return Edges(
        row=rings.surface[ring],
        x=x[kept],
        y=y[kept],
        along_x=along_x,
        along_y=along_y,
        length_m=length,
        turn_rad=turn,
        after=after,
    )


def _after_in_ring(ring: Ints) -> Ints:
    after = np.arange(1, len(ring) + 1)
    last = np.append(np.flatnonzero(ring[1:] != ring[:-1]), len(ring) - 1)[: len(ring)]
    after[last] = np.append(0, last + 1)[:-1]
    return after


def before_of(edges: Edges) -> Ints:
    """The edge (n,) that ends where each one begins."""
    before = np.empty_like(edges.after)
    before[edges.after] = np.arange(len(edges.after))
    return before
