"""Outlines at the door: lon/lat, closed, sound, in one place; nothing is repaired silently."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely

from geosand.columns import Bools, Floats, Geometries, Ints, Strings
from geosand.errors import Faults
from geosand.site.cells import quoted
from geosand.site.reading import Reader
from geosand.tuples import NamedTuple

MAXIMUM_LATITUDE = 89.9
FARTHEST_DEGREE = 1.0  #: between surfaces of one site
_ROUNDED_DEG = 2e-9  #: how far a corner at 180° may lie off its edge when nine decimals are written


class Outlines(NamedTuple):
    """Geometries in two dimensions with what is asked of them again and again."""

    geometry: Geometries
    bounds: Floats  #: (n, 4)
    solid: Bools  #: those with an area

    @classmethod
    def of(cls, geometry: Geometries) -> Outlines:
        """Measured."""
        solid = np.asarray(shapely.area(geometry) > 0)
        return cls(geometry=geometry, bounds=shapely.bounds(geometry), solid=solid)


def check_outlines(reader: Reader, geometry: Geometries, ids: Strings) -> Outlines:
    """The geometries in two dimensions; faults for what has no area or is not lon/lat."""
    raised = shapely.has_z(geometry)
    flat: Geometries = geometry
    if raised.any():
        flat = np.where(raised, shapely.force_2d(geometry), geometry)
    outlines = Outlines.of(flat)
    missing = shapely.is_missing(flat) | shapely.is_empty(flat)
    for row in sorted({*np.flatnonzero(missing).tolist()} - reader.table.told):
        remedy = "draw it, or delete the feature"
        reader.fault(row, None, f"surface {quoted(str(ids[row]))} has no polygon", remedy=remedy)
    bad = missing | _off_the_globe(reader, outlines, ids, missing)
    for row in np.flatnonzero(~bad & ~shapely.is_valid(flat)).tolist():
        reason = str(shapely.is_valid_reason(flat[row]))
        found = f"crosses or touches itself: {reason}"
        if reason.startswith("Too few points"):
            found = f"has a ring of fewer than three corners: {reason}"
        reader.fault(
            row,
            None,
            f"the outline of {quoted(str(ids[row]))} {found}",
            remedy="mend the outline there; it is not repaired silently",
        )
    return outlines


def _off_the_globe(reader: Reader, outlines: Outlines, ids: Strings, missing: Bools) -> Bools:
    """True where the coordinates can not be longitude and latitude of turf; with a fault each."""
    flat, bounds = outlines.geometry, outlines.bounds
    far = np.nan_to_num(np.abs(bounds))  # of no polygon at all, bounds are nan
    tall = far[:, [1, 3]].max(axis=1, initial=0)
    wide = (far[:, [0, 2]].max(axis=1, initial=0) > 180) | (tall > 90)
    across = np.zeros(len(flat), dtype=bool)
    broad = np.flatnonzero(bounds[:, 2] - bounds[:, 0] > 180)  # else none of its parts can be
    parts, row_of = shapely.get_parts(flat[broad], return_index=True)
    spans = shapely.bounds(parts)
    across[broad[row_of[spans[:, 2] - spans[:, 0] > 180]]] = True
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


def on_one_side(outlines: Outlines, member: Ints) -> Outlines:
    """The same outlines with longitudes that run on across 180°, where a site lies on both sides.

    Outlines are cut there in the file (RFC 7946, 3.1.9); the pieces are joined. ``member`` (n,) is
    the site of each outline, in order.
    """
    geometry, bounds = outlines.geometry, outlines.bounds
    drawn = np.flatnonzero(outlines.solid)
    start = np.flatnonzero(np.diff(member[drawn], prepend=-1))
    west = np.minimum.reduceat(bounds[drawn, 0], start)
    east = np.maximum.reduceat(bounds[drawn, 2], start)
    both = member[drawn][start][east - west > 180]
    if len(both) == 0:
        return outlines
    out = geometry.copy()
    for row in np.flatnonzero(np.isin(member, both)).tolist():
        parts = shapely.get_parts(geometry[row])
        behind = shapely.bounds(parts)[:, 2] <= 0
        if behind.any() and shapely.is_valid(geometry[row]):
            parts[behind] = shapely.transform(
                parts[behind], lambda points: points + np.array([360.0, 0.0])
            )
            out[row] = joined_at_180(parts) if len(parts) > 1 else parts[0]
    return Outlines.of(out)


def joined_at_180(parts: Geometries) -> Any:
    """Polygons (n,) with longitudes up to 360° as one, without the corners of a cut at 180°."""
    whole = shapely.get_parts(shapely.union_all(parts))
    if not (shapely.get_coordinates(whole)[:, 0] == 180.0).any():
        return whole[0] if len(whole) == 1 else shapely.multipolygons(whole)
    pieces = []
    for part in whole:
        shell, *holes = (_without_cut(shapely.get_coordinates(r)) for r in shapely.get_rings(part))
        pieces.append(shapely.Polygon(shell, holes))
    return pieces[0] if len(pieces) == 1 else shapely.multipolygons(pieces)


def _without_cut(ring: Floats) -> Floats:
    """A closed ring (n, 2) without corners at 180° that lie straight between their neighbours."""
    points = ring[:-1]
    before, after = np.roll(points, 1, axis=0), np.roll(points, -1, axis=0)
    step = after - before
    with np.errstate(divide="ignore", invalid="ignore"):
        straight = before[:, 1] + (180.0 - before[:, 0]) / step[:, 0] * step[:, 1]
    across = (before[:, 0] - 180.0) * (after[:, 0] - 180.0) < 0
    made = (points[:, 0] == 180.0) & across & (np.abs(straight - points[:, 1]) <= _ROUNDED_DEG)
    return points[~made] if (~made).sum() > 2 else points


def check_together(outlines: Outlines, member: Ints, file: str, faults: Faults) -> None:
    """One site is one place: surfaces a degree apart mean swapped or mixed-up coordinates.

    ``member`` (n,) is the site of each outline, in order.
    """
    bounds = outlines.bounds
    kept = np.isfinite(bounds).all(axis=1) & (np.abs(bounds[:, [0, 2]]) <= 540).all(axis=1)
    bounds, member = bounds[kept], member[kept]
    start = np.flatnonzero(np.diff(member, prepend=-1))
    number = np.cumsum(np.diff(member, prepend=-1) != 0) - 1  # of the sites that have outlines
    centre = (bounds[:, :2] + bounds[:, 2:]) / 2
    median = _medians(centre, number, start)
    away = np.abs(centre - median[number]).max(axis=1)
    extent = (bounds[:, 2:] - bounds[:, :2]).max(axis=1)
    far = np.maximum(away, extent)
    for k in np.flatnonzero(np.maximum.reduceat(far, start) > FARTHEST_DEGREE).tolist():
        mine = number == k
        row = int(np.where(mine, far, -1.0).argmax())
        place = f"near {centre[row, 0]:g}, {centre[row, 1]:g}"
        if away[mine].max() > FARTHEST_DEGREE:
            found = f"surfaces lie up to {away[mine].max():.1f}° apart (farthest {place})"
        else:
            found = f"a surface is {extent[mine].max():.1f}° wide or high ({place})"
        remedy = "one folder holds one site; look for longitude and latitude swapped"
        faults.add(file, found, remedy=remedy, member=int(member[start[k]]))


def _medians(places: Floats, number: Ints, start: Ints) -> Floats:
    """Median of x and of y (k, 2) of each site's places (n, 2); np.median would load numpy.ma."""
    size = np.diff(start, append=len(places))
    below, above = start + (size - 1) // 2, start + size // 2
    columns = []
    for axis in (0, 1):
        in_order = places[np.lexsort((places[:, axis], number)), axis]
        columns.append((in_order[below] + in_order[above]) / 2)
    return np.stack(columns, axis=1)


def mean_height_m(geometry: Geometries) -> Floats:
    """Mean of the heights that the vertices carry (n,); nan without, and for heights all 0."""
    heights = np.full(len(geometry), np.nan)
    for row in np.flatnonzero(shapely.has_z(geometry)):
        rings = shapely.get_rings(shapely.get_parts(geometry[row]))
        points = [shapely.get_coordinates(ring, include_z=True)[:-1, 2] for ring in rings]
        z = np.concatenate(points)
        if np.isfinite(z).all() and (z != 0).any():
            with np.errstate(over="ignore"):  # beyond all land, and told as that
                heights[row] = z.mean()
    return heights
