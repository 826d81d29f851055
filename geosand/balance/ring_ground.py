"""The ground round each dressed surface: which strips it has, and what zones they cross.

Most surfaces stand alone and are convex: one strip in closed form serves them. Rays are laid only
round those that meet another dressed surface, that are too concave for Steiner's formula, or whose
drawn collar or hazards must be followed.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from itertools import pairwise
from typing import Any

import numpy as np
import shapely

from geosand.balance.ring_crossings import crossings_of
from geosand.balance.ring_strips import (
    COLLAR,
    HAZARD,
    OUTER,
    Crossings,
    Rays,
    Strips,
    cuts_of,
    edges_of,
    is_steiner,
    parts_less_holes,
    ragged,
    rays_of,
    strips_of,
    subdivided,
)
from geosand.columns import Bools, Floats, Geometries, Ints, take

_WHOLE_TURN = 2 * np.pi


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Stands:
    """Surfaces as they stand among the other dressed surfaces; one row a distinct case."""

    surface: Geometries
    case: Ints  #: which surface with its collar
    party: Ints  #: rows of one number are dressed together and may meet
    collar: Geometries  #: drawn; None where it is not
    collar_width_m: Floats  #: of the ring where no collar is drawn
    surrounds_width_m: Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Ground:
    """What lies beyond each edge up to ``cap_m``; rows of the strips count the rows of Stands."""

    cap_m: float
    strips: Strips  #: sorted by row
    crossings: Crossings  #: sorted by row
    rays: Rays  #: of those surfaces that have any
    fine: Strips  #: one after each ray
    cut: Bools  #: by row: strips end before the cap somewhere


def distinct_cases(
    surfaces: Geometries, collars: Geometries, collar_width_m: Floats, surrounds_width_m: Floats
) -> tuple[Stands, Ints]:
    """The distinct surfaces with their collars, each by itself, and which one each row is."""
    shape, collar = _codes(surfaces), _codes(collars)
    columns = np.column_stack((shape, collar, collar_width_m, surrounds_width_m))
    _, first, case = np.unique(columns, axis=0, return_index=True, return_inverse=True)
    cases = Stands(
        surface=surfaces[first],
        case=np.arange(len(first)),
        party=np.arange(len(first)),
        collar=collars[first],
        collar_width_m=collar_width_m[first],
        surrounds_width_m=surrounds_width_m[first],
    )
    return cases, case.astype(np.int64)


def distinct_stands(
    cases: Stands, case: Ints, dressing: Ints, distance_m: float
) -> tuple[Stands, Ints]:
    """Cases as they stand among what is dressed with them, and which stand each row is.

    Rows of one dressing that lie within ``distance_m`` of each other, or are joined by others that
    do, are one party; the same party in another dressing is laid only once.
    """
    party = _parties(cases.surface, case, dressing, distance_m)
    order = np.lexsort((case, party))
    bounds = np.flatnonzero(np.diff(party[order], prepend=-1, append=-1))
    first_of: dict[bytes, int] = {}
    stand, chosen, laid = np.empty(len(case), np.int64), [], 0
    for start, end in pairwise(bounds):
        rows = order[start:end]
        first = first_of.setdefault(case[rows].tobytes(), laid)
        stand[rows] = first + np.arange(len(rows))
        if first == laid:
            chosen.append(rows)
            laid += len(rows)
    one = np.concatenate(chosen) if chosen else np.empty(0, np.int64)
    return replace(take(cases, case[one]), party=party[one]), stand


def _parties(surfaces: Geometries, case: Ints, dressing: Ints, distance_m: float) -> Ints:
    """A number by row, the same for rows of a dressing that chains of near surfaces join."""
    left, right = shapely.STRtree(surfaces).query(
        surfaces, predicate="dwithin", distance=distance_m
    )
    left, right = left[order := np.argsort(left, kind="stable")], right[order]
    bounds = np.searchsorted(left, np.arange(len(surfaces) + 1))
    row, which = ragged(bounds[case], bounds[case + 1] - bounds[case])
    place = dressing * len(surfaces) + case
    neighbour = dressing[row] * len(surfaces) + right[which]
    present = np.isin(neighbour, place)
    known, party = np.unique(place, return_inverse=True)
    one, other = party[row[present]], np.searchsorted(known, neighbour[present])
    label = np.arange(len(known))
    while True:
        lower = label.copy()
        np.minimum.at(lower, one, label[other])
        lower = lower[lower]
        if (lower == label).all():
            return label[party]
        label = lower


def _codes(shapes: Geometries) -> Ints:
    """The same number for the same polygon; one object in many rows is read only once."""
    _, first, which = np.unique(
        np.fromiter(map(id, shapes), np.int64, len(shapes)), return_index=True, return_inverse=True
    )
    texts: Any = shapely.to_wkb(shapes[first])
    texts[shapely.is_missing(shapes[first])] = b""
    codes: Ints = np.unique(texts, return_inverse=True)[1][which]
    return codes


def lay_ground(stands: Stands, hazards: list[Geometries], cap_m: float) -> Ground:
    """Strips and crossings of all stands up to ``cap_m``; ``hazards``: disjoint, by kind."""
    surfaces = stands.surface
    pairs = _near(surfaces, stands.party, 2 * cap_m)
    cut = np.zeros(len(surfaces), bool)
    cut[pairs[0]] = True
    alone = np.flatnonzero(~cut)
    cut[alone[~is_steiner(surfaces[alone], cap_m)]] = True
    zones = _zones(stands, hazards, cap_m)
    with_rays = cut.copy()
    with_rays[zones[0]] = True
    rayed = np.flatnonzero(with_rays)
    edges = edges_of(surfaces[rayed])
    edges = replace(edges, row=rayed[edges.row])
    rays = rays_of(edges, float(np.clip(cap_m / 10, 0.3, 3.0)), cap_m, cut)
    cuts = cuts_of(rays, edges, surfaces, pairs, cut, cap_m)
    fine = strips_of(rays, cuts, cap_m)
    return Ground(
        cap_m=cap_m,
        strips=_joined(fine, surfaces, ~with_rays, cap_m),
        crossings=_crossings(rays, fine, cap_m, *zones),
        rays=rays,
        fine=fine,
        cut=cut,
    )


def _near(surfaces: Geometries, party: Ints, distance_m: float) -> tuple[Ints, Ints]:
    """Pairs of surfaces of a party that lie within the distance of each other."""
    left, right = shapely.STRtree(surfaces).query(
        surfaces, predicate="dwithin", distance=distance_m
    )
    kept = (left != right) & (party[left] == party[right])
    return left[kept], right[kept]


def _zones(
    stands: Stands, hazards: list[Geometries], cap_m: float
) -> tuple[Ints, Geometries, Ints]:
    """Polygons that strips are to be cut by: whose strips, the polygon, the zone it bounds."""
    drawn = np.flatnonzero(~shapely.is_missing(stands.collar))
    both = _together(stands.collar[drawn], stands.surface[drawn])
    outer = shapely.buffer(both, stands.surrounds_width_m[drawn], quad_segs=16)
    rows, polygons = [drawn, drawn], [stands.collar[drawn], outer]
    codes = [np.full(len(drawn), COLLAR), np.full(len(drawn), OUTER)]
    tree = shapely.STRtree(stands.surface)
    for kind, parts in enumerate(hazards):
        which, row = tree.query(parts, predicate="dwithin", distance=cap_m)
        rows.append(row)
        polygons.append(parts[which])
        codes.append(np.full(len(row), HAZARD + kind))
    return np.concatenate(rows), np.concatenate(polygons), np.concatenate(codes)


def _together(collars: Geometries, surfaces: Geometries) -> Geometries:
    """Each collar with its surface, for a buffer: it unites the parts of a collection by itself.

    A collar whose hole is drawn just as the surface is filled instead, which is a quarter the work.
    """
    out = np.asarray(shapely.geometrycollections(np.stack((collars, surfaces), axis=1)))
    one = np.flatnonzero(
        (shapely.get_num_interior_rings(collars) == 1) & (shapely.get_type_id(surfaces) == 3)
    )
    holes = shapely.polygons(shapely.get_interior_ring(collars[one], 0))
    same = shapely.equals_exact(shapely.normalize(holes), shapely.normalize(surfaces[one]))
    out[one[same]] = shapely.polygons(shapely.get_exterior_ring(collars[one[same]]))
    return out


def _joined(fine: Strips, surfaces: Geometries, whole: Bools, cap_m: float) -> Strips:
    """Strips that run to the cap joined into one a surface, beside those cut short of it."""
    full = np.minimum(fine.cut_start_m, fine.cut_end_m) >= cap_m
    n = len(surfaces)
    width = np.bincount(fine.row[full], fine.width_m[full], n).astype(np.float64)
    turn = np.bincount(fine.row[full], fine.turn_rad[full], n).astype(np.float64)
    width[whole] = shapely.length(surfaces[whole])
    turn[whole] = _WHOLE_TURN * parts_less_holes(surfaces[whole])
    short = take(fine, ~full & (fine.width_m + np.abs(fine.turn_rad) > 0))
    row = np.concatenate((np.arange(n), short.row))
    order = np.argsort(row, kind="stable")
    cap = np.full(n, cap_m)
    return Strips(
        row=row[order],
        width_m=np.concatenate((width, short.width_m))[order],
        turn_rad=np.concatenate((turn, short.turn_rad))[order],
        cut_start_m=np.concatenate((cap, short.cut_start_m))[order],
        cut_end_m=np.concatenate((cap, short.cut_end_m))[order],
    )


def _crossings(
    rays: Rays, strips: Strips, cap_m: float, rows: Ints, polygons: Geometries, zones: Ints
) -> Crossings:
    """Crossings of strips with zone polygons, four lines a strip for hazards, else its middle."""
    smooth = zones < HAZARD
    found = [
        _crossed(
            *subdivided(rays, strips, parts), cap_m, rows[which], polygons[which], zones[which]
        )
        for parts, which in ((1, smooth), (4, ~smooth))
        if which.any()
    ]
    if not found:
        nothing = np.empty(0)
        none = np.empty(0, np.int64)
        return Crossings(strips=take(strips, none), limit_m=nothing, sign=nothing, zone=none)
    row = np.concatenate([one.strips.row for one in found])
    order = np.argsort(row, kind="stable")
    columns = (f.name for f in fields(Strips))
    return Crossings(
        strips=Strips(
            **{c: np.concatenate([getattr(o.strips, c) for o in found])[order] for c in columns}
        ),
        limit_m=np.concatenate([one.limit_m for one in found])[order],
        sign=np.concatenate([one.sign for one in found])[order],
        zone=np.concatenate([one.zone for one in found])[order],
    )


def _crossed(
    at: Floats,
    out: Floats,
    strips: Strips,
    cap_m: float,
    rows: Ints,
    polygons: Geometries,
    zones: Ints,
) -> Crossings:
    """Crossings of the strips of ``rows`` with a polygon each."""
    first, last = np.searchsorted(strips.row, np.stack((rows, rows + 1)))
    which, pair, limit, sign = crossings_of(
        at, out, first, last, shapely.orient_polygons(polygons), cap_m
    )
    return Crossings(strips=take(strips, which), limit_m=limit, sign=sign, zone=zones[pair])
