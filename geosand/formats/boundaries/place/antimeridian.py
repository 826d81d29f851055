"""Outlines across 180° of longitude: cut there in a file (RFC 7946, 3.1.9), joined to measure."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
import shapely.affinity

from geosand.columns import Floats, Geometries
from geosand.site.outlines import joined_at_180

_WEST = shapely.box(0, -90, 180, 90)
_EAST = shapely.box(180, -90, 360, 90)


def cut(geometry: Geometries) -> tuple[Geometries, list[int]]:
    """Lon/lat polygons (n,) without edges across 180°, and the rows that were cut.

    A polygon more than 180° wide is one that crosses; so is one that runs on beyond 180°. What
    crosses itself as well is left alone.
    """
    parts, row = shapely.get_parts(geometry, return_index=True)
    if not len(parts):
        return geometry, []
    bounds = shapely.bounds(parts)
    across = (bounds[:, 2] - bounds[:, 0] > 180) | ((bounds[:, 2] > 180) & (bounds[:, 2] <= 360))
    rows = [int(k) for k in np.unique(row[across]) if shapely.is_valid(_turned(geometry[k]))]
    out = geometry.copy()
    for k in rows:
        shape = _turned(geometry[k])
        back = shapely.affinity.translate(shapely.intersection(shape, _EAST), -360.0)
        halves = np.array([shapely.intersection(shape, _WEST), back], dtype=object)
        pieces = shapely.get_parts(halves)
        pieces = pieces[(shapely.get_type_id(pieces) == 3) & (shapely.area(pieces) > 0)]
        out[k] = pieces[0] if len(pieces) == 1 else shapely.multipolygons(pieces)
    return out, rows


def uncut(geometry: Geometries) -> Geometries:
    """The same lon/lat shapes (n,), each in one where it lies on both sides of 180°."""
    out = geometry.copy()
    bounds = shapely.bounds(geometry)
    for k in np.flatnonzero(bounds[:, 2] - bounds[:, 0] > 180).tolist():
        out[k] = on_one_side(geometry[[k]])[0]
    return out


def on_one_side(geometry: Geometries) -> Geometries:
    """The same lon/lat shapes with longitudes up to 360°, where they lie on both sides of 180°."""
    if not len(geometry):
        return geometry
    west, _, east, _ = shapely.total_bounds(geometry)
    if not east - west > 180:
        return geometry
    turned: Geometries = shapely.transform(geometry, _onward)
    several = shapely.get_num_geometries(turned) > 1
    sound = shapely.is_valid(geometry)
    for k in np.flatnonzero(several & sound):
        parts = shapely.get_parts(turned[k])
        if shapely.is_valid(parts).all():  # what lies across 0° is torn
            turned[k] = joined_at_180(parts)
    return turned


def on_both_sides(points: Floats) -> Floats:
    """Positions (n, 2 or more) with longitudes up to 180°, from ones that run on to 360°."""
    moved = points.copy()
    moved[:, 0] = np.where(points[:, 0] > 180, points[:, 0] - 360.0, points[:, 0])
    return moved


def _turned(shape: Any) -> Any:
    return shapely.transform(shape, _onward)


def _onward(points: Floats) -> Floats:
    moved = points.copy()
    moved[:, 0] = np.where(points[:, 0] < 0, points[:, 0] + 360.0, points[:, 0])
    return moved
