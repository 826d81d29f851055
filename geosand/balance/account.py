"""The balance of each dressing: spread, on surfaces, signed overthrow, and where it lies."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property

import numpy as np

from geosand.areas.register import AreaRegister
from geosand.balance.account_findings import balance_findings, ring_findings
from geosand.balance.closing import Closing, closings
from geosand.balance.rings.throw_off import ThrowOff
from geosand.balance.spread import load_groups, load_masses, spread_of
from geosand.balance.throw_shape import Changes, changes_of
from geosand.balance.throwing import throw_of_dressings
from geosand.columns import Floats, Ints, Late, Runs, Strings, alike, frozen, ratio
from geosand.errors import Finding
from geosand.estimates import Estimates, Interval
from geosand.rates.over_time import sum_over_surfaces, surfaces_alone
from geosand.rates.surface_rates import Rates
from geosand.site.tables import Site

OVERTHROW, NOT_CLOSED, CLOSED = "overthrow", "does not close", "closed"
UNDECIDED, NOT_MEASURED = "undecided", "not measured"


@frozen
class Methods:
    """The three practical numbers of a dressing, side by side; nan where one was not measured."""

    mass_rate_kg_m2: Floats
    volume_rate_kg_m2: Floats
    bulk_rate_kg_m2: Floats
    density_kg_m3: Floats
    agree: Sequence[bool | None]  #: largest and smallest within agreement; None for a single one

    @property
    def rates_kg_m2(self) -> dict[str, Floats]:
        """The three by their names."""
        caught = {"by_mass": self.mass_rate_kg_m2, "by_volume": self.volume_rate_kg_m2}
        return {**caught, "by_bulk": self.bulk_rate_kg_m2}


@frozen
class Balance(Late):
    """One row a dressing, unless said otherwise; and what it was worked out from."""

    site: Site
    areas: AreaRegister
    rates: Rates
    spread: Estimates  #: kg
    on_surfaces: Estimates  #: kg
    overthrow: Estimates  #: kg, spread − on surfaces
    interval: Interval  #: of the overthrow
    fraction: Floats
    verdict: Strings
    dressed_area_m2: Floats
    methods: Methods
    group_of_row: Ints  #: group of each dressed surface: its dressing, or its loads' surfaces
    dressing_of_group: Ints
    group_overthrow: Estimates  #: kg, per group
    throw: ThrowOff  #: per group and per dressed surface
    findings: tuple[Finding, ...]

    @cached_property
    def on_interval(self) -> Interval:
        """Of what landed on surfaces."""
        return self.on_surfaces.interval(floor=0.0)

    @cached_property
    def closing(self) -> Sequence[Sequence[Closing]]:
        """What would close the dressings whose overthrow is negative."""
        fill = np.nan_to_num(self.overthrow.value) < 0
        return closings(self.site, self.spread, self.on_surfaces, fill)

    @cached_property
    def surface_mass(self) -> Estimates:
        """Mass on each dressed surface by itself, kg; its area's uncertainty as one source."""
        surface, rates = self.site.dressed.surface, self.rates
        rate = surfaces_alone(rates.rate, rates.in_mean, self.site.dressed.dressing)
        effect = rates.rate.value * self.areas.u_area_m2[surface]
        mass = rate.scaled(self.areas.area_m2[surface])
        return mass.with_effects({"area": effect}, per_row={"area"})

    @cached_property
    def throw_changes(self) -> Changes:
        """What moves sand between the zones of the throw."""
        return changes_of(self.rates, self.group_overthrow, self.group_of_row, self.throw)


