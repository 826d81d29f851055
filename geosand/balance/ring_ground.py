"""The ground round each dressed surface: which strips it has, and what zones they cross.

Most surfaces stand alone and are convex: one strip in closed form serves them. Rays are laid only
round those that meet another dressed surface, that are too concave for Steiner's formula, or whose
drawn collar or hazards must be followed.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
import shapely

from geosand.areas.near_pairs import near_pairs
from geosand.balance.ring_crossings import crossings_of
from geosand.balance.ring_rays import Edges, Rays, cuts_of, edges_of, rays_of, strips_of, subdivided
from geosand.balance.ring_stands import Stands, near_stands
from geosand.balance.ring_strips import (
    COLLAR,
    HAZARD,
    OUTER,
    Crossings,
    Strips,
    parts_less_holes,
)
from geosand.balance.ring_unions import Hazards
from geosand.columns import Bools, Floats, Geometries, Ints, take

_WHOLE_TURN = 2 * np.pi
_WITHIN = 2e-3  #: of the true ring


class Ground(NamedTuple):
    """What lies beyond each edge up to its cap; rows of the strips count the rows of Stands."""

    cap_m: Floats  #: by row
    strips: Strips  #: sorted by row
    crossings: Crossings
    rays: Rays  #: of those surfaces that have any
    fine: Strips  #: one after each ray
    cut: Bools  #: by row: strips end before the cap somewhere


class _Zones(NamedTuple):
    """Polygons that strips are to be cut by."""

    row: Ints  #: whose strips
    shape: Geometries
    zone: Ints  #: which zone it bounds


def lay_ground(stands: Stands, hazards: Hazards | None, cap_m: Floats) -> Ground:
    """Strips and crossings of all stands, each up to its ``cap_m`` (the same in all of a field)."""
    surfaces = stands.surface
    pairs = near_stands(stands, stands.party, 2 * cap_m)
    edges = edges_of(surfaces)
    cut = np.zeros(len(surfaces), dtype=np.bool_)
    cut[pairs[0]] = True
    cut |= ~is_steiner(surfaces, edges, cap_m, ~cut)
    zones = _zones(stands, hazards, cap_m)
    with_rays = cut.copy()
    with_rays[zones.row] = True
    edges = _only(edges, with_rays)
    # collars and surrounds run along the edge, so that fewer rays follow them
    smooth = ~cut
    smooth[zones.row[zones.zone >= HAZARD]] = False
    spacing = np.clip(np.where(smooth, cap_m / 5, cap_m / 10), 0.3, 3.0)
    rays = rays_of(edges, spacing, cap_m, cut, smooth)
    fine = strips_of(rays, cuts_of(rays, edges, surfaces, pairs, cut, cap_m), cap_m)
    return Ground(
        cap_m=cap_m,
        strips=_joined(fine, surfaces, ~with_rays, cap_m),
        crossings=_crossings(rays, fine, zones, cap_m),
        rays=rays,
        fine=fine,
        cut=cut,
    )


def is_steiner(surfaces: Geometries, edges: Edges, distance_m: Floats, asked: Bools) -> Bools:
    """Where Steiner's P·x + π·χ·x² is within 0.2 % of the ring of that distance, one a surface.

    ``edges`` are theirs. A buffer tells only where the outline itself does not prove it; False of
    those that are not ``asked`` about and not proved.
    """
    proved = _proved(surfaces, edges, distance_m)
    rest = np.flatnonzero(~proved & asked)
    shapes, far = surfaces[rest], distance_m[rest]
    ring = shapely.area(shapely.buffer(shapes, far, quad_segs=16)) - shapely.area(shapes)
    proved[rest] = np.abs(ring / _steiner(shapes, far) - 1) < _WITHIN
    return proved


def _steiner(surfaces: Geometries, distance_m: Floats) -> Floats:
    round_ = np.pi * parts_less_holes(surfaces) * distance_m**2
    ring: Floats = shapely.length(surfaces) * distance_m + round_
    return ring


def _proved(surfaces: Geometries, edges: Edges, distance_m: Floats) -> Bools:
    """Outlines of one ring whose normals do not meet within the distance.

    Two normals that meet enclose a bay that turns back by more than it turns on, so by less than
    all concave corners together. If those turn by less than a quarter of a circle, the bay is a
    graph over the direction between the two normals; and if every edge moved outwards still has a
    length, the graph's parallels stay in order, so that the normals can not meet. Steiner's ring is
    then wrong only by tan(α/2) − α/2 times x² at each concave corner α.
    """
    count = len(surfaces)
    single = (shapely.get_type_id(surfaces) == 3) & (shapely.get_num_interior_rings(surfaces) == 0)
    concave = np.minimum(np.maximum(-edges.turn_rad, 0.0), np.pi / 2)
    back = np.bincount(edges.row, concave, count)
    half = np.tan(concave / 2)
    before = np.empty_like(half)
    before[edges.after] = half
    lost = (half + before) * distance_m[edges.row] >= edges.length_m
    folded = np.bincount(edges.row[lost], minlength=count) > 0
    excess = np.bincount(edges.row, half - concave / 2, count) * distance_m**2
    near = excess < _WITHIN * _steiner(surfaces, distance_m)
    proved: Bools = single & (back < np.pi / 2) & ~folded & near
    return proved


def _only(edges: Edges, wanted: Bools) -> Edges:
    """The edges of some of the surfaces, of each its whole rings."""
    kept = wanted[edges.row]
    some: Edges = take(edges, kept)
    return some._replace(after=(np.cumsum(kept) - 1)[some.after])


def _zones(stands: Stands, hazards: Hazards | None, cap_m: Floats) -> _Zones:
    """Drawn collars, their surrounds, and the hazards that lie near."""
    drawn = np.flatnonzero(~shapely.is_missing(stands.collar))
    # the same case in several parties has the same zones
    _, first, case = np.unique(stands.case[drawn], return_index=True, return_inverse=True)
    one = drawn[first]
    whole, filled = _with_surface(stands.collar[one], stands.surface[one])
    outer = shapely.buffer(whole, stands.surrounds_width_m[one], quad_segs=16)
    collar = np.where(filled, whole, stands.collar[one])
    rows, shapes = [drawn, drawn], [collar[case], outer[case]]
    zones = [np.full(len(drawn), COLLAR), np.full(len(drawn), OUTER)]
    if hazards is not None and len(hazards.shape):
        left, right = _near_hazards(stands, hazards, cap_m)
        rows.append(left)
        shapes.append(hazards.shape[right])
        zones.append(HAZARD + hazards.kind[right])
    return _Zones(
        row=np.concatenate(rows), shape=np.concatenate(shapes), zone=np.concatenate(zones)
    )


def _near_hazards(stands: Stands, hazards: Hazards, cap_m: Floats) -> tuple[Ints, Ints]:
    """Stands and hazards within the cap of each other."""
    left, right = near_pairs(
        shapely.bounds(stands.surface),
        stands.field,
        shapely.bounds(hazards.shape),
        hazards.field,
        cap_m,
    )
    far: Any = cap_m[left]  # stubs know one distance for all alone
    near = shapely.dwithin(stands.surface[left], hazards.shape[right], far)
    return left[near], right[near]


def _with_surface(collars: Geometries, surfaces: Geometries) -> tuple[Geometries, Bools]:
    """Each collar with its surface, for a buffer: it unites the parts of a collection by itself.

    A collar whose hole is drawn just as the surface is filled instead, which is a quarter the work;
    strips that begin at the surface cross only what is left of it. Which ones are, comes second.
    """
    out = np.asarray(shapely.geometrycollections(np.stack((collars, surfaces), axis=1)))
    filled = (shapely.get_num_interior_rings(collars) == 1) & (shapely.get_type_id(surfaces) == 3)
    one = np.flatnonzero(filled)
    holes = shapely.polygons(shapely.get_interior_ring(collars[one], 0))
    same = shapely.equals_exact(shapely.normalize(holes), shapely.normalize(surfaces[one]))
    filled[one] = same
    out[filled] = shapely.polygons(shapely.get_exterior_ring(collars[filled]))
    return out, filled


def _joined(fine: Strips, surfaces: Geometries, whole: Bools, cap_m: Floats) -> Strips:
    """Strips that run to the cap joined into one a surface, beside those cut short of it."""
    full = np.minimum(fine.cut_start_m, fine.cut_end_m) >= cap_m[fine.row]
    n = len(surfaces)
    width = np.bincount(fine.row[full], fine.width_m[full], n).astype(np.float64)
    turn = np.bincount(fine.row[full], fine.turn_rad[full], n).astype(np.float64)
    width[whole] = shapely.length(surfaces[whole])
    turn[whole] = _WHOLE_TURN * parts_less_holes(surfaces[whole])
    short = take(fine, ~full & (fine.width_m + np.abs(fine.turn_rad) > 0))
    row = np.concatenate((np.arange(n), short.row))
    order = np.argsort(row, kind="stable")
    return Strips(
        row=row[order],
        width_m=np.concatenate((width, short.width_m))[order],
        turn_rad=np.concatenate((turn, short.turn_rad))[order],
        cut_start_m=np.concatenate((cap_m, short.cut_start_m))[order],
        cut_end_m=np.concatenate((cap_m, short.cut_end_m))[order],
    )


def _crossings(rays: Rays, strips: Strips, zones: _Zones, cap_m: Floats) -> Crossings:
    """Crossings of strips with zone polygons, four lines a strip for hazards, else its middle."""
    smooth = zones.zone < HAZARD
    found = [
        _crossed(*subdivided(rays, strips, parts), take(zones, which), cap_m)
        for parts, which in ((1, smooth), (4, ~smooth))
        if which.any()
    ]
    if len(found) == 1:
        return found[0]
    if not found:
        nothing = np.empty(0)
        none = np.empty(0, np.int64)
        return Crossings(strips=take(strips, none), limit_m=nothing, sign=nothing, zone=none)
    return Crossings(
        strips=Strips(*map(np.concatenate, zip(*(one.strips for one in found), strict=True))),
        limit_m=np.concatenate([one.limit_m for one in found]),
        sign=np.concatenate([one.sign for one in found]),
        zone=np.concatenate([one.zone for one in found]),
    )


def _crossed(at: Floats, out: Floats, strips: Strips, zones: _Zones, cap_m: Floats) -> Crossings:
    """Crossings of the strips of each zone's row with its polygon."""
    first, last = np.searchsorted(strips.row, np.stack((zones.row, zones.row + 1)))
    which, pair, limit, sign = crossings_of(at, out, first, last, zones.shape, cap_m[zones.row])
    return Crossings(strips=take(strips, which), limit_m=limit, sign=sign, zone=zones.zone[pair])
