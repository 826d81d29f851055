"""Thiessen polygons: each catch stands for the ground that is nearer to it than to any other.

A. H. Thiessen, Precipitation averages for large areas, Monthly Weather Review 39 (1911), 1082–1084;
the weighted mean is Σ areaᵢ·valueᵢ / Σ areaᵢ (Chow, Maidment & Mays, Applied Hydrology, 1988, 3.4).
"""

from __future__ import annotations

import numpy as np
import shapely

from geosand.columns import Floats, Geometries, Ints, ratio


def thiessen_areas_m2(polygons: Geometries, points_m: Floats, polygon: Ints) -> Floats:
    """Ground (n,) of its polygon that each point stands for, in m²; one call for all polygons.

    ``polygons`` (P,) and ``points_m`` (n, 2) are in metres of one plane; ``polygon`` (n,) is the
    index of the polygon that each point belongs to, whether it lies inside or, by an error of its
    position, beside it. Points at one place share its ground evenly; a point far outside may stand
    for none. The areas of a polygon's points sum to its own.
    """
    areas = np.zeros(len(points_m))
    if not len(points_m):
        return areas
    _, place, number = np.unique(
        np.column_stack([polygon, points_m]), axis=0, return_inverse=True, return_counts=True
    )
    place = place.reshape(-1)
    first = np.full(len(number), -1, dtype=np.int64)
    first[place[::-1]] = np.arange(len(place))[::-1]
    # rows of np.unique are in order of the polygon, as shapely wants its indices
    used, cluster = np.unique(polygon[first], return_inverse=True)
    sites = shapely.multipoints(points_m[first], indices=cluster)
    cells, of = shapely.get_parts(
        shapely.voronoi_polygons(sites, extend_to=shapely.envelope(polygons[used]), ordered=True),
        return_index=True,
    )
    ground = np.asarray(shapely.area(polygons[used]), dtype=np.float64)
    # a single place has no neighbour and no cell: all of the ground is its own
    alone = np.bincount(cluster, minlength=len(used)) == 1
    share = ground[cluster]
    share[~alone[cluster]] = shapely.area(shapely.intersection(cells, polygons[used][of]))
    areas[:] = (share / number)[place]
    return areas


def thiessen_means(
    values: Floats, areas_m2: Floats, polygon: Ints, polygons: int
) -> tuple[Floats, Floats]:
    """Weighted mean of each polygon's values (P,), nan without any, and the largest share (P,).

    >>> thiessen_means(np.array([1.0, 3.0]), np.array([45.0, 55.0]), np.array([0, 0]), 1)
    (array([2.1]), array([0.55]))
    """
    total = np.bincount(polygon, areas_m2, polygons)
    largest = np.zeros(polygons)
    np.maximum.at(largest, polygon, areas_m2)
    weighted = np.bincount(polygon, values * areas_m2, polygons)
    return ratio(weighted, total), ratio(largest, total)
