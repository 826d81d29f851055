"""A field of depths over a surface: the kriged mean of each cell of a grid, with its error."""

from __future__ import annotations

import numpy as np
import shapely

from geosand.areas.register import AreaRegister
from geosand.columns import Floats, columns
from geosand.rates.kriging import block_means
from geosand.rates.spatial import Spatial, catch_places, counted_catches
from geosand.rates.surface_rates import Rates
from geosand.site.tables import Site

CELL_M = 1.0
CELL_POINTS = 4  #: a cell is stood for by 4 × 4 points, as gstat does
MOST_CELLS = 20_000  #: of one surface; a wider grid is asked for beyond


@columns
class DepthField:
    """Depth over one dressed surface, one row a cell whose middle lies on it."""

    x_m: Floats  #: middle of the cell, in metres of the register's plane
    y_m: Floats
    depth_m: Floats  #: mean over the cell
    u_depth_m: Floats  #: of that mean, sampling alone
    cell_m: float  #: side of a cell


def depth_field(
    site: Site, areas: AreaRegister, rates: Rates, spatial: Spatial, row: int, *, cell_m: float
) -> DepthField:
    """Block-kriged depth on a grid over dressed surface ``row``, for a map.

    The catches' values over their mean are kriged with the site's relative variogram; tray size,
    catch efficiency and bulk density are common to all cells and not in ``u_depth_m``.
    Raises ValueError where there is no variogram, the surface has fewer than three catches, or the
    grid would have over 20 000 cells.
    """
    variogram = spatial.variogram
    if variogram is None or np.isnan(spatial.kriged_rate_kg_m2[row]):
        name = site.surfaces.id[site.dressed.surface[row]]
        raise ValueError(f"no depth field of '{name}': {spatial.why_not[row]}")
    middles = _cells(areas.owned_plane[site.dressed.surface[row]], cell_m)
    mine = counted_catches(rates) & (rates.assignment.dressed == row)
    mean = spatial.plain_rate_kg_m2[row]
    relative, variance = block_means(
        catch_places(site, areas)[mine],
        rates.each.rate_kg_m2[mine] / mean,
        middles,
        _offsets(cell_m),
        variogram,
    )
    density = rates.density.value[site.dressings.sand[site.dressed.dressing[row]]]
    return DepthField(
        x_m=middles[:, 0],
        y_m=middles[:, 1],
        depth_m=np.maximum(relative, 0.0) * mean / density,
        u_depth_m=np.sqrt(np.maximum(variance, 0.0)) * mean / density,
        cell_m=cell_m,
    )


def _offsets(cell_m: float) -> Floats:
    """Points (K, 2) that stand for a cell, about its middle."""
    step = ((np.arange(CELL_POINTS) + 0.5) / CELL_POINTS - 0.5) * cell_m
    x, y = np.meshgrid(step, step)
    return np.stack([x.ravel(), y.ravel()], axis=1)


def _cells(polygon: shapely.Geometry, cell_m: float) -> Floats:
    """Middles (T, 2) of the cells of a grid that lie in a polygon."""
    if not cell_m > 0:
        raise ValueError(f"cell_m: found {cell_m:g}; it must be above 0")
    west, south, east, north = shapely.bounds(polygon)
    if (east - west) * (north - south) > MOST_CELLS * cell_m**2:
        raise ValueError(
            f"cell_m: {cell_m:g} m gives more than {MOST_CELLS:,} cells on"
            f" {east - west:.0f} × {north - south:.0f} m; take wider ones"
        )
    x, y = np.meshgrid(
        np.arange(west + cell_m / 2, east, cell_m), np.arange(south + cell_m / 2, north, cell_m)
    )
    inside = shapely.contains_xy(polygon, x, y)
    if not inside.any():
        return np.asarray(shapely.get_coordinates(shapely.point_on_surface(polygon)), np.float64)
    return np.stack([x[inside], y[inside]], axis=1)
