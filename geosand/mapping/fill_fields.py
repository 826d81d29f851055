"""Depth within the surfaces, as cells to draw: only where the catches tell that it varies by place.

The cells are those of a depth field: kriged from the surface's own catches, three or more, with the
variogram of the site. Without one nothing is known of where on a surface sand lies, and none is
drawn.
"""

from __future__ import annotations

import math

import numpy as np
import shapely

from geosand.mapping.view import MapField
from geosand.rates.depth_field import CELL_M, MOST_CELLS, DepthField, depth_field
from geosand.rates.spatial import site_spatial, variogram_of
from geosand.reports.classes import round_steps
from geosand.results import Results

#: Of all fields of a map, so that a long season stays a small file; cells are wider beyond.
MOST_OF_A_MAP = 12_000


def map_fields(results: Results) -> tuple[MapField, ...]:
    """The fields of all dressed surfaces with catches enough; none without a variogram."""
    site, areas, rates = results.site, results.areas, results.rates
    found = variogram_of(site, areas, rates)
    if found[0] is None:
        return ()
    spatial = site_spatial(site, areas, rates, found)
    rows = np.flatnonzero(np.isfinite(spatial.kriged_rate_kg_m2))
    if not len(rows):
        return ()
    west, south, east, north = shapely.bounds(areas.owned_plane[site.dressed.surface[rows]]).T
    ground = (east - west) * (north - south)
    least = math.sqrt(max(ground.sum() / MOST_OF_A_MAP, ground.max() / MOST_CELLS, CELL_M**2))
    cell_m = next(iter(round_steps(least)))
    return tuple(
        _field(results, row, depth_field(site, areas, rates, spatial, row, cell_m=cell_m))
        for row in rows.tolist()
    )


def _field(results: Results, row: int, field: DepthField) -> MapField:
    """The cells of one dressed surface as a grid from its south-western corner."""
    site, plane, cell = results.site, results.areas.plane, field.cell_m
    surface = site.dressed.surface[row]
    x, y = field.x_m.min() - cell / 2, field.y_m.min() - cell / 2
    column, line = (
        np.floor((at - start) / cell).astype(np.int64)
        for at, start in ((field.x_m, x), (field.y_m, y))
    )
    width, height = int(column.max()) + 1, int(line.max()) + 1
    lon, lat = plane.inverse(np.array([x, x + width * cell]), np.array([y, y + height * cell]))
    middle = shapely.get_x(shapely.centroid(results.areas.owned[surface]))
    lon = lon + 360.0 * np.rint((middle - lon) / 360.0)
    depth, u = np.full((2, width * height), np.nan)
    depth[line * width + column] = field.depth_m
    u[line * width + column] = field.u_depth_m
    return MapField(
        surface=str(site.surfaces.id[surface]),
        dressing=str(site.dressings.id[site.dressed.dressing[row]]),
        cell_m=cell,
        west=float(lon[0]),
        south=float(lat[0]),
        east=float(lon[1]),
        north=float(lat[1]),
        width=width,
        depth_m=depth,
        u_depth_m=u,
    )
