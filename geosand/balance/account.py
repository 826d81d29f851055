"""The balance of each dressing: spread, on surfaces, signed overthrow, and where it lies."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from geosand.areas.register import AreaRegister
from geosand.balance.closing import Closing, closings
from geosand.balance.rings import ThrowOff, throw_off
from geosand.balance.spread import load_masses, spread_of
from geosand.columns import Floats, Geometries, Ints, Strings, ratio
from geosand.errors import Finding
from geosand.estimates import Estimates, Interval
from geosand.rates.surface_rates import Rates
from geosand.site.tables import HAZARDS, Site

OVERTHROW, NOT_CLOSED, CLOSED = "overthrow", "does not close", "closed"
UNDECIDED, NOT_MEASURED = "undecided", "not measured"
FAR_REACH_M = 5.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Methods:
    """The three practical numbers of a dressing, side by side; nan where one was not measured."""

    mass_rate_kg_m2: Floats
    volume_rate_kg_m2: Floats
    bulk_rate_kg_m2: Floats
    density_kg_m3: Floats
    agree: Sequence[bool | None]  #: largest and smallest within agreement; None for a single one


@dataclass(frozen=True, slots=True, kw_only=True)
class Balance:
    """One row a dressing, unless said otherwise."""

    spread: Estimates  #: kg
    on_surfaces: Estimates  #: kg
    overthrow: Estimates  #: kg, spread − on surfaces
    on_interval: Interval
    interval: Interval  #: of the overthrow
    fraction: Floats
    verdict: Strings
    dressed_area_m2: Floats
    methods: Methods
    closing: Sequence[Sequence[Closing]]
    surface_mass: Estimates  #: kg, one row a dressed surface
    group_of_row: Ints  #: group of each dressed surface: its dressing, or its loads' surfaces
    dressing_of_group: Ints
    throw: ThrowOff  #: per group and per dressed surface
    findings: tuple[Finding, ...]


def site_balance(site: Site, register: AreaRegister, rates: Rates) -> Balance:
    """Balance of all dressings of a site."""
    size = len(site.dressings)
    masses = load_masses(site.loads, site.moistures)
    dressed = site.dressed
    spread = spread_of(masses, site.loads.dressing, size)
    on_surfaces = _on_surfaces(site, register, rates, dressed.dressing, size)
    overthrow = spread.minus(on_surfaces)
    interval = overthrow.interval()
    verdict = _verdicts(site, spread.value, interval)
    area = np.bincount(dressed.dressing, register.area_m2[dressed.surface], size)
    fill = np.nan_to_num(overthrow.value) < 0
    methods = _methods(site, register, rates, spread.value, area)
    group, dressing_of_group, group_spread = _groups(site, masses)
    whole = len(dressing_of_group) == size
    lost = overthrow
    if not whole:
        part = _on_surfaces(site, register, rates, group, len(dressing_of_group))
        lost = group_spread.minus(part)
    throw = _throw(site, register, rates, group, dressing_of_group, lost)
    return Balance(
        spread=spread,
        on_surfaces=on_surfaces,
        overthrow=overthrow,
        on_interval=on_surfaces.interval(floor=0.0),
        interval=interval,
        fraction=ratio(overthrow.value, spread.value),
        verdict=verdict,
        dressed_area_m2=area,
        methods=methods,
        closing=closings(site, spread, on_surfaces, fill, site.loads.dressing),
        surface_mass=_surface_mass(site, register, rates),
        group_of_row=group,
        dressing_of_group=dressing_of_group,
        throw=throw,
        findings=(
            *_findings(site, spread, overthrow, methods, register),
            *_ring_findings(site, verdict, lost, throw, dressing_of_group),
        ),
    )


def _on_surfaces(
    site: Site, register: AreaRegister, rates: Rates, group: Ints, groups: int
) -> Estimates:
    """Σ rate · area by group, with the areas' own errors; nan where rates were not measured."""
    surface = site.dressed.surface
    table = rates.rate.scaled(register.area_m2[surface]).group_sum(group, groups)
    sensitivity = np.zeros((groups, len(site.surfaces)))
    value = np.nan_to_num(rates.rate.value) * register.ground_factor[surface]
    np.add.at(sensitivity, (group, surface), value)
    return table.with_effects(register.errors.effects(sensitivity))


