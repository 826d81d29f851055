"""Ground beyond the edges of dressed surfaces, in strips that run straight out from the edge.

A strip of edge ``width`` whose sides open by ``turn`` radians holds width·x + turn·x²/2 within the
distance x. Summed round a convex surface that is Steiner's formula, P·x + π·x² (J. Steiner, Über
parallele Flächen, 1840; cited from memory). A strip ends at its *cut*: where its middle line comes
nearer to another place of an edge, that is at the radius of the largest empty circle touching the
edge there (the medial axis; H. Blum 1967, from memory). Cutting serves neighbours (ground between
two surfaces belongs to the nearer edge), concave edges and holes alike, without buffers.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import shapely

from geosand.areas.outline_bearings import parts_of
from geosand.columns import Floats, Geometries, Ints, take
from geosand.tuples import NamedTuple

COLLAR, OUTER, HAZARD = 0, 1, 2  # zones of a crossing; HAZARD + k is the k-th kind of hazard
_SAME_SPAN_M = 1e-4  # cuts nearer than this are one cut
_AT_ONCE = 16_384  # strips; few enough to stay in a processor's own memory


class Strips(NamedTuple):
    """Ground beyond edges, one row a strip; the cut runs linearly from one side to the other."""

    row: Ints  #: whose ground
    width_m: Floats  #: length of edge
    turn_rad: Floats  #: how far its sides open
    cut_start_m: Floats  #: distance from the edge at which it ends, on its first side
    cut_end_m: Floats  #: and on its last side


class Crossings(NamedTuple):
    """Where strips cross the outlines of zones: +1 where the strip leaves a zone, −1 on entry."""

    strips: Strips
    limit_m: Floats  #: distance of the crossing from the edge
    sign: Floats
    zone: Ints


def together(found: list[Crossings]) -> Crossings:
    """All of these crossings."""
    if len(found) == 1:
        return found[0]
    if not found:
        nothing, none = np.empty(0), np.empty(0, dtype=np.int64)
        strips = Strips(none, nothing, nothing, nothing, nothing)
        return Crossings(strips=strips, limit_m=nothing, sign=nothing, zone=none)
    each, *columns = zip(*found, strict=True)
    strips = Strips(*map(np.concatenate, zip(*each, strict=True)))
    return Crossings(strips, *map(np.concatenate, columns))


def mass_share(strips: Strips, limit_m: Floats, inverse_reach: Floats) -> Floats:
    """∫ (1 − x/L)·(width + turn·x) dx over each strip, from its edge to limit or cut.

    ``inverse_reach`` = 1/L in 1/m, 0 for the plain area in m²; ``limit_m`` must not exceed L.
    Times the rate of the surface it is a mass in kg. Columns as long as ``strips``.
    """
    if len(limit_m) > _AT_ONCE:
        return _in_parts(mass_share, strips, limit_m, inverse_reach)
    return mean_over_cut(
        strips,
        limit_m,
        strips.width_m,
        (strips.turn_rad - strips.width_m * inverse_reach) / 2,
        -strips.turn_rad * inverse_reach / 3,
    )


def mass_share_slope(strips: Strips, reach_m: Floats) -> Floats:
    """Derivative of ``mass_share(strips, L, 1/L)`` with respect to L."""
    return mean_over_cut(
        strips,
        reach_m,
        np.zeros_like(reach_m),
        strips.width_m / (2 * reach_m**2),
        strips.turn_rad / (3 * reach_m**2),
    )


def _in_parts(share: Callable[..., Floats], strips: Strips, *columns: Floats) -> Floats:
    """The same, some strips at a time."""
    parts = [slice(k, k + _AT_ONCE) for k in range(0, len(strips.row), _AT_ONCE)]
    return np.concatenate([share(take(strips, p), *(c[p] for c in columns)) for p in parts])


def mean_over_cut(strips: Strips, limit: Floats, a: Floats, b: Floats, c: Floats) -> Floats:
    """Mean of the polynomial a·u + b·u² + c·u³ at u = min(cut, limit), the cut running linearly."""
    start, end = strips.cut_start_m, strips.cut_end_m
    mean = _value(np.minimum((start + end) / 2, limit), a, b, c)
    uneven = np.flatnonzero(np.abs(end - start) > _SAME_SPAN_M)
    if len(uneven):
        start, end, limit, a, b, c = (x[uneven] for x in (start, end, limit, a, b, c))
        capped = _integral(np.minimum(end, limit), a, b, c)
        capped -= _integral(np.minimum(start, limit), a, b, c)
        beyond = np.maximum(end, limit) - np.maximum(start, limit)
        mean[uneven] = (capped + beyond * _value(limit, a, b, c)) / (end - start)
    return mean


def _value(u: Floats, a: Floats, b: Floats, c: Floats) -> Floats:
    return u * (a + u * (b + u * c))


def _integral(u: Floats, a: Floats, b: Floats, c: Floats) -> Floats:
    return u * u * (a / 2 + u * (b / 3 + u * (c / 4)))


def parts_less_holes(surfaces: Geometries) -> Ints:
    """χ of each polygon or multipolygon: its parts less its holes."""
    parts, row = parts_of(surfaces)
    inside = 1 - shapely.get_num_interior_rings(parts)
    return np.bincount(row, inside, len(surfaces)).astype(np.int64)
