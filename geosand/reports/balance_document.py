"""The balance as a document: every dressing, its surfaces, and witnesses of its loads."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from geosand.balance.closing import Closing
from geosand.columns import Floats, Ints, Strings, ratio
from geosand.estimates import Estimates, Interval
from geosand.reports.documents import (
    Document,
    bases,
    budgets,
    columns_of,
    day_said,
    findings_rows,
    number,
    rows_of,
)
from geosand.results import Results
from geosand.season.ring_totals import laid_out, ring_limits

if TYPE_CHECKING:
    from geosand.balance.stock import StockWitness, Weighings
    from geosand.rates.uniformity import Uniformity


def balance_document(results: Results) -> Document:
    """The balance of every dressing, in order of date."""
    return {
        "site": results.site.name,
        "dressings": _dressings(results),
        **stock_document(results),
        "findings": findings_rows(results.findings),
        "inputs": dict(results.site.inputs),
    }


def _dressings(results: Results) -> list[Document]:
    site, balance = results.site, results.balance
    on, over = balance.on_surfaces, balance.overthrow
    dressed, size = _surfaces(results), len(site.dressings)
    thrown = rows_of(
        {
            **masses(over, balance.interval),
            "u_kg": over.known_u(),
            **columns_of(balance, "fraction", "verdict"),
        }
    )
    spread = {"mass_kg": balance.spread.value, "u_kg": balance.spread.known_u()}
    return rows_of(
        {
            "dressing": site.dressings.id,
            "date": site.dressings.date,
            "sand": site.sands.name[site.dressings.sand],
            "spread": rows_of(spread),
            "on_surfaces": rows_of({**masses(on, balance.on_interval), "budget": budgets(on)}),
            "overthrow": [{**row, **ring_figures(results, k)} for k, row in enumerate(thrown)],
            "dressed_area_m2": balance.dressed_area_m2,
            "methods": _methods(results),
            "closing": [[_closing(one) for one in ways] for ways in balance.closing],
            "uniformity": _uniformity(results.rates.uniformity),
            "budget": budgets(over),
            "model": _model(results),
            "surfaces": [
                [dressed[row] for row in np.flatnonzero(site.dressed.dressing == k)]
                for k in range(size)
            ],
        }
    )


def masses(table: Estimates, bounds: Interval) -> dict[str, Floats]:
    """Columns of masses with their u and intervals."""
    return {"mass_kg": table.value, "u_kg": table.u(), "low_kg": bounds.low, "high_kg": bounds.high}


def _closing(one: Closing) -> Document:
    change, sigmas = number(one.change_percent), number(one.sigmas)
    return {"input": one.input, "change_percent": change, "sigmas": sigmas}


def _methods(results: Results) -> list[Document]:
    methods = results.balance.methods
    columns = {
        name: rows_of({"rate_kg_m2": rate, "depth_mm": rate / methods.density_kg_m3})
        for name, rate in methods.rates_kg_m2.items()
    }
    return rows_of({**columns, "agree": list(methods.agree)})


def _uniformity(table: Uniformity) -> list[Document]:
    percents = ("cv_percent", "du_lq_percent", "du_lh_percent", "cu_percent")
    depths = {"catches": table.n, "mean_mm": table.mean, "sd_mm": table.sd}
    return rows_of({**depths, **columns_of(table, *percents)})


def _model(results: Results) -> list[Document]:
    model = results.rates.model
    return rows_of(
        {
            "mean_rate_kg_m2": model.mu,
            "u_mean_rate_by_catches_kg_m2": model.u_mu,
            "sd_between_surfaces_percent": ratio(model.sigma_b, model.mu),
            "sd_between_catches_percent": ratio(model.sigma_e, model.mu),
            **columns_of(model, "degrees_of_freedom", "surfaces_caught", "catches"),
            "other_dressings_used": model.pooled,
        }
    )


def _surfaces(results: Results) -> list[Document]:
    """One row a dressed surface."""
    site, rates, throw = results.site, results.rates, results.balance.throw
    surface, mass = site.dressed.surface, results.balance.surface_mass
    density = rates.density.value[site.dressings.sand[site.dressed.dressing]]
    bounds = rates.depth.interval(floor=0.0)
    laid = np.isfinite(throw.reach_m[results.balance.group_of_row])
    depths, masses = {}, {}
    for zone in ("collar", "surrounds"):
        kg, area = getattr(throw, f"{zone}_kg"), getattr(throw, f"{zone}_area_m2")
        # a ring beyond the reach got nothing; where no rings are laid, nothing is known
        masses[f"{zone}_kg"] = np.where(laid | (kg > 0), kg, np.nan)
        depths[f"{zone}_mm"] = ratio(masses[f"{zone}_kg"], area) / density
    return rows_of(
        {
            "id": site.surfaces.id[surface],
            "area_m2": results.areas.area_m2[surface],
            "catches": rates.catches,
            "basis": bases(rates.own, np.isfinite(rates.rate.value)),
            "rate_kg_m2": rates.rate.value,
            "u_rate_kg_m2": rates.rate.u(),
            "depth_mm": rates.depth.value,
            "u_depth_mm": rates.depth.u(),
            "low_mm": bounds.low,
            "high_mm": bounds.high,
            **columns_of(site.dressed, "planned_mm"),
            "mass_kg": mass.value,
            "u_mass_kg": mass.u(),
            **depths,
            **masses,
            "uniformity": _uniformity(rates.surface_uniformity),
        }
    )


def stock_document(results: Results) -> Document:
    """Witnesses of the loads: what lay on a scale, and sand not accounted for; positive missing."""
    scale, stock, names = results.weighings, results.stock, results.site.sands.name
    return {
        "weighed_loads": _weighed(scale) if scale is not None else [],
        "stock": _counted(stock, names) if stock is not None else [],
    }


def _weighed(scale: Weighings) -> list[Document]:
    masses = ("stated_kg", "u_stated_kg", "weighed_kg", "u_weighed_kg", "sigmas")
    return rows_of(columns_of(scale, "load", *masses))


def _counted(stock: StockWitness, names: Strings) -> list[Document]:
    return rows_of(
        {
            "sand": names[stock.sand],
            "from": [day_said(day) for day in stock.opened],
            "to": [day_said(day) for day in stock.closed],
            "opening_kg": stock.opening_kg,
            "bought_kg": stock.bought.value,
            "taken_kg": stock.taken.value,
            "closing_kg": stock.closing_kg,
            "not_accounted_for_kg": stock.missing.value,
            "u_not_accounted_for_kg": stock.missing.u(),
        }
    )


@lru_cache(maxsize=1)  # pages tell dressing by dressing
def _laid_out(results: Results) -> list[Document]:
    """Where the overthrow of each dressing lies, and what all collars and surrounds hold at least
    and most (95 % limits).
    """
    balance, size = results.balance, len(results.site.dressings)
    limits, columns = ring_limits(balance, results.site.dressed.dressing, size), laid_out(balance)
    for k, zone in enumerate(("collar", "surrounds")):
        for end, column in (("least", limits.low), ("most", limits.high)):
            mine = column[k * size : (k + 1) * size]
            columns[f"{zone}_{end}_kg"] = np.where(np.isnan(columns["reach_m"]), np.nan, mine)
    return rows_of(columns)


def ring_figures(results: Results, k: int) -> Document:
    """Strip width, reach and the split of the overthrow of dressing ``k`` over its groups."""
    balance, row = results.balance, _laid_out(results)[k]
    groups = np.flatnonzero(balance.dressing_of_group == k)
    laid = row["reach_m"] is not None  # also of a dressing that does not close but for some groups
    rows = results.site.dressed.dressing == k
    interval = balance.interval
    return {
        **row,
        "over_kg": {
            kind: number(np.nansum(column[rows])) if laid else None
            for kind, column in balance.throw.hazard_kg.items()
        },
        "parts": _parts(results, groups),
        "not_told_from_zero": laid and bool(interval.low[k] <= 0 <= interval.high[k]),
        "no_rings": None if laid else _why_no_rings(results, k, bool(rows.any())),
    }


def _parts(results: Results, groups: Ints) -> list[Document]:
    """The parts of a dressing whose loads name their surfaces, each with its own overthrow."""
    if len(groups) < 2:
        return []
    balance, surfaces = results.balance, results.site.surfaces
    names = surfaces.id[results.site.dressed.surface]
    return rows_of(
        {
            "surfaces": [names[balance.group_of_row == g].tolist() for g in groups],
            "overthrow_kg": balance.group_overthrow.value[groups],
            **columns_of(balance.throw, "reach_m", "strip_width_m", rows=groups),
        }
    )


def _why_no_rings(results: Results, k: int, dressed: bool) -> str:
    if str(results.balance.verdict[k]) == "not measured" or not dressed:
        return "the dressing has no catches or no loads"
    if results.balance.overthrow.value[k] > 0:
        return "the catches hold no sand, so there is no rate to lay beside the edges"
    return "there is no overthrow: the catches claim as much sand as was spread, or more"
