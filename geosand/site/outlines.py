"""Outlines at the door: lon/lat, closed, sound, in one place; nothing is repaired silently."""

from __future__ import annotations

import numpy as np
import shapely

from geosand.columns import Bools, Floats, Geometries, Strings
from geosand.errors import Faults
from geosand.site.cells import quoted
from geosand.site.reading import Reader

MAXIMUM_LATITUDE = 89.9
FARTHEST_DEGREE = 1.0  #: between surfaces of one site


def check_outlines(reader: Reader, geometry: Geometries, ids: Strings) -> Geometries:
    """The geometries in two dimensions; faults for what has no area or is not lon/lat."""
    flat: Geometries = shapely.force_2d(geometry)
    missing = np.array([g is None for g in geometry], dtype=bool) | shapely.is_empty(flat)
    told = np.isin(np.arange(len(flat)), list(reader.table.told))
    for row in np.flatnonzero(missing & ~told).tolist():
        remedy = "draw it, or delete the feature"
        reader.fault(row, None, f"surface {quoted(str(ids[row]))} has no polygon", remedy=remedy)
    bad = missing | _off_the_globe(reader, flat, ids, missing)
    for row in np.flatnonzero(~bad & ~shapely.is_valid(flat)).tolist():
        reason = shapely.is_valid_reason(flat[row])
        reader.fault(
            row,
            None,
            f"the outline of {quoted(str(ids[row]))} crosses or touches itself: {reason}",
            remedy="mend the outline there; it is not repaired silently",
        )
    return flat


def _off_the_globe(reader: Reader, flat: Geometries, ids: Strings, missing: Bools) -> Bools:
    """True where the coordinates can not be longitude and latitude of turf; with a fault each."""
    bounds = shapely.bounds(flat)
    far = np.nan_to_num(np.abs(bounds))  # of no polygon at all, bounds are nan
    tall = far[:, [1, 3]].max(axis=1, initial=0)
    wide = (far[:, [0, 2]].max(axis=1, initial=0) > 180) | (tall > 90)
    parts, row_of = shapely.get_parts(flat, return_index=True)
    spans = shapely.bounds(parts)
    across = np.zeros(len(flat), dtype=bool)
    across[row_of[spans[:, 2] - spans[:, 0] > 180]] = True
    checks = [
        (
            wide,
            "lies outside longitude ±180, latitude ±90",
            "these are not lon/lat degrees in WGS 84: export it so, longitude first",
        ),
        (
            tall > MAXIMUM_LATITUDE,
            f"reaches beyond latitude {MAXIMUM_LATITUDE}°",
            "no turf is kept there: look for longitude and latitude swapped",
        ),
        (across, "spans more than 180° of longitude", "cut it at 180° (RFC 7946, 3.1.9)"),
    ]
    bad = np.zeros(len(flat), dtype=bool)
    for mask, words, remedy in checks:
        for row in np.flatnonzero(mask & ~bad & ~missing).tolist():
            west, south, east, north = bounds[row]
            place = f"from {west:g}, {south:g} to {east:g}, {north:g}"
            found = f"surface {quoted(str(ids[row]))} {words}: {place}"
            reader.fault(row, None, found, remedy=remedy)
        bad |= mask
    return bad


def on_one_side(geometry: Geometries) -> Geometries:
    """The same outlines with longitudes that run on across 180°, where a site lies on both sides.

    Outlines are cut there in the file (RFC 7946, 3.1.9); the pieces are joined.
    """
    bounds = shapely.bounds(geometry[shapely.area(geometry) > 0])
    if len(bounds) == 0 or bounds[:, 2].max() - bounds[:, 0].min() <= 180:
        return geometry
    out = geometry.copy()
    for row, shape in enumerate(geometry):
        parts = shapely.get_parts(shape)
        behind = shapely.bounds(parts)[:, 2] <= 0
        if behind.any() and shapely.is_valid(shape):
            parts[behind] = shapely.transform(parts[behind], _turned)
            out[row] = shapely.union_all(parts) if len(parts) > 1 else parts[0]
    return out


def _turned(points: Floats) -> Floats:
    turned: Floats = points + np.array([360.0, 0.0])
    return turned


def check_together(geometry: Geometries, file: str, faults: Faults) -> None:
    """One site is one place: surfaces a degree apart mean swapped or mixed-up coordinates."""
    bounds = shapely.bounds(geometry)
    bounds = bounds[np.isfinite(bounds).all(axis=1)]
    bounds = bounds[(np.abs(bounds[:, [0, 2]]) <= 540).all(axis=1)]
    if len(bounds) == 0:
        return
    centre = (bounds[:, :2] + bounds[:, 2:]) / 2
    in_order = np.sort(centre, axis=0)  # np.median would load numpy.ma
    median = (in_order[(len(centre) - 1) // 2] + in_order[len(centre) // 2]) / 2
    away = np.abs(centre - median).max(axis=1)
    extent = (bounds[:, 2:] - bounds[:, :2]).max(axis=1)
    row = int(np.maximum(away, extent).argmax())
    remedy = "one folder holds one site; look for longitude and latitude swapped"
    place = f"near {centre[row, 0]:g}, {centre[row, 1]:g}"
    if away.max() > FARTHEST_DEGREE:
        found = f"surfaces lie up to {away.max():.1f}° apart (farthest {place})"
        faults.add(file, found, remedy=remedy)
    elif extent.max() > FARTHEST_DEGREE:
        found = f"a surface is {extent.max():.1f}° wide or high ({place})"
        faults.add(file, found, remedy=remedy)


def mean_height_m(geometry: Geometries) -> Floats:
    """Mean of the heights that the vertices carry (n,); nan without, and for heights all 0."""
    heights = np.full(len(geometry), np.nan)
    for row in np.flatnonzero(shapely.has_z(geometry)):
        rings = shapely.get_rings(shapely.get_parts(geometry[row]))
        points = [shapely.get_coordinates(ring, include_z=True)[:-1, 2] for ring in rings]
        z = np.concatenate(points)
        if np.isfinite(z).all() and (z != 0).any():
            heights[row] = z.mean()
    return heights
