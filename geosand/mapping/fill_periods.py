"""The figures of the whole season and of one dressing, as the map shows them."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any, Literal

import numpy as np

from geosand.balance.account import OVERTHROW
from geosand.columns import Bools, Floats
from geosand.errors import listed_dressings
from geosand.estimates import Estimates, Interval
from geosand.mapping.view import SEASON, MapBalance, MapPeriod, PeriodSurface, Said, System
from geosand.rates.over_time import sum_of_surfaces
from geosand.reports.balance_document import ring_figures
from geosand.reports.season_document import counted_dressings
from geosand.reports.words import glued, percent, shown, written_day
from geosand.results import Results
from geosand.season.ledger import NO_TARGET, NOT_MEASURED, NOT_YET, OVER, UNDER
from geosand.season.totals import season_totals

Rings = dict[str, tuple[float | None, float | None]]


def known(value: float) -> float | None:
    """The figure, or None where it is not finite."""
    return float(value) if math.isfinite(value) else None


def _in_both(write: Callable[[System], str]) -> Said:
    """One sentence in each system of units."""
    return {"metric": write("metric"), "us": write("us")}


def season_period(results: Results) -> MapPeriod:
    """The ledger of the season, and the sums over its measured dressings."""
    ledger, counted = results.ledger, counted_dressings(results)
    measured = counted & np.isfinite(results.balance.overthrow.value)
    whole = _season_balance(results, counted) if measured.any() else None
    out_kg = float(np.nansum(results.balance.spread.value[counted & ~measured]))
    if whole is None and out_kg > 0:
        whole = MapBalance(spread_kg=out_kg)
    rings: Rings = {
        str(name): (known(ledger.rings.depth_m[k]), known(ledger.rings.mass_kg[k]))
        for k, name in enumerate(ledger.rings.id)
    }
    return MapPeriod(
        key=SEASON,
        label="Whole season",
        headline=_in_both(lambda system: _season_headline(results, whole, out_kg, system)),
        balance=whole,
        thrown_kg=known(np.nansum(np.maximum(results.balance.overthrow.value[counted], 0.0))),
        surfaces=_season_surfaces(results),
        rings=rings,
    )


def _season_headline(
    results: Results, whole: MapBalance | None, out_kg: float, units: System
) -> str:
    """How surfaces stand, how much sand is not on them, and what was not measured."""
    if not len(results.site.dressings):
        return "Nothing has been dressed yet"
    parts = [_states_told(results)]
    if whole is not None and whole.fraction is not None:
        if whole.fraction < 0:
            parts.append(
                f"the catches claim {glued(percent(-whole.fraction))} more sand than was spread"
            )
        else:
            told = (whole.overthrow_low_kg or 0.0) > 0
            lies = "is not on the surfaces" if told else "may lie elsewhere"
            parts.append(f"{glued(percent(whole.fraction))} of the sand {lies}")
        if out_kg > 0:
            parts.append(f"{shown(out_kg, 'mass', units)} more was spread and not measured")
    return "; ".join(part for part in parts if part)


def _states_told(results: Results) -> str:
    """Counts of the states that call for something; "" where no surface has a state."""
    ledger = results.ledger
    state = ledger.state[ledger.dressings > 0]
    counts = {word: int((ledger.state == word).sum()) for word in (UNDER, OVER, NOT_MEASURED)}
    told = [(count, word) for word, count in counts.items() if count]
    if not told:
        return "No surface is under-dressed" if (state != NO_TARGET).any() else ""
    (count, word), *others = told
    verb = "surface is" if count == 1 else "surfaces are"
    return ", ".join([f"{count} {verb} {word}", *(f"{n} {other}" for n, other in others)])


def _season_surfaces(results: Results) -> dict[str, PeriodSurface]:
    site, ledger, told = results.site, results.ledger, results.ledger.told
    mass = _season_mass(results)
    bounds = mass.interval(floor=0.0)
    catches, thrown = _season_catches(results), _season_thrown(results)
    ground = site.surfaces.ground[ledger.row]
    # of a surface none of whose dressings was measured no sand is known, which is not none
    sand = np.isfinite(ledger.depth.value) | (ledger.dressings == 0)
    return {
        str(site.surfaces.id[row]): PeriodSurface(
            depth_m=known(ledger.depth.value[k]) if ledger.dressings[k] else 0.0,
            low_m=known(ledger.interval.low[k]),
            high_m=known(ledger.interval.high[k]),
            in_holes_m=known(ledger.in_holes_m[k]) if ledger.in_holes_m[k] > 0 else None,
            target_so_far_m=known(ledger.target_so_far_m[k]),
            shortfall_m=known(ledger.shortfall_m[k]),
            state=str(told[k]),
            probability=None if told[k] == NOT_YET else known(ledger.probability[k]),
            basis=_basis(bool(ledger.own[k])) if sand[k] and ledger.dressings[k] else None,
            catches=catches[ground[k]],
            mass_kg=known(mass.value[ground[k]]) if sand[k] else None,
            mass_low_kg=known(bounds.low[ground[k]]) if sand[k] else None,
            mass_high_kg=known(bounds.high[ground[k]]) if sand[k] else None,
            thrown_kg=known(thrown[ground[k]]),
        )
        for k, row in enumerate(ledger.row)
    }


def _season_balance(results: Results, counted: Bools) -> MapBalance:
    """Sums over the measured dressings, with their intervals."""
    sums = season_totals(results.balance, counted)
    over, on = sums["overthrow"], sums["on_surfaces"]
    share = over.value / sums["spread"].value if sums["spread"].value[0] else np.array([np.nan])
    bounds = on.interval(floor=0.0), over.interval()
    return MapBalance(**_masses(sums["spread"], on, over, *bounds, share, 0))


def _masses(
    spread: Estimates,
    on: Estimates,
    over: Estimates,
    on_bounds: Interval,
    bounds: Interval,
    fraction: Floats,
    k: int,
) -> dict[str, Any]:
    """Masses of a balance with their u and limits, in row ``k`` of tables of them."""
    columns = {
        "spread_kg": spread.value,
        "u_spread_kg": spread.u(),
        "on_surfaces_kg": on.value,
        "on_surfaces_low_kg": on_bounds.low,
        "on_surfaces_high_kg": on_bounds.high,
        "overthrow_kg": over.value,
        "overthrow_low_kg": bounds.low,
        "overthrow_high_kg": bounds.high,
        "fraction": fraction,
    }
    return {name: known(column[k]) for name, column in columns.items()}


def _basis(own: bool) -> Literal["own catches", "other surfaces"]:
    return "own catches" if own else "other surfaces"


def _season_mass(results: Results) -> Estimates:
    """Mass that each surface id has had, kg; areas and the surface's own deviation persist."""
    site = results.site
    known = results.ledger.counted & np.isfinite(results.balance.surface_mass.value)
    rows = np.flatnonzero(known)
    ground = site.surfaces.ground[site.dressed.surface]
    return sum_of_surfaces(
        results.balance.surface_mass,
        results.rates.in_mean,
        site.dressed.dressing,
        ground,
        rows,
        ground[rows],
        len(site.ids),
    )


