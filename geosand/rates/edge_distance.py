"""How near catches are to edges, and which dressed surface is the nearest to each.

Distances are measured only where no bound tells enough.
"""

from __future__ import annotations

import numpy as np
import shapely

from geosand.areas.outline_bearings import (
    bearing,
    bends_of,
    edge_towards,
    in_ring,
    outlines_of,
    square_to_edge,
)
from geosand.columns import Bools, Floats, Geometries, Ints, ragged
from geosand.rates.catch_rows import rows_of_pairs
from geosand.site.tables import Site

_SPARE_M = 1e-9  #: bounds that are closer to the limit than this tell nothing
_SPARE = 1e-9  #: relative: bounds are rounded
_PAIRS_AT_ONCE = 1 << 16  #: what is worked on at once stays in a processor's own memory


def edge_distances(x: Floats, y: Floats, polygons: Geometries, row: Ints) -> Floats:
    """Distance of each point (n,) to the edge of the polygon in its ``row``; nan where empty."""
    used, place = _used(row, len(polygons))
    outlines = shapely.boundary(polygons[used])
    gap: Floats = shapely.distance(shapely.points(x, y), outlines[place])
    return gap


def _used(row: Ints, rows: int) -> tuple[Ints, Ints]:
    """The rows that occur, in order, and the place of each ``row`` among them."""
    there = np.zeros(rows, dtype=np.bool_)
    there[row] = True
    return np.flatnonzero(there), np.cumsum(there)[row] - 1


def within_edge(
    x: Floats, y: Floats, polygons: Geometries, row: Ints, inside: Bools, limit: Floats
) -> tuple[Bools, Bools]:
    """Which points are surely within ``limit`` (n,) of the edge of their polygon, and which may be.

    ``row`` (n,) is the row of ``polygons`` (S,) of each, ``inside`` (n,) which points are known to
    lie in it. Who leaves a polygon leaves its box no earlier. Those that may be are for
    :func:`edge_distances`.
    """
    used, place = _used(row, len(polygons))
    shapes = polygons[used]
    west, south, east, north = shapely.bounds(shapes).T
    across = np.minimum(x - west[place], east[place] - x)
    along = np.minimum(y - south[place], north[place] - y)
    surely = inside & (np.minimum(across, along) <= limit - _SPARE_M)
    some = np.flatnonzero(inside & ~surely)
    least, most = _from_edge(x[some], y[some], shapes, place[some], limit[some] + _SPARE_M)
    surely[some] = most <= limit[some] - _SPARE_M
    maybe = ~surely
    maybe[some[least > limit[some] + _SPARE_M]] = False
    return surely, maybe


def _from_edge(
    x: Floats, y: Floats, polygons: Geometries, row: Ints, enough: Floats
) -> tuple[Floats, Floats]:
    """How far points in polygons are at least and at most from the edge; from 0 to inf if unknown.

    Told where all of a polygon is seen from some place and a disc of radius h about it. A point is
    as far from the edge as from the outside of the disc. Where that is not ``enough``: the edge is
    no farther than the piece of it in the point's direction from there, met at 1/u of the point's
    distance; and as the disc is seen from there too, what the point sees of it holds a disc of
    radius (1 − u)·h about the point.
    """
    outlines, corners = outlines_of(polygons)
    bends, first = bends_of(outlines, corners), outlines.first
    least, most = np.zeros(len(x)), np.full(len(x), np.inf)
    if not len(first):
        return least, most
    disc = np.minimum.reduceat(bends.from_middle_m, first)
    alone = np.bincount(outlines.of, minlength=len(polygons))[outlines.of] == 1
    known = np.flatnonzero(alone & outlines.ordered & (disc > 0))
    ring_of = np.full(len(polygons), -1)
    ring_of[outlines.of[known]] = known
    some = np.flatnonzero(ring_of[row] >= 0)
    ring = ring_of[row[some]]
    x, y = x[some] - outlines.middle_x[ring], y[some] - outlines.middle_y[ring]
    within = disc[ring] - np.sqrt(x * x + y * y)
    least[some] = np.maximum(within, 0.0)
    left = np.flatnonzero(within <= enough[some])
    some, ring, x, y = some[left], ring[left], x[left], y[left]
    edge = edge_towards(outlines, corners, ring, bearing(x, y))
    begin = first[ring] + in_ring(edge, outlines.edges[ring])
    step_x, step_y = (c[begin + 1] - c[begin] for c in (corners.x, corners.y))
    part = (x * step_y - y * step_x) / (corners.x[begin] * step_y - corners.y[begin] * step_x)
    least[some] = (1 - part) * disc[ring]
    most[some] = np.sqrt(square_to_edge(corners, begin, x, y))
    return least, most


