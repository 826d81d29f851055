"""Where overthrow lies, if all of it landed beside the dressed surfaces.

Outside the edge of a dressed surface the rate falls linearly, rate·(1 − x/L), from the edge to the
reach L; one L per group of surfaces, such that the rings hold the overthrow of the group. What
falls on another surface of the same dressing is not overthrow, and ground between two of them
belongs to the nearer edge. The linear taper is an assumption: common practice, no published source.
"""

from __future__ import annotations

from collections.abc import Sized
from dataclasses import dataclass, fields, replace

import numpy as np
import shapely

from geosand.balance.ring_ground import (
    Ground,
    Stands,
    distinct_cases,
    distinct_stands,
    lay_ground,
)
from geosand.balance.ring_strips import (
    COLLAR,
    HAZARD,
    OUTER,
    Strips,
    farthest_corners_m,
    mass_share,
    mass_share_slope,
    parts_less_holes,
    ragged,
)
from geosand.balance.ring_zones import ZoneCells, zone_cells
from geosand.columns import Bools, Floats, Geometries, Ints, Strings, distinct, take

FARTHEST_REACH_M = 200.0  #: no spreader throws farther; the search for the reach ends here


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class ThrowOff:
    """Where the overthrow of each group lies. Columns per group (G) first, then per surface (n)."""

    reach_m: Floats  #: G; nan: no rings, or not within 200 m
    strip_width_m: Floats  #: G; overthrow / Σ(rate·perimeter)
    reach_low_m: Floats  #: G; at the lower limit of the overthrow, 0 where that is not above 0
    reach_high_m: Floats  #: G
    group_collar_kg: Floats  #: G
    group_surrounds_kg: Floats  #: G
    group_farther_kg: Floats  #: G; the three sum to the overthrow
    collar_low_kg: Floats  #: G; in the collars at the lower limit of the overthrow
    collar_high_kg: Floats  #: G
    collar_kg: Floats  #: n
    surrounds_kg: Floats  #: n
    farther_kg: Floats  #: n
    collar_area_m2: Floats  #: n; of the ground nearer to it than to others dressed with it
    surrounds_area_m2: Floats  #: n
    hazard_kg: dict[str, Floats]  #: n by kind: how much of the above lies over hazards

    def __post_init__(self) -> None:
        for field in fields(self):
            column = getattr(self, field.name)
            for array in column.values() if isinstance(column, dict) else (column,):
                array.flags.writeable = False


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class _Laid:
    """Ground brought from the distinct cases to the rows that were dressed."""

    cap_m: float
    strips: Strips
    zones: ZoneCells
    stand: Ints
    rate: Floats
    group: Ints
    groups: int
    perimeter_m: Floats
    drawn: Bools
    collar_m: Floats
    outer_m: Floats

    def rows(self, column: Floats, row: Ints) -> Floats:
        """Sums by row."""
        return _sums(row, column, len(self.rate))

    def by_group(self, column: Floats) -> Floats:
        """Sums by group."""
        return _sums(self.group, column, self.groups)


