"""Two boundary surveys of the same ground: what was gained and lost, and is it more than error.

Two surveys err independently of each other: each has its own vertices, its own idea of where the
mown edge is, and its own bias. A stretch that both draw with the same vertices is one measurement,
so that its error leaves the difference alone; only moved stretches make the difference uncertain.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from geosand.areas.bends import largest_sagitta_m
from geosand.areas.edge_shifts import edge_shifts
from geosand.areas.ellipsoid import ellipsoid_areas_m2
from geosand.areas.moved_errors import moved_errors
from geosand.areas.overlay import both_ways
from geosand.areas.pairing import Pairs, Regrouping
from geosand.areas.register import AreaRegister
from geosand.areas.uncertainty import AreaErrors
from geosand.columns import Bools, Floats, Geometries, Ints, Strings, columns
from geosand.site.tables import Surfaces

COVERAGE = 2.0  #: a difference beyond 2 u is larger than its uncertainty (JCGM 100, 6.3.3)
_ROUNDED_DEG = 2e-8  #: 2 mm: corners of one shift differ by their rounding to 8 decimals or more
LARGEST = 4.0  #: of a few hundred vertices' errors the largest is seldom beyond four of theirs


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


@columns
class GroundChanges:
    """What became of the whole ground of each regrouping, one row a regrouping."""

    old_area_m2: Floats
    new_area_m2: Floats
    u_difference_m2: Floats
    gained_m2: Floats
    lost_m2: Floats
    gained: Geometries  #: lon/lat
    lost: Geometries
    verdict: Strings  #: larger, smaller or within uncertainty


def compare_surveys(
    old: Surfaces,
    old_areas: AreaRegister,
    new: Surfaces,
    new_areas: AreaRegister,
    pairs: Pairs,
    regrouped: Sequence[Regrouping] = (),
    *,
    datum_m: float = 0.0,
) -> Changes:
    """Gained and lost ground, shift of the edge and difference of area with its u, by pair.

    Tables and registers hold one edition each. u of a difference: the vertices that are not the
    same in both, each old edge error and each new one times the length of its moved stretch, and
    the bias of each survey in the same way (GUM 5.2.2 with the old survey's inputs and the new
    one's uncorrelated). ``datum_m``, the standard uncertainty of how the two reference systems lie
    to each other, makes edges uncertain and leaves areas alone.
    """
    gained, lost = both_ways(old_areas.owned[pairs.old], new_areas.owned[pairs.new])
    factor = new_areas.ground_factor[pairs.new]
    accuracy = old.boundary_accuracy_m, new.boundary_accuracy_m
    old_errors, new_errors, moved = moved_errors(old_areas, new_areas, pairs, accuracy)
    old_u = (old_errors.u_area_m2() * old_areas.ground_factor)[pairs.old]
    u = np.hypot(old_u, (new_errors.u_area_m2() * new_areas.ground_factor)[pairs.new])
    if regrouped:  # in a sum of areas an edge that another member of its group has is kept
        old_errors, new_errors, _ = moved_errors(old_areas, new_areas, pairs, accuracy, regrouped)
    difference = new_areas.area_m2[pairs.new] - old_areas.area_m2[pairs.old]
    mean, largest, longitude, latitude = edge_shifts(
        old.geometry[pairs.old], new.geometry[pairs.new], new_areas.plane
    )
    u_edge, limit = _edge_limits_m(old, new, pairs, datum_m)
    alike = np.where(largest > limit, "moved", "within uncertainty")
    return Changes(
        difference_m2=difference,
        u_difference_m2=u,
        gained_m2=ellipsoid_areas_m2(gained) * factor,
        lost_m2=ellipsoid_areas_m2(lost) * factor,
        gained=gained,
        lost=lost,
        edge_mean_m=mean,
        edge_maximum_m=largest,
        longitude_deg=longitude,
        latitude_deg=latitude,
        u_edge_m=u_edge,
        verdict=np.where(moved <= 0, "unchanged", _verdicts(difference, u, alike)),
        old_errors=old_errors,
        new_errors=new_errors,
    )


def _edge_limits_m(
    old: Surfaces, new: Surfaces, pairs: Pairs, datum_m: float
) -> tuple[Floats, Floats]:
    """u (n,) of how far two edges that are the same lie apart, and beyond which one moved."""
    edge = np.hypot(_edge_spread_m(old, pairs.old), _edge_spread_m(new, pairs.new))
    u_edge = np.hypot(edge, datum_m)
    shapes = old.geometry[pairs.old], new.geometry[pairs.new]
    chords = largest_sagitta_m(shapes[0]) + largest_sagitta_m(shapes[1])
    chords[_shifted_whole(*shapes)] = 0.0
    vertex = np.hypot(old.boundary_accuracy_m[pairs.old], new.boundary_accuracy_m[pairs.new])
    return u_edge, COVERAGE * u_edge + LARGEST * vertex + chords


def _shifted_whole(old: Geometries, new: Geometries) -> Bools:
    """Whether the corners are the same but for one shift: then chords hide nothing."""
    count = shapely.get_num_coordinates(old)
    alike: Bools = count == shapely.get_num_coordinates(new)
    corners, row = shapely.get_coordinates(old[alike], return_index=True)
    step = shapely.get_coordinates(new[alike]) - corners
    size = count[alike]
    sums = np.column_stack([np.bincount(row, way, len(size)) for way in step.T])
    mean = sums / size[:, None]
    apart = np.abs(step - mean[row]).max(axis=1, initial=0.0)
    farthest = np.zeros(len(mean))
    np.maximum.at(farthest, row, apart)
    alike[alike] = farthest < _ROUNDED_DEG
    return alike


def _edge_spread_m(surfaces: Surfaces, rows: Ints) -> Floats:
    """u of where an edge runs, all along it."""
    return np.hypot(surfaces.edge_accuracy_m[rows], surfaces.edge_bias_m[rows])


def compare_regrouped(
    old_areas: AreaRegister,
    new_areas: AreaRegister,
    regrouped: Sequence[Regrouping],
    changes: Changes,
) -> GroundChanges:
    """The ground of each regrouping as one: a line through the middle of a surface moves nothing.

    ``changes`` are those of the same surveys with the same ``regrouped``.
    """
    before = _members([one.old for one in regrouped], len(old_areas.area_m2))
    after = _members([one.new for one in regrouped], len(new_areas.area_m2))
    old_m2, new_m2 = before @ old_areas.area_m2, after @ new_areas.area_m2
    gained, lost = both_ways(
        _unions(old_areas.owned, [one.old for one in regrouped]),
        _unions(new_areas.owned, [one.new for one in regrouped]),
    )
    factor = np.array([new_areas.ground_factor[one.new[0]] for one in regrouped])
    on_ground = before * old_areas.ground_factor, after * new_areas.ground_factor
    u = change_spread_m2(changes, *on_ground)
    difference = new_m2 - old_m2
    return GroundChanges(
        old_area_m2=old_m2,
        new_area_m2=new_m2,
        u_difference_m2=u,
        gained_m2=ellipsoid_areas_m2(gained) * factor,
        lost_m2=ellipsoid_areas_m2(lost) * factor,
        gained=gained,
        lost=lost,
        verdict=_verdicts(difference, u, np.full(len(u), "within uncertainty")),
    )


def _verdicts(difference: Floats, u: Floats, alike: Strings) -> Strings:
    """larger or smaller where a difference exceeds its uncertainty, else what is ``alike``."""
    return np.select(
        [difference > COVERAGE * u, difference < -COVERAGE * u], ["larger", "smaller"], alike
    )


def _members(rows: Sequence[Ints], size: int) -> Floats:
    """1 where a surface is of a group, 0 elsewhere (groups, surfaces)."""
    members = np.zeros((len(rows), size))
    for line, mine in zip(members, rows, strict=True):
        line[mine] = 1.0
    return members


def _unions(shapes: Geometries, rows: Sequence[Ints]) -> Geometries:
    together = np.empty(len(rows), dtype=object)
    together[:] = [shapely.union_all(shapes[mine]) for mine in rows]
    return together


def change_spread_m2(
    changes: Changes, old_coefficients: Floats, new_coefficients: Floats
) -> Floats:
    """Standard uncertainty (D,) of sums over the new survey less sums over the old one.

    Coefficients are (D, surfaces of that survey), the ground factor in them. Edges that surfaces of
    a sum share cancel, the bias of one survey adds up over its surfaces.
    """
    old = changes.old_errors.effects(old_coefficients)
    new = changes.new_errors.effects(new_coefficients)
    return np.sqrt(sum(effect**2 for effect in (*old.values(), *new.values())))
