"""Collars drawn close round surfaces: how wide they are, and the ground of a band beyond them.

A collar is *close* where its one hole is just the surface and it is about as wide on all sides. Its
area is that of its polygon, and that of a band round it a closed form.
"""

from __future__ import annotations

import numpy as np
import shapely

from geosand.areas.outline_bearings import (
    Corners,
    Outlines,
    in_ring,
    outlines_of_rings,
    square_to_edge,
    square_to_edges_beside,
)
from geosand.areas.overlay import widened
from geosand.balance.rings.steiner import ring_area_m2
from geosand.columns import Bools, Floats, Geometries, Ints, ragged
from geosand.tuples import NamedTuple

_UNEVEN = 3.0  #: mean widths, by which a collar may stand out to one side


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