def throw_off(
    *,
    surfaces: Geometries,
    dressing: Ints,
    group: Ints,
    rate_kg_m2: Floats,
    overthrow_kg: Floats,
    low_kg: Floats,
    high_kg: Floats,
    collars: Geometries,
    collar_width_m: Floats,
    surrounds_width_m: Floats,
    hazards: Geometries,
    hazard_kind: Strings,
) -> ThrowOff:
    """Solve the reach of each group and say how much sand lies in collars, surrounds and farther.

    ``surfaces``: n dressed polygons in plane metres, one row for each time a surface is dressed;
    ``dressing`` (n): rows dressed together, which clip each other; ``group`` (n): row of the G
    overthrows; ``collars`` (n): drawn collar or None, then a ring of ``collar_width_m`` (0: none).
    ``surrounds_width_m``: the band beyond the collar. ``hazards``: polygons with their kind; sand
    over them is told apart, it stays counted in collar, surrounds or farther too.

    Mass of surface i: rateᵢ/L·∫₀ᴸ Rᵢ(x) dx, Rᵢ(x) = ground within x of its edge; alone and convex
    R = P·x + π·χ·x² (Steiner; χ = parts − holes), so that the mass is rate·(P·L/2 + π·χ·L²/3).

    An overthrow that is not above zero, or nan: reach nan, masses 0. A positive one of a group
    whose rates are nan or all 0: reach and masses nan. One that 200 m of reach do not hold: reach
    nan, the rings as at 200 m, the remainder in farther. Areas are those of the zones on the ground
    of the row, whatever the overthrow. ValueError names columns of wrong length.
    """
    _check_lengths(len(surfaces), dressing=dressing, group=group, rate_kg_m2=rate_kg_m2,
                   collars=collars, collar_width_m=collar_width_m,
                   surrounds_width_m=surrounds_width_m)  # fmt: skip
    _check_lengths(len(overthrow_kg), low_kg=low_kg, high_kg=high_kg)
    groups, known = len(overthrow_kg), np.isfinite(rate_kg_m2)
    rate = np.where(known, rate_kg_m2, 0.0)
    edge = _sums(group, rate * shapely.length(surfaces), groups)
    placeable = (edge > 0) & (_sums(group, (~known).astype(np.float64), groups) == 0)
    targets = np.clip(np.stack((overthrow_kg, low_kg, high_kg)), 0.0, None)
    targets = np.where(placeable, targets, np.nan)
    kinds, parts = _hazard_parts(hazards, hazard_kind)
    cases, case = distinct_cases(surfaces, collars, collar_width_m, surrounds_width_m)
    cap = max(_widest_zone(cases), _reach_alone(surfaces, rate, group, targets))
    while True:
        stands, stand = distinct_stands(cases, case, dressing, 2 * cap)
        ground = lay_ground(stands, parts, cap)
        zones = zone_cells(ground.crossings, len(stands.surface))
        laid = _bring(ground, zones, stands, stand, rate, group, groups)
        reach = np.stack([_reach(laid, target) for target in targets])
        if cap >= FARTHEST_REACH_M or not np.isinf(reach).any():
            break
        cap = min(2 * cap, FARTHEST_REACH_M)
    area = _areas(ground, zones, stands, stand)
    return _split(laid, reach, targets, edge, area, (overthrow_kg > 0) & ~placeable, kinds)


def _sums(owner: Ints, column: Floats, count: int) -> Floats:
    return np.bincount(owner, column, count).astype(np.float64)


def _check_lengths(expected: int, **columns: Sized) -> None:
    wrong = {name: len(column) for name, column in columns.items() if len(column) != expected}
    if wrong:
        raise ValueError(f"columns of {expected} rows expected, found {wrong}")


def _hazard_parts(hazards: Geometries, kind: Strings) -> tuple[list[str], list[Geometries]]:
    """Kinds, and for each its polygons made disjoint, so that no ground counts twice."""
    _check_lengths(len(hazards), hazard_kind=kind)
    kinds = [str(k) for k in distinct(kind)]
    merged = [shapely.union_all(hazards[kind == k]) for k in kinds]
    parts = [shapely.get_parts(one) for one in merged]
    return kinds, [p[shapely.get_dimensions(p) == 2] for p in parts]


def _widest_zone(stands: Stands) -> float:
    """How far from an edge a collar with its surrounds extends at most."""
    drawn = np.zeros(len(stands.surface))
    some = ~shapely.is_missing(stands.collar)
    drawn[some] = farthest_corners_m(stands.collar[some], stands.surface[some])
    widest = np.maximum(stands.collar_width_m, drawn) + stands.surrounds_width_m
    return float(np.clip(widest.max(initial=0.0), 1.0, FARTHEST_REACH_M))