def _season_catches(results: Results) -> list[int]:
    site = results.site
    ground = site.surfaces.ground[site.dressed.surface]
    count = np.where(results.ledger.counted, results.rates.catches, 0)
    return [int(n) for n in np.bincount(ground, count, len(site.ids))]


def _thrown(results: Results) -> Floats:
    """Sand past the edge of each dressed surface, kg: collar, surrounds, farther; nan for none."""
    throw = results.balance.throw
    kg = np.nansum([throw.collar_kg, throw.surrounds_kg, throw.farther_kg], axis=0)
    return np.where(kg > 0, kg, np.nan)


def _season_thrown(results: Results) -> Floats:
    site = results.site
    kg = np.where(results.ledger.counted, np.nan_to_num(_thrown(results)), 0.0)
    total = np.bincount(site.surfaces.ground[site.dressed.surface], kg, len(site.ids))
    return np.where(total > 0, total, np.nan)


def dressing_period(results: Results, k: int, bounds: Interval, mass_bounds: Interval) -> MapPeriod:
    """One dressing; the bounds are those of depth and mass of all dressed surfaces."""
    site, balance = results.site, results.balance
    name, over = str(site.dressings.id[k]), balance.overthrow.value[k]
    return MapPeriod(
        key=name,
        label=f"{written_day(str(site.dressings.date[k]))} · {listed_dressings([name])}",
        headline=_in_both(lambda system: _headline(results, k, system)),
        balance=_balance(results, k),
        thrown_kg=known(over) if over > 0 else None,
        surfaces=_dressing_surfaces(results, k, bounds, mass_bounds),
        rings=_dressing_rings(results, k),
    )


