"""Collars drawn close round surfaces: how wide they are, and what lines out of the edge cross.

A collar is *close* where its one hole is just the surface and it is about as wide on all sides.
Where no strip of the surface is cut, each place of its collar lies straight out of one place of the
edge. The area of the collar is then that of its polygon, and that of a band round it a closed form;
lines tell only how it is spread.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np
import shapely

from geosand.areas.outline_bearings import (
    Corners,
    Outlines,
    in_ring,
    outlines_of,
    outlines_of_rings,
    square_to_edge,
    square_to_edges_beside,
)
from geosand.areas.overlay import widened
from geosand.balance.ring_crossings import Lines, crossings_with
from geosand.balance.ring_edges import Edges
from geosand.balance.ring_joints import FAN_RAD
from geosand.balance.ring_steiner import ring_area_m2
from geosand.balance.ring_strips import COLLAR, OUTER, Crossings, Strips
from geosand.balance.ring_tasks import sums
from geosand.columns import Bools, Floats, Geometries, Ints, ragged, take
from geosand.tuples import NamedTuple

_APART_M = 0.85  #: of lines along an edge, about
_UNEVEN = 3.0  #: mean widths, by which a collar may stand out to one side
_MOST = 0.1  #: by which crossings are moved; what is farther off is not what lines have missed


class Collars(NamedTuple):
    """Close collars, one row a collar; its corners are seen from the middle of its surface."""

    case: Ints
    row_of: Ints  #: by case; −1 without a close collar
    outer: Geometries  #: their outer rings
    surface: Geometries
    area_m2: Floats
    widest_m: Floats  #: how far its corners lie at most from the outline of the surface
    outlines: Outlines
    corners: Corners


def close_collars(collar: Geometries, surface: Geometries) -> Collars:
    """Those of the collars (None: no collar) that are even and have just their surface as hole."""
    close = (shapely.get_num_interior_rings(collar) == 1) & (shapely.get_type_id(surface) == 3)
    close &= shapely.get_num_interior_rings(surface) == 0
    case = np.flatnonzero(close)
    case = case[_same_rings(shapely.get_interior_ring(collar[case], 0), surface[case])]
    box, area = shapely.bounds(surface[case]), shapely.area(collar[case])
    even = _even(shapely.bounds(collar[case]), box, shapely.length(surface[case]), area)
    case, box, area = case[even], box[even], area[even]
    row_of = np.full(len(collar), -1)
    row_of[case] = np.arange(len(case))
    outer = shapely.get_exterior_ring(collar[case])
    outlines, corners = outlines_of_rings(outer, (box[:, :2] + box[:, 2:]) / 2)
    return Collars(
        case=case,
        row_of=row_of,
        outer=outer,
        surface=surface[case],
        area_m2=area,
        widest_m=_widest_m(outlines, corners, surface[case]),
        outlines=outlines,
        corners=corners,
    )


def _even(collar_box: Floats, box: Floats, perimeter_m: Floats, area_m2: Floats) -> Bools:
    """Whether no tongue of a collar stands out: what lines miss of one must not move others."""
    out = np.abs(collar_box - box).max(axis=1, initial=0.0)
    even: Bools = out * perimeter_m <= _UNEVEN * area_m2
    return even


def _same_rings(one: Geometries, other: Geometries) -> Bools:
    """Which rings (or polygons of one ring) go through the same corners.

    From any of them on and either way round.
    """
    corners = shapely.get_num_coordinates(one).astype(np.int64) - 1
    alike = corners == shapely.get_num_coordinates(other) - 1
    if not alike.all():
        alike[alike] = _same_rings(one[alike], other[alike])
        return np.asarray(alike)
    x, y = np.ascontiguousarray(shapely.get_coordinates(one).T)
    other_x, other_y = np.ascontiguousarray(shapely.get_coordinates(other).T)
    first = np.cumsum(corners + 1) - corners - 1
    ring, place = ragged(np.zeros_like(corners), corners + 1)
    met = np.flatnonzero(x == other_x[first][ring])
    met = met[y[met] == other_y[first][ring[met]]]
    start = np.full(len(one), -1)
    start[ring[met][::-1]] = place[met][::-1]  # the first of them is set last
    second = first + np.where(start + 1 < corners, start + 1, 0)
    onward = (x[second] == other_x[first + 1]) & (y[second] == other_y[first + 1])
    away = np.where(onward[ring], place, -place)
    row = first[ring] + in_ring(start[ring] + away, corners[ring])
    differs = (x[row] != other_x) | (y[row] != other_y)
    same: Bools = (np.bincount(ring[differs], minlength=len(one)) == 0) & (start >= 0)
    return same


def _widest_m(outlines: Outlines, corners: Corners, surface: Geometries) -> Floats:
    """Greatest distance of each collar's corners from the outline of its surface, at most.

    Each is measured to the edges of the surface in its direction, seldom not the nearest; to the
    whole outline where edges are not in order of direction.
    """
    middle = np.column_stack((outlines.middle_x, outlines.middle_y))
    inner, own = outlines_of_rings(surface, middle)
    ring = np.repeat(np.arange(len(surface)), outlines.edges + 1)
    # rings have the same numbers in both, so that bearings can be compared as they are
    begin = np.searchsorted(own.bearing, corners.bearing, side="right") - 1
    first = inner.first.take(ring)
    last = first + (inner.edges - 1).take(ring)
    begin = np.where(begin < first, last, np.minimum(begin, last))
    at_most = square_to_edge(own, begin, corners.x, corners.y)
    other = np.flatnonzero(~(outlines.ordered & inner.ordered)[ring])
    at_most[outlines.first + outlines.edges] = 0.0  # the first corner comes once more
    at_most[other] = np.nan
    widest = np.zeros(len(surface))
    highest = np.maximum.reduceat(at_most, outlines.first) if len(ring) else widest
    few = np.flatnonzero(at_most == highest.take(ring))  # the likeliest corner of each
    for _ in range(2):
        row, edge = ring[few], begin[few] - first[few]
        away = square_to_edges_beside(inner, own, row, edge, corners.x[few], corners.y[few])
        np.maximum.at(widest, row, np.sqrt(away))
        few = np.flatnonzero(at_most > (widest * widest * (1 + 1e-12)).take(ring))
    if len(other):
        row = ring[other]
        x, y = corners.x[other] + middle[row, 0], corners.y[other] + middle[row, 1]
        away = shapely.distance(shapely.points(x, y), shapely.boundary(surface)[row])
        np.maximum.at(widest, row, away)
    return widest


class Bands(NamedTuple):
    """The ground beyond close collars up to some width, one row a collar."""

    width_m: Floats
    area_m2: Floats

    def whole(self, collars: Collars, row: Ints) -> Geometries:
        """Surfaces with their collars and bands."""
        filled = np.asarray(shapely.polygons(collars.outer[row]))
        return widened(filled, self.width_m[row])


def bands_of(collars: Collars, width_m: Floats) -> Bands:
    """Areas in closed form where the outline proves it, else of buffers."""
    bands = Bands(width_m, ring_area_m2(collars.outlines, collars.corners, width_m))
    rest = np.flatnonzero(np.isnan(bands.area_m2))
    if len(rest):
        inner = collars.area_m2[rest] + shapely.area(collars.surface[rest])
        bands.area_m2[rest] = shapely.area(bands.whole(collars, rest)) - inner
    return bands


class OutwardStrips(NamedTuple):
    """Strips about lines straight out of the edge, in no order."""

    row: Ints
    x: Floats  #: where their lines begin, m
    y: Floats
    out_x: Floats  #: unit direction
    out_y: Floats
    width_m: Floats
    turn_rad: Floats


def outward_strips(edges: Edges, wanted: Bools) -> OutwardStrips:
    """One line a piece of edge, from its middle, and lines round corners that turn much.

    Only round surfaces that are ``wanted`` (one a row of these). At other corners the strips beside
    them open by half of the turn each.
    """
    mine = wanted[edges.row]
    sharp = np.abs(edges.turn_rad) > FAN_RAD
    half = np.where(sharp, 0.0, edges.turn_rad / 2)
    opens = half.copy()
    opens[edges.after] += half
    pieces = np.maximum(np.rint(edges.length_m / _APART_M), 1.0) * mine
    with np.errstate(invalid="ignore", divide="ignore"):  # of those not wanted
        width, opens = edges.length_m / pieces, opens / pieces
    edge, place = ragged(np.zeros(len(pieces), np.int64), pieces.astype(np.int64))
    width, along_x, along_y = width[edge], edges.along_x[edge], edges.along_y[edge]
    far = (place + 0.5) * width
    straight = OutwardStrips(
        row=edges.row[edge],
        x=edges.x[edge] + along_x * far,
        y=edges.y[edge] + along_y * far,
        out_x=along_y,
        out_y=-along_x,
        width_m=width,
        turn_rad=opens[edge],
    )
    fans: Iterable[Any] = _fans(edges, np.flatnonzero(sharp & mine))
    return OutwardStrips(*map(np.concatenate, zip(straight, fans, strict=True)))


def _fans(edges: Edges, sharp: Ints) -> OutwardStrips:
    """Strips without width about the corners at the ends of some edges."""
    turn = edges.turn_rad[sharp]
    fans = np.maximum(np.ceil(turn / FAN_RAD), 1).astype(np.int64)
    which, place = ragged(np.zeros(len(sharp), np.int64), fans)
    edge, opening = sharp[which], (turn / fans)[which]
    angle = (place + 0.5) * opening
    cos, sin = np.cos(angle), np.sin(angle)
    along_x, along_y, after = edges.along_x[edge], edges.along_y[edge], edges.after[edge]
    return OutwardStrips(
        row=edges.row[edge],
        x=edges.x[after],
        y=edges.y[after],
        out_x=cos * along_y + sin * along_x,
        out_y=sin * along_y - cos * along_x,
        width_m=np.zeros(len(edge)),
        turn_rad=opening,
    )


class Zone(NamedTuple):
    """Zones round surfaces none of whose strips is cut, one row a zone."""

    zone: int
    stand: Ints  #: whose strips cross any
    ring: Ints  #: which one each of these crosses
    collar: Ints  #: its row, by ring
    outlines: Outlines  #: of the zones with their surfaces
    corners: Corners
    area_m2: Floats  #: beyond the surface's edge


def zone_crossings(strips: OutwardStrips, cap_m: Floats, zone: Zone, above: int) -> Crossings:
    """Crossings of strips with a zone; their rows are those of collars, counted on from ``above``.

    ``cap_m`` (one a stand) is beyond the zones. Where strips hold too much or too little of a zone
    by their middle lines alone, all crossings of the zone are moved in or out in proportion until
    its area is right.
    """
    ring_of, outlines = np.full(len(cap_m), -1), zone.outlines
    ring_of[zone.stand] = zone.ring
    ring = ring_of[strips.row]
    if (ring < 0).any():
        strips, ring = take(strips, ring >= 0), ring[ring >= 0]
    lines = Lines(
        ring=ring,
        x=strips.x - outlines.middle_x[ring],
        y=strips.y - outlines.middle_y[ring],
        out_x=strips.out_x,
        out_y=strips.out_y,
        cap_m=cap_m[strips.row],
    )
    line, limit, sign = crossings_with(lines, outlines, zone.corners)
    width, turn, ring = strips.width_m[line], strips.turn_rad[line], ring[line]
    limit = limit * _scale(ring, limit, sign, width, turn, zone.area_m2)[ring]
    row, far = above + zone.collar[ring], np.full(len(line), np.inf)
    whole = Strips(row=row, width_m=width, turn_rad=turn, cut_start_m=far, cut_end_m=far)
    return Crossings(strips=whole, limit_m=limit, sign=sign, zone=np.full(len(line), zone.zone))


def _scale(
    ring: Ints, limit: Floats, sign: Floats, width: Floats, turn: Floats, area_m2: Floats
) -> Floats:
    """By zone, k so that Σ sign·(width·k·limit + turn·(k·limit)²/2) is its area; else 1."""
    held = sign * limit
    straight = sums(ring, held * width, len(area_m2))
    round_ = sums(ring, held * limit * turn, len(area_m2)) / 2
    with np.errstate(invalid="ignore", divide="ignore"):
        root = np.sqrt(straight**2 + 4 * round_ * area_m2)
        k = 2 * area_m2 / (straight + root)
    return np.where(np.abs(k - 1) < _MOST, k, 1.0)


def collar_zone(collars: Collars, stand: Ints, collar: Ints) -> Zone:
    """Close collars, with a stand of each."""
    return Zone(
        zone=COLLAR,
        stand=stand,
        ring=collar,
        collar=np.arange(len(collars.case)),
        outlines=collars.outlines,
        corners=collars.corners,
        area_m2=collars.area_m2,
    )


def outer_zone(collars: Collars, stand: Ints, collar: Ints, bands: Bands) -> Zone:
    """Close collars with the band round each."""
    outlines, corners = outlines_of(bands.whole(collars, collar))
    return Zone(
        zone=OUTER,
        stand=stand,
        ring=np.arange(len(stand)),
        collar=collar,
        outlines=outlines,
        corners=corners,
        area_m2=collars.area_m2[collar] + bands.area_m2[collar],
    )