def _reach_alone(surfaces: Geometries, rate: Floats, group: Ints, targets: Floats) -> float:
    """The longest reach as if no ring met anything, with a fifth to spare."""
    groups = targets.shape[1]
    straight = _sums(group, rate * shapely.length(surfaces), groups) / 2
    round_ = _sums(group, rate * np.pi * parts_less_holes(surfaces), groups) / 3
    root = np.sqrt(np.maximum(straight**2 + 4 * round_ * targets, 0.0))
    with np.errstate(invalid="ignore", divide="ignore"):
        alone = np.nan_to_num(2 * targets / (straight + root))
    return float(min(1.2 * alone.max(initial=0.0), FARTHEST_REACH_M))


def _bring(
    ground: Ground,
    zones: ZoneCells,
    stands: Stands,
    stand: Ints,
    rate: Floats,
    group: Ints,
    groups: int,
) -> _Laid:
    """The ground of each dressed row, from the ground of its distinct case."""
    return _Laid(
        cap_m=ground.cap_m,
        strips=_spread_rows(ground.strips, stand),
        zones=zones,
        stand=stand,
        rate=rate,
        group=group,
        groups=groups,
        perimeter_m=shapely.length(stands.surface)[stand],
        drawn=~shapely.is_missing(stands.collar)[stand],
        collar_m=stands.collar_width_m[stand],
        outer_m=(stands.collar_width_m + stands.surrounds_width_m)[stand],
    )


def _spread_rows(strips: Strips, stand: Ints) -> Strips:
    bounds = np.searchsorted(strips.row, np.arange(stand.max(initial=-1) + 2))
    row, which = ragged(bounds[stand], bounds[stand + 1] - bounds[stand])
    brought: Strips = take(strips, which)
    return replace(brought, row=row)


def _reach(laid: _Laid, target_kg: Floats) -> Floats:
    """L of each group by guarded Newton steps; inf where the cap does not hold the mass."""
    strips, owner = laid.strips, laid.group[laid.strips.row]
    weight = laid.rate[strips.row]

    def held(reach: Floats) -> Floats:
        at = reach[owner]
        return _sums(owner, weight * mass_share(strips, at, 1 / at), laid.groups)

    low, high = np.zeros(laid.groups), np.full(laid.groups, laid.cap_m)
    active = target_kg > 0
    beyond = active & (held(high) < target_kg)
    active &= ~beyond
    reach = high / 2
    for _ in range(100):
        excess = held(reach) - target_kg
        if not (np.abs(excess[active]) > 1e-13 * target_kg[active]).any():
            break
        low, high = np.where(excess < 0, reach, low), np.where(excess > 0, reach, high)
        slope = weight * mass_share_slope(strips, reach[owner])
        slope = _sums(owner, slope, laid.groups)
        step = reach - excess / np.where(slope > 0, slope, 1.0)
        inside = active & (slope > 0) & (step > low) & (step < high)
        reach = np.where(inside, step, np.where(active, (low + high) / 2, reach))
        if not (high - low > 1e-14 * reach)[active].any():
            break
    found = np.where(active, reach, np.where(beyond, np.inf, 0.0))
    return np.where(np.isnan(target_kg), np.nan, found)


def _masses(laid: _Laid, reach_m: Floats) -> dict[int, Floats]:
    """kg by row: −1 in all, COLLAR, OUTER (collar and surrounds), HAZARD + k over each kind."""
    reach = np.clip(np.nan_to_num(reach_m, posinf=np.inf), 1e-9, laid.cap_m)[laid.group]
    reach = np.where(reach_m[laid.group] > 0, reach, np.nan)
    zones = _zone_sums(laid, reach, 1 / reach)
    masses = {zone: np.nan_to_num(laid.rate * share) for zone, share in zones.items()}
    masses[OUTER] = np.minimum(masses[OUTER], masses[-1])  # a drawn zone is cut by lines, once each
    masses[COLLAR] = np.minimum(masses[COLLAR], masses[OUTER])
    return masses


