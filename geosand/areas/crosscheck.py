"""Areas by other routes, to be set beside ours: geodesic edges, and the grid of a projected CRS.

The only module here that uses pyproj, inside its functions: the balance never needs it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from geosand.areas.ellipsoid import AXIS_M, radii_m
from geosand.columns import Floats, Geometries

if TYPE_CHECKING:
    from pyproj import CRS

_WEB_MERCATOR = {"3785", "3857", "900913", "41001", "54004", "102100", "102113"}
_REMEDY = "give the projected CRS in which the boundaries were surveyed, for example its EPSG code"


def geodesic_areas_m2(geometries: Geometries) -> Floats:
    """Area in m² of each polygon (S,) in lon/lat degrees whose edges are WGS 84 geodesics.

    C. F. F. Karney, Algorithms for geodesics, J. Geodesy 87 (2013) 43-55, in pyproj. Noise up to
    2e-3 m² whatever the size: compare green-sized areas absolutely. Rings are oriented first,
    since a hole that is wound like its shell would be added. None and empty polygons have 0.
    """
    from pyproj import Geod

    geod = Geod(ellps="WGS84")
    oriented = shapely.orient_polygons(geometries)
    there = np.flatnonzero(~(shapely.is_missing(geometries) | shapely.is_empty(geometries)))
    areas = np.zeros(len(geometries))
    # pyproj takes one polygon at a time
    areas[there] = [abs(geod.geometry_area_perimeter(oriented[row])[0]) for row in there]
    return areas


def grid_areas_m2(geometries: Geometries, crs: Any) -> Floats:
    """Plane area in m² of each polygon (S,), given in lon/lat degrees, on the grid of ``crs``.

    What a plan in that CRS shows: it differs from the ground by the square of the scale factor
    (see :func:`grid_scale`). ``crs`` is anything pyproj reads. Raises ValueError for a geographic
    CRS, for Web Mercator (areas there are wrong by a factor of three at 56 degrees) and for what
    is no CRS. Coordinates in feet are converted.
    """
    from pyproj import Transformer

    grid = _projected(crs)
    transformer = Transformer.from_crs("OGC:CRS84", grid, always_xy=True)

    def move(points: Floats) -> Floats:
        return np.column_stack(transformer.transform(points[:, 0], points[:, 1]))

    metres = float(grid.axis_info[0].unit_conversion_factor)
    return np.nan_to_num(shapely.area(shapely.transform(geometries, move))) * metres**2


def grid_scale(geometries: Geometries, crs: Any) -> Floats:
    """Point scale factor k (S,) of ``crs`` at each polygon's centroid; nan where it is empty.

    The square root of the areal scale, which on a conformal grid is the scale in every direction:
    grid area / k² is the area on the ellipsoid. Raises ValueError as :func:`grid_areas_m2`.
    """
    from pyproj import Proj

    grid = _projected(crs)
    there = ~shapely.is_empty(geometries) & ~shapely.is_missing(geometries)
    centre = shapely.centroid(geometries[there])
    scale = np.full(len(geometries), np.nan)
    factors = Proj(grid).get_factors(shapely.get_x(centre), shapely.get_y(centre))
    scale[there] = np.sqrt(factors.areal_scale)
    return scale


def is_web_mercator(crs: Any) -> bool:
    """Whether ``crs`` (anything pyproj reads) is Web Mercator, in any of its spellings."""
    from pyproj import CRS
    from pyproj.exceptions import CRSError

    if str(crs).upper().removeprefix("EPSG:").removeprefix("ESRI:") in _WEB_MERCATOR:
        return True
    try:
        grid = CRS.from_user_input(crs)
    except CRSError:
        return False
    operation = grid.coordinate_operation
    method = operation.method_name.lower() if operation is not None else ""
    # the other spelling is a sphere's Mercator with the ellipsoid's radius
    sphere = grid.ellipsoid is not None and grid.ellipsoid.inverse_flattening == 0
    return "pseudo" in method or "auxiliary" in method or (sphere and "mercator" in method)


def web_mercator_scale(latitude_deg: float) -> float:
    """How many times too large Web Mercator shows areas at a latitude (EPSG method 1024).

    x = a · lon, y = a · ln tan(45° + lat/2) over the ellipsoid's radii: a²/(M · N cos² lat).

    >>> round(web_mercator_scale(56.0), 3)
    3.19
    """
    latitude = np.array([latitude_deg])
    meridian, parallel = radii_m(latitude)
    scale: Floats = AXIS_M**2 / (meridian * parallel * np.cos(np.radians(latitude)))
    return float(scale[0])


def _projected(crs: Any) -> CRS:
    """``crs`` as a horizontal projected CRS that may be measured in; ValueError otherwise."""
    from pyproj import CRS
    from pyproj.exceptions import CRSError

    try:
        grid = CRS.from_user_input(crs)
    except CRSError as error:
        if is_web_mercator(crs):  # an old number that is no longer listed
            raise ValueError(_never(str(crs))) from error
        raise ValueError(f"{crs!r} is not a coordinate reference system: {_REMEDY}") from error
    if grid.is_compound:
        grid = grid.sub_crs_list[0]
    if grid.is_bound and grid.source_crs is not None:
        grid = grid.source_crs
    if is_web_mercator(crs) or is_web_mercator(grid):
        raise ValueError(_never(grid.name))
    if not grid.is_projected:
        sort = "geographic, in degrees" if grid.is_geographic else "not projected"
        raise ValueError(f"{grid.name} is {sort}: it has no grid to measure areas on; {_REMEDY}")
    return grid


def _never(name: str) -> str:
    return f"{name} is Web Mercator: areas are never measured in it; {_REMEDY}"
