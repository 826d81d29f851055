"""The machine-readable results: one JSON document a verb. Missing is null, never NaN."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np

from geosand.areas.register import AreaRegister
from geosand.columns import Floats, Ints
from geosand.errors import Finding
from geosand.estimates import Estimates, Interval
from geosand.results import Results
from geosand.site.tables import Site

Document = dict[str, Any]
MILLIMETRE = 1000.0


def number(value: Any, factor: float = 1.0) -> float | None:
    """A plain float to nine digits; None for what is not finite."""
    scaled = float(value) * factor
    return float(f"{scaled:.9g}") if math.isfinite(scaled) else None


def to_json(document: Document) -> str:
    """Text of a document; refuses NaN."""
    return json.dumps(document, ensure_ascii=False, allow_nan=False, indent=1)


def findings_rows(findings: tuple[Finding, ...] | list[Finding]) -> list[Document]:
    return [{"about": f.about, "topic": f.topic, "text": f.text} for f in findings]


def areas_document(
    site: Site,
    register: AreaRegister,
    *,
    geodesic_m2: Floats,
    grid_m2: Floats,
    grid_scale: Floats,
    findings: list[Finding],
) -> Document:
    """The area register of the boundaries in force.

    ``geodesic_area_m2``, ``equal_area_m2`` and ``grid_area_m2`` are those of the owned ground, so
    that they can be held against ``area_m2``; ``drawn_area_m2`` is the polygon's as drawn.
    """
    surfaces = site.surfaces
    about: dict[str, list[str]] = {}
    for finding in findings:
        about.setdefault(finding.about, []).append(finding.text)
    rows = []
    for k, row in enumerate(site.in_force()):
        rows.append(
            {
                "id": str(surfaces.id[row]),
                "name": str(surfaces.name[row]),
                "kind": str(surfaces.kind[row]),
                "area_m2": number(register.area_m2[row]),
                "u_area_m2": number(register.u_area_m2[row]),
                "perimeter_m": number(register.perimeter_m[row]),
                "drawn_area_m2": number(register.drawn_m2[row] * register.ground_factor[row]),
                "geodesic_area_m2": number(geodesic_m2[k]),
                "equal_area_m2": number(register.owned_m2[row]),
                "grid_area_m2": number(grid_m2[k]),
                "grid_scale": number(grid_scale[k]),
                "ground_factor": number(register.ground_factor[row]),
                "elevation_m": number(surfaces.elevation_m[row]),
                "findings": about.get(str(surfaces.id[row]), []),
            }
        )
    return {
        "site": site.name,
        "valid_from": _day(site.valid_from[-1]),
        "source_crs": site.source_crs[-1],
        "surfaces": rows,
        "findings": findings_rows(findings),
    }


def _day(day: np.datetime64) -> str | None:
    return None if np.isnat(day) or day == np.datetime64("0001-01-01") else str(day)


def balance_document(results: Results) -> Document:
    """The balance of every dressing, in order of date."""
    figures = _Figures.of(results)
    dressings = [_dressing(results, figures, k) for k in range(len(results.site.dressings))]
    return {
        "site": results.site.name,
        "dressings": dressings,
        **stock_document(results),
        "findings": findings_rows(results.findings),
        "inputs": dict(results.site.inputs),
    }


class _Figures(NamedTuple):
    """Uncertainties and intervals of whole tables, worked out once."""

    u_spread: Floats
    u_on: Floats
    u_over: Floats
    u_rate: Floats
    u_depth: Floats
    depth: Interval
    u_mass: Floats
    budget: Sequence[Sequence[Document]]
    budget_on: Sequence[Sequence[Document]]

    @classmethod
    def of(cls, results: Results) -> _Figures:
        balance, rates = results.balance, results.rates
        return cls(
            u_spread=balance.spread.u(),
            u_on=balance.on_surfaces.u(),
            u_over=balance.overthrow.u(),
            u_rate=rates.rate.u(),
            u_depth=rates.depth.u(),
            depth=rates.depth.interval(floor=0.0),
            u_mass=balance.surface_mass.u(),
            budget=budgets(balance.overthrow),
            budget_on=budgets(balance.on_surfaces),
        )


def _dressing(results: Results, figures: _Figures, k: int) -> Document:
    site, balance = results.site, results.balance
    rows = np.flatnonzero(site.dressed.dressing == k)
    on, over = balance.on_interval, balance.interval
    return {
        "dressing": str(site.dressings.id[k]),
        "date": str(site.dressings.date[k]),
        "sand": str(site.sands.name[site.dressings.sand[k]]),
        "spread": {
            "mass_kg": number(balance.spread.value[k]),
            "u_kg": _known(balance.spread.value[k], figures.u_spread[k]),
        },
        "on_surfaces": {
            "mass_kg": number(balance.on_surfaces.value[k]),
            "u_kg": number(figures.u_on[k]),
            "low_kg": number(on.low[k]),
            "high_kg": number(on.high[k]),
            "budget": figures.budget_on[k],
        },
        "overthrow": {
            "mass_kg": number(balance.overthrow.value[k]),
            "u_kg": _known(balance.overthrow.value[k], figures.u_over[k]),
            "low_kg": number(over.low[k]),
            "high_kg": number(over.high[k]),
            "fraction": number(balance.fraction[k]),
            "verdict": str(balance.verdict[k]),
            **ring_figures(results, k),
        },
        "dressed_area_m2": number(balance.dressed_area_m2[k]),
        "methods": _methods(results, k),
        "closing": [
            {
                "input": c.input,
                "change_percent": number(c.change_percent),
                "sigmas": None if c.sigmas is None else number(c.sigmas),
            }
            for c in balance.closing[k]
        ],
        "uniformity": _uniformity(results.rates.uniformity, k),
        "budget": figures.budget[k],
        "model": _model(results, k),
        "surfaces": [_surface(results, figures, int(row)) for row in rows],
    }


def stock_document(results: Results) -> Document:
    """Witnesses of the loads: what lay on a scale, and sand not accounted for; positive missing."""
    site, scale, stock = results.site, results.weighings, results.stock
    loads = [] if scale is None else range(len(scale.load))
    sands = [] if stock is None else range(len(stock.sand))
    weighed = [
        {
            "load": str(scale.load[k]),
            "stated_kg": number(scale.stated_kg[k]),
            "u_stated_kg": number(scale.u_stated_kg[k]),
            "weighed_kg": number(scale.weighed_kg[k]),
            "u_weighed_kg": number(scale.u_weighed_kg[k]),
            "sigmas": number(scale.sigmas[k]),
        }
        for k in loads
        if scale is not None
    ]
    counted = [
        {
            "sand": str(site.sands.name[stock.sand[k]]),
            "from": _day(stock.opened[k]),
            "to": _day(stock.closed[k]),
            "opening_kg": number(stock.opening_kg[k]),
            "bought_kg": number(stock.bought.value[k]),
            "taken_kg": number(stock.taken.value[k]),
            "closing_kg": number(stock.closing_kg[k]),
            "not_accounted_for_kg": number(stock.missing.value[k]),
            "u_not_accounted_for_kg": number(stock.missing.u()[k]),
        }
        for k in sands
        if stock is not None
    ]
    return {"weighed_loads": weighed, "stock": counted}


def _known(value: float, u: float) -> float | None:
    return number(u) if math.isfinite(value) else None


def ring_figures(results: Results, k: int) -> Document:
    """Strip width, reach and the split of the overthrow of dressing ``k`` over its groups."""
    balance, throw = results.balance, results.balance.throw
    groups = np.flatnonzero(balance.dressing_of_group == k)
    held = (throw.group_collar_kg + throw.group_surrounds_kg + throw.group_farther_kg)[groups]
    thrown = groups[np.nan_to_num(held) > 0]
    kept = held[np.nan_to_num(held) > 0]
    strip, reach = np.nan, np.nan
    if len(thrown):  # of several groups the ones that threw sand over, weighted by it
        strip = kept.sum() / (kept / throw.strip_width_m[thrown]).sum()
        reach = float(np.average(throw.reach_m[thrown], weights=kept))
    rows = results.site.dressed.dressing == k
    positive = bool(balance.overthrow.value[k] > 0) and len(thrown) > 0

    def total(column: Floats) -> float | None:
        mass = column[thrown].sum()
        dust = abs(mass) < 1e-9 * kept.sum()  # rounding, not sand
        return number(0.0 if dust else mass) if positive else None

    return {
        "strip_width_m": number(strip) if positive else None,
        "reach_m": number(reach) if positive else None,
        "collar_kg": total(throw.group_collar_kg),
        "surrounds_kg": total(throw.group_surrounds_kg),
        "farther_kg": total(throw.group_farther_kg),
        "collar_low_kg": total(throw.collar_low_kg),
        "collar_high_kg": total(throw.collar_high_kg),
        "over_kg": {
            kind: number(np.nansum(column[rows])) if positive else None
            for kind, column in throw.hazard_kg.items()
        },
        "parts": _parts(results, groups),
        "not_told_from_zero": positive and str(balance.verdict[k]) in ("closed", "undecided"),
        "no_rings": None if positive else _why_no_rings(results, k, bool(rows.any())),
    }


def _parts(results: Results, groups: Ints) -> list[Document]:
    """The parts of a dressing whose loads name their surfaces, each with its own overthrow."""
    if len(groups) < 2:
        return []
    site, balance, throw = results.site, results.balance, results.balance.throw
    parts = []
    for g in groups:
        rows = np.flatnonzero(balance.group_of_row == g)
        names = site.surfaces.id[site.dressed.surface[rows]].tolist()
        parts.append(
            {
                "surfaces": names,
                "overthrow_kg": number(balance.group_overthrow_kg[g]),
                "reach_m": number(throw.reach_m[g]),
                "strip_width_m": number(throw.strip_width_m[g]),
            }
        )
    return parts


def _why_no_rings(results: Results, k: int, dressed: bool) -> str:
    if str(results.balance.verdict[k]) == "not measured" or not dressed:
        return "the dressing has no catches or no loads"
    if results.balance.overthrow.value[k] > 0:
        return "the catches hold no sand, so there is no rate to lay beside the edges"
    return "there is no overthrow: the catches claim as much sand as was spread, or more"


def _methods(results: Results, k: int) -> Document:
    methods = results.balance.methods
    density = methods.density_kg_m3[k]
    columns = {
        "by_mass": methods.mass_rate_kg_m2,
        "by_volume": methods.volume_rate_kg_m2,
        "by_bulk": methods.bulk_rate_kg_m2,
    }
    document: Document = {
        name: {
            "rate_kg_m2": number(column[k]),
            "depth_mm": number(column[k] / density, MILLIMETRE),
        }
        for name, column in columns.items()
    }
    return {**document, "agree": methods.agree[k]}


def _uniformity(table: Any, k: int) -> Document:
    return {
        "catches": int(table.n[k]),
        "cv_percent": number(table.cv[k], 100),
        "du_lq_percent": number(table.du_lq[k], 100),
        "du_lh_percent": number(table.du_lh[k], 100),
        "cu_percent": number(table.cu[k], 100),
    }


def budgets(table: Estimates) -> list[list[Document]]:
    """Sources of each row's uncertainty, masses in kg, largest first; none where not measured."""
    shares, parts = table.shares(), table.by_category()
    return [budget_rows(table, shares, parts, k, "kg") for k in range(len(table))]


