"""The next dressing as a document."""

from __future__ import annotations

import math

import numpy as np

from geosand.columns import ratio
from geosand.planning.choosing import AS_NAMED, NEED, ROUTE
from geosand.planning.dressing import NextDressing
from geosand.reports.documents import (
    KMH,
    MILLIMETRE,
    Document,
    columns_of,
    findings_rows,
    number,
    rows_of,
)
from geosand.site.tables import Site

BASIS = "as delivered, with its water"
ORDERS = {
    ROUTE: "kind by kind{}, each kind by a short way over its surfaces",
    NEED: "kind by kind{}, each kind by need, the farthest behind its target first",
    AS_NAMED: "as named",
}


def plan_document(site: Site, plan: NextDressing, said: list[str]) -> Document:
    """The plan with all its figures; masses of sand on the ground are dry, orders as delivered.

    ``said``: sentences on what was chosen for the person.
    """
    return {
        "site": site.name,
        "as_of": str(plan.as_of),
        "surfaces": _surfaces(site, plan),
        "sand": _sand(site, plan),
        "route": _route(site, plan),
        "crew": _crew(site, plan),
        "spreader": _spreader(site, plan),
        "loads": _loads(site, plan),
        "findings": [
            *({"about": "", "topic": "plan", "text": s} for s in said if s),
            *findings_rows(plan.findings),
        ],
        "inputs": dict(site.inputs),
    }


def _surfaces(site: Site, plan: NextDressing) -> list[Document]:
    rates, order = plan.rates, plan.order
    unit, with_over = order.unit.mass_kg / (1 + order.moisture), rates.mass_kg + plan.overthrow_kg
    return rows_of(
        {
            **columns_of(site.surfaces, "id", "name", "kind", rows=rates.row),
            **columns_of(rates, "depth_mm", "rate_kg_m2", "mass_kg"),
            "overthrow_kg": plan.overthrow_kg,
            "delivered_kg": with_over * (1 + order.moisture),
            "units": with_over / unit if unit > 0 else [None] * len(rates.row),
            "loads": [_loads_of(plan, k) for k in range(len(rates.row))],
            "from_previous_m": plan.leg_m,
            **columns_of(rates, "area_m2", "shortfall_mm", "left_mm", "in_holes_mm"),
            "surface_mm": rates.depth_m - rates.in_holes_m,
            "note": rates.note,
            "setting": _of_dressed(plan, _settings(plan)),
            "heading": _of_dressed(plan, _headings(plan)),
        }
    )


def _of_dressed(plan: NextDressing, rows: list[Document]) -> list[Document | None]:
    """The rows of the surfaces that get sand; None where there are none."""
    given = (plan.rates.rate_kg_m2 > 0).tolist()
    return [rows[k] if rows and there else None for k, there in enumerate(given)]


def _settings(plan: NextDressing) -> list[Document]:
    settings = plan.settings
    if settings is None:
        return []
    return rows_of(
        {
            **columns_of(settings, "setting", "low", "high"),
            "passes": [passes or None for passes in settings.passes.tolist()],
            "needed": settings.needed,
            "refused": [why or None for why in settings.why.tolist()],
        }
    )


def _headings(plan: NextDressing) -> list[Document]:
    headings, rate = plan.headings, plan.rates.rate_kg_m2
    if headings is None:
        return []
    worst, best = headings.worst_m2 * rate, headings.forced_m2 * rate
    last = headings.last_m2 * rate
    return rows_of(
        {
            "heading_deg": headings.heading_degree,
            "first_pass_before_edge_m": headings.offset_m,
            "passes": headings.passes,
            "forced_kg": best,
            "worst_heading_deg": headings.worst_heading_degree,
            "saving_against_worst_kg": worst - best,
            "saving_against_worst_percent": ratio(worst - best, worst, empty=0.0),
            "last_heading_deg": plan.last_degree,
            "saving_against_last_kg": last - best,
            "saving_against_last_percent": ratio(last - best, last),
        }
    )


def _sand(site: Site, plan: NextDressing) -> Document:
    order = plan.order
    bounds = order.overthrow_dry.interval(floor=0.0)
    known = math.isfinite(plan.strip.width_m)
    filling = float(plan.rates.in_holes_m @ plan.rates.area_m2)
    return {
        "name": str(site.sands.name[plan.request.sand]),
        "on_surfaces_kg": number(order.on_surfaces_dry_kg),
        "overthrow_kg": number(order.overthrow_dry.value[0]),
        "overthrow_low_kg": number(bounds.low[0]) if known else None,
        "overthrow_high_kg": number(bounds.high[0]) if known else None,
        "moisture_dry_basis_percent": number(order.moisture, 100),
        "order_basis": BASIS,
        "bulk_density_kg_m3": number(plan.bulk_density_kg_m3),
        "in_holes_kg": number(filling * plan.bulk_density_kg_m3),
        "holes_take_mm": number(plan.request.holes_take_m, MILLIMETRE),
        "needed_kg": number(order.need.value[0]),
        "u_needed_kg": number(order.need.u()[0]),
        "assurance": number(order.assurance),
        "needed_at_assurance_kg": number(order.need_assured_kg),
        "stock_kg": number(order.stock.mass_kg),
        "u_stock_kg": number(order.stock.u_kg) if math.isfinite(order.stock.mass_kg) else None,
        "stock_from": _stock_from(plan),
        "order_kg": number(order.order_kg),
        "unit_mass_kg": number(order.unit.mass_kg),
        "units": order.units,
        "load_kg": number(plan.load_dry_kg * (1 + order.moisture)),
        "load_from": "one unit" if plan.request.load_kg is None else "as given",
    }


