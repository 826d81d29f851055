"""The balance of the whole season so far as one document: sums, intervals, where it lies."""

from __future__ import annotations

import math

import numpy as np

from geosand.columns import Bools
from geosand.estimates import Estimates
from geosand.reports.documents import Document, budgets, number
from geosand.reports.ring_figures import ring_figures
from geosand.results import Results
from geosand.season.totals import season_totals


def counted_dressings(results: Results) -> Bools:
    """Which dressings are inside the season and the day of account, one a dressing."""
    dressed, size = results.site.dressed, len(results.site.dressings)
    return np.bincount(dressed.dressing, results.ledger.counted, size).astype(bool)


def season_balance(results: Results) -> Document:
    """Sums over the measured dressings so far; null where none was measured.

    ``beside`` lays the overthrow of each dressing out as its own rings do; ``not_laid_out_kg`` is
    what is left of the difference then: negative where catches claim more than was spread.
    """
    counted = counted_dressings(results)
    measured = counted & np.isfinite(results.balance.overthrow.value)
    sums = season_totals(results.site, results.areas, results.rates, results.balance, counted)
    over = sums["overthrow"]
    spread = float(sums["spread"].value[0]) if measured.any() else math.nan
    beside = _beside(results, measured)
    laid = sum(beside[name] or 0.0 for name in ("collar_kg", "surrounds_kg", "farther_kg"))
    known = bool(measured.any())
    return {
        "dressings": int(counted.sum()),
        "measured": int(measured.sum()),
        "spread": _mass(sums["spread"], known),
        "on_surfaces": _mass(sums["on_surfaces"], known, floor=0.0),
        "overthrow": {
            **_mass(over, known),
            "fraction": number(over.value[0] / spread) if spread else None,
        },
        "beside": beside,
        "not_laid_out_kg": number(_left(over.value[0] - laid, spread)) if known else None,
        "not_measured_kg": number(_unmeasured_kg(results, counted & ~measured)),
        "budget": budgets(over)[0] if known else [],
    }


def _mass(table: Estimates, known: bool, floor: float | None = None) -> Document:
    """Mass of the one row, its u and interval; null where nothing was measured."""
    bounds = table.interval(floor=floor)
    columns = {
        "mass_kg": table.value,
        "u_kg": table.u(),
        "low_kg": bounds.low,
        "high_kg": bounds.high,
    }
    return {key: number(column[0]) if known else None for key, column in columns.items()}


def _left(rest_kg: float, spread_kg: float) -> float:
    """What the rings do not hold; rounding is not sand."""
    return 0.0 if abs(rest_kg) <= 1e-9 * abs(spread_kg) else rest_kg


def _unmeasured_kg(results: Results, dressings: Bools) -> float:
    return float(np.nansum(results.balance.spread.value[dressings]))


def _beside(results: Results, measured: Bools) -> Document:
    """Sums of the dressings' rings: collar, surrounds, farther, and what lies over hazards."""
    limits = ("collar_low_kg", "collar_high_kg", "collar_least_kg", "collar_most_kg")
    names = ("collar_kg", "surrounds_kg", "farther_kg", *limits)
    rings = [ring_figures(results, int(k)) for k in np.flatnonzero(measured)]
    thrown = [ring for ring in rings if ring["reach_m"] is not None]
    sums: Document = {
        name: number(sum(ring[name] or 0.0 for ring in thrown)) if thrown else None
        for name in names
    }
    kinds = sorted({kind for ring in thrown for kind in ring["over_kg"]})
    sums["over_kg"] = {
        kind: number(sum(ring["over_kg"][kind] or 0.0 for ring in thrown)) for kind in kinds
    }
    return sums