def _dressing_surfaces(
    results: Results, k: int, bounds: Interval, mass_bounds: Interval
) -> dict[str, PeriodSurface]:
    site, rates, mass = results.site, results.rates, results.balance.surface_mass
    thrown, surfaces = _thrown(results), {}
    for row in np.flatnonzero(site.dressed.dressing == k):
        measured = math.isfinite(rates.rate.value[row])
        surfaces[str(site.surfaces.id[site.dressed.surface[row]])] = PeriodSurface(
            depth_m=known(rates.depth.value[row]),
            low_m=known(bounds.low[row]),
            high_m=known(bounds.high[row]),
            state=None if measured else "not measured",
            basis=_basis(bool(rates.own[row])) if measured else None,
            target_so_far_m=known(site.dressed.planned_m[row]),
            shortfall_m=known(site.dressed.planned_m[row] - rates.depth.value[row]),
            catches=int(rates.catches[row]),
            mass_kg=known(mass.value[row]),
            mass_low_kg=known(mass_bounds.low[row]),
            mass_high_kg=known(mass_bounds.high[row]),
            thrown_kg=known(thrown[row]),
        )
    return surfaces


def _dressing_rings(results: Results, k: int) -> Rings:
    site, throw = results.site, results.balance.throw
    density = results.rates.density.value[site.dressings.sand[k]]
    rings: Rings = {}
    for row in np.flatnonzero(site.dressed.dressing == k):
        name = site.surfaces.id[site.dressed.surface[row]]
        for zone, kg, area in (
            ("collar", throw.collar_kg[row], throw.collar_area_m2[row]),
            ("surrounds", throw.surrounds_kg[row], throw.surrounds_area_m2[row]),
        ):
            if area > 0 and kg > 0:
                rings[f"{name}/{zone}"] = (known(kg / area / density), known(kg))
    return rings


def _headline(results: Results, k: int, units: System) -> str:
    """What the verdict, which stands above it, comes to."""
    balance = results.balance
    verdict, over = str(balance.verdict[k]), balance.overthrow.value[k]
    if verdict == "not measured":
        return "No catches or no loads are recorded"
    if over < 0:
        more = shown(-over, "mass", units)
        return f"The catches claim {more} more than was spread"
    landed = "landed" if verdict == OVERTHROW else "may have landed"
    share = glued(percent(balance.fraction[k]))
    return f"{shown(over, 'mass', units)} ({share}) {landed} elsewhere"


def _balance(results: Results, k: int) -> MapBalance:
    balance, figures = results.balance, ring_figures(results, k)
    tables = balance.spread, balance.on_surfaces, balance.overthrow
    laid = ("strip_width_m", "reach_m", "collar_kg", "surrounds_kg", "farther_kg")
    return MapBalance(
        **_masses(*tables, balance.on_interval, balance.interval, balance.fraction, k),
        verdict=str(balance.verdict[k]),
        **{name: figures[name] for name in (*laid, "not_told_from_zero")},
    )