def _stock_from(plan: NextDressing) -> str | None:
    """Where the stock comes from; None where it is not known."""
    if plan.request.stock_kg is not None:
        return "as given"
    stock = plan.order.stock
    if math.isnan(stock.mass_kg):
        return None
    if stock.counted is None:
        return "deliveries less loads"
    return f"counted {stock.counted}" + (", deliveries less loads since" if stock.since else "")


def _route(site: Site, plan: NextDressing) -> Document:
    given = plan.rates.depth_m > 0
    greens = (site.surfaces.kind[plan.rates.row[given]] == "green").any()
    legs = plan.leg_m[given & np.isfinite(plan.leg_m)]
    return {
        "order": ORDERS[plan.request.order].format(", greens first" if greens else ""),
        "from_a_start": plan.request.start_m is not None,
        "length_m": number(legs.sum()),
    }


def _crew(site: Site, plan: NextDressing) -> Document:
    crew = plan.crew
    return {
        "u_percent": number(crew.u, 100),
        "more_than_planned_percent": number(crew.more, 100),
        "caught_over_planned": [number(r) for r in crew.ratio],
        "dressings": [str(site.dressings.id[k]) for k in crew.dressings],
    }


def _loads_of(plan: NextDressing, k: int) -> list[int]:
    """Numbers of the loads that serve a surface, from 1."""
    split = plan.split
    return [] if split is None else (split.load[split.surface == k] + 1).tolist()


def _spreader(site: Site, plan: NextDressing) -> Document:
    strip, fit = plan.strip, plan.fit
    bounds = strip.interval()
    return {
        "name": plan.request.spreader,
        "strip_width_m": number(strip.width_m),
        "strip_width_low_m": number(bounds.low[0]),
        "strip_width_high_m": number(bounds.high[0]),
        "dressings": [str(site.dressings.id[k]) for k in strip.dressings],
        "swath_m": number(plan.swath_m),
        "speed_kmh": number(plan.speed_m_s, KMH),
        "setting_from": fit.said,
        "setting_words": list(fit.words),
        "setting_scatter_percent": number(fit.scatter_share, 100),
        "setting_by_word": [
            {
                "setting": one.setting,
                "speed_kmh": number(one.speed_m_s, KMH),
                "rate_kg_m2": number(one.rate_kg_m2),
                "dressings": one.dressings,
            }
            for one in fit.by_word
        ],
        "setting_dressings": [str(site.dressings.id[k]) for k in dict.fromkeys(fit.dressings)],
        "setting_tried": [
            {
                "dressing": str(site.dressings.id[k]),
                "surfaces": list(one.surfaces),
                "setting": number(one.setting),
                "speed_kmh": number(one.speed_m_s, KMH),
                "swath_m": number(one.swath_m),
                "rate_kg_m2": number(one.rate_kg_m2),
                "u_rate_kg_m2": number(one.u_rate_kg_m2),
            }
            for k, one in zip(fit.dressings, fit.at, strict=True)
        ],
    }


def _loads(site: Site, plan: NextDressing) -> list[Document]:
    """Each load with what it brings where; the last surface of all but the last needs a refill."""
    split = plan.split
    if split is None:
        return []
    ids, wet = site.surfaces.id[plan.rates.row], 1 + plan.order.moisture
    out: list[Document] = []
    loads = int(split.load.max(initial=-1)) + 1
    for load in range(loads):
        mine = np.flatnonzero(split.load == load)
        last = int(split.surface[mine[-1]])
        out.append(
            {
                "load": load + 1,
                "mass_kg": number(split.mass_kg[mine].sum()),
                "delivered_kg": number(split.mass_kg[mine].sum() * wet),
                "surfaces": [
                    {
                        "id": str(ids[split.surface[k]]),
                        "mass_kg": number(split.mass_kg[k]),
                        "delivered_kg": number(split.mass_kg[k] * wet),
                    }
                    for k in mine
                ],
                "refill_on": str(ids[last]) if load + 1 < loads else None,
                "to_start_m": number(plan.back_m[last]),
            }
        )
    return out
