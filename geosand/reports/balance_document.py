"""The balance as a document: every dressing, its surfaces, and witnesses of its loads."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from geosand.columns import Floats, Strings
from geosand.estimates import Interval
from geosand.reports.documents import (
    MILLIMETRE,
    Document,
    budgets,
    day_said,
    figures_of,
    findings_rows,
    number,
)
from geosand.reports.ring_figures import ring_figures
from geosand.results import Results

if TYPE_CHECKING:
    from geosand.balance.stock import StockWitness, Weighings


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


def _known(value: float, u: float) -> float | None:
    return number(u) if math.isfinite(value) else None


def _methods(results: Results, k: int) -> Document:
    methods = results.balance.methods
    document: Document = {
        name: {
            "rate_kg_m2": number(column[k]),
            "depth_mm": number(column[k] / methods.density_kg_m3[k], MILLIMETRE),
        }
        for name, column in methods.rates_kg_m2.items()
    }
    return {**document, "agree": methods.agree[k]}


def _uniformity(table: Any, k: int) -> Document:
    return {
        "catches": int(table.n[k]),
        "mean_mm": number(table.mean[k], MILLIMETRE),
        "sd_mm": number(table.sd[k], MILLIMETRE),
        "cv_percent": number(table.cv[k], 100),
        "du_lq_percent": number(table.du_lq[k], 100),
        "du_lh_percent": number(table.du_lh[k], 100),
        "cu_percent": number(table.cu[k], 100),
    }


def _model(results: Results, k: int) -> Document:
    model = results.rates.model
    mean, b, e = model.mu[k], model.sigma_b[k], model.sigma_e[k]
    return {
        "mean_rate_kg_m2": number(mean),
        "u_mean_rate_by_catches_kg_m2": number(model.u_mu[k]),
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
    laid = math.isfinite(throw.reach_m[results.balance.group_of_row[row]])

    def ring_kg(kg: Floats) -> float | None:
        return number(kg[row]) if laid or kg[row] > 0 else None

    def ring_mm(kg: Floats, area: Floats) -> float | None:
        # a ring beyond the reach got nothing; where no rings are laid, nothing is known
        if not area[row] > 0 or not math.isfinite(kg[row]) or not (laid or kg[row] > 0):
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
        "collar_kg": ring_kg(throw.collar_kg),
        "surrounds_kg": ring_kg(throw.surrounds_kg),
        "uniformity": _uniformity(rates.surface_uniformity, row),
    }


def stock_document(results: Results) -> Document:
    """Witnesses of the loads: what lay on a scale, and sand not accounted for; positive missing."""
    scale, stock, names = results.weighings, results.stock, results.site.sands.name
    return {
        "weighed_loads": _weighed(scale) if scale is not None else [],
        "stock": _counted(stock, names) if stock is not None else [],
    }


def _weighed(scale: Weighings) -> list[Document]:
    masses = ("stated_kg", "u_stated_kg", "weighed_kg", "u_weighed_kg", "sigmas")
    loads = enumerate(scale.load.tolist())
    return [{"load": load, **figures_of(scale, k, *masses)} for k, load in loads]


def _counted(stock: StockWitness, names: Strings) -> list[Document]:
    u = stock.missing.u()
    return [
        {
            "sand": str(names[sand]),
            "from": day_said(stock.opened[k]),
            "to": day_said(stock.closed[k]),
            "opening_kg": number(stock.opening_kg[k]),
            "bought_kg": number(stock.bought.value[k]),
            "taken_kg": number(stock.taken.value[k]),
            "closing_kg": number(stock.closing_kg[k]),
            "not_accounted_for_kg": number(stock.missing.value[k]),
            "u_not_accounted_for_kg": number(u[k]),
        }
        for k, sand in enumerate(stock.sand)
    ]
