"""Lines straight out of the edges of surfaces with close collars, and what zones they cross.

Where no strip of a surface is cut, each place of its collar lies straight out of one place of the
edge. Lines tell only how the ground of a zone is spread: its area is known.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np

from geosand.areas.outline_bearings import Corners, Outlines, outlines_of
from geosand.balance.rings.collars import Bands, Collars
from geosand.balance.rings.crossings import Lines, crossings_with
from geosand.balance.rings.edges import Edges
from geosand.balance.rings.joints import FAN_RAD
from geosand.balance.rings.strips import COLLAR, OUTER, Crossings, Strips
from geosand.balance.rings.tasks import sums
from geosand.columns import Bools, Floats, Ints, ragged, take
from geosand.tuples import NamedTuple

_APART_M = 0.85  #: of lines along an edge, about
_MOST = 0.1  #: by which crossings are moved; what is farther off is not what lines have missed


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