def _surface_mass(site: Site, register: AreaRegister, rates: Rates) -> Estimates:
    """Mass on each dressed surface, kg; its area's uncertainty as one source."""
    surface = site.dressed.surface
    mass = rates.rate.scaled(register.area_m2[surface])
    effect = rates.rate.value * register.ground_factor[surface] * register.u_area_m2[surface]
    return mass.with_effects({"area": effect}, per_row={"area"})


def _verdicts(site: Site, spread: Floats, interval: Interval) -> Strings:
    half = (interval.high - interval.low) / 2
    known = np.isfinite(interval.low)
    narrow = half <= site.settings.agreement * spread
    return np.select(
        [~known, interval.low > 0, interval.high < 0, narrow],
        [NOT_MEASURED, OVERTHROW, NOT_CLOSED, CLOSED],
        UNDECIDED,
    ).astype(np.str_)


def _methods(
    site: Site, register: AreaRegister, rates: Rates, spread: Floats, area: Floats
) -> Methods:
    group, size = site.dressed.dressing, len(site.dressings)
    ground = register.area_m2[site.dressed.surface]
    by_mass = ratio(np.bincount(group, rates.mass_rate_kg_m2 * ground, size), area)
    by_volume = ratio(np.bincount(group, rates.volume_rate_kg_m2 * ground, size), area)
    bulk = ratio(spread, area)
    table = np.stack([by_mass, by_volume, bulk], axis=1)
    known = np.isfinite(table).sum(axis=1)
    low = np.where(np.isfinite(table), table, np.inf).min(axis=1)
    high = np.where(np.isfinite(table), table, -np.inf).max(axis=1)
    agree = [
        bool(high[k] <= low[k] * (1 + site.settings.agreement)) if known[k] > 1 else None
        for k in range(size)
    ]
    return Methods(
        mass_rate_kg_m2=by_mass,
        volume_rate_kg_m2=by_volume,
        bulk_rate_kg_m2=bulk,
        density_kg_m3=rates.density.value[site.dressings.sand],
        agree=agree,
    )


def _groups(site: Site, masses: Estimates) -> tuple[Ints, Ints, Estimates]:
    """Groups of dressed rows that share an overthrow: a dressing, or what its loads name.

    A dressing is divided only where every load names its surfaces and every surface of it is named;
    loads with a surface in common belong to one group.
    """
    row_group = np.zeros(len(site.dressed), dtype=np.int64)
    load_group = np.zeros(len(site.loads), dtype=np.int64)
    dressing_of_group: list[int] = []
    for dressing in range(len(site.dressings)):
        loads = np.flatnonzero(site.loads.dressing == dressing)
        rows = np.flatnonzero(site.dressed.dressing == dressing)
        ground = site.surfaces.ground[site.dressed.surface[rows]]
        named = site.loads.group[loads]
        everywhere = frozenset(ground.tolist())
        of_load = [site.group_surfaces[k] if k >= 0 else everywhere for k in named.tolist()]
        parts = _joined(of_load)
        if frozenset().union(*parts) != everywhere:
            parts = [everywhere]
        for part in parts:
            row_group[rows[np.isin(ground, list(part))]] = len(dressing_of_group)
            mine = [not part.isdisjoint(one) for one in of_load]
            load_group[loads[np.array(mine, dtype=np.bool_)]] = len(dressing_of_group)
            dressing_of_group.append(dressing)
    groups = len(dressing_of_group)
    return (
        row_group,
        np.array(dressing_of_group, dtype=np.int64),
        spread_of(masses, load_group, groups),
    )


def _joined(sets: Sequence[frozenset[int]]) -> list[frozenset[int]]:
    """Sets with a member in common joined, until all are disjoint."""
    parts: list[frozenset[int]] = []
    for one in sets:
        meeting = [part for part in parts if part & one]
        parts = [part for part in parts if not part & one] + [one.union(*meeting)]
    return parts


