"""The season's ledger as a document, and the balance of the whole season so far."""

from __future__ import annotations

import math

import numpy as np

from geosand.columns import Bools
from geosand.estimates import Estimates
from geosand.reports.documents import MILLIMETRE, Document, budgets, findings_rows, number
from geosand.reports.ring_figures import ring_figures
from geosand.results import Results
from geosand.season.ledger import NO_TARGET
from geosand.season.ring_ledger import COLLAR, SURROUNDS
from geosand.season.ring_totals import ring_totals
from geosand.season.totals import season_totals


def season_document(results: Results) -> Document:
    """The season's ledger: surfaces first, then their collars and surrounds."""
    return {
        "site": results.site.name,
        "from": str(results.ledger.start),
        "to": str(results.ledger.as_of),
        "surfaces": [*_surfaces(results), *_rings(results)],
        "findings": findings_rows(results.findings),
        "inputs": dict(results.site.inputs),
    }


def _surfaces(results: Results) -> list[Document]:
    surfaces, ledger = results.site.surfaces, results.ledger
    u, budget = ledger.depth.u(), budgets(ledger.depth, "mm", MILLIMETRE)
    return [
        {
            "id": str(surfaces.id[row]),
            "kind": str(surfaces.kind[row]),
            "depth_mm": number(ledger.depth.value[k], MILLIMETRE),
            "u_depth_mm": number(u[k], MILLIMETRE),
            "low_mm": number(ledger.interval.low[k], MILLIMETRE),
            "high_mm": number(ledger.interval.high[k], MILLIMETRE),
            "target_mm": number(ledger.target_m[k], MILLIMETRE),
            "target_so_far_mm": number(ledger.target_so_far_m[k], MILLIMETRE),
            "shortfall_mm": number(ledger.shortfall_m[k], MILLIMETRE),
            "state": str(ledger.state[k]),
            "probability": number(ledger.probability[k]),
            "dressings": int(ledger.dressings[k]),
            "basis": _basis(results, k),
            "all_measured": bool(ledger.measured[k]),
            "in_holes_mm": number(ledger.in_holes_m[k], MILLIMETRE),
            "surface_mm": number(ledger.surface_m[k], MILLIMETRE),
            "budget": budget[k],
        }
        for k, row in enumerate(ledger.row)
    ]


def _basis(results: Results, k: int) -> str | None:
    ledger = results.ledger
    if not ledger.dressings[k] or not math.isfinite(ledger.depth.value[k]):
        return None
    return "own catches" if ledger.own[k] else "other surfaces"


def _rings(results: Results) -> list[Document]:
    rings = results.ledger.rings
    u, budget = rings.u_depth_m, budgets(rings.depth, "mm", MILLIMETRE)
    nothing = dict.fromkeys(("target_mm", "target_so_far_mm", "shortfall_mm"))
    return [
        {
            "id": str(name),
            "kind": str(rings.zone[k]),
            "around": str(results.site.ids[rings.ground[k]]),
            "depth_mm": number(rings.depth_m[k], MILLIMETRE),
            "u_depth_mm": number(u[k], MILLIMETRE),
            "mass_kg": number(rings.mass_kg[k]),
            "budget": budget[k],
            **nothing,
            "state": NO_TARGET,
            "probability": None,
        }
        for k, name in enumerate(rings.id)
    ]


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
    out = float(np.nansum(results.balance.spread.value[counted & ~measured]))
    sums = season_totals(results.site, results.areas, results.rates, results.balance, counted)
    over = sums["overthrow"]
    known = bool(measured.any())
    spread = float(sums["spread"].value[0]) if known else math.nan
    beside = _beside(results, measured)
    laid = sum(beside[name] or 0.0 for name in ("collar_kg", "surrounds_kg", "farther_kg"))
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
        "not_measured_kg": number(out),
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


def _beside(results: Results, measured: Bools) -> Document:
    """Sums of the dressings' rings: collar, surrounds, farther, and what lies over hazards.

    What collars and surrounds hold at least and most also counts dressings without rings.
    """
    names = ("collar_kg", "surrounds_kg", "farther_kg", "collar_low_kg", "collar_high_kg")
    rings = [ring_figures(results, int(k)) for k in np.flatnonzero(measured)]
    thrown = [ring for ring in rings if ring["reach_m"] is not None]
    totals = ring_totals(
        results.site, results.areas, results.rates, results.balance, results.ledger.counted
    )
    bounds = totals.interval(floor=0.0)
    sums: Document = {
        name: number(sum(ring[name] or 0.0 for ring in thrown)) if thrown else None
        for name in names
    }
    for k, zone in enumerate((COLLAR, SURROUNDS)):
        sums[f"{zone}_least_kg"] = number(bounds.low[k]) if thrown else None
        sums[f"{zone}_most_kg"] = number(bounds.high[k]) if thrown else None
    kinds = sorted({kind for ring in thrown for kind in ring["over_kg"]})
    sums["over_kg"] = {
        kind: number(sum(ring["over_kg"][kind] or 0.0 for ring in thrown)) for kind in kinds
    }
    return sums
