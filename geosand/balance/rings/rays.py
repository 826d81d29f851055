"""Rays straight out of edges of outlines, and the strips of ground between the rays."""

from __future__ import annotations

import numpy as np

from geosand.balance.rings.edges import Edges, before_of
from geosand.balance.rings.joints import FAN_RAD, Joints, gaps_of, open_by_parts
from geosand.balance.rings.strips import Strips
from geosand.columns import Bools, Floats, Ints, ragged
from geosand.tuples import NamedTuple


class Rays(NamedTuple):
    """Lines straight out of edges, in order round each ring; strip k follows ray k."""

    row: Ints
    at: Floats  #: (n, 2) where the ray leaves the edge
    out: Floats  #: (n, 2) unit vector
    width_m: Floats
    turn_rad: Floats
    lacks_rad: Floats  #: by how much less than π is free beside it; above 0: it has no ground
    joint: Bools  #: another surface touches where it begins
    after: Ints


class _Pieces(NamedTuple):
    """Into how many strips each edge and the corner at its end are divided."""

    lacks_start_rad: Floats  #: at a concave corner, or where surfaces touch: cuts begin at 0
    lacks_end_rad: Floats
    pieces: Ints  #: equal ones along the edge
    step_m: Floats  #: of each
    rise_start_m: Floats  #: how far from such an end a cut reaches the cap
    rise_end_m: Floats
    more_start: Bools  #: one more strip ends there
    more_end: Bools  #: one more strip begins there
    fans: Ints  #: strips round the corner
    opens: Floats  #: rad/m, how much the strips along the edge open


def _pieces_of(
    edges: Edges, joints: Joints, spacing_m: Floats, cap_m: Floats, cut: Bools, smooth: Bools
) -> _Pieces:
    before, cut, turn = before_of(edges), cut[edges.row], edges.turn_rad
    # between two edges that open by less than π the cut is s·tan(opening/2)
    concave = np.where(turn < -1e-9, -turn, 0.0)
    lacks_start = np.maximum(concave[before], np.pi - joints.start_rad)
    lacks_end = np.maximum(concave, np.pi - joints.end_rad)
    low_start, low_end = lacks_start > 1e-9, lacks_end > 1e-9
    # cuts rise from 0 to where something else ends them, and fall to 0 again
    fewest = np.where(cut & ~joints.shared, np.maximum(2 * low_start + 2 * low_end, 1), 1)
    spacing = np.where(joints.shared, np.inf, spacing_m[edges.row])
    pieces = np.maximum(np.ceil(edges.length_m / spacing), fewest).astype(np.int64)
    step, cap = edges.length_m / pieces, cap_m[edges.row]
    rise_start, rise_end = cap * np.tan(lacks_start / 2), cap * np.tan(lacks_end / 2)
    slight = smooth[edges.row] & (np.abs(turn) <= FAN_RAD)
    half = np.where(slight, turn / 2, 0.0)
    return _Pieces(
        lacks_start_rad=np.where(low_start, lacks_start, 0.0),
        lacks_end_rad=np.where(low_end, lacks_end, 0.0),
        pieces=pieces,
        step_m=step,
        rise_start_m=rise_start,
        rise_end_m=rise_end,
        more_start=cut & low_start & (rise_start < 0.9 * step[before].clip(max=step)),
        more_end=cut & low_end & (rise_end < 0.9 * step[edges.after].clip(max=step)),
        fans=np.where(slight, 0, np.maximum(np.ceil(turn / FAN_RAD), 1)).astype(np.int64),
        opens=(half + half[before]) / edges.length_m,
    )