def _throw(
    site: Site,
    register: AreaRegister,
    rates: Rates,
    group: Ints,
    dressing_of_group: Ints,
    lost: Estimates,
) -> ThrowOff:
    """Rings of every group, on the plane, with drawn collars and hazards of the same edition."""
    surfaces, dressed = site.surfaces, site.dressed
    bounds = lost.interval()
    rows = dressed.surface
    collars = drawn_collars(site, register)[rows]
    ring_kind = np.isin(surfaces.kind[rows], ["collar", "surround"])
    width = np.where(ring_kind, 0.0, site.settings.collar_width_m)
    hazard = np.isin(surfaces.kind, HAZARDS) & (surfaces.edition == surfaces.edition.max(initial=0))
    return throw_off(
        surfaces=register.owned_plane[rows],
        dressing=dressed.dressing,
        group=group,
        rate_kg_m2=rates.rate.value,
        overthrow_kg=lost.value,
        low_kg=np.maximum(bounds.low, 0.0),
        high_kg=np.maximum(bounds.high, 0.0),
        collars=collars,
        collar_width_m=width,
        surrounds_width_m=np.full(len(dressed), site.settings.surrounds_width_m),
        hazards=register.owned_plane[hazard],
        hazard_kind=surfaces.kind[hazard],
    )


def drawn_collars(site: Site, register: AreaRegister) -> Geometries:
    """The drawn collar (plane) around each surface, one row a surface; None where none is."""
    surfaces = site.surfaces
    out = np.full(len(surfaces), None, dtype=object)
    drawn = np.flatnonzero((surfaces.kind == "collar") & (surfaces.around >= 0))
    row = {
        (int(e), int(g)): k
        for k, (e, g) in enumerate(zip(surfaces.edition, surfaces.ground, strict=True))
    }
    for k in drawn:
        inner = row.get((int(surfaces.edition[k]), int(surfaces.around[k])), -1)
        shape = register.owned_plane[k]
        if inner >= 0 and not shapely.is_empty(shape):
            out[inner] = shape if out[inner] is None else shapely.union(out[inner], shape)
    return out


def _findings(
    site: Site,
    spread: Estimates,
    overthrow: Estimates,
    methods: Methods,
    register: AreaRegister,
) -> list[Finding]:
    """What a reader should know of each dressing's balance."""
    findings = []
    bare = register.area_m2[site.dressed.surface] <= 0
    for k, name in enumerate(site.dressings.id.tolist()):
        texts = []
        mass = overthrow.value[k]
        if np.isnan(spread.value[k]):
            texts.append("no loads are recorded: what was spread is not known")
        if np.isfinite(mass) and mass < 0:
            texts.append(
                f"the catches claim {-mass:.0f} kg more sand than was spread; overthrow can not be"
                " the reason, and one dressing can not prove which figure is off"
            )
        two = (methods.mass_rate_kg_m2[k], methods.volume_rate_kg_m2[k])
        if np.isfinite(two).all() and max(two) > min(two) * (1 + site.settings.agreement):
            texts.append(
                "the catches' mass and volume differ by more than the agreement: check the balance"
            )
        names = site.surfaces.id[site.dressed.surface[bare & (site.dressed.dressing == k)]]
        if len(names):
            texts.append(
                f"{', '.join(names.tolist())} owns no ground, as other surfaces lie on all of it:"
                " no sand is counted there"
            )
        findings += [Finding(about=name, text=text, topic="balance") for text in texts]
    return findings


def _ring_findings(
    site: Site, verdict: Strings, lost: Estimates, throw: ThrowOff, dressing_of_group: Ints
) -> list[Finding]:
    """Reaches that no spreader has, and overthrow that is not told from zero."""
    findings = []
    for g, dressing in enumerate(dressing_of_group.tolist()):
        about, reach = str(site.dressings.id[dressing]), throw.reach_m[g]
        texts = []
        if not lost.value[g] > 0:
            continue
        if np.isnan(reach) and np.isfinite(throw.group_farther_kg[g]):
            texts.append(
                "no reach within 200 m holds the overthrow: look for sand lost elsewhere, or a load"
                " or surface that is missing"
            )
        if reach > FAR_REACH_M:
            texts.append(
                f"overthrow would reach {reach:.1f} m beyond the edge: more than a spreader throws,"
                " so look for sand lost elsewhere"
            )
        if verdict[dressing] in (CLOSED, UNDECIDED):
            texts.append("the overthrow is not told from zero: its rings are marked so")
        findings += [Finding(about=about, text=text, topic="ring") for text in texts]
    return list(dict.fromkeys(findings))
