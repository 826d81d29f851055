"""Polygons of the zones that hold overthrow, for maps."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from geosand.balance.ring_ground import Ground, lay_ground
from geosand.balance.ring_stands import Stands, distinct_cases, distinct_stands
from geosand.balance.ring_steiner import widened
from geosand.balance.rings import ThrowOff
from geosand.columns import Floats, Geometries, Ints, freeze


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
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
        there = np.flatnonzero(~shapely.is_empty(surfaces))  # what is wholly covered has no edge
        cases, case = distinct_cases(
            surfaces[there],
            collars[there],
            collar_width_m[there],
            surrounds_width_m[there],
            np.zeros(len(there), np.int64),
        )
        inner, outer = _outlines(cases)
        pairs = zip(outer, cases.surface, strict=True)
        cap = max([1.0, *(_apart_m(one, other) for one, other in pairs)])
        meeting = np.full(len(cases.case), 2 * cap)
        stands, stand = distinct_stands(cases, case, dressing[there], meeting)
        zones = _zones(stands, inner, outer, cap)
        for zone, held, column in (
            (zones[0], result.collar_kg, collar),
            (zones[1], result.surrounds_kg, surrounds),
        ):
            rows = shown[held[shown] > 0]
            zone[shapely.is_empty(zone)] = None
            column[rows] = zone[stand[np.searchsorted(there, rows)]]
    return RingGeometries(collar=collar, surrounds=surrounds)


def _outlines(cases: Stands) -> tuple[Geometries, Geometries]:
    """Each case by itself: the surface with its collar, and with its surrounds too."""
    drawn = ~shapely.is_missing(cases.collar)
    inner = widened(cases.surface, cases.collar_width_m)
    inner[drawn] = shapely.union(cases.collar[drawn], cases.surface[drawn])
    return inner, widened(inner, cases.surrounds_width_m)


def _apart_m(one: shapely.Geometry, other: shapely.Geometry) -> float:
    """Farthest corner of either from the nearest edge of the other.

    As ``shapely.hausdorff_distance``, which holds each corner against every edge.
    """
    far = 0.0
    for corners_of, edges_of in ((one, other), (other, one)):
        at, ring = shapely.get_coordinates(shapely.get_rings(edges_of), return_index=True)
        edges = shapely.linestrings(np.stack([at[:-1], at[1:]], axis=1)[ring[1:] == ring[:-1]])
        corners = shapely.points(shapely.get_coordinates(corners_of))
        nearest = shapely.STRtree(edges).query_nearest(
            corners, all_matches=False, return_distance=True
        )
        far = max(far, float(nearest[1].max(initial=0.0)))
    return far


def _zones(
    stands: Stands, inner: Geometries, outer: Geometries, cap_m: float
) -> tuple[Geometries, Geometries]:
    """Collar and surrounds of each stand, kept to its own ground."""
    bare = stands._replace(collar=np.full(len(stands.surface), None, dtype=object))
    # where strips cross the collars is not asked
    ground = lay_ground(bare, None, np.full(len(bare.case), cap_m))
    case, first = np.unique(stands.case, return_index=True)
    collar = shapely.difference(inner[case], stands.surface[first])
    surrounds = shapely.difference(outer[case], inner[case])
    collar, surrounds = collar[stands.case], surrounds[stands.case]
    for row in np.flatnonzero(ground.cut).tolist():
        others = _others(stands, row, outer[stands.case[row]])
        own = shapely.difference(_own_ground(ground, row), others)
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
    laid = shapely.make_valid(shapely.polygons(np.stack(corners, 1)[wide]))
    # of strips that end at their edge a line is left, which is no ground
    ground_of_it: shapely.Geometry = _polygons(np.array([shapely.union_all(laid)]))[0]
    return ground_of_it


def _others(stands: Stands, row: int, outer: shapely.Geometry) -> shapely.Geometry:
    """The other surfaces of its party that the zones of one could reach."""
    others = stands.party == stands.party[row]
    others[row] = False
    near = others & shapely.intersects(stands.surface, outer)
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