def rays_of(
    edges: Edges, joints: Joints, spacing_m: Floats, cap_m: Floats, cut: Bools, smooth: Bools
) -> Rays:
    """Rays at most ``spacing_m`` apart along the edges and 0.12 rad apart round convex corners.

    ``spacing_m``, ``cap_m``, ``cut`` and ``smooth`` have one row a surface. Where it is cut,
    concave corners have no strip: the cuts of the strips beside them tell what is lost there.
    Elsewhere they keep Steiner's negative strip; where it is ``smooth``, a corner that turns by no
    more than 0.12 rad has none, and the strips along the edges beside it open by half of it each.
    Surfaces that touch others are cut.
    """
    by, gaps = _pieces_of(edges, joints, spacing_m, cap_m, cut, smooth), gaps_of(edges, joints)
    by.fans[gaps.edge] = gaps.fans
    straight = by.pieces + by.more_end + by.more_start  # strips along each edge
    edge, place = ragged(np.zeros(len(straight), np.int64), straight + by.fans)
    corner, length = place >= straight[edge], edges.length_m[edge]
    regular = place - by.more_start[edge]
    far = np.clip(regular, 0, by.pieces[edge]) * by.step_m[edge]
    far = np.where(by.more_start[edge] & (place == 1), by.rise_start_m[edge], far)
    more_end = by.more_end[edge] & (regular == by.pieces[edge])
    far = np.where(more_end, length - by.rise_end_m[edge], far)
    far = np.where(corner, length, far)
    until = np.where(place == straight[edge] - 1, length, np.append(far[1:], 0.0))
    width = np.where(corner, 0.0, until - far)
    turn = np.where(corner, 0.0, width * by.opens[edge])
    opening = edges.turn_rad[edge] / np.maximum(by.fans[edge], 1)
    # a strip that opens begins as far back, so that its middle runs straight out of the edge
    out = np.where(corner, (place - straight[edge]) * opening, -turn / 2)
    lacks_end = by.lacks_end_rad[edge]
    turn = np.where(corner & ~(cut[edges.row[edge]] & (lacks_end > 0)), opening, turn)
    first = np.cumsum(straight + by.fans) - straight - by.fans
    corners = (first + straight)[gaps.edge]
    open_by_parts(gaps, corners, edges.turn_rad[gaps.edge], out, turn)
    along_x, along_y = edges.along_x[edge], edges.along_y[edge]
    after = np.arange(1, len(edge) + 1)
    after[first + straight + by.fans - 1] = first[edges.after]
    begins, ends = np.isfinite(joints.start_rad)[edge], np.isfinite(joints.end_rad)[edge]
    lacks = np.where(place == straight[edge], lacks_end, 0.0)
    lacks = np.where(place == 0, by.lacks_start_rad[edge], lacks)
    return Rays(
        row=edges.row[edge],
        at=np.column_stack((edges.x[edge] + along_x * far, edges.y[edge] + along_y * far)),
        out=turned(np.column_stack((along_y, -along_x)), out),
        width_m=width,
        turn_rad=turn,
        lacks_rad=np.where(joints.shared[edge] & ~corner, np.pi, lacks),
        joint=np.where(corner, ends, begins & (place == 0)),
        after=after,
    )


def turned(vectors: Floats, angle_rad: Floats) -> Floats:
    some = np.flatnonzero(angle_rad)  # most strips run along an edge and do not open
    c, s = np.cos(angle_rad[some]), np.sin(angle_rad[some])
    x, y = vectors.take(some, axis=0).T
    turned = vectors.copy()
    turned[some, 0] = c * x - s * y
    turned[some, 1] = s * x + c * y
    return turned


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


def subdivided(rays: Rays, strips: Strips, some: Ints, parts: int) -> tuple[Floats, Floats, Strips]:
    """Some of the strips (rows), each in equal ``parts``.

    Start and direction (n, 2) of the middle lines of the parts, and the parts (n).
    """
    ray = np.repeat(some, parts)
    place = np.tile(np.arange(parts), len(some)) / parts
    middle, width = place + 0.5 / parts, rays.width_m[ray]
    at = rays.at.take(ray, axis=0)
    step = rays.at.take(rays.after[ray], axis=0) - at
    start, end = strips.cut_start_m[ray], strips.cut_end_m[ray]
    return (
        at + step * middle[:, None],
        turned(rays.out.take(ray, axis=0), rays.turn_rad[ray] * middle),
        Strips(
            row=rays.row[ray],
            width_m=width / parts,
            turn_rad=rays.turn_rad[ray] / parts,
            cut_start_m=start + (end - start) * place,
            cut_end_m=start + (end - start) * (place + 1 / parts),
        ),
    )
