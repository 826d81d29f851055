"""How far the edges of two surveys lie apart, and whether all of one survey is shifted."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from geosand.areas.plane import Plane
from geosand.areas.rings import rings_of
from geosand.columns import Floats, Geometries, ratio

DUST_M = 1e-6  #: distances below this are rounding
SPACING_M = 0.25  #: between the points at which an edge's shift is measured
OFFSET_M = 0.05  #: a smaller offset of a whole survey is not worth a word
FEWEST = 3  #: surfaces whose shifts show how well they agree; of fewer it is their outlines
MEDIAN_U = 1.2533  #: standard uncertainty of a median over that of a mean, sqrt(pi/2)
MAD_SD = 1.4826  #: standard deviation of normal errors over their median absolute deviation

_Away = tuple[Floats, Floats, Floats, Floats]


@dataclass(frozen=True, slots=True, kw_only=True)
class Offset:
    """By how much all surfaces of the new survey lie apart from those of the old one."""

    east_m: float
    north_m: float
    u_m: float  #: standard uncertainty of each, from how well the surfaces agree
    surfaces: int


def common_offset(old: Geometries, new: Geometries, plane: Plane) -> Offset | None:
    """The median shift of the centroids of paired surfaces (n,), where it is more than chance.

    None where the median lies within 3 u of nothing. Median and median absolute deviation: single
    rebuilt surfaces do not count. One or two surfaces agree as well as their outlines fall together
    when shifted so.
    """
    flat_old, flat_new = plane.to_plane(old), plane.to_plane(new)
    there = ~(shapely.is_empty(flat_old) | shapely.is_empty(flat_new))
    if not there.any():
        return None
    flat_old, flat_new = flat_old[there], flat_new[there]
    before, after = (shapely.get_coordinates(shapely.centroid(f)) for f in (flat_old, flat_new))
    shift = after - before
    middle = np.median(shift, axis=0)
    if len(shift) < FEWEST:
        moved = shapely.transform(flat_old, lambda points: points + middle)
        _, forth, back = _mean_apart_m(moved, flat_new)
        u = float(max(forth[2].max(), back[2].max()))
    else:
        spread = MAD_SD * np.median(np.abs(shift - middle), axis=0).max()
        u = float(MEDIAN_U * spread / np.sqrt(len(shift)))
    if float(np.hypot(*middle)) < max(OFFSET_M, 3 * u):
        return None
    return Offset(east_m=float(middle[0]), north_m=float(middle[1]), u_m=u, surfaces=len(shift))


def edge_shifts(
    old: Geometries, new: Geometries, plane: Plane
) -> tuple[Floats, Floats, Floats, Floats]:
    """Mean and largest distance between drawn edges, both ways, and the lon/lat of the largest."""
    flat_old, flat_new = plane.to_plane(old), plane.to_plane(new)
    mean, forth, back = _mean_apart_m(flat_old, flat_new)
    farther = forth[2] >= back[2]
    largest = np.where(farther, forth[2], back[2])
    x, y = np.where(farther[:, None], forth[3], back[3]).T
    longitude, latitude = plane.inverse(x, y)
    return mean, largest, longitude, latitude


def _mean_apart_m(flat_old: Geometries, flat_new: Geometries) -> tuple[Floats, _Away, _Away]:
    """Mean distance (n,) between edges both ways, and what ``_distances`` gives each way."""
    forth, back = _distances(flat_new, flat_old), _distances(flat_old, flat_new)
    return ratio(forth[0] + back[0], forth[1] + back[1]), forth, back


def _distances(flat: Geometries, others: Geometries) -> _Away:
    """Along each edge: integral of the distance to the other, length, largest, and its x, y."""
    step = np.maximum(SPACING_M, shapely.length(flat) / 4000)
    rings = rings_of(shapely.segmentize(flat, step))
    begin, end = rings.edges()
    owner = rings.per_vertex(rings.surface)
    away = shapely.distance(shapely.points(rings.position), shapely.boundary(others)[owner])
    away = np.where(away > DUST_M, away, 0.0)  # an empty outline has no distance: nan
    length = np.hypot(*(end - begin).T)
    along = rings.sum_edges(length * (away + np.roll(away, -1)) / 2)
    largest, place = np.zeros(len(flat)), np.full((len(flat), 2), np.nan)
    order = np.lexsort((away, owner))
    last = order[np.flatnonzero(np.diff(owner[order], append=-1) != 0)]
    largest[owner[last]], place[owner[last]] = away[last], rings.position[last]
    return rings.sum_rings(along), rings.sum_rings(rings.sum_edges(length)), largest, place
