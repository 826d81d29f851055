"""Where rays out of edges end: at the medial axis, which empty circles find."""

from __future__ import annotations

import numpy as np
import shapely

from geosand.areas.near_pairs import near_pairs
from geosand.balance.rings.blocks import Blocks, blocks_of, near_blocks
from geosand.balance.rings.edges import Edges
from geosand.balance.rings.joints import TOUCH_M
from geosand.balance.rings.rays import Rays
from geosand.columns import Bools, Floats, Geometries, Ints, ratio
from geosand.tuples import NamedTuple

_AT_FIRST_RAD = 4.0  #: how far rays are looked along at first, as the edge turns back by so much
_CROWD = 8  #: other surfaces, of which most rays need look at no more
_FARTHER = 4.0  #: times as far at a time


class Obstacles(NamedTuple):
    """What may end the rays of surfaces, one row a surface where nothing else is said."""

    surfaces: Geometries
    cut: Bools  #: whether its rays may end
    cap_m: Floats
    edges: Edges  #: of all surfaces, sorted by surface
    pieces: Blocks  #: of these
    seen: tuple[Ints, Ints]  #: pairs: the first may meet edges of the second, which may be itself
    over: tuple[Ints, Ints]  #: pairs that lie over each other, both ways round
    at_first_m: Floats  #: how far along its rays to look at first; what they end at is the same

    @classmethod
    def of(
        cls,
        edges: Edges,
        surfaces: Geometries,
        pairs: tuple[Ints, Ints],
        cut: Bools,
        cap_m: Floats,
    ) -> Obstacles:
        """``pairs`` are the surfaces near each other, both ways round."""
        left, right = pairs
        count, itself = len(surfaces), np.flatnonzero(cut)
        over = shapely.intersects(surfaces[left], surfaces[right])
        start = np.column_stack((edges.x, edges.y))
        end = start + np.column_stack((edges.along_x, edges.along_y)) * edges.length_m[:, None]
        back = np.bincount(edges.row, np.maximum(-edges.turn_rad, 0.0), count)
        # round jagged outlines, and in a crowd, most rays end long before the cap
        radius = ratio(np.bincount(edges.row, edges.length_m, count), back, np.inf)
        others = np.maximum(np.bincount(left, minlength=count), _CROWD)
        return cls(
            surfaces=surfaces,
            cut=cut,
            cap_m=cap_m,
            edges=edges,
            pieces=blocks_of(np.minimum(start, end), np.maximum(start, end), edges.row, count),
            seen=(np.concatenate((itself, left)), np.concatenate((itself, right))),
            over=(left[over], right[over]),
            at_first_m=np.minimum(_AT_FIRST_RAD * radius, cap_m * _CROWD / others),
        )


def cuts_of(rays: Rays, obstacles: Obstacles, within_m: Floats | None = None) -> Floats:
    """Distance from the edge at which each ray ends, inf where nothing within its cap ends it.

    Rays are sorted by surface; only those of surfaces that are ``cut`` are looked at.
    ``within_m`` (n): how far along each ray to look, left out: to its cap; farther ones may be inf.
    """
    cut = obstacles.cut[rays.row]
    result = np.full(len(rays.row), np.inf)
    result[(rays.lacks_rad > 0) & cut] = 0.0
    _end_within_others(result, rays, obstacles)
    left = np.flatnonzero((result > 0) & cut)
    far = obstacles.cap_m[rays.row[left]] if within_m is None else within_m[left]
    near = obstacles.at_first_m[rays.row[left]]
    while len(left):
        within = np.minimum(near, far)
        _end_at_touch(result, rays, obstacles, left, within)
        still = (result[left] > within) & (within < far)
        left, far, near = left[still], far[still], near[still] * _FARTHER
    return result


def _end_at_touch(
    cuts_m: Floats, rays: Rays, obstacles: Obstacles, asked: Ints, within_m: Floats
) -> None:
    """Some rays end where they first touch an edge, if that is ``within_m`` or is found anyway."""
    reach = within_m[:, None]
    middle = rays.at.take(asked, axis=0) + rays.out.take(asked, axis=0) * reach
    discs = blocks_of(middle - reach, middle + reach, rays.row[asked], len(obstacles.cut))
    pieces = obstacles.pieces
    for ray, edge in near_blocks(discs, pieces, obstacles.seen):
        some = asked[discs.rows[ray]]
        touch = first_touch(rays, some, obstacles.edges, pieces.rows[edge])
        touch = np.where(pieces.known[edge][:, None], touch, np.inf).min(axis=2)
        touch[~discs.known[ray]] = np.inf
        np.minimum.at(cuts_m, some, touch)