def site_balance(site: Site, register: AreaRegister, rates: Rates) -> Balance:
    """Balance of all dressings of a site."""
    size = len(site.dressings)
    masses = load_masses(site.loads, site.moistures)
    dressed = site.dressed
    spread = spread_of(masses, site.loads.dressing, size)
    on_surfaces = mass_on_surfaces(site, register, rates, dressed.dressing, size)
    overthrow = spread.minus(on_surfaces)
    interval = overthrow.interval()
    agreement = site.members.agreement[site.of_dressing]
    verdict = _verdicts(agreement * spread.value, interval)
    area = np.bincount(dressed.dressing, register.area_m2[dressed.surface], size).astype(float)
    methods = _methods(site, register, rates, spread.value, area, agreement)
    by_catches = np.stack([methods.mass_rate_kg_m2, methods.volume_rate_kg_m2])
    group, dressing_of_group, lost = _lost_by_group(site, register, rates, masses, overthrow)
    throw = throw_of_dressings(site, register, rates, group, dressing_of_group, lost)
    return Balance(
        site=site,
        areas=register,
        rates=rates,
        spread=spread,
        on_surfaces=on_surfaces,
        overthrow=overthrow,
        interval=interval,
        fraction=ratio(overthrow.value, spread.value),
        verdict=verdict,
        dressed_area_m2=area,
        methods=methods,
        group_of_row=group,
        dressing_of_group=dressing_of_group,
        group_overthrow=lost,
        throw=throw,
        findings=(
            *balance_findings(site, spread, overthrow, by_catches, agreement, register),
            *ring_findings(site, verdict == OVERTHROW, lost, throw, dressing_of_group, group),
        ),
    )


def _lost_by_group(
    site: Site, register: AreaRegister, rates: Rates, masses: Estimates, overthrow: Estimates
) -> tuple[Ints, Ints, Estimates]:
    """Group of each dressed surface, dressing of each group, and the groups' overthrow (kg)."""
    group, dressing_of_group, spread = load_groups(site, masses)
    if len(dressing_of_group) == len(overthrow):
        return group, dressing_of_group, overthrow
    part = mass_on_surfaces(site, register, rates, group, len(dressing_of_group))
    return group, dressing_of_group, spread.minus(part)


def mass_on_surfaces(
    site: Site, register: AreaRegister, rates: Rates, group: Ints, groups: int
) -> Estimates:
    """Σ rate · area by group, with the areas' own errors; nan where rates were not measured."""
    surface, runs = site.dressed.surface, Runs(group, groups)
    area = register.area_m2.take(surface)
    table = sum_over_surfaces(rates.rate, rates.in_mean, site.dressed.dressing, area, runs)
    value = rates.rate.value * alike(register.ground_factor, surface)
    return table.with_effects(register.errors.effects_of(group, surface, value, groups, runs))


def _verdicts(agreed_kg: Floats, interval: Interval) -> Strings:
    half = (interval.high - interval.low) / 2
    known = np.isfinite(interval.low)
    narrow = half <= agreed_kg
    return np.select(
        [~known, interval.low > 0, interval.high < 0, narrow],
        [NOT_MEASURED, OVERTHROW, NOT_CLOSED, CLOSED],
        UNDECIDED,
    ).astype(np.str_)


def _methods(
    site: Site,
    register: AreaRegister,
    rates: Rates,
    spread: Floats,
    area: Floats,
    agreement: Floats,
) -> Methods:
    group, size = site.dressed.dressing, len(site.dressings)
    ground = register.area_m2[site.dressed.surface]
    by_mass = ratio(np.bincount(group, rates.mass_rate_kg_m2 * ground, size), area)
    by_volume = ratio(np.bincount(group, rates.volume_rate_kg_m2 * ground, size), area)
    bulk = ratio(spread, area)
    table = np.stack([by_mass, by_volume, bulk])
    low, high = np.fmin.reduce(table), np.fmax.reduce(table)  # of those that are known
    agree = (high <= low * (1 + agreement)).astype(object)
    agree[np.isfinite(table).sum(axis=0) < 2] = None
    return Methods(
        mass_rate_kg_m2=by_mass,
        volume_rate_kg_m2=by_volume,
        bulk_rate_kg_m2=bulk,
        density_kg_m3=rates.density.value[site.dressings.sand],
        agree=agree.tolist(),
    )
