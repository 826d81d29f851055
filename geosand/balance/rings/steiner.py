"""Where the ring round an outline has the area that Steiner's formula gives, P·x + π·χ·x².

Two normals that meet enclose a bay that turns back by more than it turns on, so by less than all
concave corners together. If those turn by less than a quarter of a circle, the bay is a graph over
the direction between the two normals; and if every edge moved outwards still has a length, the
graph's parallels stay in order, so that the normals can not meet. Steiner's ring is then wrong only
by tan(α/2) − α/2 times x² at each concave corner α.
"""

from __future__ import annotations

import numpy as np
import shapely

from geosand.areas.outline_bearings import Corners, Outlines, bends_of, sums_by_ring
from geosand.areas.overlay import widened
from geosand.balance.rings.edges import Edges
from geosand.balance.rings.strips import parts_less_holes
from geosand.columns import Bools, Floats, Geometries, Ints
from geosand.tuples import NamedTuple

_WITHIN = 2e-3  #: of the true ring


class _Bays(NamedTuple):
    """Concave corners of outlines, one row a corner."""

    row: Ints
    turn_rad: Floats  #: above zero
    before: Ints  #: edge that ends there
    after: Ints  #: edge that begins there


def is_steiner(surfaces: Geometries, edges: Edges, distance_m: Floats, asked: Bools) -> Bools:
    """Where Steiner's P·x + π·χ·x² is within 0.2 % of the ring of that distance, one a surface.

    ``edges`` are theirs. A buffer tells only where the outline itself does not prove it; False of
    those that are not ``asked`` about and not proved.
    """
    proved = _proved(surfaces, edges, distance_m)
    rest = np.flatnonzero(~proved & asked)
    rest = rest[~_is_refuted(surfaces[rest], distance_m[rest])]
    if len(rest):
        shapes, far = surfaces[rest], distance_m[rest]
        ring = shapely.area(widened(shapes, far)) - shapely.area(shapes)
        proved[rest] = np.abs(ring / _steiner(shapes, far) - 1) < _WITHIN
    return proved


def _is_refuted(surfaces: Geometries, distance_m: Floats) -> Bools:
    """Where Steiner's ring is too large to lie within that of the convex hull."""
    hulls = shapely.convex_hull(surfaces)
    most = _steiner(hulls, distance_m) + shapely.area(hulls) - shapely.area(surfaces)
    return most < (1 - _WITHIN) * _steiner(surfaces, distance_m)


def _steiner(surfaces: Geometries, distance_m: Floats) -> Floats:
    round_ = np.pi * parts_less_holes(surfaces) * distance_m**2
    return shapely.length(surfaces) * distance_m + round_


def _proved(surfaces: Geometries, edges: Edges, distance_m: Floats) -> Bools:
    """Outlines of one ring whose normals do not meet within the distance, nearly Steiner's."""
    single = (shapely.get_type_id(surfaces) == 3) & (shapely.get_num_interior_rings(surfaces) == 0)
    some = np.flatnonzero(edges.turn_rad < 0)
    bays = _Bays(
        row=edges.row[some],
        turn_rad=-edges.turn_rad[some],
        before=some,
        after=edges.after[some],
    )
    apart, excess = _apart(bays, edges.length_m, distance_m)
    proved: Bools = single & apart & (excess < _WITHIN * _steiner(surfaces, distance_m))
    return proved


def _apart(bays: _Bays, length_m: Floats, distance_m: Floats) -> tuple[Bools, Floats]:
    """Which outlines have normals that do not meet within the distance; and Steiner's excess, m².

    ``length_m``: of all edges; ``distance_m`` has one an outline of one ring.
    """
    count, turn = len(distance_m), np.minimum(bays.turn_rad, np.pi / 2)
    back, tan = np.bincount(bays.row, turn, count), np.tan(turn / 2)
    lost = np.zeros(len(length_m))
    lost[bays.before] = tan
    lost[bays.after] += tan  # an edge has a corner at its end and one where it begins
    folded = np.zeros(count, dtype=np.bool_)
    for edge in (bays.before, bays.after):
        gone = lost[edge] * distance_m[bays.row] >= length_m[edge]
        folded[bays.row[gone]] = True
    excess: Floats = np.bincount(bays.row, tan - turn / 2, count) * distance_m**2
    return (back < np.pi / 2) & ~folded, excess


def ring_area_m2(outlines: Outlines, corners: Corners, width_m: Floats) -> Floats:
    """Area of the ring of that width round polygons of one ring each; nan where none is proved."""
    bends, first = bends_of(outlines, corners), outlines.first
    some = np.flatnonzero(bends.half_tan < 0)
    row = np.searchsorted(first, some, side="right") - 1
    after = np.where(some == first[row] + outlines.edges[row] - 1, first[row], some + 1)
    turn = -2 * np.arctan(bends.half_tan[some])
    bays = _Bays(row=row, turn_rad=turn, before=some, after=after)
    apart, excess = _apart(bays, bends.length_m, width_m)
    apart &= sums_by_ring(outlines, np.isnan(bends.half_tan).astype(np.float64)) == 0
    area = sums_by_ring(outlines, bends.length_m) * width_m + np.pi * width_m**2 - excess
    return np.where(apart, area, np.nan)
