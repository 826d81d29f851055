"""Two boundary surveys of the same ground: what was gained and lost, and is it more than error.

Two surveys err independently of each other: each has its own vertices, its own idea of where the
mown edge is, and its own bias. A stretch that both draw with the same vertices is one measurement,
so that its error leaves the difference alone; only moved stretches make the difference uncertain.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely

from geosand.areas.ellipsoid import ellipsoid_areas_m2
from geosand.areas.plane import Plane
from geosand.areas.register import AreaRegister
from geosand.areas.rings import rings_of
from geosand.areas.uncertainty import AreaErrors
from geosand.columns import Bools, Floats, Geometries, Ints, Strings, freeze, ratio
from geosand.site.tables import Surfaces

KEPT_M = 0.001  #: edges nearer to each other than this are drawn the same
TOUCH_M = 0.05  #: within this an edge runs along another surface's, as in ``shared_edges``
DUST_M = 1e-6  #: distances below this are rounding
SPACING_M = 0.25  #: between the points at which an edge's shift is measured
COVERAGE = 2.0  #: a difference beyond 2 u is larger than its uncertainty (JCGM 100, 6.3.3)
LARGEST = 4.0  #: of a few hundred vertices' errors the largest is seldom beyond four of theirs


@dataclass(frozen=True, slots=True, kw_only=True)
class Pairs:
    """Surfaces that both surveys have, one row a pair, in the order of the new survey."""

    old: Ints  #: row in the old survey
    new: Ints  #: row in the new survey
    by_overlap: Bools  #: the ids differ; they were paired because they cover the same ground

    def __post_init__(self) -> None:
        freeze(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class Changes:
    """What became of each paired surface, one row a pair. Areas are of the ground it owns."""

    difference_m2: Floats  #: new less old ground area
    u_difference_m2: Floats
    gained_m2: Floats  #: ground that only the new survey gives it
    lost_m2: Floats
    gained: Geometries  #: lon/lat
    lost: Geometries
    edge_mean_m: Floats  #: mean distance between the drawn edges, without sign, both ways
    edge_maximum_m: Floats
    longitude_deg: Floats  #: where the distance is largest
    latitude_deg: Floats
    u_edge_m: Floats  #: standard uncertainty of the distance of two edges that are the same
    verdict: Strings  #: unchanged, larger, smaller, moved or within uncertainty
    old_errors: AreaErrors  #: of all old surfaces, of moved stretches only
    new_errors: AreaErrors  #: the same of the new ones


def pair_surveys(old: Surfaces, new: Surfaces) -> Pairs:
    """Which surfaces of two surveys (one edition each) are the same.

    The same id; of the rest, the same kind where more than half of the larger one is common
    ground, the largest share first.
    """
    row_of = {str(name): row for row, name in enumerate(old.id)}
    named = np.array([row_of.get(str(name), -1) for name in new.id], dtype=np.int64)
    new_rows = np.flatnonzero(named >= 0)
    old_rows = named[new_rows]
    left_old = np.setdiff1d(np.arange(len(old)), old_rows)
    left_new = np.setdiff1d(np.arange(len(new)), new_rows)
    more_old, more_new = _same_ground(old, new, left_old, left_new)
    olds, news = np.concatenate([old_rows, more_old]), np.concatenate([new_rows, more_new])
    order = np.argsort(news, kind="stable")
    return Pairs(old=olds[order], new=news[order], by_overlap=(order >= len(new_rows)))


def _same_ground(old: Surfaces, new: Surfaces, left_old: Ints, left_new: Ints) -> tuple[Ints, Ints]:
    tree = shapely.STRtree(old.geometry[left_old])
    found_new, found_old = tree.query(new.geometry[left_new], predicate="intersects")
    olds, news = left_old[found_old], left_new[found_new]
    alike = old.kind[olds] == new.kind[news]
    olds, news = olds[alike], news[alike]
    common = _areas_m2(shapely.intersection(old.geometry[olds], new.geometry[news]))
    larger = np.maximum(
        ellipsoid_areas_m2(old.geometry[olds]), ellipsoid_areas_m2(new.geometry[news])
    )
    share = ratio(common, larger, 0.0)
    order = np.argsort(-share, kind="stable")
    order = order[share[order] > 0.5]
    olds, news = olds[order], news[order]
    # overlapping polygons of one survey could each claim the same partner
    first = np.zeros(len(order), dtype=np.bool_)
    first[np.unique(olds, return_index=True)[1]] = True
    once = np.zeros(len(order), dtype=np.bool_)
    once[np.unique(news, return_index=True)[1]] = True
    return olds[first & once], news[first & once]


def compare_surveys(
    old: Surfaces, old_areas: AreaRegister, new: Surfaces, new_areas: AreaRegister, pairs: Pairs
) -> Changes:
    """Gained and lost ground, shift of the edge and difference of area with its u, by pair.

    Tables and registers hold one edition each. u of a difference: the vertices that are not the
    same in both, each old edge error and each new one times the length of its moved stretch, and
    the bias of each survey in the same way (GUM 5.2.2 with the old survey's inputs and the new
    one's uncorrelated).
    """
    gained, lost = _both_ways(old_areas.owned[pairs.old], new_areas.owned[pairs.new])
    factor = new_areas.ground_factor[pairs.new]
    old_errors, new_errors, moved = _moved_errors(old_areas, new_areas, pairs, old, new)
    u = np.hypot(old_errors.u_area_m2()[pairs.old], new_errors.u_area_m2()[pairs.new])
    difference = new_areas.area_m2[pairs.new] - old_areas.area_m2[pairs.old]
    shift = _edge_shifts(old.geometry[pairs.old], new.geometry[pairs.new], new_areas.plane)
    edge, vertex = _edge_spread_m(old, pairs.old), _edge_spread_m(new, pairs.new)
    u_edge = np.hypot(edge[0], vertex[0])
    limit = COVERAGE * u_edge + LARGEST * np.hypot(edge[1], vertex[1])
    verdict = np.select(
        [moved <= 0, difference > COVERAGE * u, difference < -COVERAGE * u, shift[1] > limit],
        ["unchanged", "larger", "smaller", "moved"],
        "within uncertainty",
    )
    return Changes(
        difference_m2=difference,
        u_difference_m2=u,
        gained_m2=_areas_m2(gained) * factor,
        lost_m2=_areas_m2(lost) * factor,
        gained=gained,
        lost=lost,
        edge_mean_m=shift[0],
        edge_maximum_m=shift[1],
        longitude_deg=shift[2],
        latitude_deg=shift[3],
        u_edge_m=u_edge,
        verdict=verdict,
        old_errors=old_errors,
        new_errors=new_errors,
    )


def change_spread_m2(
    changes: Changes, old_coefficients: Floats, new_coefficients: Floats
) -> Floats:
    """Standard uncertainty (D,) of sums over the new survey less sums over the old one.

    Coefficients are (D, surfaces of that survey). Edges that surfaces of a sum share cancel, the
    bias of one survey adds up over its surfaces.
    """
    old = changes.old_errors.effects(old_coefficients)
    new = changes.new_errors.effects(new_coefficients)
    u: Floats = np.sqrt(sum(effect**2 for effect in (*old.values(), *new.values())))
    return u


def _both_ways(old: Geometries, new: Geometries) -> tuple[Geometries, Geometries]:
    """New without old and old without new, in lon/lat, as areas: no lines, no points."""
    return _areal(shapely.difference(new, old)), _areal(shapely.difference(old, new))


def _areal(geometries: Geometries) -> Geometries:
    parts, row = shapely.get_parts(geometries, return_index=True)
    kept = shapely.get_type_id(parts) == 3
    parts, row = parts[kept], row[kept]
    out = np.full(len(geometries), shapely.MultiPolygon(), dtype=object)
    if len(parts):
        rows, group = np.unique(row, return_inverse=True)
        out[rows] = shapely.multipolygons(parts, indices=group)
    return out


def _areas_m2(geometries: Geometries) -> Floats:
    return ellipsoid_areas_m2(_areal(geometries))


def _moved_errors(
    old_areas: AreaRegister, new_areas: AreaRegister, pairs: Pairs, old: Surfaces, new: Surfaces
) -> tuple[AreaErrors, AreaErrors, Floats]:
    """Errors of both surveys left after what they draw alike, and the moved length of a pair."""
    old_plane = new_areas.plane.to_plane(old_areas.owned)
    new_plane = new_areas.owned_plane
    here, there = (old_plane, pairs.old), (new_plane, pairs.new)
    old_edges, old_moved = _moved_edges(old_areas.errors, *here, *there)
    new_edges, new_moved = _moved_edges(new_areas.errors, *there, *here)
    old_vertices, new_vertices = (e.u_vertices_m2.copy() for e in (old_edges, new_edges))
    old_vertices[pairs.old] = 0.0  # a vertex may be of both: their joint error stands with the new
    new_vertices[pairs.new] = _vertex_spread_m2(
        old_plane[pairs.old],
        new_plane[pairs.new],
        old.boundary_accuracy_m[pairs.old],
        new.boundary_accuracy_m[pairs.new],
    )
    return (
        replace(old_edges, u_vertices_m2=old_vertices),
        replace(new_edges, u_vertices_m2=new_vertices),
        old_moved[pairs.old] + new_moved[pairs.new],
    )


def _moved_edges(
    errors: AreaErrors, plane: Geometries, rows: Ints, other_plane: Geometries, other_rows: Ints
) -> tuple[AreaErrors, Floats]:
    """The errors with lengths of moved stretches only; unpaired surfaces keep their whole edge."""
    outline = shapely.boundary(plane)
    moved = outline.copy()
    band = shapely.buffer(shapely.boundary(other_plane[other_rows]), KEPT_M, quad_segs=2)
    moved[rows] = shapely.difference(outline[rows], band)
    shared = errors.shared
    beside = shapely.buffer(outline[shared.upper], TOUCH_M, quad_segs=2)
    length = shapely.length(shapely.intersection(moved[shared.lower], beside))
    length = np.minimum(length, shared.length_m)
    total = shapely.length(moved)
    ruled = np.bincount(shared.lower, weights=length, minlength=len(plane))
    own = np.clip(total - ruled, 0.0, errors.own_edge_m)
    return replace(errors, own_edge_m=own, shared=replace(shared, length_m=length)), total


def _vertex_spread_m2(
    old: Geometries, new: Geometries, old_accuracy_m: Floats, new_accuracy_m: Floats
) -> Floats:
    """u of each difference from vertices: s²·Σ|g|², g the area's derivative by a vertex's place.

    A vertex that both have (to a millimetre) has one error, its derivative is new less old.
    """
    owner, spot, slope, accuracy = [], [], [], []
    for sign, shapes, s in ((-1.0, old, old_accuracy_m), (1.0, new, new_accuracy_m)):
        rings = rings_of(shapely.orient_polygons(shapes))
        before, after = rings.neighbours()
        counts = np.ones(len(rings.position), dtype=np.bool_)
        counts[rings.last] = False
        surface = np.repeat(rings.surface, rings.last - rings.first + 1)[counts]
        owner.append(surface)
        spot.append(np.rint(rings.position[counts] / KEPT_M))
        slope.append(sign * (after - before)[counts] / 2)
        accuracy.append(s[surface])
    keys = np.column_stack([np.concatenate(owner), np.concatenate(spot)])
    places, which = np.unique(keys, axis=0, return_inverse=True)
    total, s = np.zeros((len(places), 2)), np.zeros(len(places))
    np.add.at(total, which, np.concatenate(slope))
    np.maximum.at(s, which, np.concatenate(accuracy))
    variance = s**2 * (total**2).sum(axis=1)
    surface = places[:, 0].astype(np.int64)
    u: Floats = np.sqrt(np.bincount(surface, variance, minlength=len(old)))
    return u


def _edge_spread_m(surfaces: Surfaces, rows: Ints) -> tuple[Floats, Floats]:
    """u of where an edge runs, all along it, and of one vertex."""
    edge = np.hypot(surfaces.edge_accuracy_m[rows], surfaces.edge_bias_m[rows])
    return edge, surfaces.boundary_accuracy_m[rows]


def _edge_shifts(
    old: Geometries, new: Geometries, plane: Plane
) -> tuple[Floats, Floats, Floats, Floats]:
    """Mean and largest distance between drawn edges, both ways, and the lon/lat of the largest."""
    flat_old, flat_new = plane.to_plane(old), plane.to_plane(new)
    forth, back = _distances(flat_new, flat_old), _distances(flat_old, flat_new)
    mean = ratio(forth[0] + back[0], forth[1] + back[1])
    farther = forth[2] >= back[2]
    largest = np.where(farther, forth[2], back[2])
    x, y = np.where(farther[:, None], forth[3], back[3]).T
    longitude, latitude = plane.inverse(x, y)
    return mean, largest, longitude, latitude


def _distances(flat: Geometries, others: Geometries) -> tuple[Floats, Floats, Floats, Floats]:
    """Along each edge: integral of the distance to the other, length, largest, and its x, y."""
    step = np.maximum(SPACING_M, shapely.length(flat) / 4000)
    rings = rings_of(shapely.segmentize(flat, step))
    begin, end = rings.edges()
    owner = np.repeat(rings.surface, rings.last - rings.first + 1)
    away = shapely.distance(shapely.points(rings.position), shapely.boundary(others)[owner])
    away = np.where(away > DUST_M, away, 0.0)  # an empty outline has no distance: nan
    length = np.hypot(*(end - begin).T)
    along = rings.sum_edges(length * (away + np.roll(away, -1)) / 2)
    largest, place = np.zeros(len(flat)), np.full((len(flat), 2), np.nan)
    order = np.lexsort((away, owner))
    last = order[np.flatnonzero(np.diff(owner[order], append=-1) != 0)]
    largest[owner[last]], place[owner[last]] = away[last], rings.position[last]
    return rings.sum_rings(along), rings.sum_rings(rings.sum_edges(length)), largest, place