def drawn_in(rays: Rays, cuts_m: Floats, cap_m: Floats) -> Rays:
    """Rays next to those without ground moved to where, coming from there, their cut is reached.

    Cuts rise as s·tan(opening/2) only until another outline is as near, which was looked for
    farther along: strips would rise all the way to there. ``cap_m`` has one row a surface.
    """
    low = np.flatnonzero((rays.lacks_rad > 0) & (cuts_m == 0))
    if not len(low):
        return rays
    ahead = rays.width_m[low] > 0  # else the strip before it ends there
    moved = np.where(ahead, low + 1, low - 1)
    short, grown = np.minimum(low, moved), np.where(ahead, moved, moved - 1)
    width = rays.width_m[short]
    cuts = np.minimum(cuts_m[moved], cap_m[rays.row[low]])
    rise = cuts * np.tan(rays.lacks_rad[low] / 2)
    some = (cuts > 0) & (rise < width) & (rays.width_m[grown] > 0)  # else a corner's ray
    low, moved, short, grown = (x[some] for x in (low, moved, short, grown))
    width, rise = width[some], rise[some]
    at, widths = rays.at.copy(), rays.width_m.copy()
    at[moved] = at[low] + (at[moved] - at[low]) * (rise / width)[:, None]
    widths[short] = rise
    widths[grown] += width - rise
    return rays._replace(at=at, width_m=widths)


def first_touch(rays: Rays, ray: Ints, edges: Edges, edge: Ints) -> Floats:
    """Radius (k, 12, 12) of the circle that touches a ray's start and a piece of outline.

    Its centre lies out along the ray. ``ray`` and ``edge`` (k, 12) are rows. Circles through a
    point with one tangent there are nested, so the first touch is the smallest of
    |q − p|²/(2 (q − p)·n) over corners q, and (p − a)·m/(1 − m·n) over pieces from a with outward
    normal m touched between their ends. inf where nothing is touched.
    """
    p, n = rays.at.take(ray, axis=0)[:, :, None], rays.out.take(ray, axis=0)[:, :, None]
    x, y = edges.x[edge][:, None] - p[..., 0], edges.y[edge][:, None] - p[..., 1]
    along_x, along_y = edges.along_x[edge][:, None], edges.along_y[edge][:, None]
    ahead = n[..., 0] * x + n[..., 1] * y
    # what touches at a joint itself ends nothing there: whose the ground is, the joint tells
    off_by = np.where(rays.joint[ray], TOUCH_M, 1e-9)[:, :, None]
    corner = np.where(ahead > off_by, x * x + y * y, np.inf) / np.maximum(2 * ahead, 1e-9)
    off = along_x * y - along_y * x  # (p − a)·m with m = (along_y, −along_x)
    closing = 1 - (n[..., 0] * along_y - n[..., 1] * along_x)
    radius = np.maximum(off, 0.0) / np.maximum(closing, 1e-12)
    foot = radius * (n[..., 0] * along_x + n[..., 1] * along_y)
    foot -= x * along_x + y * along_y
    touched = (off > off_by) & (closing > 1e-9) & (foot >= 0)
    touched &= foot <= edges.length_m[edge][:, None]
    radii: Floats = np.minimum(corner, np.where(touched, radius, np.inf))
    return np.maximum(radii, 0.0)


def _end_within_others(cuts_m: Floats, rays: Rays, obstacles: Obstacles) -> None:
    """No strip begins within another surface, should two lie over each other."""
    left, right = obstacles.over
    if not len(left):
        return
    asked, surfaces = np.zeros(len(obstacles.cut), dtype=np.bool_), obstacles.surfaces
    asked[left] = True
    some = np.flatnonzero(asked[rays.row] & (cuts_m > 0) & ~rays.joint)
    places, boxes = np.tile(rays.at[some], 2), shapely.bounds(surfaces)[right]
    ray, pair = near_pairs(places, rays.row[some], boxes, left)
    ray = some[ray]
    shapely.prepare(surfaces[right])
    within = shapely.intersects_xy(surfaces[right[pair]], *rays.at[ray].T)
    cuts_m[ray[within]] = 0.0
