"""From a site's results to what the map shows."""

from __future__ import annotations

import math
from typing import Literal

import numpy as np

from geosand.areas.ownership import precedence_ranks
from geosand.balance.ring_drawing import ring_geometries
from geosand.balance.throwing import drawn_collars
from geosand.columns import Bools, Geometries, Ints
from geosand.estimates import Estimates, Interval
from geosand.mapping.view import (
    SEASON,
    MapBalance,
    MapCatch,
    MapPass,
    MapPeriod,
    MapRing,
    MapSurface,
    MapView,
    PeriodSurface,
)
from geosand.reports.documents import ring_figures
from geosand.reports.first import look_first
from geosand.reports.words import percent, shown
from geosand.results import Results
from geosand.season.ledger import UNDER
from geosand.season.totals import NEW_EACH_TIME, season_totals

Units = Literal["metric", "us"]


def _figure(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None


def map_view(results: Results, units: Units, passes: tuple[MapPass, ...] = ()) -> MapView:
    """Everything the map of one site shows; ``passes`` those of its next dressing."""
    site, ledger = results.site, results.ledger
    surfaces = tuple(
        MapSurface(
            id=str(site.surfaces.id[row]),
            name=str(site.surfaces.name[row]),
            kind=str(site.surfaces.kind[row]),
            geometry=results.areas.owned[row],
            area_m2=_figure(results.areas.area_m2[row]),
            u_area_m2=_figure(results.areas.u_area_m2[row]),
            target_m=_figure(site.surfaces.target_m[row]),
        )
        for row in _atlas_order(results)
        if not results.areas.owned[row].is_empty
    )
    bounds = (
        results.rates.depth.interval(floor=0.0),
        results.balance.surface_mass.interval(floor=0.0),
    )
    periods = [_season(results, units)]
    periods += [_period(results, k, units, *bounds) for k in range(len(site.dressings))]
    end = "" if site.season_end is None else f" to {site.season_end}"
    return MapView(
        title=site.name,
        subtitle=f"Season {site.season_start}{end}, as of {ledger.as_of}",
        as_of=str(ledger.as_of),
        units=units,
        surfaces=surfaces,
        rings=_rings(results),
        periods=tuple(periods),
        catches=_catches(results),
        passes=passes,
        first=tuple(look_first(results, units)),
        findings=tuple(str(f) for f in results.findings),
    )


def _atlas_order(results: Results) -> Ints:
    """Rows of the boundaries in force, greens first, then the order of ownership."""
    site = results.site
    rows = site.in_force()
    return rows[
        np.argsort(precedence_ranks(site.surfaces.kind[rows], np.zeros(len(rows))), kind="stable")
    ]


def _rings(results: Results) -> tuple[MapRing, ...]:
    """Collar and surrounds of every surface, as drawn for the last dressing that has them."""
    site, areas = results.site, results.areas
    rows = site.dressed.surface
    ring_kind = np.isin(site.surfaces.kind[rows], ["collar", "surround"])
    drawn = ring_geometries(
        results.balance.throw,
        surfaces=areas.owned_plane[rows],
        dressing=site.dressed.dressing,
        collars=drawn_collars(site, areas)[rows],
        collar_width_m=np.where(ring_kind, 0.0, site.settings.collar_width_m),
        surrounds_width_m=np.full(len(rows), site.settings.surrounds_width_m),
    )
    found: dict[str, MapRing] = {}
    zones: tuple[tuple[Literal["collar", "surrounds"], Geometries], ...] = (
        ("collar", drawn.collar),
        ("surrounds", drawn.surrounds),
    )
    for zone, column in zones:
        shapes = areas.plane.to_lonlat(column)
        for row in np.flatnonzero([shape is not None for shape in column]):
            name = str(site.surfaces.id[rows[row]])
            key = f"{name}/{zone}"
            # rows are in order of date: the last one lies on the newest boundaries
            found[key] = MapRing(id=key, surface=name, zone=zone, geometry=shapes[row])
    return tuple(found.values())


def _season(results: Results, units: Units) -> MapPeriod:
    site, ledger = results.site, results.ledger
    counted = np.bincount(site.dressed.dressing, ledger.counted, len(site.dressings)).astype(bool)
    measured = counted & np.isfinite(results.balance.overthrow.value)
    mass = _season_mass(results)
    mass_bounds = mass.interval(floor=0.0)
    catches = _season_catches(results)
    surfaces = {
        str(site.surfaces.id[row]): PeriodSurface(
            depth_m=_figure(ledger.depth.value[k]) if ledger.dressings[k] else 0.0,
            low_m=_figure(ledger.interval.low[k]),
            high_m=_figure(ledger.interval.high[k]),
            target_so_far_m=_figure(ledger.target_so_far_m[k]),
            shortfall_m=_figure(ledger.shortfall_m[k]),
            state=str(ledger.state[k]),
            probability=_figure(ledger.probability[k]),
            basis=_basis(bool(ledger.own[k])) if ledger.dressings[k] else None,
            catches=catches[site.surfaces.ground[row]],
            mass_kg=_figure(mass.value[site.surfaces.ground[row]]),
            mass_low_kg=_figure(mass_bounds.low[site.surfaces.ground[row]]),
            mass_high_kg=_figure(mass_bounds.high[site.surfaces.ground[row]]),
        )
        for k, row in enumerate(ledger.row)
    }
    rings = {
        str(name): (_figure(ledger.rings.depth_m[k]), _figure(ledger.rings.mass_kg[k]))
        for k, name in enumerate(ledger.rings.id)
    }
    under = int((ledger.state == UNDER).sum())
    headline = f"{under} surfaces are under-dressed" if under != 1 else "1 surface is under-dressed"
    whole = _season_balance(results, counted) if measured.any() else None
    if whole is not None and whole.fraction is not None:
        headline += f"; {percent(whole.fraction)} of the sand is not on the surfaces"
    return MapPeriod(
        key=SEASON,
        label="Whole season",
        headline=headline,
        balance=whole,
        surfaces=surfaces,
        rings=rings,
    )


def _season_balance(results: Results, counted: Bools) -> MapBalance:
    """Sums over the measured dressings, with their intervals."""
    sums = season_totals(results.balance, counted)
    over, on = sums["overthrow"], sums["on_surfaces"]
    interval, on_interval = over.interval(), on.interval(floor=0.0)
    spread = sums["spread"].value[0]
    return MapBalance(
        spread_kg=_figure(spread),
        u_spread_kg=_figure(sums["spread"].u()[0]),
        on_surfaces_kg=_figure(on.value[0]),
        u_on_surfaces_kg=_figure(on.u()[0]),
        on_surfaces_low_kg=_figure(on_interval.low[0]),
        on_surfaces_high_kg=_figure(on_interval.high[0]),
        overthrow_kg=_figure(over.value[0]),
        u_overthrow_kg=_figure(over.u()[0]),
        overthrow_low_kg=_figure(interval.low[0]),
        overthrow_high_kg=_figure(interval.high[0]),
        fraction=_figure(over.value[0] / spread) if spread else None,
    )


def _basis(own: bool) -> Literal["own catches", "other surfaces"]:
    return "own catches" if own else "other surfaces"


def _season_mass(results: Results) -> Estimates:
    """Mass that each surface id has had, kg; areas and the surface's own deviation persist."""
    site = results.site
    known = results.ledger.counted & np.isfinite(results.balance.surface_mass.value)
    rows = np.flatnonzero(known)
    ground = site.surfaces.ground[site.dressed.surface[rows]]
    mass = results.balance.surface_mass.rows(rows)
    return mass.group_sum(ground, len(site.ids), independent=NEW_EACH_TIME)


def _season_catches(results: Results) -> list[int]:
    site = results.site
    ground = site.surfaces.ground[site.dressed.surface]
    count = np.where(results.ledger.counted, results.rates.catches, 0)
    return [int(n) for n in np.bincount(ground, count, len(site.ids))]


def _period(
    results: Results, k: int, units: Units, bounds: Interval, mass_bounds: Interval
) -> MapPeriod:
    """One dressing; the bounds are those of depth and mass of all dressed surfaces."""
    site, rates, balance = results.site, results.rates, results.balance
    rows, mass = np.flatnonzero(site.dressed.dressing == k), balance.surface_mass
    density = rates.density.value[site.dressings.sand[k]]
    surfaces, rings = {}, {}
    for row in rows:
        name = str(site.surfaces.id[site.dressed.surface[row]])
        known = math.isfinite(rates.rate.value[row])
        surfaces[name] = PeriodSurface(
            depth_m=_figure(rates.depth.value[row]),
            low_m=_figure(bounds.low[row]),
            high_m=_figure(bounds.high[row]),
            state=None if known else "not measured",
            basis=_basis(bool(rates.own[row])) if known else None,
            target_so_far_m=_figure(site.dressed.planned_m[row]),
            shortfall_m=_figure(site.dressed.planned_m[row] - rates.depth.value[row]),
            catches=int(rates.catches[row]),
            rate_kg_m2=_figure(rates.rate.value[row]),
            mass_kg=_figure(mass.value[row]),
            mass_low_kg=_figure(mass_bounds.low[row]),
            mass_high_kg=_figure(mass_bounds.high[row]),
        )
        throw = balance.throw
        for zone, kg, area in (
            ("collar", throw.collar_kg[row], throw.collar_area_m2[row]),
            ("surrounds", throw.surrounds_kg[row], throw.surrounds_area_m2[row]),
        ):
            if area > 0 and kg > 0:
                rings[f"{name}/{zone}"] = (_figure(kg / area / density), _figure(kg))
    return MapPeriod(
        key=str(site.dressings.id[k]),
        label=f"{site.dressings.date[k]} · {site.dressings.id[k]}",
        headline=_headline(results, k, units),
        balance=_balance(results, k),
        surfaces=surfaces,
        rings=rings,
    )


def _headline(results: Results, k: int, units: Units) -> str:
    balance = results.balance
    verdict, over = str(balance.verdict[k]), balance.overthrow.value[k]
    if verdict == "not measured":
        return "Not measured: no catches or no loads are recorded"
    if over < 0:
        more = shown(-over, "mass", units)
        return f"{verdict}: the catches claim {more} more than was spread"
    return (
        f"{verdict}: {shown(over, 'mass', units)} ({percent(balance.fraction[k])}) landed elsewhere"
    )


def _balance(results: Results, k: int) -> MapBalance:
    balance, figures = results.balance, ring_figures(results, k)
    return MapBalance(
        spread_kg=_figure(balance.spread.value[k]),
        u_spread_kg=_figure(balance.spread.u()[k]),
        on_surfaces_kg=_figure(balance.on_surfaces.value[k]),
        u_on_surfaces_kg=_figure(balance.on_surfaces.u()[k]),
        on_surfaces_low_kg=_figure(balance.on_interval.low[k]),
        on_surfaces_high_kg=_figure(balance.on_interval.high[k]),
        overthrow_kg=_figure(balance.overthrow.value[k]),
        u_overthrow_kg=_figure(balance.overthrow.u()[k]),
        overthrow_low_kg=_figure(balance.interval.low[k]),
        overthrow_high_kg=_figure(balance.interval.high[k]),
        fraction=_figure(balance.fraction[k]),
        verdict=str(balance.verdict[k]),
        strip_width_m=figures["strip_width_m"],
        reach_m=figures["reach_m"],
        collar_kg=figures["collar_kg"],
        surrounds_kg=figures["surrounds_kg"],
        farther_kg=figures["farther_kg"],
        not_told_from_zero=bool(figures["not_told_from_zero"]),
    )


def _catches(results: Results) -> tuple[MapCatch, ...]:
    site, rates = results.site, results.rates
    out = []
    for k in range(len(site.catches)):
        surface = rates.assignment.surface[k]
        note = str(site.catches.reject_reason[k]) or str(site.catches.note[k])
        out.append(
            MapCatch(
                id=str(site.catches.id[k]),
                dressing=str(site.dressings.id[site.catches.dressing[k]]),
                lon=float(site.catches.lon_degree[k]),
                lat=float(site.catches.lat_degree[k]),
                surface=str(site.surfaces.id[surface]) if surface >= 0 else None,
                depth_m=_figure(rates.catch_depth_m[k]),
                rate_kg_m2=_figure(rates.each.rate_kg_m2[k]),
                used=bool(site.catches.used[k]),
                note=note,
            )
        )
    return tuple(out)
