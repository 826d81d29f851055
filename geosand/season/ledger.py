"""The season's ledger: depth each surface has had so far, against its target so far."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from geosand.areas.register import AreaRegister
from geosand.balance.account import Balance
from geosand.columns import Bools, Floats, Ints, Strings, ratio
from geosand.distributions import student_probability
from geosand.errors import Fault, Finding, Refused
from geosand.estimates import Estimates, Interval
from geosand.rates.surface_rates import NEW_EACH_TIME, Rates
from geosand.season.holes import hole_capacity_m
from geosand.season.ring_ledger import RingLedger, ring_ledger
from geosand.site.tables import HAZARDS, Site

UNDER, ON_TARGET, OVER = "under-dressed", "on target", "over-dressed"
NOT_MEASURED, NO_TARGET = "not measured", "no target"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ledger:
    """One row a surface of the boundaries in force that is dressed or has a target."""

    start: np.datetime64
    as_of: np.datetime64
    row: Ints  #: row of Surfaces
    depth: Estimates  #: m; only what was measured
    interval: Interval
    target_m: Floats  #: of the whole season
    target_so_far_m: Floats
    shortfall_m: Floats  #: target so far − depth; negative = over; nan where not measured
    state: Strings
    probability: Floats  #: of the state; nan where there is none
    dressings: Ints  #: how many dressings it has had
    measured: Bools  #: False where a dressing of it has no catches
    own: Bools  #: True where any of its dressings stands on its own catches
    in_holes_m: Floats
    surface_m: Floats
    rings: RingLedger
    counted: Bools  #: one row a dressed surface (Dressed): inside the season and the date
    findings: tuple[Finding, ...]


def last_record(site: Site) -> np.datetime64:
    """Day of the newest dressing, delivery or count; the season's start where there is none."""
    days = np.concatenate([site.dressings.date, site.deliveries.date, site.stock_counts.date])
    return max(days.max(), site.season_start) if len(days) else site.season_start


def site_ledger(
    site: Site,
    register: AreaRegister,
    rates: Rates,
    balance: Balance,
    *,
    as_of: np.datetime64 | None = None,
) -> Ledger:
    """Depth so far, target so far and state of every surface, ``as_of`` a day (default: the last
    record, never the clock). Raises Refused for a day before the season."""
    day = last_record(site) if as_of is None else as_of
    if day < site.season_start:
        found = f"the season starts on {site.season_start}, after the day of account {day}"
        remedy = "name a later day, or correct season_start"
        raise Refused(Fault(file="site.toml", column="season_start", found=found, remedy=remedy))
    date = site.dressings.date[site.dressed.dressing]
    owns = register.area_m2[site.dressed.surface] > 0  # no ground, no depth
    counted = owns & (date >= site.season_start) & (date <= day)
    if site.season_end is not None:
        counted &= date <= site.season_end
    ground = site.surfaces.ground[site.dressed.surface]
    depth, measured = _depth_so_far(site, rates, counted, ground)
    target_so_far = _target_so_far(site, counted, ground, day)
    row = _ledger_rows(site, register, counted, ground, target_so_far)
    index = site.surfaces.ground[row]
    mine = depth.rows(index)
    so_far = target_so_far[index]
    state, probability = states(mine, so_far, site.settings.tolerance)
    state = np.where(measured[index], state, NOT_MEASURED)
    dressed = np.bincount(ground[counted], minlength=len(site.ids))[index]
    own = np.bincount(ground[counted & rates.own], minlength=len(site.ids))[index] > 0
    holes = _in_holes(site, rates, counted, ground)[index] + 0 * mine.value
    return Ledger(
        start=site.season_start,
        as_of=day,
        row=row,
        depth=mine,
        interval=mine.interval(floor=0.0),
        target_m=site.surfaces.target_m[row],
        target_so_far_m=so_far,
        shortfall_m=np.where(measured[index], so_far - mine.value, np.nan),
        state=state,
        probability=np.where(np.isin(state, [NOT_MEASURED, NO_TARGET]), np.nan, probability),
        dressings=dressed,
        measured=measured[index],
        own=own,
        in_holes_m=holes,
        surface_m=mine.value - holes,
        rings=ring_ledger(site, rates, balance, counted),
        counted=counted,
        findings=(
            *_findings(site, counted, ground, row),
            *_plan_missing(site, row, so_far),
        ),
    )


def _depth_so_far(
    site: Site, rates: Rates, counted: Bools, ground: Ints
) -> tuple[Estimates, Bools]:
    """Σ depth of each surface id, sources kept, and whether each of its dressings was measured.

    Scatter of the catches is new each time; a surface's own deviation, that of the surfaces with
    trays, tray size, catch efficiency and bulk density persist and add linearly. The depth of a
    surface of which no dressing was measured is nan, not 0.
    """
    size = len(site.ids)
    known = counted & np.isfinite(rates.depth.value)
    fraction = site.sands.sand_mass_fraction[site.dressings.sand[site.dressed.dressing]]
    rows = np.flatnonzero(known)
    table = rates.depth.scaled(fraction).rows(rows)
    missing = np.bincount(ground[counted & ~known], minlength=size) > 0
    total = table.group_sum(ground[rows], size, independent=NEW_EACH_TIME)
    unknown = missing & (np.bincount(ground[rows], minlength=size) == 0)
    nothing = np.where(unknown, np.nan, 0.0)
    effects = {source: effect + nothing for source, effect in total.effects.items()}
    return replace(total, value=total.value + nothing, effects=effects), ~missing


