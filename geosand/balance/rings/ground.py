"""The ground round each dressed surface: which strips it has, and what zones they cross.

Most surfaces stand alone and are convex: one strip in closed form serves them. Rays are laid only
round those that meet another dressed surface, that are too concave for Steiner's formula, or whose
drawn collar or hazards must be followed.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np
import shapely

from geosand.areas.near_pairs import near_pairs
from geosand.areas.overlay import widened
from geosand.balance.rings.collars import Collars
from geosand.balance.rings.crossings import crossings_of
from geosand.balance.rings.cuts import Obstacles, cuts_of, drawn_in
from geosand.balance.rings.edges import Edges, edges_of
from geosand.balance.rings.joints import jointed
from geosand.balance.rings.rays import Rays, rays_of, strips_of, subdivided
from geosand.balance.rings.refining import refined
from geosand.balance.rings.stands import Hazards, Stands, near_stands
from geosand.balance.rings.steiner import is_steiner
from geosand.balance.rings.strips import (
    COLLAR,
    HAZARD,
    OUTER,
    Crossings,
    Strips,
    parts_less_holes,
    together,
)
from geosand.columns import Bools, Floats, Geometries, Ints, begins, take
from geosand.tuples import NamedTuple

_WHOLE_TURN = 2 * np.pi
_BEYOND = 1.02  #: of the cap: crossings are looked for a little farther
_MANY = 50_000  #: strips of a surface, of which one line each tells enough
_AT_ONCE = 100_000  #: strips whose lines are held at once


class Ground(NamedTuple):
    """What lies beyond each edge up to its cap; rows of the strips count the rows of Stands."""

    cap_m: Floats  #: by row
    width_m: Floats  #: by row, of the strips that run to the cap, as one
    turn_rad: Floats
    short: Strips  #: those cut short of it, sorted by row
    crossings: Crossings  #: none of collars that ``plain`` stands have
    rays: Rays  #: of those surfaces that have any
    fine: Strips  #: one after each ray
    cut: Bools  #: by row: strips end before the cap somewhere
    plain: Bools  #: by row: it has a close collar, and no strip is cut
    edges: Edges  #: of all surfaces


class _Zones(NamedTuple):
    """Polygons that strips are to be cut by."""

    row: Ints  #: whose strips
    shape: Geometries
    zone: Ints  #: which zone it bounds


def lay_ground(
    stands: Stands, hazards: Hazards | None, cap_m: Floats, collars: Collars | None = None
) -> Ground:
    """Strips and crossings of all stands, each up to its ``cap_m`` (the same in all of a field).

    ``collars``: the close ones of all cases. Those of stands of which no strip is cut are left out.
    """
    surfaces = stands.surface
    pairs = near_stands(stands, stands.party, 2 * cap_m)
    edges = edges_of(surfaces)
    cut = np.zeros(len(surfaces), dtype=np.bool_)
    cut[pairs[0]] = True
    cut |= ~is_steiner(surfaces, edges, cap_m, ~cut)
    close = np.zeros_like(cut) if collars is None else collars.row_of[stands.case] >= 0
    plain = close & ~cut
    zones = _zones(stands, ~plain, close, hazards, cap_m)
    with_rays = cut.copy()
    with_rays[zones.row] = True
    some = only(edges, with_rays)
    # collars and surrounds run along the edge, so that fewer rays follow them
    smooth = ~cut
    smooth[zones.row[zones.zone >= HAZARD]] = False
    # but beside a straight edge a middle line tells too much of what bulges outwards
    spacing = np.clip(np.where(smooth, cap_m / 5, cap_m / 10), 0.3, np.where(smooth, 0.8, 3.0))
    some, joints = jointed(some, surfaces, pairs)
    rays = rays_of(some, joints, spacing, cap_m, cut, smooth)
    obstacles = Obstacles.of(some, surfaces, pairs, cut, cap_m)
    cuts = cuts_of(rays, obstacles)
    rays = drawn_in(rays, cuts, cap_m)
    rays, cuts = refined(rays, cuts, obstacles)
    fine = strips_of(rays, cuts, cap_m)
    width, turn, short = _joined(fine, surfaces, ~with_rays, cap_m)
    return Ground(
        cap_m=cap_m,
        width_m=width,
        turn_rad=turn,
        short=short,
        crossings=_crossings(rays, fine, zones, close),
        rays=rays,
        fine=fine,
        cut=cut,
        plain=plain,
        edges=edges,
    )


def only(edges: Edges, wanted: Bools) -> Edges:
    """The edges of some of the surfaces, of each its whole rings."""
    if wanted.all():
        return edges
    mine = wanted[edges.row]
    some: Edges = take(edges, np.flatnonzero(mine))
    return some._replace(after=(np.cumsum(mine) - 1)[some.after])


def _zones(
    stands: Stands, asked: Bools, close: Bools, hazards: Hazards | None, cap_m: Floats
) -> _Zones:
    """Drawn collars and their surrounds of those ``asked`` about, and the hazards that lie near."""
    none = np.empty(0, np.int64)
    found = [_Zones(row=none, shape=np.empty(0, dtype=object), zone=none)]
    drawn = np.flatnonzero(asked & ~shapely.is_missing(stands.collar))
    if len(drawn):
        collar, outer = _drawn(stands, drawn, close)
        found.append(_Zones(drawn, collar, np.full(len(drawn), COLLAR)))
        found.append(_Zones(drawn, outer, np.full(len(drawn), OUTER)))
    if hazards is not None and len(hazards.shape):
        left, right = _near_hazards(stands, hazards, cap_m)
        found.append(_Zones(left, hazards.shape[right], HAZARD + hazards.kind[right]))
    return _Zones(*map(np.concatenate, zip(*found, strict=True)))


def _drawn(stands: Stands, drawn: Ints, close: Bools) -> tuple[Geometries, Geometries]:
    """Drawn collars of stands, and surfaces with their collars and surrounds."""
    # the same case in several parties has the same zones
    _, first, case = np.unique(stands.case[drawn], return_index=True, return_inverse=True)
    one = drawn[first]
    filled = close[one]
    whole = _with_surface(stands.collar[one], stands.surface[one], filled)
    outer = widened(whole, stands.surrounds_width_m[one])
    return np.where(filled, whole, stands.collar[one])[case], outer[case]


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


def _with_surface(collars: Geometries, surfaces: Geometries, close: Bools) -> Geometries:
    """Each collar with its surface, for a buffer: it unites the parts of a collection by itself.

    A close collar is filled instead, which is a quarter the work; strips that begin at the surface
    cross only what is left of it.
    """
    out = np.asarray(shapely.geometrycollections(np.stack((collars, surfaces), axis=1)))
    out[close] = shapely.polygons(shapely.get_exterior_ring(collars[close]))
    return out


def _joined(
    fine: Strips, surfaces: Geometries, whole: Bools, cap_m: Floats
) -> tuple[Floats, Floats, Strips]:
    """Width and opening of the strips that run to the cap, a surface; and those cut short of it.

    ``whole``: surfaces without strips, all of whose ground runs there.
    """
    full = np.minimum(fine.cut_start_m, fine.cut_end_m) >= cap_m[fine.row]
    n = len(surfaces)
    width = np.bincount(fine.row[full], fine.width_m[full], n).astype(np.float64)
    turn = np.bincount(fine.row[full], fine.turn_rad[full], n).astype(np.float64)
    width[whole] = shapely.length(surfaces[whole])
    turn[whole] = _WHOLE_TURN * parts_less_holes(surfaces[whole])
    return width, turn, take(fine, ~full & (fine.width_m + np.abs(fine.turn_rad) > 0))


def _crossings(rays: Rays, strips: Strips, zones: _Zones, close: Bools) -> Crossings:
    """Crossings of strips with zone polygons: four lines a strip for those of any form.

    Its middle for ``close`` collars (by stand) and surrounds, which run along the edge, and for all
    zones beside a surface of very many strips.
    """
    smooth = (zones.zone == OUTER) | ((zones.zone == COLLAR) & close[zones.row])
    smooth |= (np.bincount(rays.row, minlength=len(close)) > _MANY)[zones.row]
    found = []
    for parts, which in ((1, smooth), (4, ~smooth)):
        some = take(zones, which)
        for block in _blocks(rays.row) if which.any() else ():
            zone, strip = _may_meet(rays, strips, some, block)
            ends = parts * np.searchsorted(zone, np.arange(len(some.row) + 1))
            found.append(_crossed(*subdivided(rays, strips, strip, parts), ends, some))
    return together(found)


def _blocks(row: Ints) -> list[slice]:
    """Strips sorted by row, some at a time; where those of a row are parted it says alone."""
    size = np.bincount(row)
    first = np.repeat(np.cumsum(size) - size, size)
    block = first // _AT_ONCE + (np.arange(len(row)) - first) // _AT_ONCE
    starts = np.flatnonzero(begins(block)).tolist()
    return [slice(*ends) for ends in pairwise([*starts, len(row)])]


def _may_meet(rays: Rays, strips: Strips, zones: _Zones, which: slice) -> tuple[Ints, Ints]:
    """Zones, and strips of their row that begin so near to their box that they may come to it.

    Only of those strips ``which`` are asked about. Sorted by zone, then strip.
    """
    strips = take(strips, which)
    start, end = rays.at[which], rays.at.take(rays.after[which], axis=0)
    far = _BEYOND * _farthest_m(strips)
    far = np.where((far > 0) & (strips.width_m + np.abs(strips.turn_rad) > 0), far, np.nan)
    low, high = np.minimum(start, end) - far[:, None], np.maximum(start, end) + far[:, None]
    boxes = np.column_stack((low, high))
    zone, strip = near_pairs(shapely.bounds(zones.shape), zones.row, boxes, strips.row)
    return zone, which.start + strip


def _farthest_m(strips: Strips) -> Floats:
    """How far strips go: of the outlines of zones beyond it is one what they cross."""
    return np.maximum(strips.cut_start_m, strips.cut_end_m)


def _crossed(at: Floats, out: Floats, strips: Strips, ends: Ints, zones: _Zones) -> Crossings:
    """Crossings of lines with the polygon of each zone: its own end where those of the next begin.

    ``ends``: of all zones, from 0 on.
    """
    which, pair, limit, sign = crossings_of(
        at, out, ends[:-1], ends[1:], zones.shape, _farthest_m(strips)
    )
    return Crossings(strips=take(strips, which), limit_m=limit, sign=sign, zone=zones.zone[pair])