def budget_rows(
    table: Estimates,
    shares: Mapping[str, Floats],
    parts: Mapping[str, Floats],
    row: int,
    unit: str,
    factor: float = 1.0,
) -> list[Document]:
    """Sources of one row; ``shares`` (they sum to 1) and ``parts`` are those of the table."""
    if not math.isfinite(table.value[row]):
        return []
    return [
        {"source": name, f"u_{unit}": number(u[row], factor), "share": number(shares[name][row])}
        for name, u in sorted(parts.items(), key=lambda part: -part[1][row])
        if u[row] > 0
    ]


def _model(results: Results, k: int) -> Document:
    model = results.rates.model
    mean, b, e = model.mu[k], model.sigma_b[k], model.sigma_e[k]
    return {
        "mean_rate_kg_m2": number(mean),
        "sd_between_surfaces_percent": number(b / mean * 100) if mean else None,
        "sd_between_catches_percent": number(e / mean * 100) if mean else None,
        "degrees_of_freedom": number(model.degrees_of_freedom[k]),
        "surfaces_caught": int(model.surfaces_caught[k]),
        "catches": int(model.catches[k]),
        "other_dressings_used": bool(model.pooled[k]),
    }


def _surface(results: Results, figures: _Figures, row: int) -> Document:
    site, rates, throw = results.site, results.rates, results.balance.throw
    surface = int(site.dressed.surface[row])
    density = rates.density.value[site.dressings.sand[site.dressed.dressing[row]]]
    measured = math.isfinite(rates.rate.value[row])

    def ring_mm(kg: Floats, area: Floats) -> float | None:
        if not area[row] > 0 or not math.isfinite(kg[row]) or not kg[row] > 0:
            return None
        return number(kg[row] / area[row] / density, MILLIMETRE)

    return {
        "id": str(site.surfaces.id[surface]),
        "area_m2": number(results.areas.area_m2[surface]),
        "catches": int(rates.catches[row]),
        "basis": ("own catches" if rates.own[row] else "other surfaces") if measured else None,
        "rate_kg_m2": number(rates.rate.value[row]),
        "u_rate_kg_m2": number(figures.u_rate[row]),
        "depth_mm": number(rates.depth.value[row], MILLIMETRE),
        "u_depth_mm": number(figures.u_depth[row], MILLIMETRE),
        "low_mm": number(figures.depth.low[row], MILLIMETRE),
        "high_mm": number(figures.depth.high[row], MILLIMETRE),
        "planned_mm": number(site.dressed.planned_m[row], MILLIMETRE),
        "mass_kg": number(results.balance.surface_mass.value[row]),
        "u_mass_kg": number(figures.u_mass[row]),
        "collar_mm": ring_mm(throw.collar_kg, throw.collar_area_m2),
        "surrounds_mm": ring_mm(throw.surrounds_kg, throw.surrounds_area_m2),
        "collar_kg": number(throw.collar_kg[row]),
        "surrounds_kg": number(throw.surrounds_kg[row]),
        "uniformity": _uniformity(rates.surface_uniformity, row),
    }


def _season_basis(results: Results, k: int) -> str | None:
    ledger = results.ledger
    if not ledger.dressings[k] or not math.isfinite(ledger.depth.value[k]):
        return None
    return "own catches" if ledger.own[k] else "other surfaces"


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
