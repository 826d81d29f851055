"""What an overlay of polygons leaves as areas."""

from __future__ import annotations

import numpy as np
import shapely

from geosand.areas.ellipsoid import ellipsoid_areas_m2
from geosand.columns import Floats, Geometries, Ints, begins

_MANY = 2000  #: corners from which buffers are made in two steps
_FIRST_STEP = 0.05  #: of the width


def areal(geometries: Geometries, least: float = 0.0) -> Geometries:
    """The polygons in each geometry (S,) as a MultiPolygon; lines and points are left out.

    And what is no larger than ``least``, in the squares of their units.

    >>> mixed = shapely.from_wkt("GEOMETRYCOLLECTION (POINT (0 0), POLYGON ((0 0, 1 0, 1 1, 0 0)))")
    >>> str(areal(np.array([mixed], dtype=object))[0])
    'MULTIPOLYGON (((0 0, 1 0, 1 1, 0 0)))'
    """
    parts, row = shapely.get_parts(geometries, return_index=True)
    inner, outer = shapely.get_parts(parts, return_index=True)  # a collection holds collections
    kept = shapely.get_type_id(inner) == 3
    if least:
        kept &= shapely.area(inner) > least
    inner, row = inner[kept], row[outer[kept]]
    out = np.full(len(geometries), shapely.MultiPolygon(), dtype=object)
    if len(inner):
        rows, group = np.unique(row, return_inverse=True)
        out[rows] = shapely.multipolygons(inner, indices=group)
    return out


def both_ways(old: Geometries, new: Geometries) -> tuple[Geometries, Geometries]:
    """New without old and old without new (S,), in lon/lat, as areas."""
    return areal(shapely.difference(new, old)), areal(shapely.difference(old, new))


def areal_m2(geometries: Geometries) -> Floats:
    """Ellipsoid area (S,) of what an overlay left; lines and points in it have none."""
    return ellipsoid_areas_m2(areal(geometries))


def common_m2(left: Geometries, right: Geometries) -> Floats:
    """Ellipsoid area (S,) of the ground that two columns of polygons have in common."""
    return areal_m2(shapely.intersection(left, right))


def united(shapes: Geometries, label: Ints) -> tuple[Geometries, Ints]:
    """One geometry for each number in ``label`` (n,), and those numbers, in order.

    A shape that is alone with its number is returned as it is.
    """
    order = np.argsort(label, kind="stable")
    shapes, label = shapes[order], label[order]
    first = np.flatnonzero(begins(label))
    size = np.diff(np.append(first, len(label)))
    out, several = shapes[first], np.flatnonzero(size > 1)
    if len(several):
        of = np.repeat(np.arange(len(first)), size)
        some = size[of] > 1
        place = np.repeat(np.arange(len(several)), size[several])
        parts, of_part = shapely.get_parts(shapes[some], return_index=True)
        groups = shapely.geometrycollections(parts, indices=place[of_part])
        out[several] = shapely.union_all(np.asarray(groups)[:, None], axis=1)
    return out, label[first]


def widened(shapes: Geometries, width_m: Floats) -> Geometries:
    """The ground within a width of each shape, with the shape; of a width below 0 what is deeper.

    The buffer of a jagged outline of 5,000 corners takes seconds, one of it a little widened, which
    has few corners left, a tenth of that.
    """
    first = np.where(shapely.get_num_coordinates(shapes) > _MANY, _FIRST_STEP, 0.0) * width_m
    some = np.flatnonzero(first)
    if len(some):
        shapes = shapes.copy()
        shapes[some] = shapely.buffer(shapes[some], first[some], quad_segs=16)
    return np.asarray(shapely.buffer(shapes, width_m - first, quad_segs=16))
