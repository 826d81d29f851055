"""How near catches are to edges, and which dressed surface is the nearest to each.

Distances are measured only where no bound tells enough.
"""

from __future__ import annotations

import numpy as np
import shapely

from geosand.columns import Floats, Geometries, Ints, begins, ragged
from geosand.rates.catch_rows import rows_of_pairs
from geosand.site.tables import Site

EDGE_BAND_M = 1.0  #: half a swath where the swath is unknown
_SPARE = 1e-9  #: relative: bounds are rounded
_PAIRS_AT_ONCE = 1 << 16  #: what is worked on at once stays in a processor's own memory


def edge_bands_m(site: Site) -> Floats:
    """Width of the band along an edge in which the rate falls, half a swath; a row as Dressed."""
    swath = site.dressed.swath_m
    return np.where(np.isnan(swath), EDGE_BAND_M, swath / 2)


def edge_distances(x: Floats, y: Floats, polygons: Geometries, row: Ints) -> Floats:
    """Distance of each point (n,) to the edge of the polygon in its ``row``; nan where empty."""
    if not len(row):
        return np.empty(0)
    used, place = np.unique(row, return_inverse=True)
    outlines = shapely.boundary(polygons[used])
    return shapely.distance(shapely.points(x, y), outlines[place])


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
    least = np.minimum.reduceat(most, np.flatnonzero(begins(catch)))[catch]
    near = np.flatnonzero(gap_x**2 + gap_y**2 <= least * (1 + _SPARE))
    catch, row = catch[near], row[near]
    gap = shapely.distance(shapely.points(px[near], py[near]), owned[surface[row]])
    distance = np.minimum.reduceat(gap, np.flatnonzero(begins(catch)))
    first = np.flatnonzero(gap == distance[catch])[::-1]
    nearest = np.empty(len(x), dtype=np.int64)
    nearest[catch[first]] = row[first]  # the first of several is written last
    return nearest, distance


def _sides(place: Floats, low: Floats, high: Floats) -> tuple[Floats, Floats]:
    """Distances to the nearer and to the farther side."""
    one, other = np.abs(place - low), np.abs(place - high)
    return np.minimum(one, other), np.maximum(one, other)
