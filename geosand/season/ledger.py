"""The season's ledger: depth each surface has had so far, against its target so far."""

from __future__ import annotations

import numpy as np

from geosand.areas.register import AreaRegister
from geosand.balance.account import Balance
from geosand.columns import Bools, Dates, Floats, Ints, Strings, frozen
from geosand.distributions import student_probability
from geosand.errors import Fault, Finding, Refused
from geosand.estimates import Estimates, Interval
from geosand.rates.over_time import sum_of_surfaces, surfaces_alone
from geosand.rates.surface_rates import Rates
from geosand.season.holes import hole_capacity_m
from geosand.season.ring_ledger import RingLedger, ring_ledger
from geosand.season.season_findings import (
    first_there,
    never_dressed,
    partly_planned,
    without_a_plan,
)
from geosand.season.targets import first_days, target_so_far
from geosand.season.unlike_others import UnlikeOthers, unlike_findings, unlike_others
from geosand.site.tables import HAZARDS, Members, Site

UNDER, ON_TARGET, OVER = "under-dressed", "on target", "over-dressed"
NOT_MEASURED, NO_TARGET = "not measured", "no target"
NOT_YET = "not dressed yet"  #: how people are told of what is on target as nothing is due


@frozen
class Ledger:
    """One row a surface of the boundaries in force that is dressed or has a target."""

    start: np.datetime64  #: of the season; NaT for several sites
    days: Dates  #: the day of account, one row a site
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
    unlike: UnlikeOthers  #: whether its own catches speak against what counts in other dressings
    in_holes_m: Floats
    surface_m: Floats
    rings: RingLedger
    counted: Bools  #: one row a dressed surface (Dressed): inside the season and the date
    findings: tuple[Finding, ...]

    @property
    def as_of(self) -> np.datetime64:
        """The day of account of a site by itself; NaT for several."""
        return self.days[0] if len(self.days) == 1 else np.datetime64("NaT", "D")

    @property
    def never_caught(self) -> Bools:
        """Surfaces whose depth so far is all estimated from others."""
        return ~self.own & (self.dressings > 0) & self.measured

    @property
    def told(self) -> Strings:
        """The states, but for surfaces that had no dressing and were to have none so far."""
        nothing_due = (self.dressings == 0) & (self.target_so_far_m == 0)
        return np.where(nothing_due & (self.state == ON_TARGET), NOT_YET, self.state)


def site_ledger(balance: Balance, *, as_of: np.datetime64 | None = None) -> Ledger:
    """Depth so far, target so far and state of every surface, ``as_of`` a day (default: the last
    record, never the clock). Raises Refused for a day before the season."""
    site, register, rates = balance.site, balance.areas, balance.rates
    members = site.members
    days = _days_of_account(site, members, as_of)
    counted = _counted(site, register, members, days)
    ground = site.surfaces.ground[site.dressed.surface]
    in_force = site.in_force()
    since = first_days(site)
    due = target_so_far(site, in_force, counted, days, since)
    row = _ledger_rows(site, register, in_force, counted, ground, due)
    index = site.surfaces.ground[row]
    place = np.full(len(site.ids), -1, dtype=np.int64)  # of each id among the rows
    place[index] = np.arange(len(row))
    so_far = due[index]
    depth, measured = _depth_so_far(site, rates, counted, place[ground], len(row))
    interval = depth.interval(floor=0.0)
    tolerance = members.tolerance[site.of_id[index]]
    state, probability = states(depth, so_far, tolerance, interval.degrees_of_freedom)
    state = np.where(measured, state, NOT_MEASURED)
    holes = _in_holes(site, rates, counted, ground)[index] + 0 * depth.value
    never = ~_any_of(ground[counted], len(site.ids))[index]
    unlike = unlike_others(site, rates, counted, index, depth)
    return Ledger(
        start=site.season_start,
        days=days,
        row=row,
        depth=depth,
        interval=interval,
        target_m=site.surfaces.target_m[row],
        target_so_far_m=so_far,
        shortfall_m=np.where(measured, so_far - depth.value, np.nan),
        state=state,
        probability=np.where((state == NOT_MEASURED) | (state == NO_TARGET), np.nan, probability),
        dressings=np.bincount(ground[counted], minlength=len(site.ids))[index],
        measured=measured,
        own=_any_of(ground[counted & rates.own], len(site.ids))[index],
        unlike=unlike,
        in_holes_m=holes,
        surface_m=depth.value - holes,
        rings=ring_ledger(balance, counted),
        counted=counted,
        findings=(
            *first_there(site, row[(so_far >= 0) & (site.surfaces.target_m[row] != 0)], since),
            *never_dressed(site, counted, row, never),
            *unlike_findings(site, row, depth, unlike),
            *without_a_plan(site, row[np.isnan(so_far)]),
            *partly_planned(site, np.flatnonzero(counted & np.isfinite(due)[ground])),
        ),
    )


