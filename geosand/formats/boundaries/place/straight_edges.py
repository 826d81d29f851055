"""Edges that are straight in a grid: corners are added, so that they stay so in lon/lat.

An edge of GeoJSON is straight in longitude and latitude (RFC 7946, 3.1.1), one that was surveyed or
drawn in a grid is straight there. Between the same two corners the two lie apart: 20 mm in the
middle of 800 m, and a triangle of 16 ha has 18 ppm more ground by one than by the other. Where a
hole touches an edge between its corners, what moves by a millionth of a millimetre crosses.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import shapely

from geosand.areas.ellipsoid import ellipsoid_areas_m2, radii_m
from geosand.areas.rings import Rings, polygons_of, rings_of
from geosand.columns import Floats, Geometries, Ints, ragged
from geosand.formats.boundaries.place.antimeridian import uncut

#: Of its area that an outline may lose or gain by its edges: a quarter of what areas are good to.
SHARE, LEAST_M2 = 2.5e-7, 5e-4
#: A corner and the edge that it lies on are rounded by up to 0.7 of the last decimal each.
ROUNDED_APART = 1.5
_ON_A_GRID = 0.9  #: of the numbers; what was drawn as an arc or added is not on it
MOST_PIECES = 1000  #: of one edge; more are only asked by edges of hundreds of kilometres


def written_unit(points: Floats, coarsest: float) -> float:
    """The last decimal place that numbers (n, 2) have, as 0.001; 0 where none shows.

    Places above ``coarsest`` are not looked for.

    >>> written_unit(np.array([[560000.125, 5906000.5], [560010.001, 5906010.75]]), 0.01)
    0.001
    """
    numbers = points.ravel()
    spare = 4 * np.spacing(np.abs(numbers))  # a decimal is not exact in binary
    for decimals in range(max(0, int(-np.floor(np.log10(coarsest)) - 1)), 12):
        on_grid = np.abs(np.round(numbers, decimals) - numbers) <= spare
        if on_grid.mean() >= _ON_A_GRID:
            return float(10.0**-decimals) if 10.0**-decimals <= coarsest else 0.0
        if 10.0**-decimals < spare.max():
            break
    return 0.0


def with_meeting_corners(geometry: Geometries, reach: float) -> Geometries:
    """The outlines (n,) with a corner wherever one of any ring lies on an edge, within ``reach``.

    So what meets in the middle of an edge still does when it is turned to lon/lat and rounded.
    Outlines that are not sound, or would not be so with the corners, stay as they are.
    """
    some = geometry.copy()
    some[~shapely.is_valid(geometry)] = None
    rings = rings_of(some)
    places = np.unique(rings.position, axis=0)
    starts = np.delete(np.arange(len(rings.position)), rings.last)
    begin, end = (points[starts] for points in rings.edges())
    edges = np.asarray(shapely.linestrings(np.stack([begin, end], axis=1)), dtype=object)
    place, edge = shapely.STRtree(edges).query(shapely.points(places), "dwithin", distance=reach)
    added, along = places[place], np.hypot(*(places[place] - begin[edge]).T)
    between = (along > reach) & (np.hypot(*(added - end[edge]).T) > reach)
    if not between.any():
        return geometry
    edge, added, along = edge[between], added[between], along[between]
    order = np.lexsort((along, edge))
    after = starts[edge[order]]
    rows = np.unique(rings.per_vertex(rings.surface)[after])
    made = polygons_of(_with_more(rings, after, added[order]))[rows]
    sound = shapely.is_valid(made)
    out = geometry.copy()
    out[rows[sound]] = made[sound]
    return out


def _with_more(rings: Rings, after: Ints, added: Floats) -> Rings:
    """The rings with further corners (n, 2), each ``after`` a vertex (n,), which ascend."""
    of = np.searchsorted(rings.last, after)
    more = np.cumsum(np.bincount(of, minlength=len(rings.first)))
    return Rings(
        position=np.insert(rings.position, after + 1, added, axis=0),
        first=rings.first + np.append(0, more[:-1]),
        last=rings.last + more,
        surface=rings.surface,
        is_hole=rings.is_hole,
        surfaces=rings.surfaces,
    )


def kept_straight(
    plane: Geometries, lon_lat: Geometries, move: Callable[[Floats], Floats]
) -> tuple[Geometries, int, int]:
    """The outlines (n,) in lon/lat, how many of them got corners, and how many corners.

    ``plane`` are they in a grid, with which ``move`` turns places (n, 2) to lon/lat. Edges that two
    outlines share get the same corners.
    """
    there, rings = rings_of(plane), rings_of(lon_lat)
    if len(there.position) != len(rings.position) or not len(rings.first):
        return lon_lat, 0, 0
    bulge = _bulges_m2(there, rings, move)
    winding = np.sign(there.sum_edges(_crosses(*there.edges())))
    turned = np.where(rings.is_hole, -winding, winding)
    limit = np.maximum(SHARE * ellipsoid_areas_m2(uncut(lon_lat)), LEAST_M2)
    of, edge = rings.per_vertex(rings.surface), _common_edges(there)
    bent, pieces = np.zeros(len(limit), dtype=np.bool_), np.ones(len(of), dtype=np.int64)
    while True:  # corners of a neighbour on one side of an outline may bend it: then it needs some
        net = np.abs(rings.sum_rings(turned * rings.sum_edges(bulge / pieces**2)))
        more = (net > limit) & ~bent
        if not more.any():
            break
        bent |= more
        pieces = _pieces(np.where(bent[of], np.abs(bulge), 0.0), of, limit)
        most = np.ones(len(of), dtype=np.int64)
        np.maximum.at(most, edge, pieces)
        pieces = most[edge]
    if not bent.any():
        return lon_lat, 0, 0
    changed = np.flatnonzero(np.bincount(of, pieces > 1) > 0)
    out = lon_lat.copy()
    out[changed] = polygons_of(_divided(there, rings, pieces, move))[changed]
    return out, len(changed), int((pieces - 1).sum())


def _crosses(begin: Floats, end: Floats) -> Floats:
    """Twice the signed area (N,) that each edge spans with the first corner of all."""
    (x, y), (to_x, to_y) = (begin - begin[:1]).T, (end - begin[:1]).T
    return np.asarray(x * to_y - y * to_x)


def _bulges_m2(there: Rings, rings: Rings, move: Callable[[Floats], Floats]) -> Floats:
    """Ground (N,) that lies right of each edge in lon/lat and left of it in the grid.

    Two thirds of the edge times what the middles lie apart: a parabola.
    """
    begin, end = there.edges()
    middle = move((begin + end) / 2)
    start, stop = rings.edges()
    meridian, parallel = radii_m((start[:, 1] + stop[:, 1]) / 2)
    metres = np.radians(1.0) * np.column_stack([parallel, meridian])
    step = _turned(stop - start)
    apart = _turned(middle - start - step / 2) * metres
    step *= metres
    bulge: Floats = -2 / 3 * (step[:, 0] * apart[:, 1] - step[:, 1] * apart[:, 0])
    bulge[rings.last] = 0.0
    return bulge


def _turned(degrees: Floats) -> Floats:
    """Differences (n, 2) of lon/lat, the way round that is shorter across 180°."""
    degrees[:, 0] = (degrees[:, 0] + 180.0) % 360.0 - 180.0
    return degrees


def _pieces(bulge: Floats, of: Ints, limit: Floats) -> Ints:
    """In how many pieces each edge (N,) is cut, so that its outline keeps within its limit.

    Of n pieces the bulges are together an n-squared-th of the whole.
    """
    total, most = np.bincount(of, bulge), np.zeros(len(limit))
    np.maximum.at(most, of, bulge)
    share = np.divide(limit * most, total, out=np.full(len(limit), np.inf), where=total > 0)
    count = np.clip(np.ceil(np.sqrt(bulge / share[of])), 1, MOST_PIECES)
    return np.asarray(count, dtype=np.int64)


def _common_edges(there: Rings) -> Ints:
    """A number (N,) for each edge, the same for one that several outlines have either way round."""
    low, high = _ordered(*there.edges())
    _, edge = np.unique(np.column_stack([low, high]), axis=0, return_inverse=True)
    return np.asarray(edge.ravel(), dtype=np.int64)


def _ordered(begin: Floats, end: Floats) -> tuple[Floats, Floats]:
    """Both ends of each edge (N, 2), that farther west first, so that an edge has one direction."""
    swap = (begin[:, 0] > end[:, 0]) | ((begin[:, 0] == end[:, 0]) & (begin[:, 1] > end[:, 1]))
    return np.where(swap[:, None], end, begin), np.where(swap[:, None], begin, end)


def _divided(there: Rings, rings: Rings, pieces: Ints, move: Callable[[Floats], Floats]) -> Rings:
    """The rings in lon/lat with corners that divide each edge in so many pieces in the grid."""
    begin, end = there.edges()
    low, high = _ordered(begin, end)
    edge, number = ragged(np.zeros(len(pieces), dtype=np.int64), pieces)
    count = pieces[edge]
    along = np.where((low == begin).all(axis=1)[edge], number, count - number)
    added = low[edge] + (high - low)[edge] * (along / count)[:, None]
    position = rings.position[edge].copy()
    new = number > 0
    position[new] = move(added[new])
    first = np.cumsum(pieces) - pieces
    return Rings(
        position=position,
        first=first[rings.first],
        last=first[rings.last],
        surface=rings.surface,
        is_hole=rings.is_hole,
        surfaces=rings.surfaces,
    )
