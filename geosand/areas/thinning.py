"""Outlines of very many corners made fewer, for what lies beside an edge: bands, rings, rays.

Each ring is thinned by itself and from a corner that its places name, so that two surfaces that
have a ring in common still have it in common, whichever way and from where each is drawn.
"""

from __future__ import annotations

import numpy as np
import shapely

from geosand.areas.rings import Rings, polygons_of, rings_of
from geosand.columns import Floats, Geometries, Ints, ragged

MOST_CORNERS = 250  #: of a ring, but
APART_M = 0.3  #: along a long one they may be as near to each other as this on the average
LEAST_THINNED_M, MOST_THINNED_M = 3e-4, 0.08
FEW_CORNERS = 100  #: are left of a jagged ring. Jagged is
JAGGED_M = 2e-3  #: of over MOST_CORNERS what still has more when moved by so little,
#: of fewer what turns by more, left and right: greens do by 2 to 4 π, drawn curves by up to 11 π.
JAGGED_RAD = 12 * np.pi


def thinned(polygons: Geometries, rings: Rings | None = None) -> Geometries:
    """The same polygons in m (S,), rings of very many corners thinned; None stays None.

    By as little as leaves ``MOST_CORNERS``, or of a long ring one in ``APART_M``: a smooth outline
    moves by 1 or 2 mm. A jagged one is thinned on to ``FEW_CORNERS``, by up to ``MOST_THINNED_M``:
    corners so near to each other nearly always scatter by centimetres or are steps of a picture,
    such teeth are no edge of turf, and beside them strips come out too narrow. (Of an edge that
    truly waves by 15 cm at each metre, surrounds then hold up to 4 % too much.) At necks as thin as
    that it can be a centimetre more.
    Areas, perimeters and their uncertainty are of the outlines as drawn. A polygon without such a
    ring comes back as the same object. ``rings`` are those of the polygons, where they are known.
    """
    rings = rings_of(polygons) if rings is None else rings
    dense = _dense(rings)
    if not len(dense):
        return polygons
    with_any = np.flatnonzero(np.bincount(rings.surface[dense], minlength=len(polygons)))
    rings = rings_of(polygons[with_any])
    dense = _dense(rings)
    fewer = polygons_of(_replaced(rings, dense, _thinned_rings(rings, dense)))
    crossed = ~shapely.is_valid(fewer)  # rings nearer to each other than they were thinned by
    fewer[crossed] = shapely.simplify(polygons[with_any[crossed]], MOST_THINNED_M)
    out = polygons.copy()
    out[with_any] = fewer
    return out


def _dense(rings: Rings) -> Ints:
    """Which rings have corners too near to each other, and very many or many that are jagged."""
    corners, few = rings.last - rings.first, FEW_CORNERS
    if corners.max(initial=0) <= few:
        return np.zeros(0, dtype=np.int64)
    near = corners > np.maximum(few, rings.lengths / APART_M)
    if near.any():
        near &= (corners > MOST_CORNERS) | (_turned_rad(rings) > JAGGED_RAD)
    return np.flatnonzero(near)


def _turned_rad(rings: Rings) -> Floats:
    """The turns of each ring (R,) at all its corners, left and right alike: 2 π or more."""
    before, after = rings.neighbours()
    back, ahead = (rings.position - before).T, (after - rings.position).T
    cross = back[0] * ahead[1] - back[1] * ahead[0]
    return rings.sum_vertices(np.abs(np.arctan2(cross, (back * ahead).sum(axis=0))))


def _thinned_rings(rings: Rings, dense: Ints) -> Geometries:
    """Outlines (n,) of the ``dense`` rings as polygons."""
    ring, place = ragged(rings.first[dense], (rings.last - rings.first + 1)[dense])
    closed = np.asarray(shapely.linearrings(rings.position[place], indices=ring))
    whole = np.asarray(shapely.normalize(shapely.polygons(closed)))
    few = np.maximum(rings.lengths[dense] / APART_M, FEW_CORNERS)
    smooth = np.where(rings.last[dense] - rings.first[dense] > MOST_CORNERS, MOST_CORNERS, 0)
    out, left, step_m = whole.copy(), np.arange(len(dense)), LEAST_THINNED_M
    while len(left) and step_m <= MOST_THINNED_M:
        out[left] = shapely.simplify(whole[left], step_m, preserve_topology=False)
        parts, empty = shapely.get_type_id(out[left]) != 3, shapely.is_empty(out[left])
        gone = left[parts | empty | (shapely.get_num_interior_rings(out[left]) > 0)]
        out[gone] = shapely.simplify(whole[gone], step_m)
        most = np.maximum(few, smooth)[left] if step_m < JAGGED_M else few[left]
        left = left[shapely.get_num_coordinates(out[left]) > most]
        step_m *= 2
    return out


def _replaced(rings: Rings, dense: Ints, outlines: Geometries) -> Rings:
    """The rings with the ``outlines`` (n,) in place of the ``dense`` ones."""
    corners = rings.last - rings.first + 1
    corners[dense] = shapely.get_num_coordinates(outlines)
    last = np.cumsum(corners) - 1
    first = last - corners + 1
    position: Floats = np.empty((int(corners.sum()), 2))
    new = np.zeros(len(corners), dtype=np.bool_)
    new[dense] = True
    position[np.repeat(new, corners)] = shapely.get_coordinates(outlines)
    position[np.repeat(~new, corners)] = rings.position[rings.per_vertex(~new)]
    return Rings(
        position=position,
        first=first,
        last=last,
        surface=rings.surface,
        is_hole=rings.is_hole,
        surfaces=rings.surfaces,
    )