def _days_of_account(site: Site, members: Members, as_of: np.datetime64 | None) -> Dates:
    """``as_of`` for every site, or its newest dressing, delivery or count; else its season's start.

    Raises Refused for those whose season starts later.
    """
    starts = members.season_start
    if as_of is not None:
        days = np.full(len(starts), as_of, dtype="datetime64[D]")
    else:
        days = starts.copy()
        numbers = days.view(np.int64)
        for of, date in (
            (site.of_dressing, site.dressings.date),
            (site.of_sand[site.deliveries.sand], site.deliveries.date),
            (site.of_sand[site.stock_counts.sand], site.stock_counts.date),
        ):
            np.maximum.at(numbers, of, date.astype("datetime64[D]").view(np.int64))
    faults = [
        Fault(
            file="site.toml",
            column="season_start",
            found=f"the season starts on {starts[k]}, after the day of account {days[k]}",
            remedy="name a later day, or correct season_start",
        )
        for k in np.flatnonzero(days < starts).tolist()
    ]
    if faults:
        raise Refused(faults)
    return days


def _counted(site: Site, register: AreaRegister, members: Members, days: Dates) -> Bools:
    """Dressed rows inside the season and the date. A surface without ground has no depth."""
    date, of = site.dressings.date, site.of_dressing
    start, end = members.season_start[of], members.season_end[of]
    inside = (date >= start) & (date <= days[of]) & (np.isnat(end) | (date <= end))
    return inside[site.dressed.dressing] & (register.area_m2[site.dressed.surface] > 0)


def _any_of(index: Ints, size: int) -> Bools:
    """(size,): True where ``index`` names it."""
    out = np.zeros(size, dtype=np.bool_)
    out[index] = True
    return out


def _depth_so_far(
    site: Site, rates: Rates, counted: Bools, place: Ints, size: int
) -> tuple[Estimates, Bools]:
    """Σ depth of each place of a dressed row (-1 = none), and whether each of its dressings was
    measured.

    Scatter of the catches is new each time; what is not known of the surfaces' own deviations
    lasts (:mod:`geosand.rates.over_time`), as do tray size, catch efficiency and bulk density,
    which add linearly. The depth of a surface of which no dressing was measured is nan, not 0.
    """
    counted = counted & (place >= 0)
    known = np.isfinite(rates.depth.value)
    rows, lacking = np.flatnonzero(counted & known), np.flatnonzero(counted & ~known)
    fraction = site.sands.sand_mass_fraction[site.dressings.sand[site.dressed.dressing[rows]]]
    dressing, ground = site.dressed.dressing, site.surfaces.ground[site.dressed.surface]
    table = surfaces_alone(rates.depth, rates.in_mean, dressing)
    total = sum_of_surfaces(
        table, rates.in_mean, dressing, ground, rows, place[rows], size, weight=fraction
    )
    missing = _any_of(place[lacking], size)
    unknown = missing & ~_any_of(place[rows], size)
    return total.where_known(~unknown), ~missing


def _ledger_rows(
    site: Site,
    register: AreaRegister,
    in_force: Ints,
    counted: Bools,
    ground: Ints,
    target_so_far: Floats,
) -> Ints:
    """Rows of Surfaces in force that own ground and were dressed or have a target."""
    rows = in_force[register.area_m2[in_force] > 0]
    index, kind = site.surfaces.ground[rows], site.surfaces.kind[rows]
    hazard = np.zeros(len(rows), dtype=np.bool_)
    for name in HAZARDS:
        hazard |= kind == name
    wanted = (target_so_far[index] > 0) | (site.surfaces.target_m[rows] > 0)
    return rows[_any_of(ground[counted], len(site.ids))[index] | (wanted & ~hazard)]


def states(
    depth: Estimates,
    target_m: Floats,
    tolerance: Floats | float,
    degrees_of_freedom: Floats | None = None,
) -> tuple[Strings, Floats]:
    """The likeliest state of each row and its probability (Student's t about the depth).

    ``degrees_of_freedom`` are those of the depth's interval, where they are already known.
    """
    u, value = depth.u(), depth.value
    known = np.isfinite(value) & np.isfinite(u) & np.isfinite(target_m)
    bounds = np.stack([target_m * (1 - tolerance), target_m * (1 + tolerance)])
    if degrees_of_freedom is None:
        degrees_of_freedom = depth.interval().degrees_of_freedom
    spread = known & (u > 0)
    freedom = np.where(spread, degrees_of_freedom, 1.0)
    farther = np.where(spread, (bounds - value) / np.where(spread, u, 1.0), 0.0)
    certain = np.stack([bounds[0] > value, bounds[1] >= value])
    below, within = np.where(spread, student_probability(farther, freedom), certain)
    chances = np.where(known, np.stack([below, within - below, 1 - within]), 0.0)
    best = np.where(known, chances.argmax(axis=0), 3)
    names = np.array([UNDER, ON_TARGET, OVER, NO_TARGET], dtype=np.str_)
    return names[best], np.where(known, chances.max(axis=0), np.nan)


def _in_holes(site: Site, rates: Rates, counted: Bools, ground: Ints) -> Floats:
    """Depth that fills the holes made before a dressing, one row an id: they fill first.

    Holes that a dressing leaves open are taken as closed by the next. Of a mix its sand counts.
    """
    d = site.dressed
    capacity = hole_capacity_m(d.hole_diameter_m, d.hole_spacing_m, d.hole_depth_m)
    rows = np.flatnonzero(counted & np.isfinite(capacity) & np.isfinite(rates.depth.value))
    fraction = site.sands.sand_mass_fraction[site.dressings.sand[d.dressing[rows]]]
    filled = np.minimum(capacity[rows], rates.depth.value[rows]) * fraction
    return np.bincount(ground[rows], filled, len(site.ids)).astype(float)