def nearest_dressed(
    site: Site, owned: Geometries, x: Floats, y: Floats, by_position: Ints
) -> tuple[Ints, Floats]:
    """Row of Dressed nearest to each catch (n,) among those of its dressing, and its distance.

    ``owned`` are the polygons of all surfaces in the plane of ``x`` and ``y``, ``by_position`` the
    row of the one under each catch: where that was dressed, the distance is 0. -1 and nan where
    the dressing has no ground. Of several equally near the first row counts.
    """
    dressed, dressing = site.dressed, site.catches.dressing
    nearest = rows_of_pairs(dressed.dressing, dressed.surface, dressing, by_position)
    distance = np.where(nearest >= 0, 0.0, np.nan)
    outside = np.flatnonzero(nearest < 0)
    if not len(outside):
        return nearest, distance
    rows = np.flatnonzero(~shapely.is_empty(owned[dressed.surface]))
    rows = rows[np.argsort(dressed.dressing[rows], kind="stable")]
    count = np.bincount(dressed.dressing[rows], minlength=len(site.dressings))
    start = np.cumsum(count) - count
    outside = outside[count[dressing[outside]] > 0]
    bounds = shapely.bounds(owned)
    blocks = 1 + int(count[dressing[outside]].sum()) // _PAIRS_AT_ONCE
    for part in np.array_split(outside, blocks):
        if not len(part):
            continue
        catch, place = ragged(start[dressing[part]], count[dressing[part]])
        nearest[part], distance[part] = _nearest(
            x[part], y[part], catch, rows[place], bounds, owned, dressed.surface
        )
    return nearest, distance


def _nearest(
    x: Floats, y: Floats, catch: Ints, row: Ints, bounds: Floats, owned: Geometries, surface: Ints
) -> tuple[Ints, Floats]:
    """The nearest of the pairs (catch, row), which are in order of catch, all of them with some.

    A polygon touches all sides of its box, so that it is no farther than the farthest point of the
    nearest side; only boxes nearer than the least of these are compared as polygons.
    """
    west, south, east, north = bounds[surface[row]].T
    px, py = x[catch], y[catch]
    nearer_x, farther_x = _sides(px, west, east)
    nearer_y, farther_y = _sides(py, south, north)
    most = np.minimum(nearer_x**2 + farther_y**2, farther_x**2 + nearer_y**2)
    gap_x = np.where((px > west) & (px < east), 0.0, nearer_x)
    gap_y = np.where((py > south) & (py < north), 0.0, nearer_y)
    least = np.minimum.reduceat(most, _starts(catch))[catch]
    near = np.flatnonzero(gap_x**2 + gap_y**2 <= least * (1 + _SPARE))
    catch, row = catch[near], row[near]
    gap = shapely.distance(shapely.points(px[near], py[near]), owned[surface[row]])
    distance = np.minimum.reduceat(gap, _starts(catch))
    first = np.flatnonzero(gap == distance[catch])[::-1]
    nearest = np.empty(len(x), dtype=np.int64)
    nearest[catch[first]] = row[first]  # the first of several is written last
    return nearest, distance


def _sides(place: Floats, low: Floats, high: Floats) -> tuple[Floats, Floats]:
    """Distances to the nearer and to the farther side."""
    one, other = np.abs(place - low), np.abs(place - high)
    return np.minimum(one, other), np.maximum(one, other)


def _starts(catch: Ints) -> Ints:
    return np.flatnonzero(np.diff(catch, prepend=-1))
