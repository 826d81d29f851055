"""Ground beyond the edges of dressed surfaces, in strips that run straight out from the edge.

A strip of edge ``width`` whose sides open by ``turn`` radians holds width·x + turn·x²/2 within the
distance x. Summed round a convex surface that is Steiner's formula, P·x + π·x² (J. Steiner, Über
parallele Flächen, 1840; cited from memory). A strip ends at its *cut*: where its middle line comes
nearer to another place of an edge, that is at the radius of the largest empty circle touching the
edge there (the medial axis; H. Blum 1967, from memory). Cutting serves neighbours (ground between
two surfaces belongs to the nearer edge), concave edges and holes alike, without buffers.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from geosand.columns import Bools, Floats, Geometries, Ints, freeze, take

COLLAR, OUTER, HAZARD = 0, 1, 2  # zones of a crossing; HAZARD + k is the k-th kind of hazard
_TOUCH_M = 1e-6  # nearer than this, two surfaces share their edge
_FAN_RAD = 0.12  # widest opening of one strip at a corner
_SAME_SPAN_M = 1e-4  # cuts nearer than this are one cut


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Strips:
    """Ground beyond edges, one row a strip; the cut runs linearly from one side to the other."""

    row: Ints  #: whose ground
    width_m: Floats  #: length of edge
    turn_rad: Floats  #: how far its sides open
    cut_start_m: Floats  #: distance from the edge at which it ends, on its first side
    cut_end_m: Floats  #: and on its last side

    def __post_init__(self) -> None:
        freeze(self)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Crossings:
    """Where strips cross the outlines of zones: +1 where the strip leaves a zone, −1 on entry."""

    strips: Strips
    limit_m: Floats  #: distance of the crossing from the edge
    sign: Floats
    zone: Ints


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Edges:
    """Straight pieces of outlines, the surface on their left; one row a piece."""

    row: Ints
    start: Floats  #: (n, 2) metres
    along: Floats  #: (n, 2) unit vector
    length_m: Floats
    turn_rad: Floats  #: at the end of the piece; positive where the surface is convex
    after: Ints  #: the next piece of the same ring

    def __post_init__(self) -> None:
        freeze(self)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Rays:
    """Lines straight out of edges, in order round each ring; strip k follows ray k."""

    row: Ints
    at: Floats  #: (n, 2) where the ray leaves the edge
    out: Floats  #: (n, 2) unit vector
    width_m: Floats
    turn_rad: Floats
    pinched: Bools  #: the ray leaves from a concave corner
    after: Ints

    def __post_init__(self) -> None:
        freeze(self)


def mass_share(strips: Strips, limit_m: Floats, inverse_reach: Floats) -> Floats:
    """∫ (1 − x/L)·(width + turn·x) dx over each strip, from its edge to limit or cut.

    ``inverse_reach`` = 1/L in 1/m, 0 for the plain area in m²; ``limit_m`` must not exceed L.
    Times the rate of the surface it is a mass in kg. Columns as long as ``strips``.
    """
    return mean_over_cut(
        strips,
        limit_m,
        strips.width_m,
        (strips.turn_rad - strips.width_m * inverse_reach) / 2,
        -strips.turn_rad * inverse_reach / 3,
    )


def mass_share_slope(strips: Strips, reach_m: Floats) -> Floats:
    """Derivative of ``mass_share(strips, L, 1/L)`` with respect to L."""
    return mean_over_cut(
        strips,
        reach_m,
        np.zeros_like(reach_m),
        strips.width_m / (2 * reach_m**2),
        strips.turn_rad / (3 * reach_m**2),
    )


def mean_over_cut(strips: Strips, limit: Floats, a: Floats, b: Floats, c: Floats) -> Floats:
    """Mean of the polynomial a·u + b·u² + c·u³ at u = min(cut, limit), the cut running linearly."""
    start, end = strips.cut_start_m, strips.cut_end_m
    mean = _value(np.minimum((start + end) / 2, limit), a, b, c)
    uneven = np.flatnonzero(np.abs(end - start) > _SAME_SPAN_M)
    if len(uneven):
        start, end, limit, a, b, c = (x[uneven] for x in (start, end, limit, a, b, c))
        capped = _integral(np.minimum(end, limit), a, b, c)
        capped -= _integral(np.minimum(start, limit), a, b, c)
        beyond = np.maximum(end, limit) - np.maximum(start, limit)
        mean[uneven] = (capped + beyond * _value(limit, a, b, c)) / (end - start)
    return mean


def _value(u: Floats, a: Floats, b: Floats, c: Floats) -> Floats:
    return u * (a + u * (b + u * c))


def _integral(u: Floats, a: Floats, b: Floats, c: Floats) -> Floats:
    return u * u * (a / 2 + u * (b / 3 + u * (c / 4)))


def edges_of(surfaces: Geometries) -> Edges:
    """The straight pieces of all rings of polygons, with the surface on the left."""
    parts, part_row = shapely.get_parts(shapely.orient_polygons(surfaces), return_index=True)
    rings, ring_part = shapely.get_rings(parts, return_index=True)
    xy, ring = shapely.get_coordinates(rings, return_index=True)
    step = np.diff(xy, axis=0)
    length = np.hypot(step[:, 0], step[:, 1])
    keep = (ring[1:] == ring[:-1]) & (length > 1e-9)
    step, length, start, ring = step[keep], length[keep], xy[:-1][keep], ring[:-1][keep]
    along = step / length[:, None]
    after = _after_in_ring(ring)
    following = along[after]
    cross = along[:, 0] * following[:, 1] - along[:, 1] * following[:, 0]
    turn = np.arctan2(cross, np.einsum("ij,ij->i", along, following))
    row = part_row[ring_part[ring]].astype(np.int64)
    return Edges(row=row, start=start, along=along, length_m=length, turn_rad=turn, after=after)


def _after_in_ring(ring: Ints) -> Ints:
    after = np.arange(1, len(ring) + 1)
    last = np.flatnonzero(np.diff(ring, append=-1))
    after[last] = np.append(0, last + 1)[:-1]
    return after


def rays_of(edges: Edges, spacing_m: float, cap_m: float, cut: Bools) -> Rays:
    """Rays at most ``spacing_m`` apart along the edges and 0.12 rad apart round convex corners.

    Where ``cut`` (by surface), concave corners have no strip: the cuts of the strips beside them
    tell what is lost there. Elsewhere they keep Steiner's negative strip.
    """
    before = np.empty_like(edges.after)
    before[edges.after] = np.arange(len(edges.after))
    concave = edges.turn_rad < -1e-9
    hollow = cut[edges.row] & concave & concave[before]  # cuts rise from 0 and fall to 0 again
    fewest = np.where(hollow, 4, 1)
    pieces = np.maximum(np.ceil(edges.length_m / spacing_m), fewest).astype(np.int64)
    step = edges.length_m / pieces
    # beside a concave corner the cut is s/tan(turn/2): one more ray where that reaches the cap
    rise = cap_m * np.tan(np.where(concave, -edges.turn_rad, 0.0) / 2)
    more = cut[edges.row] & concave & (rise < 0.9 * step[edges.after].clip(max=step))
    fans = np.maximum(np.ceil(edges.turn_rad / _FAN_RAD), 1).astype(np.int64)
    straight = pieces + more + more[before]  # strips along each edge
    edge, place = ragged(np.zeros(len(pieces), np.int64), straight + fans)
    corner = place >= straight[edge]
    regular = place - more[before][edge]
    far = np.clip(regular, 0, pieces[edge]) * step[edge]
    far = np.where(more[before][edge] & (place == 1), rise[before][edge], far)
    length = edges.length_m[edge]
    far = np.where(more[edge] & (regular == pieces[edge]), length - rise[edge], far)
    far = np.where(corner, length, far)
    opening = edges.turn_rad[edge] / fans[edge]
    right = np.column_stack((edges.along[:, 1], -edges.along[:, 0]))[edge]
    first = np.cumsum(straight + fans) - straight - fans
    after = np.arange(1, len(edge) + 1)
    after[first + straight + fans - 1] = first[edges.after]
    lost = cut[edges.row[edge]] & concave[edge]
    return Rays(
        row=edges.row[edge],
        at=edges.start[edge] + edges.along[edge] * far[:, None],
        out=_turned(right, np.where(corner, (place - straight[edge]) * opening, 0.0)),
        width_m=np.where(corner, 0.0, np.append(far[1:], 0.0) - far),
        turn_rad=np.where(corner & ~lost, opening, 0.0),
        pinched=np.where(place == 0, concave[before[edge]], corner & concave[edge]),
        after=after,
    )


def _turned(vectors: Floats, angle_rad: Floats) -> Floats:
    c, s = np.cos(angle_rad), np.sin(angle_rad)
    x, y = vectors[:, 0], vectors[:, 1]
    return np.column_stack((c * x - s * y, s * x + c * y))


def strips_of(rays: Rays, cuts_m: Floats, cap_m: float) -> Strips:
    """The strip that follows each ray, with the cuts of the rays on both sides, at most the cap."""
    start = np.minimum(cuts_m, cap_m)
    return Strips(
        row=rays.row,
        width_m=rays.width_m,
        turn_rad=rays.turn_rad,
        cut_start_m=start,
        cut_end_m=start[rays.after],
    )


def subdivided(rays: Rays, strips: Strips, parts: int) -> tuple[Floats, Floats, Strips]:
    """Each strip in equal ``parts``: start and direction of their middle lines, and the parts."""
    ray = np.repeat(np.arange(len(rays.row)), parts)
    place = np.tile(np.arange(parts), len(rays.row)) / parts
    middle, width = place + 0.5 / parts, rays.width_m[ray]
    along = np.column_stack((-rays.out[ray, 1], rays.out[ray, 0]))
    start, end = strips.cut_start_m[ray], strips.cut_end_m[ray]
    return (
        rays.at[ray] + along * (middle * width)[:, None],
        _turned(rays.out[ray], rays.turn_rad[ray] * middle),
        Strips(
            row=rays.row[ray],
            width_m=width / parts,
            turn_rad=rays.turn_rad[ray] / parts,
            cut_start_m=start + (end - start) * place,
            cut_end_m=start + (end - start) * (place + 1 / parts),
        ),
    )


def ragged(starts: Ints, counts: Ints) -> tuple[Ints, Ints]:
    """Owner and position of each member of runs of ``counts`` rows from ``starts`` on."""
    owner = np.repeat(np.arange(len(counts)), counts)
    first = np.cumsum(counts) - counts
    return owner, np.arange(len(owner)) - first[owner] + starts[owner]


def first_touch(at: Floats, out: Floats, edges: Edges) -> Floats:
    """Radius of the largest circle outside ``edges`` that touches them at ``at``, centre ``out``.

    Circles through a point with one tangent there are nested, so the first touch is the smallest of
    |q − p|²/(2 (q − p)·n) over corners q, and (p − a)·m/(1 − m·n) over pieces from a with outward
    normal m touched between their ends. One value a point, inf where nothing is touched.
    """
    origin = at.mean(axis=0)
    p, a, d = at - origin, edges.start - origin, edges.along
    m = np.column_stack((d[:, 1], -d[:, 0]))
    ahead = out @ a.T - np.einsum("ij,ij->i", out, p)[:, None]
    square = np.einsum("ij,ij->i", p, p)[:, None] - 2 * p @ a.T + np.einsum("ij,ij->i", a, a)
    corner = np.where(ahead > 1e-9, square, np.inf) / np.maximum(2 * ahead, 1e-9)
    off = p @ m.T - np.einsum("ij,ij->i", m, a)
    closing = 1 - out @ m.T
    radius = np.maximum(off, 0.0) / np.maximum(closing, 1e-12)
    foot = p @ d.T - np.einsum("ij,ij->i", d, a) + radius * (out @ d.T)
    touched = (off > 1e-9) & (closing > 1e-9) & (foot >= 0) & (foot <= edges.length_m)
    line = np.where(touched, radius, np.inf)
    radii: Floats = np.minimum(corner.min(axis=1), line.min(axis=1))
    return np.maximum(radii, 0.0)


def cuts_of(
    rays: Rays, edges: Edges, surfaces: Geometries, pairs: tuple[Ints, Ints], cut: Bools, cap: float
) -> Floats:
    """Distance from the edge at which each ray ends, inf where nothing within ``cap`` ends it.

    ``pairs`` are the surfaces near each other. Loops over the few surfaces that are ``cut``.
    """
    result = np.full(len(rays.row), np.inf)
    result[rays.pinched & cut[rays.row]] = 0.0
    ray_first = np.searchsorted(rays.row, np.arange(len(surfaces) + 1))
    edge_first = np.searchsorted(edges.row, np.arange(len(surfaces) + 1))
    for row in np.flatnonzero(cut):
        others = pairs[1][pairs[0] == row]
        mine = slice(ray_first[row], ray_first[row + 1])
        seen = np.append(others, row)
        _, which = ragged(edge_first[seen], edge_first[seen + 1] - edge_first[seen])
        at, box = rays.at[mine], np.array(shapely.bounds(surfaces[row]))
        start = edges.start[which]
        end = start + edges.along[which] * edges.length_m[which, None]
        near = (np.maximum(start, end) > box[:2] - 2 * cap) & (
            np.minimum(start, end) < box[2:] + 2 * cap
        )
        touch = first_touch(at, rays.out[mine], take(edges, which[near.all(axis=1)]))
        for other in others[shapely.dwithin(surfaces[row], surfaces[others], _TOUCH_M)]:
            shapely.prepare(surfaces[other])
            touch[shapely.dwithin(surfaces[other], shapely.points(at), _TOUCH_M)] = 0.0
        result[mine] = np.minimum(result[mine], touch)
    return result


def farthest_corners_m(zones: Geometries, surfaces: Geometries) -> Floats:
    """Distance (n,) from each surface's outline of the farthest corner of its zone's outer edge."""
    parts, row = shapely.get_parts(zones, return_index=True)
    corners, part = shapely.get_coordinates(shapely.get_exterior_ring(parts), return_index=True)
    outline = shapely.boundary(surfaces)[row[part]]
    farthest = np.zeros(len(zones))
    np.maximum.at(farthest, row[part], shapely.distance(shapely.points(corners), outline))
    return farthest


def is_steiner(surfaces: Geometries, distance_m: float) -> Bools:
    """Where P·x + π·χ·x² (χ = parts − holes) is within 0.2 % of the true ring of that distance."""
    ring = shapely.area(shapely.buffer(surfaces, distance_m, quad_segs=16)) - shapely.area(surfaces)
    steiner = shapely.length(surfaces) * distance_m + np.pi * parts_less_holes(surfaces) * (
        distance_m**2
    )
    return np.abs(ring / steiner - 1) < 2e-3


def parts_less_holes(surfaces: Geometries) -> Ints:
    """χ of each polygon or multipolygon: its parts less its holes."""
    parts, row = shapely.get_parts(surfaces, return_index=True)
    inside = 1 - shapely.get_num_interior_rings(parts)
    return np.bincount(row, inside, len(surfaces)).astype(np.int64)
