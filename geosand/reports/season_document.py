"""The season's ledger as a document."""

from __future__ import annotations

import math

from geosand.reports.documents import MILLIMETRE, Document, budget_rows, findings_rows, number
from geosand.results import Results


def season_document(results: Results) -> Document:
    """The season's ledger: surfaces first, then their collars and surrounds."""
    site, ledger = results.site, results.ledger
    u, shares, parts = ledger.depth.u(), ledger.depth.shares(), ledger.depth.by_category()
    surfaces: list[Document] = []
    for k, row in enumerate(ledger.row):
        surfaces.append(
            {
                "id": str(site.surfaces.id[row]),
                "kind": str(site.surfaces.kind[row]),
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
                "basis": _season_basis(results, k),
                "all_measured": bool(ledger.measured[k]),
                "in_holes_mm": number(ledger.in_holes_m[k], MILLIMETRE),
                "surface_mm": number(ledger.surface_m[k], MILLIMETRE),
                "budget": budget_rows(ledger.depth, shares, parts, k, "mm", MILLIMETRE),
            }
        )
    rings = ledger.rings
    u, shares, parts = rings.depth.u(), rings.depth.shares(), rings.depth.by_category()
    for k, name in enumerate(rings.id):
        surfaces.append(
            {
                "id": str(name),
                "kind": str(rings.zone[k]),
                "around": str(site.ids[rings.ground[k]]),
                "depth_mm": number(rings.depth_m[k], MILLIMETRE),
                "u_depth_mm": number(u[k], MILLIMETRE),
                "mass_kg": number(rings.mass_kg[k]),
                "budget": budget_rows(rings.depth, shares, parts, k, "mm", MILLIMETRE),
                "target_mm": None,
                "target_so_far_mm": None,
                "shortfall_mm": None,
                "state": "no target",
                "probability": None,
            }
        )
    return {
        "site": site.name,
        "from": str(ledger.start),
        "to": str(ledger.as_of),
        "surfaces": surfaces,
        "findings": findings_rows(results.findings),
        "inputs": dict(site.inputs),
    }


def _season_basis(results: Results, k: int) -> str | None:
    ledger = results.ledger
    if not ledger.dressings[k] or not math.isfinite(ledger.depth.value[k]):
        return None
    return "own catches" if ledger.own[k] else "other surfaces"