def _areas(ground: Ground, zones: ZoneCells, stands: Stands, stand: Ints) -> tuple[Floats, Floats]:
    """Collar and surrounds of each row in m², on its own ground."""
    count = len(stands.surface)
    one = np.ones(count)
    every = np.arange(count)
    laid = _bring(ground, zones, stands, every, one, np.zeros(count, np.int64), 1)
    area = _zone_sums(laid, one * ground.cap_m, 0 * one)
    return area[COLLAR][stand], np.maximum(area[OUTER] - area[COLLAR], 0.0)[stand]


def _zone_sums(laid: _Laid, reach: Floats, inverse_reach: Floats) -> dict[int, Floats]:
    """Integrals of the taper over each zone by row; with ``inverse_reach`` 0 their areas."""
    strips, row = laid.strips, laid.strips.row

    def within(limit: Floats) -> Floats:
        share = mass_share(strips, np.minimum(limit, reach)[row], inverse_reach[row])
        return laid.rows(share, row)

    by_zone = dict(enumerate(laid.zones.shares(laid.stand, reach, inverse_reach).T))
    if not laid.drawn.all():
        by_zone[COLLAR] = np.where(laid.drawn, by_zone[COLLAR], within(laid.collar_m))
        by_zone[OUTER] = np.where(laid.drawn, by_zone[OUTER], within(laid.outer_m))
    return by_zone | {-1: within(reach)}


def _split(
    laid: _Laid,
    reach: Floats,
    targets: Floats,
    edge: Floats,
    area: tuple[Floats, Floats],
    lost: Bools,
    kinds: list[str],
) -> ThrowOff:
    """Masses by zone at the three reaches (overthrow, its lower and its upper limit)."""
    main, low, high = (_masses(laid, one) for one in reach)
    unknown = np.where(lost, np.nan, 0.0)
    collar = main[COLLAR] + unknown[laid.group]
    surrounds = main[OUTER] - main[COLLAR] + unknown[laid.group]
    farther = main[-1] - main[OUTER] + unknown[laid.group]
    farther = farther + _remainder(laid, main[-1], np.where(np.isinf(reach[0]), targets[0], 0.0))
    rings = np.where((targets[0] > 0) & np.isfinite(reach[0]), reach[0], np.nan)
    ends = np.where(np.isnan(targets), np.nan, 0.0)
    with np.errstate(invalid="ignore", divide="ignore"):
        strip = np.where(targets[0] > 0, targets[0] / edge, np.nan)
    return ThrowOff(
        reach_m=rings,
        strip_width_m=strip,
        reach_low_m=np.where(np.isinf(reach[1]), np.nan, reach[1]),
        reach_high_m=np.where(np.isinf(reach[2]), np.nan, reach[2]),
        group_collar_kg=laid.by_group(collar) + unknown,
        group_surrounds_kg=laid.by_group(surrounds) + unknown,
        group_farther_kg=laid.by_group(farther) + unknown,
        collar_low_kg=laid.by_group(low[COLLAR]) + ends[1],
        collar_high_kg=laid.by_group(high[COLLAR]) + ends[2],
        collar_kg=collar,
        surrounds_kg=surrounds,
        farther_kg=farther,
        collar_area_m2=area[0],
        surrounds_area_m2=area[1],
        hazard_kg={
            kind: main.get(HAZARD + code, 0.0) + unknown[laid.group]
            for code, kind in enumerate(kinds)
        },
    )


def _remainder(laid: _Laid, mass_kg: Floats, target_kg: Floats) -> Floats:
    """By row, what a group's ground within the cap does not hold: shared as what it does hold."""
    held = laid.by_group(mass_kg)
    edge = laid.rate * laid.perimeter_m
    weight = np.where(held[laid.group] > 0, mass_kg, edge)
    whole = laid.by_group(weight)
    share = weight / np.where(whole > 0, whole, 1.0)[laid.group]
    return np.maximum(target_kg - held, 0.0)[laid.group] * share
