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
JAGGED_M = 2e-3  #: a ring that takes more than this
FEW_CORNERS = 100  #: is thinned on to so many


def thinned(polygons: Geometries) -> Geometries:
    """The same polygons in m (S,), rings of very many corners thinned; None stays None.

    By as little as leaves ``MOST_CORNERS``, or of a long ring one in ``APART_M``: a smooth outline
    moves by 1 or 2 mm. One that takes more is thinned on to ``FEW_CORNERS``, by up to
    ``MOST_THINNED_M``: corners so near to each other nearly always scatter by centimetres, such
    teeth are no edge of turf, and beside them strips come out too narrow. (Of an edge that truly
    waves by 15 cm at each metre, surrounds then hold up to 4 % too much.) At necks as thin as that
    it can be a centimetre more.
    Areas, perimeters and their uncertainty are of the outlines as drawn. A polygon without such a
    ring comes back as the same object.
    """
    many = np.flatnonzero(shapely.get_num_coordinates(polygons) > MOST_CORNERS)
    if not len(many):
        return polygons
    rings = rings_of(polygons[many])
    apart = rings.lengths() / APART_M
    dense = np.flatnonzero(rings.last - rings.first > np.maximum(MOST_CORNERS, apart))
    with_any = np.bincount(rings.surface[dense], minlength=len(many)) > 0
    fewer = polygons_of(_replaced(rings, dense, _thinned_rings(rings, dense, apart[dense])))
    sound = shapely.is_valid(fewer)
    out = polygons.copy()
    out[many[with_any & sound]] = fewer[with_any & sound]
    crossed = many[with_any & ~sound]  # rings nearer to each other than they were thinned by
    out[crossed] = shapely.simplify(polygons[crossed], MOST_THINNED_M)
    return out


def _thinned_rings(rings: Rings, dense: Ints, apart: Floats) -> Geometries:
    """Outlines (n,) of the ``dense`` rings as polygons; ``apart``: corners that may stay anyhow."""
    ring, place = ragged(rings.first[dense], (rings.last - rings.first + 1)[dense])
    closed = np.asarray(shapely.linearrings(rings.position[place], indices=ring))
    whole = np.asarray(shapely.normalize(shapely.polygons(closed)))
    out, left, step_m = whole.copy(), np.arange(len(dense)), LEAST_THINNED_M
    while len(left) and step_m <= MOST_THINNED_M:
        out[left] = shapely.simplify(whole[left], step_m, preserve_topology=False)
        parts, empty = shapely.get_type_id(out[left]) != 3, shapely.is_empty(out[left])
        gone = left[parts | empty | (shapely.get_num_interior_rings(out[left]) > 0)]
        out[gone] = shapely.simplify(whole[gone], step_m)
        most = np.maximum(MOST_CORNERS if step_m < JAGGED_M else FEW_CORNERS, apart[left])
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
