"""Polygons of the zones that hold overthrow, for maps."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from geosand.balance.ring_ground import Ground, Stands, distinct_stands, lay_ground
from geosand.balance.rings import ThrowOff
from geosand.columns import Floats, Geometries, Ints, freeze


@dataclass(frozen=True, slots=True, kw_only=True)
class RingGeometries:
    """Zones to draw, one row a dressed surface; None where no sand was found in the zone."""

    collar: Geometries
    surrounds: Geometries

    def __post_init__(self) -> None:
        freeze(self)


def ring_geometries(
    result: ThrowOff,
    *,
    surfaces: Geometries,
    dressing: Ints,
    collars: Geometries,
    collar_width_m: Floats,
    surrounds_width_m: Floats,
) -> RingGeometries:
    """Polygons of the collars and surrounds that ``throw_off`` found sand in, in plane metres.

    The arguments are those given to ``throw_off``. Each polygon keeps to the ground nearer to its
    surface than to others dressed with it, so that no two of a dressing overlap by more than
    the chords of their outlines. Equal cases are drawn once; the loop runs over surfaces that meet
    others.
    """
    shown = np.flatnonzero(np.nan_to_num(result.collar_kg + result.surrounds_kg) > 0)
    collar, surrounds = np.full((2, len(surfaces)), None, dtype=object)
    if len(shown):
        stands, stand = distinct_stands(
            surfaces, dressing, collars, collar_width_m, surrounds_width_m
        )
        near, outer = _zones(stands)
        for zone, held, column in (
            (near, result.collar_kg, collar),
            (outer, result.surrounds_kg, surrounds),
        ):
            rows = shown[held[shown] > 0]
            zone[shapely.is_empty(zone)] = None
            column[rows] = zone[stand[rows]]
    return RingGeometries(collar=collar, surrounds=surrounds)


def _zones(stands: Stands) -> tuple[Geometries, Geometries]:
    """Collar and surrounds of each stand, kept to its own ground."""
    drawn = ~shapely.is_missing(stands.collar)
    inner = shapely.buffer(stands.surface, stands.collar_width_m, quad_segs=16)
    inner[drawn] = shapely.union(stands.collar[drawn], stands.surface[drawn])
    outer = shapely.buffer(inner, stands.surrounds_width_m, quad_segs=16)
    cap = shapely.hausdorff_distance(outer, stands.surface).max(initial=0.0)
    ground = lay_ground(stands, [], float(max(cap, 1.0)))
    collar = shapely.difference(inner, stands.surface)
    surrounds = shapely.difference(outer, inner)
    for row in np.flatnonzero(ground.cut).tolist():
        own = shapely.difference(_own_ground(ground, row), _others(stands, row, outer))
        collar[row] = shapely.intersection(collar[row], own)
        surrounds[row] = shapely.intersection(surrounds[row], own)
    return _polygons(collar), _polygons(surrounds)


def _own_ground(ground: Ground, row: int) -> shapely.Geometry:
    """Union of the strips of one surface, each the quadrangle between two rays."""
    rays, strips = ground.rays, ground.fine
    mine = np.flatnonzero(rays.row == row)
    after = rays.after[mine]
    start = rays.at[mine] + rays.out[mine] * strips.cut_start_m[mine, None]
    end = rays.at[after] + rays.out[after] * strips.cut_end_m[mine, None]
    corners = (rays.at[mine], start, end, rays.at[after])
    wide = (rays.width_m[mine] > 0) | (rays.turn_rad[mine] > 0)
    return shapely.union_all(shapely.make_valid(shapely.polygons(np.stack(corners, 1)[wide])))


def _others(stands: Stands, row: int, outer: Geometries) -> shapely.Geometry:
    """The other surfaces of the same dressing that the zones of one could reach."""
    others = stands.dressing == stands.dressing[row]
    others[row] = False
    near = others & shapely.intersects(stands.surface, outer[row])
    return shapely.union_all(stands.surface[near])


def _polygons(zones: Geometries) -> Geometries:
    """Only the areas of what cutting left; empty where there are none."""
    parts, row = shapely.get_parts(zones, return_index=True)
    areas = (shapely.get_dimensions(parts) == 2) & (shapely.area(parts) > 1e-6)
    first = np.flatnonzero(areas)
    result = np.full(len(zones), shapely.MultiPolygon(), dtype=object)
    made, rows = parts[first], row[first]
    if len(made):
        kept, place = np.unique(rows, return_inverse=True)
        result[kept] = shapely.multipolygons(made, indices=place)
    return result
