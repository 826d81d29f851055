"""Edges of outlines, rays straight out of them, and the strips of ground between the rays.

Strips of surfaces that meet something end at the medial axis, which empty circles find.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import shapely

from geosand.areas.near_pairs import near_pairs
from geosand.areas.outline_bearings import parts_of
from geosand.balance.ring_crossings import blocks_of, near_blocks
from geosand.balance.ring_strips import Strips
from geosand.columns import Bools, Floats, Geometries, Ints, ragged

_TOUCH_M = 1e-6  #: nearer than this, two surfaces share their edge
_FAN_RAD = 0.12  #: widest opening of one strip at a corner


class Edges(NamedTuple):
    """Straight pieces of outlines, the surface on their left; one row a piece."""

    row: Ints
    start: Floats  #: (n, 2) metres
    along: Floats  #: (n, 2) unit vector
    length_m: Floats
    turn_rad: Floats  #: at the end of the piece; positive where the surface is convex
    after: Ints  #: the next piece of the same ring


class Rays(NamedTuple):
    """Lines straight out of edges, in order round each ring; strip k follows ray k."""

    row: Ints
    at: Floats  #: (n, 2) where the ray leaves the edge
    out: Floats  #: (n, 2) unit vector
    width_m: Floats
    turn_rad: Floats
    pinched: Bools  #: the ray leaves from a concave corner
    after: Ints


def edges_of(surfaces: Geometries) -> Edges:
    """The straight pieces of all rings of polygons, with the surface on the left."""
    parts, part_row = parts_of(shapely.orient_polygons(surfaces))
    rings, ring_part = shapely.get_rings(parts, return_index=True)
    xy, ring = shapely.get_coordinates(rings, return_index=True)
    x, y = np.ascontiguousarray(xy.T)
    step_x, step_y = x[1:] - x[:-1], y[1:] - y[:-1]
    length = np.sqrt(step_x * step_x + step_y * step_y)
    kept = np.flatnonzero((ring[1:] == ring[:-1]) & (length > 1e-9))
    length, ring = length[kept], ring[kept]
    along_x, along_y = step_x[kept] / length, step_y[kept] / length
    after = _after_in_ring(ring)
    next_x, next_y = along_x[after], along_y[after]
    turn = np.arctan2(along_x * next_y - along_y * next_x, along_x * next_x + along_y * next_y)
    along = np.column_stack((along_x, along_y))
    row = part_row[ring_part[ring]]
    return Edges(row=row, start=xy[kept], along=along, length_m=length, turn_rad=turn, after=after)


def _after_in_ring(ring: Ints) -> Ints:
    after = np.arange(1, len(ring) + 1)
    last = np.append(np.flatnonzero(ring[1:] != ring[:-1]), len(ring) - 1)[: len(ring)]
    after[last] = np.append(0, last + 1)[:-1]
    return after


class _Pieces(NamedTuple):
    """Into how many strips each edge and the corner at its end are divided."""

    before: Ints  #: the edge that ends where this one begins
    concave: Bools  #: the corner at its end turns so
    pieces: Ints  #: equal ones along the edge
    step_m: Floats  #: of each
    rise_m: Floats  #: how far from a concave corner a cut reaches the cap
    more: Bools  #: one more strip begins there, before the corner
    fans: Ints  #: strips round the corner
    opens: Floats  #: rad/m, how much the strips along the edge open


def _pieces_of(
    edges: Edges, spacing_m: Floats, cap_m: Floats, cut: Bools, smooth: Bools
) -> _Pieces:
    before = np.empty_like(edges.after)
    before[edges.after] = np.arange(len(edges.after))
    cut, turn = cut[edges.row], edges.turn_rad
    concave = turn < -1e-9
    hollow = cut & concave & concave[before]  # cuts rise from 0 and fall to 0 again
    fewest = np.where(hollow, 4, 1)
    pieces = np.maximum(np.ceil(edges.length_m / spacing_m[edges.row]), fewest).astype(np.int64)
    step = edges.length_m / pieces
    # beside a concave corner the cut is s/tan(turn/2)
    rise = cap_m[edges.row] * np.tan(np.where(concave, -turn, 0.0) / 2)
    slight = smooth[edges.row] & (np.abs(turn) <= _FAN_RAD)
    half = np.where(slight, turn / 2, 0.0)
    return _Pieces(
        before=before,
        concave=concave,
        pieces=pieces,
        step_m=step,
        rise_m=rise,
        more=cut & concave & (rise < 0.9 * step[edges.after].clip(max=step)),
        fans=np.where(slight, 0, np.maximum(np.ceil(turn / _FAN_RAD), 1)).astype(np.int64),
        opens=(half + half[before]) / edges.length_m,
    )


def rays_of(edges: Edges, spacing_m: Floats, cap_m: Floats, cut: Bools, smooth: Bools) -> Rays:
    """Rays at most ``spacing_m`` apart along the edges and 0.12 rad apart round convex corners.

    ``spacing_m``, ``cap_m``, ``cut`` and ``smooth`` have one row a surface. Where it is cut,
    concave corners have no strip: the cuts of the strips beside them tell what is lost there.
    Elsewhere they keep Steiner's negative strip; where it is ``smooth``, a corner that turns by no
    more than 0.12 rad has none, and the strips along the edges beside it open by half of it each.
    """
    by = _pieces_of(edges, spacing_m, cap_m, cut, smooth)
    more_before = by.more[by.before]
    straight = by.pieces + by.more + more_before  # strips along each edge
    edge, place = ragged(np.zeros(len(straight), np.int64), straight + by.fans)
    corner, length = place >= straight[edge], edges.length_m[edge]
    regular = place - more_before[edge]
    far = np.clip(regular, 0, by.pieces[edge]) * by.step_m[edge]
    far = np.where(more_before[edge] & (place == 1), by.rise_m[by.before][edge], far)
    far = np.where(by.more[edge] & (regular == by.pieces[edge]), length - by.rise_m[edge], far)
    far = np.where(corner, length, far)
    until = np.where(place == straight[edge] - 1, length, np.append(far[1:], 0.0))
    width = np.where(corner, 0.0, until - far)
    turn = np.where(corner, 0.0, width * by.opens[edge])
    opening = edges.turn_rad[edge] / np.maximum(by.fans[edge], 1)
    right = np.column_stack((edges.along[:, 1], -edges.along[:, 0]))[edge]
    first = np.cumsum(straight + by.fans) - straight - by.fans
    after = np.arange(1, len(edge) + 1)
    after[first + straight + by.fans - 1] = first[edges.after]
    concave = by.concave[edge]
    return Rays(
        row=edges.row[edge],
        at=edges.start[edge] + edges.along[edge] * far[:, None],
        # a strip that opens begins as far back, so that its middle runs straight out of the edge
        out=_turned(right, np.where(corner, (place - straight[edge]) * opening, -turn / 2)),
        width_m=width,
        turn_rad=np.where(corner & ~(cut[edges.row[edge]] & concave), opening, turn),
        pinched=np.where(place == 0, by.concave[by.before[edge]], corner & concave),
        after=after,
    )


def _turned(vectors: Floats, angle_rad: Floats) -> Floats:
    some = np.flatnonzero(angle_rad)  # most strips run along an edge and do not open
    c, s = np.cos(angle_rad[some]), np.sin(angle_rad[some])
    x, y = vectors[some].T
    turned = vectors.copy()
    turned[some, 0] = c * x - s * y
    turned[some, 1] = s * x + c * y
    return turned


def cuts_of(
    rays: Rays,
    edges: Edges,
    surfaces: Geometries,
    pairs: tuple[Ints, Ints],
    cut: Bools,
    cap_m: Floats,
) -> Floats:
    """Distance from the edge at which each ray ends, inf where nothing within its cap ends it.

    ``pairs`` are the surfaces near each other, both ways round; ``cut`` and ``cap_m`` have one row
    a surface. Rays and edges are sorted by surface; only those that are ``cut`` are looked at.
    """
    result = np.full(len(rays.row), np.inf)
    result[rays.pinched & cut[rays.row]] = 0.0
    itself = np.flatnonzero(cut)
    if not len(itself):
        return result
    _end_at_shared_edges(result, rays, surfaces, pairs)
    count, going = len(surfaces), np.flatnonzero(result > 0)
    of = rays.row[going]
    middle, reach = rays.at[going] + rays.out[going] * cap_m[of, None], cap_m[of, None]
    discs = blocks_of(middle - reach, middle + reach, of, count)
    end = edges.start + edges.along * edges.length_m[:, None]
    low, high = np.minimum(edges.start, end), np.maximum(edges.start, end)
    pieces = blocks_of(low, high, edges.row, count)
    seen = np.concatenate((itself, pairs[0])), np.concatenate((itself, pairs[1]))
    for ray, edge in near_blocks(discs, pieces, seen):
        asked = going[discs.rows[ray]]
        touch = first_touch(rays, asked, edges, pieces.rows[edge])
        touch = np.where(pieces.known[edge][:, None], touch, np.inf).min(axis=2)
        touch[~discs.known[ray]] = np.inf
        np.minimum.at(result, asked, touch)
    return result


def first_touch(rays: Rays, ray: Ints, edges: Edges, edge: Ints) -> Floats:
    """Radius (k, 12, 12) of the circle that touches a ray's start and a piece of outline.

    Its centre lies out along the ray. ``ray`` and ``edge`` (k, 12) are rows. Circles through a
    point with one tangent there are nested, so the first touch is the smallest of
    |q − p|²/(2 (q − p)·n) over corners q, and (p − a)·m/(1 − m·n) over pieces from a with outward
    normal m touched between their ends. inf where nothing is touched.
    """
    p, n = rays.at[ray][:, :, None], rays.out[ray][:, :, None]
    a, d = edges.start[edge][:, None], edges.along[edge][:, None]
    x, y = a[..., 0] - p[..., 0], a[..., 1] - p[..., 1]
    ahead = n[..., 0] * x + n[..., 1] * y
    corner = np.where(ahead > 1e-9, x * x + y * y, np.inf) / np.maximum(2 * ahead, 1e-9)
    off = d[..., 0] * y - d[..., 1] * x  # (p − a)·m with m = (d₁, −d₀)
    closing = 1 - (n[..., 0] * d[..., 1] - n[..., 1] * d[..., 0])
    radius = np.maximum(off, 0.0) / np.maximum(closing, 1e-12)
    foot = radius * (n[..., 0] * d[..., 0] + n[..., 1] * d[..., 1])
    foot -= x * d[..., 0] + y * d[..., 1]
    touched = (off > 1e-9) & (closing > 1e-9) & (foot >= 0)
    touched &= foot <= edges.length_m[edge][:, None]
    radii: Floats = np.minimum(corner, np.where(touched, radius, np.inf))
    return np.maximum(radii, 0.0)


def _end_at_shared_edges(
    cuts_m: Floats, rays: Rays, surfaces: Geometries, pairs: tuple[Ints, Ints]
) -> None:
    """No strip leaves an edge that another surface lies against."""
    left, right = pairs
    touching = shapely.dwithin(surfaces[left], surfaces[right], _TOUCH_M)
    left, right = left[touching], right[touching]
    touched = np.zeros(len(surfaces), dtype=np.bool_)
    touched[left] = True
    some = np.flatnonzero(touched[rays.row])
    places, boxes = np.tile(rays.at[some], 2), shapely.bounds(surfaces)[right]
    ray, pair = near_pairs(places, rays.row[some], boxes, left, 2 * _TOUCH_M)
    ray = some[ray]
    shapely.prepare(surfaces[right])
    against = shapely.dwithin(surfaces[right[pair]], shapely.points(rays.at[ray]), _TOUCH_M)
    cuts_m[ray[against]] = 0.0


def strips_of(rays: Rays, cuts_m: Floats, cap_m: Floats) -> Strips:
    """The strip that follows each ray, with the cuts of the rays on both sides, at most the cap.

    ``cap_m`` has one row a surface.
    """
    start = np.minimum(cuts_m, cap_m[rays.row])
    return Strips(
        row=rays.row,
        width_m=rays.width_m,
        turn_rad=rays.turn_rad,
        cut_start_m=start,
        cut_end_m=start[rays.after],
    )


def subdivided(
    rays: Rays, strips: Strips, wanted: Bools, parts: int
) -> tuple[Floats, Floats, Strips]:
    """The strips of ``wanted`` surfaces, each in equal ``parts``.

    Start and direction (n, 2) of the middle lines of the parts, and the parts (n).
    """
    some = np.flatnonzero(wanted[rays.row])
    ray = np.repeat(some, parts)
    place = np.tile(np.arange(parts), len(some)) / parts
    middle, width = place + 0.5 / parts, rays.width_m[ray]
    step = rays.at[rays.after][ray] - rays.at[ray]
    start, end = strips.cut_start_m[ray], strips.cut_end_m[ray]
    return (
        rays.at[ray] + step * middle[:, None],
        _turned(rays.out[ray], rays.turn_rad[ray] * middle),
        Strips(
            row=rays.row[ray],
            width_m=width / parts,
            turn_rad=rays.turn_rad[ray] / parts,
            cut_start_m=start + (end - start) * place,
            cut_end_m=start + (end - start) * (place + 1 / parts),
        ),
    )
