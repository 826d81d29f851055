"""The season's ledger as a document, and the balance of the whole season so far."""

from __future__ import annotations

import math

import numpy as np

from geosand.columns import Bools
from geosand.estimates import Estimates
from geosand.reports.balance_document import masses, ring_figures
from geosand.reports.documents import (
    MILLIMETRE,
    Document,
    bases,
    budgets,
    columns_of,
    findings_rows,
    number,
    rows_of,
)
from geosand.results import Results
from geosand.season.ledger import NO_TARGET
from geosand.season.ring_ledger import COLLAR, SURROUNDS
from geosand.season.ring_totals import ring_limits
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
    known = (ledger.dressings > 0) & np.isfinite(ledger.depth.value)
    return rows_of(
        {
            "id": surfaces.id[ledger.row],
            "kind": surfaces.kind[ledger.row],
            "depth_mm": ledger.depth.value,
            "u_depth_mm": ledger.depth.u(),
            "low_mm": ledger.interval.low,
            "high_mm": ledger.interval.high,
            **columns_of(ledger, "target_mm", "target_so_far_mm", "shortfall_mm"),
            **columns_of(ledger, "state", "probability", "dressings"),
            "basis": bases(ledger.own, known),
            "all_measured": ledger.measured,
            **columns_of(ledger, "in_holes_mm", "surface_mm"),
            "budget": budgets(ledger.depth, "mm", MILLIMETRE),
        }
    )


def _rings(results: Results) -> list[Document]:
    rings = results.ledger.rings
    rows = rows_of(
        {
            "id": rings.id,
            "kind": rings.zone,
            "around": np.array(results.site.ids)[rings.ground],
            **columns_of(rings, "depth_mm", "u_depth_mm", "mass_kg"),
            "budget": budgets(rings.depth, "mm", MILLIMETRE),
        }
    )
    nothing = dict.fromkeys(("target_mm", "target_so_far_mm", "shortfall_mm"))
    return [{**row, **nothing, "state": NO_TARGET, "probability": None} for row in rows]


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
    sums = season_totals(results.balance, counted)
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
    (row,) = rows_of(masses(table, table.interval(floor=floor)))
    return row if known else dict.fromkeys(row)


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
    season = np.where(results.ledger.counted, 0, -1)
    bounds = ring_limits(results.balance, season, 1)
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
