"""Polygons of the zones that hold overthrow, for maps."""

from __future__ import annotations

import numpy as np
import shapely

from geosand.areas.near_pairs import near_pairs
from geosand.areas.overlay import areal, united, widened
from geosand.balance.rings.ground import Ground, lay_ground
from geosand.balance.rings.stands import Stands, distinct_cases, distinct_stands
from geosand.balance.rings.throw_off import ThrowOff
from geosand.balance.rings.zones import farthest_corners_m
from geosand.columns import Floats, Geometries, Ints, columns

_NOT_SEEN_M = 2e-3  #: on a map
_DUST_M2 = 1e-6
_GRID_M = 1e-6  #: on which ground is cut: lines that nearly coincide leave valid polygons


@columns
class RingGeometries:
    """Zones to draw, one row a dressed surface; None where no sand was found in the zone."""

    collar: Geometries
    surrounds: Geometries


def ring_geometries(
    result: ThrowOff,
    *,
    surfaces: Geometries,
    dressing: Ints,
    collars: Geometries,
    collar_width_m: Floats,
    surrounds_width_m: Floats,
) -> RingGeometries:
    """Polygons of the collars and surrounds that ``throw_off`` found sand in, in plane metres.

    The arguments are those given to ``throw_off``. Each polygon keeps to the ground nearer to its
    surface than to others dressed with it, so that no two of a dressing overlap by more than
    the chords of their outlines. Equal cases are drawn once.
    """
    shown = np.flatnonzero(np.nan_to_num(result.collar_kg + result.surrounds_kg) > 0)
    collar, surrounds = np.full((2, len(surfaces)), None, dtype=object)
    if len(shown):
        there = np.flatnonzero(~shapely.is_empty(surfaces))  # what is wholly covered has no edge
        cases, case = distinct_cases(
            surfaces[there],
            collars[there],
            collar_width_m[there],
            surrounds_width_m[there],
            np.zeros(len(there), np.int64),
        )
        inner, outer = _outlines(cases)
        cap = _widest_m(cases)
        meeting = np.full(len(cases.case), 2 * cap)
        stands, stand = distinct_stands(cases, case, dressing[there], meeting)
        zones = _zones(stands, inner, outer, cap)
        for zone, held, column in (
            (zones[0], result.collar_kg, collar),
            (zones[1], result.surrounds_kg, surrounds),
        ):
            rows = shown[held[shown] > 0]
            zone[shapely.is_empty(zone)] = None
            column[rows] = zone[stand[np.searchsorted(there, rows)]]
    return RingGeometries(collar=collar, surrounds=surrounds)


def _outlines(cases: Stands) -> tuple[Geometries, Geometries]:
    """Each case by itself: the surface with its collar, and with its surrounds too."""
    drawn = ~shapely.is_missing(cases.collar)
    inner = widened(cases.surface, cases.collar_width_m)
    inner[drawn] = shapely.union(cases.collar[drawn], cases.surface[drawn])
    return inner, widened(inner, cases.surrounds_width_m)


def _widest_m(cases: Stands) -> float:
    """How far the zones of any case lie at most from its surface."""
    drawn = np.flatnonzero(~shapely.is_missing(cases.collar))
    collars, surfaces = cases.collar[drawn], cases.surface[drawn]
    together, beyond = np.zeros(len(drawn), np.int64), cases.surrounds_width_m[drawn]
    by_collar = farthest_corners_m(collars, surfaces, beyond, together, 1)
    band = cases.collar_width_m + cases.surrounds_width_m
    return float(band.max(initial=max(1.0, by_collar[0])))


def _zones(
    stands: Stands, inner: Geometries, outer: Geometries, cap_m: float
) -> tuple[Geometries, Geometries]:
    """Collar and surrounds of each stand, kept to its own ground."""
    bare = stands._replace(collar=np.full(len(stands.surface), None, dtype=object))
    # where strips cross the collars is not asked
    ground = lay_ground(bare, None, np.full(len(bare.case), cap_m))
    case, first = np.unique(stands.case, return_index=True)
    collar = shapely.difference(inner[case], stands.surface[first])
    surrounds = shapely.difference(outer[case], inner[case])
    collar, surrounds = collar[stands.case], surrounds[stands.case]
    cut = np.flatnonzero(ground.cut)
    own = _own_ground(ground)
    beside, others = _others(stands, outer[stands.case])
    own[beside] = _less(own[beside], others)
    collar[cut] = shapely.intersection(collar[cut], own[cut], grid_size=_GRID_M)
    surrounds[cut] = shapely.intersection(surrounds[cut], own[cut], grid_size=_GRID_M)
    return areal(collar, _DUST_M2), areal(surrounds, _DUST_M2)


def _own_ground(ground: Ground) -> Geometries:
    """What lies within the line on which the strips of each surface end, the surface too.

    One row a stand; empty for those that have no strips.
    """
    rays = ground.rays
    # a corner without ground of its own: the line goes back to it
    bare = (rays.width_m <= 0) & (rays.turn_rad <= 0)
    which = np.repeat(np.arange(len(bare)), 1 + bare)
    back = np.flatnonzero(which[1:] == which[:-1]) + 1
    line = (rays.at + rays.out * ground.fine.cut_start_m[:, None]).take(which, axis=0)
    line[back] = rays.at[which[back]]
    last = np.flatnonzero(rays.after <= np.arange(len(bare)))  # of each ring, in order
    ring = np.searchsorted(last, np.arange(len(bare)))
    lines = np.asarray(shapely.polygons(shapely.linearrings(line, indices=ring[which])))
    # beside jagged outlines the line has ten times the corners that can be seen
    fewer = np.asarray(shapely.simplify(lines, _NOT_SEEN_M, preserve_topology=False))
    fewer = np.where(shapely.is_empty(fewer), lines, fewer)
    within = areal(np.asarray(shapely.make_valid(fewer)), _DUST_M2)
    # a part's own outline comes before its holes and is the only one that runs to the left
    step = rays.at[rays.after] - rays.at
    to_left = np.bincount(ring, rays.at[:, 0] * step[:, 1] - rays.at[:, 1] * step[:, 0]) > 0
    free = ~to_left & ~shapely.is_empty(within)
    holes, part = united(within[free], np.cumsum(to_left)[free] - 1)
    parts = within[to_left]
    parts[part] = _less(parts[part], holes)
    found, row = united(parts, rays.row[last][to_left])
    out = np.full(len(ground.cut), shapely.MultiPolygon(), dtype=object)
    out[row] = areal(found, _DUST_M2)
    return out


def _others(stands: Stands, outer: Geometries) -> tuple[Ints, Geometries]:
    """Stands whose zones others of their party could lie in, and these others as one."""
    boxes = shapely.bounds(outer), shapely.bounds(stands.surface)
    left, right = near_pairs(boxes[0], stands.party, boxes[1], stands.party)
    other = left != right
    shapes, row = united(stands.surface[right[other]], left[other])
    return row, shapes


def _less(ground: Geometries, others: Geometries) -> Geometries:
    return areal(shapely.difference(ground, others, grid_size=_GRID_M), _DUST_M2)
