"""The next dressing as a document and as console tables."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from geosand.planning.dressing import NextDressing
from geosand.reports.documents import MILLIMETRE, Document, number
from geosand.reports.words import MISSING, Units, between, label_of, listed, shown
from geosand.site.tables import Site

if TYPE_CHECKING:
    from geosand.reports.plain_table import Table

KMH = 3.6
MOST_NAMED = 3  #: surfaces without a setting that are named one by one
_ORDER_KEYS = ("order_kg", "unit_mass_kg")


def plan_document(site: Site, plan: NextDressing, said: list[str]) -> Document:
    """The plan with all its figures; masses of sand on the ground are dry, orders as delivered.

    ``said``: sentences on what was chosen for the person.
    """
    findings = [{"about": f.about, "topic": f.topic, "text": f.text} for f in plan.findings]
    return {
        "site": site.name,
        "as_of": str(plan.as_of),
        "surfaces": [_surface(site, plan, k) for k in range(len(plan.rates.row))],
        "sand": _sand(site, plan),
        "spreader": _spreader(site, plan),
        "loads": _loads(site, plan),
        "findings": [{"about": "", "topic": "plan", "text": s} for s in said if s] + findings,
        "inputs": dict(site.inputs),
    }


def _surface(site: Site, plan: NextDressing, k: int) -> Document:
    rates, row = plan.rates, int(plan.rates.row[k])
    unit = plan.order.unit.mass_kg / (1 + plan.order.moisture)
    with_over = rates.mass_kg[k] + plan.overthrow_kg[k]
    return {
        "id": str(site.surfaces.id[row]),
        "name": str(site.surfaces.name[row]),
        "kind": str(site.surfaces.kind[row]),
        "depth_mm": number(rates.depth_m[k], MILLIMETRE),
        "rate_kg_m2": number(rates.rate_kg_m2[k]),
        "mass_kg": number(rates.mass_kg[k]),
        "overthrow_kg": number(plan.overthrow_kg[k]),
        "units": number(with_over / unit) if unit > 0 else None,
        "area_m2": number(rates.area_m2[k]),
        "shortfall_mm": number(rates.shortfall_m[k], MILLIMETRE),
        "left_mm": number(rates.left_m[k], MILLIMETRE),
        "in_holes_mm": number(rates.in_holes_m[k], MILLIMETRE),
        "surface_mm": number(rates.depth_m[k] - rates.in_holes_m[k], MILLIMETRE),
        "note": str(rates.note[k]),
        "setting": _setting(plan, k),
        "heading": _heading(plan, k),
    }


def _setting(plan: NextDressing, k: int) -> Document | None:
    settings = plan.settings
    if settings is None or not plan.rates.rate_kg_m2[k] > 0:
        return None
    return {
        "setting": number(settings.setting[k]),
        "low": number(settings.low[k]),
        "high": number(settings.high[k]),
        "passes": int(settings.passes[k]) or None,
        "needed": number(settings.needed[k]),
        "refused": str(settings.why[k]) or None,
    }


def _heading(plan: NextDressing, k: int) -> Document | None:
    headings, rate = plan.headings, plan.rates.rate_kg_m2[k]
    if headings is None or not rate > 0:
        return None
    worst, best = headings.worst_m2[k] * rate, headings.forced_m2[k] * rate
    last = headings.last_m2[k] * rate
    return {
        "heading_deg": number(headings.heading_degree[k]),
        "first_pass_before_edge_m": number(headings.offset_m[k]),
        "passes": int(headings.passes[k]),
        "forced_kg": number(best),
        "worst_heading_deg": number(headings.worst_heading_degree[k]),
        "saving_against_worst_kg": number(worst - best),
        "saving_against_worst_percent": number((worst - best) / worst, 100) if worst > 0 else 0.0,
        "last_heading_deg": number(plan.last_degree[k]),
        "saving_against_last_kg": number(last - best),
        "saving_against_last_percent": number((last - best) / last, 100) if last > 0 else None,
    }


def _sand(site: Site, plan: NextDressing) -> Document:
    order = plan.order
    bounds = order.overthrow_dry.interval(floor=0.0)
    known = math.isfinite(plan.strip.width_m)
    return {
        "name": str(site.sands.name[plan.request.sand]),
        "on_surfaces_kg": number(order.on_surfaces_dry_kg),
        "overthrow_kg": number(order.overthrow_dry.value[0]),
        "overthrow_low_kg": number(bounds.low[0]) if known else None,
        "overthrow_high_kg": number(bounds.high[0]) if known else None,
        "moisture_dry_basis_percent": number(order.moisture, 100),
        "needed_kg": number(order.need.value[0]),
        "u_needed_kg": number(order.need.u()[0]),
        "assurance": number(order.assurance),
        "needed_at_assurance_kg": number(order.need_assured_kg),
        "stock_kg": number(order.stock_kg),
        "order_kg": number(order.order_kg),
        "unit_mass_kg": number(order.unit.mass_kg),
        "units": order.units,
    }


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
        "setting_dressings": [str(site.dressings.id[k]) for k in fit.dressings],
    }


def _loads(site: Site, plan: NextDressing) -> list[Document]:
    split = plan.split
    if split is None:
        return []
    ids = site.surfaces.id[plan.rates.row]
    out: list[Document] = []
    for load in range(int(split.load.max(initial=-1)) + 1):
        mine = np.flatnonzero(split.load == load)
        out.append(
            {
                "load": load + 1,
                "mass_kg": number(split.mass_kg[mine].sum()),
                "surfaces": [
                    {"id": str(ids[split.surface[k]]), "mass_kg": number(split.mass_kg[k])}
                    for k in mine
                ],
            }
        )
    return out


def plan_table(site: Site, plan: NextDressing, document: Document, units: Units) -> Table:
    """One line a surface that gets sand."""
    from geosand.reports.console import table

    rows = [_line(row, units) for row in document["surfaces"] if row["mass_kg"] > 0]
    depth, rate, mass = (label_of(m, units) for m in ("depth", "rate", "mass"))
    heads = [
        ("surface", False),
        ("kind", False),
        (f"depth\n{depth}", True),
        (f"rate\n{rate}", True),
    ]
    heads += [(f"on it\n{mass}", True), (f"over-\nthrow {mass}", True), ("units", True)]
    heads += [("setting", True), ("head-\ning °", True), (f"saves\n{mass}", True), ("note", False)]
    return table(f"{site.name}: next dressing, planned for {plan.as_of}", heads, rows)


def _line(row: Document, units: Units) -> list[str]:
    heading = row["heading"]
    texts = [
        shown(_float(row[key]) * factor, measure, units, unit=False)
        for key, factor, measure in (
            ("depth_mm", 1 / MILLIMETRE, "depth"),
            ("rate_kg_m2", 1.0, "rate"),
            ("mass_kg", 1.0, "mass"),
            ("overthrow_kg", 1.0, "mass"),
        )
    ]
    saves = _float(heading["saving_against_worst_kg"]) if heading else math.nan
    return [
        row["id"],
        row["kind"],
        *texts,
        MISSING if row["units"] is None else f"{row['units']:.1f}",
        setting_words(row["setting"]),
        f"{heading['heading_deg']:.0f}" if heading else MISSING,
        shown(saves, "mass", units, unit=False),
        row["note"],
    ]


def setting_words(setting: Document | None) -> str:
    """A setting in a cell: how often over it, at what; a dash where there is none."""
    if setting is None or setting["setting"] is None:
        return MISSING
    times = f"{setting['passes']} × " if setting["passes"] > 1 else ""
    return f"{times}{setting['setting']:.2f}"


def plan_lines(document: Document, units: Units) -> list[str]:
    """What to order and why, in sentences."""
    sand, spreader = document["sand"], document["spreader"]

    def mass(key: str) -> str:
        return shown(_float(sand[key]), "mass", units)

    low, high = _float(sand["overthrow_low_kg"]), _float(sand["overthrow_high_kg"])
    over = f" (95 % {between(low, high, 'mass', units)})" if math.isfinite(high) else ""
    lines = [
        f"On surfaces {mass('on_surfaces_kg')}, overthrow to expect {mass('overthrow_kg')}{over},"
        " both dry.",
    ]
    if spreader["strip_width_m"] is not None:
        width = shown(_float(spreader["strip_width_m"]), "length", units)
        names = listed(spreader["dressings"])
        lines.append(f"Strip width {width} of {spreader['name'] or 'the spreader'}, from {names}.")
    water = sand["moisture_dry_basis_percent"]
    lines.append(
        f"Needed {mass('needed_kg')} as delivered (water {water:.1f} %); with"
        f" {sand['assurance'] * 100:.0f} % assurance {mass('needed_at_assurance_kg')}."
    )
    lines.append(_order_line(sand, units))
    none = [row for row in document["surfaces"] if not row["mass_kg"] > 0]
    for note in dict.fromkeys(row["note"] for row in none):
        ids = listed([row["id"] for row in none if row["note"] == note], 12)
        lines.append(f"No sand: {ids}: {note}.")
    lines += _setting_lines(document)
    return lines + [
        f"{(f['about'] + ': ') if f['about'] else ''}{f['text']}." for f in document["findings"]
    ]


def _order_line(sand: Document, units: Units) -> str:
    """What to order, or why nothing is."""
    if sand["order_kg"]:
        order, unit = (shown(_float(sand[key]), "mass", units) for key in _ORDER_KEYS)
        count = "" if sand["units"] is None else f" = {sand['units']} of {unit}"
        return f"Order {sand['name']}: {order}{count}."
    if not sand["needed_at_assurance_kg"]:
        return "No sand need be ordered: none is to be spread."
    stock = shown(_float(sand["stock_kg"]), "mass", units)
    return f"No sand need be ordered: {stock} in stock covers it."


def _setting_lines(document: Document) -> list[str]:
    """How settings were found, and for which surfaces there is none."""
    asked = [row for row in document["surfaces"] if row["setting"]]
    lines = [f"Setting: {document['spreader']['setting_from']}."] if asked else []
    reasons: dict[str, list[Document]] = {}
    for row in asked:
        if refused := row["setting"]["refused"]:
            reasons.setdefault(refused.rpartition("; ")[2], []).append(row)
    return lines + [_without_setting(rows, why) for why, rows in reasons.items()]


def _without_setting(rows: list[Document], why: str) -> str:
    """One line for all surfaces that have no setting for the same reason."""
    needed = [row["setting"]["needed"] for row in rows if row["setting"]["needed"] is not None]
    names = listed([row["id"] for row in rows], MOST_NAMED)
    who = names if len(rows) <= MOST_NAMED else f"{len(rows)} surfaces"
    if not needed:
        return f"No setting for {who}: {why}."
    low, high = f"{min(needed):.3g}", f"{max(needed):.3g}"
    verb = "needs" if len(rows) == 1 else "need"
    need = low if low == high else f"{low} to {high}"
    return f"No setting for {who} ({verb} {need}): {why}."


def load_lines(document: Document, units: Units) -> list[str]:
    """Which surfaces each load serves, its overthrow included."""
    return [
        f"Load {load['load']}: "
        + ", ".join(
            f"{part['id']} {shown(_float(part['mass_kg']), 'mass', units)}"
            for part in load["surfaces"]
        )
        for load in document["loads"]
    ]


def _float(value: float | None) -> float:
    return math.nan if value is None else value