def elapsed_share(site: Site, day: np.datetime64) -> float:
    """Days from the season's start to ``day`` over those to its end, 0 to 1; nan without an end."""
    if site.season_end is None:
        return float("nan")
    length = (site.season_end - site.season_start) / np.timedelta64(1, "D")
    passed = (day - site.season_start) / np.timedelta64(1, "D")
    return float(np.clip(passed / length, 0.0, 1.0))


def _target_so_far(site: Site, counted: Bools, ground: Ints, day: np.datetime64) -> Floats:
    """Target so far of each surface id, m.

    With a season_end the elapsed share of the target. Without: the planned depths of the dressings
    so far, a skipped surface's being the mean of its kind's, so that it falls behind.
    """
    size = len(site.ids)
    rows = site.in_force()
    target = np.full(size, np.nan)
    target[site.surfaces.ground[rows]] = site.surfaces.target_m[rows]
    if site.season_end is not None:
        return target * elapsed_share(site, day)
    kinds, kind = np.unique(site.surfaces.kind[rows], return_inverse=True)
    kind_of = np.full(size, -1, dtype=np.int64)
    kind_of[site.surfaces.ground[rows]] = kind
    keep = counted & np.isfinite(site.dressed.planned_m) & (kind_of[ground] >= 0)
    dressing, planned = site.dressed.dressing[keep], site.dressed.planned_m[keep]
    shape = (len(site.dressings), len(kinds))
    total, number = np.zeros(shape), np.zeros(shape)
    np.add.at(total, (dressing, kind_of[ground[keep]]), planned)
    np.add.at(number, (dressing, kind_of[ground[keep]]), 1.0)
    of_kind = np.divide(total, number, out=np.zeros(shape), where=number > 0)
    per_surface = of_kind[:, np.maximum(kind_of, 0)]
    per_surface[dressing, ground[keep]] = planned
    known = (number.sum(axis=0) > 0)[np.maximum(kind_of, 0)] & (kind_of >= 0)
    return np.where(known, per_surface.sum(axis=0), np.nan)


def _ledger_rows(
    site: Site, register: AreaRegister, counted: Bools, ground: Ints, target_so_far: Floats
) -> Ints:
    """Rows of Surfaces in force that own ground and were dressed or have a target."""
    rows = site.in_force()
    rows = rows[register.area_m2[rows] > 0]
    dressed = np.bincount(ground[counted], minlength=len(site.ids)) > 0
    index = site.surfaces.ground[rows]
    turf = ~np.isin(site.surfaces.kind[rows], HAZARDS)
    wanted = np.nan_to_num(target_so_far[index]) > 0
    wanted |= np.nan_to_num(site.surfaces.target_m[rows]) > 0
    return rows[dressed[index] | (turf & wanted)]


def states(depth: Estimates, target_m: Floats, tolerance: float) -> tuple[Strings, Floats]:
    """The likeliest state of each row and its probability (Student's t about the depth)."""
    u, value = depth.u(), depth.value
    known = np.isfinite(value) & np.isfinite(u) & np.isfinite(target_m)
    low, high = target_m * (1 - tolerance), target_m * (1 + tolerance)
    freedom = np.where(known, depth.interval().degrees_of_freedom, 1.0)
    below = np.where(u > 0, student_probability(ratio(low - value, u), freedom), low > value)
    within = np.where(u > 0, student_probability(ratio(high - value, u), freedom), high >= value)
    chances = np.where(known, np.stack([below, within - below, 1 - within]), 0.0)
    best = np.where(known, chances.argmax(axis=0), 3)
    names = np.array([UNDER, ON_TARGET, OVER, NO_TARGET], dtype=np.str_)
    return names[best], np.where(known, chances.max(axis=0), np.nan)


def _in_holes(site: Site, rates: Rates, counted: Bools, ground: Ints) -> Floats:
    """Depth that fills the holes made before a dressing: they fill first.

    Holes that a dressing leaves open are taken as closed by the next. Of a mix its sand counts.
    """
    d = site.dressed
    capacity = hole_capacity_m(d.hole_diameter_m, d.hole_spacing_m, d.hole_depth_m)
    depth = np.where(counted, np.nan_to_num(rates.depth.value), 0.0)
    fraction = site.sands.sand_mass_fraction[site.dressings.sand[d.dressing]]
    filled = np.minimum(np.nan_to_num(capacity), depth) * fraction
    return np.bincount(ground, filled, len(site.ids)).astype(float)


def _plan_missing(site: Site, row: Ints, so_far: Floats) -> list[Finding]:
    """Without a season_end the target so far comes from planned depths: which kinds have none."""
    if site.season_end is not None:
        return []
    bare = np.isnan(so_far) & np.isfinite(site.surfaces.target_m[row])
    kinds = sorted(set(site.surfaces.kind[row[bare]].tolist()))
    if not kinds:
        return []
    text = (
        "no target so far can be told: give planned_depth_mm to its dressings, or a season_end in"
        " site.toml"
    )
    return [Finding(about=", ".join(kinds), text=text, topic="season")]


def _findings(site: Site, counted: Bools, ground: Ints, row: Ints) -> list[Finding]:
    """Surfaces with a target that no dressing named."""
    dressed = np.bincount(ground[counted], minlength=len(site.ids)) > 0
    never = row[~dressed[site.surfaces.ground[row]]]
    if not len(never) or not counted.any():
        return []
    names = ", ".join(site.surfaces.id[never][:8].tolist())
    more = f" and {len(never) - 8} more" if len(never) > 8 else ""
    if len(never) == 1:
        return [Finding(about=names, text="has a target and no dressing so far", topic="season")]
    text = f"have a target and no dressing so far: {names}{more}"
    return [Finding(about=f"{len(never)} surfaces", text=text, topic="season")]
