"""Tables and summaries for people at a console: short, plain, the important thing first."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from geosand.balance.account import NOT_CLOSED
from geosand.errors import listed
from geosand.reports.documents import Document
from geosand.reports.first import explain, look_first, next_step, would
from geosand.reports.plain_table import Table, table
from geosand.reports.ring_figures import ring_figures
from geosand.reports.words import (
    MISSING,
    NO_DRESSING,
    Units,
    between,
    chance,
    label_of,
    percent,
    shown,
)
from geosand.results import Results
from geosand.season.ledger import NOT_YET
from geosand.season.totals import season_totals

CAUTION = (
    "Areas here are for sand planning; boundary and title work needs a licensed surveyor. Dry sand"
    " makes dust with crystalline silica: follow local rules for dust, bulk bags, machines, heat."
)


def balance_table(results: Results, units: Units, only: str | None = None) -> Table:
    """One line a dressing, or ``only`` one: spread, on surfaces, overthrow, interval, verdict."""
    site, balance = results.site, results.balance
    rows = []
    for k, name in enumerate(site.dressings.id):
        if only not in (None, str(name)):
            continue
        rows.append(
            [
                str(name),
                str(site.dressings.date[k]),
                shown(balance.spread.value[k], "mass", units, unit=False),
                shown(balance.on_surfaces.value[k], "mass", units, unit=False),
                shown(balance.overthrow.value[k], "mass", units, unit=False),
                between(balance.interval.low[k], balance.interval.high[k], "mass", units),
                percent(balance.fraction[k]),
                str(balance.verdict[k]),
            ]
        )
    unit = label_of("mass", units)
    heads = [("dress-\ning", False), ("date", False), (f"spread\n{unit}", True)]
    heads += [
        (f"on sur-\nfaces {unit}", True),
        (f"over-\nthrow {unit}", True),
        ("95 %\ninterval", True),
    ]
    heads += [("share", True), ("verdict", False)]
    return table(f"{site.name}: balance of each dressing", heads, rows)


def balance_notes(results: Results, k: int, units: Units, sources: Sequence[Document]) -> list[str]:
    """Sentences on one dressing: methods, where overthrow lies, closing, where its u comes from."""
    site, balance = results.site, results.balance
    name, methods = str(site.dressings.id[k]), balance.methods
    density = methods.density_kg_m3[k]
    parts = [
        f"{word} {shown(column[k], 'rate', units)} = {shown(column[k] / density, 'depth', units)}"
        for word, column in (
            ("by mass", methods.mass_rate_kg_m2),
            ("by volume", methods.volume_rate_kg_m2),
            ("by bulk", methods.bulk_rate_kg_m2),
        )
        if math.isfinite(column[k])
    ]
    lines = [f"{name}, {site.dressings.date[k]}: {'; '.join(parts) or 'nothing measured'}"]
    if methods.agree[k] is not None:
        word = "agree" if methods.agree[k] else "do not agree"
        lines[0] += f" (they {word} within {percent(site.settings.agreement)})"
    figures = ring_figures(results, k)
    if figures["reach_m"] is not None:
        said = "if all overthrow landed beside the edges"
        if str(balance.verdict[k]) == NOT_CLOSED:
            said = "where its parts threw sand over"
        elif figures["not_told_from_zero"]:
            said += ", not told from zero"
        lines.append(
            f"  {said}: collar"
            f" {shown(figures['collar_kg'], 'mass', units)}, surrounds"
            f" {shown(figures['surrounds_kg'], 'mass', units)}, farther"
            f" {shown(figures['farther_kg'], 'mass', units)}; reach"
            f" {shown(figures['reach_m'], 'length', units)}, strip width"
            f" {shown(figures['strip_width_m'], 'length', units)}"
        )
    for part in figures["parts"]:
        mass = math.nan if part["overthrow_kg"] is None else part["overthrow_kg"]
        lines.append(
            f"  loads of {listed(part['surfaces'])}: difference {shown(mass, 'mass', units)}"
        )
        if part["reach_m"] is not None:
            lines[-1] += f", reach {shown(part['reach_m'], 'length', units)}"
    if balance.closing[k]:
        lines.append(
            "  the catches claim more sand than was spread; overthrow can not explain that."
        )
        lines.append(
            f"  it {would(str(balance.verdict[k]))}:"
            f" {'; or '.join(explain(c) for c in balance.closing[k])}."
        )
    if sources:
        told = [s for s in sources[:3] if s["share"] >= 0.01] or sources[:1]
        named = ", ".join(f"{s['source']} {percent(s['share'])}" for s in told)
        lines.append(f"  the overthrow's uncertainty comes from: {named}")
    return lines


def _stands_on(own: bool, rate: float) -> str:
    if not math.isfinite(rate):
        return MISSING
    return "own catches" if own else "other surfaces"


def surfaces_table(results: Results, k: int, units: Units, only: int | None = None) -> Table:
    """Rates and depths of one dressing, one line a surface, or ``only`` one dressed row."""
    site, rates = results.site, results.rates
    bounds = rates.depth.interval(floor=0.0)
    rows = []
    for row in np.flatnonzero(site.dressed.dressing == k):
        if only not in (None, row):
            continue
        surface = site.dressed.surface[row]
        rows.append(
            [
                str(site.surfaces.id[surface]),
                shown(results.areas.area_m2[surface], "area", units, unit=False),
                str(rates.catches[row]),
                _stands_on(bool(rates.own[row]), float(rates.rate.value[row])),
                shown(rates.rate.value[row], "rate", units, unit=False),
                shown(rates.depth.value[row], "depth", units, unit=False),
                between(bounds.low[row], bounds.high[row], "depth", units),
                shown(results.balance.surface_mass.value[row], "mass", units, unit=False),
            ]
        )
    heads = [("surface", False), (f"area\n{label_of('area', units)}", True), ("catches", True)]
    heads += [("stands on", False), (f"rate\n{label_of('rate', units)}", True)]
    heads += [(f"depth\n{label_of('depth', units)}", True), ("95 %\ninterval", True)]
    heads += [(label_of("mass", units), True)]
    return table(f"{site.dressings.id[k]}: on each surface", heads, rows)


def _so_far(depth_m: float, measured: bool, units: Units) -> str:
    """A depth; what was measured of it where a dressing was not."""
    text = shown(depth_m, "depth", units, unit=False)
    return text if measured or text == MISSING else f"≥ {text}"


def _catches_of(own: bool, known: bool) -> str:
    """Whose catches a depth stands on, if it stands on any."""
    return "own" if own else "others" if known else MISSING


def season_table(results: Results, units: Units, only: int | None = None) -> Table:
    """The ledger, the most under-dressed first, or ``only`` one row of it."""
    site, ledger, told = results.site, results.ledger, results.ledger.told
    order = np.argsort(-np.nan_to_num(ledger.shortfall_m, nan=-np.inf), kind="stable")
    rows = []
    for k in order:
        if only not in (None, k):
            continue
        rows.append(
            [
                str(site.surfaces.id[ledger.row[k]]),
                str(site.surfaces.kind[ledger.row[k]]),
                _so_far(ledger.depth.value[k], bool(ledger.measured[k]), units),
                between(ledger.interval.low[k], ledger.interval.high[k], "depth", units),
                shown(ledger.target_so_far_m[k], "depth", units, unit=False),
                shown(ledger.shortfall_m[k], "depth", units, unit=False),
                str(told[k]),
                MISSING if told[k] == NOT_YET else chance(ledger.probability[k]),
                _catches_of(
                    bool(ledger.own[k]),
                    bool(ledger.dressings[k]) and math.isfinite(ledger.depth.value[k]),
                ),
            ]
        )
    unit = label_of("depth", units)
    heads = [
        ("surface", False),
        ("kind", False),
        (f"depth\n{unit}", True),
        ("95 %\ninterval", True),
    ]
    heads += [("target\nso far", True), (f"short-\nfall {unit}", True), ("state", False)]
    heads += [("proba-\nbility", True), ("catches", False)]
    return table(f"{site.name}: depth from {ledger.start} to {ledger.as_of}", heads, rows)


def rings_table(results: Results, units: Units, around: str | None = None) -> Table:
    """Sand that built up in collars and surrounds, if all overthrow landed there.

    Of all surfaces, or those ``around`` one; rings that got none are left out.
    """
    rings = results.ledger.rings
    order = np.argsort(-rings.depth_m, kind="stable")
    u = rings.depth.u()
    rows = [
        [
            str(rings.id[k]),
            shown(rings.depth_m[k], "depth", units, unit=False),
            shown(u[k], "depth", units, unit=False),
            shown(rings.mass_kg[k], "mass", units, unit=False),
        ]
        for k in order
        if rings.mass_kg[k] > 0 and around in (None, str(results.site.ids[rings.ground[k]]))
    ]
    unit = label_of("depth", units)
    heads = [("collar or surrounds", False), (f"depth {unit}", True), (f"u {unit}", True)]
    return table("Thrown over, so far", [*heads, (label_of("mass", units), True)], rows)


def totals(results: Results, units: Units) -> list[str]:
    """The season so far in three lines: spread, landed, thrown over."""
    from geosand.reports.season_balance import counted_dressings

    counted = counted_dressings(results)
    sums = season_totals(results.site, results.areas, results.rates, results.balance, counted)
    measured = int((counted & np.isfinite(results.balance.overthrow.value)).sum())
    open_ones = int((counted & (results.balance.verdict == NOT_CLOSED)).sum())
    count = int(counted.sum())
    if count == 1:
        lines = [f"1 dressing, {'' if measured else 'not '}measured"]
        lines[0] += "; it does not close" if open_ones else ""
    else:
        lines = [f"{count} dressings, {measured or 'none'} of them measured"]
        does = "does" if open_ones == 1 else "do"
        lines[0] += f"; {open_ones} of these {does} not close" if open_ones else ""
    if measured:
        over = sums["overthrow"]
        low, high, _ = over.interval()
        spread = sums["spread"].value[0]
        share = over.value[0] / spread if spread else None
        lines += [
            f"spread {shown(spread, 'mass', units)}, on the surfaces"
            f" {shown(sums['on_surfaces'].value[0], 'mass', units)}",
            f"difference {shown(over.value[0], 'mass', units)}"
            f" ({percent(share)} of the spread), 95 % interval"
            f" {between(low[0], high[0], 'mass', units)} {label_of('mass', units)}",
        ]
        if open_ones:
            lines[-1] += "; what does not close is in it"
    unmeasured = counted & ~np.isfinite(results.balance.overthrow.value)
    out = np.nansum(results.balance.spread.value[unmeasured])
    if out > 0:
        lines.append(f"not in these figures: {shown(out, 'mass', units)} spread and not measured")
    return lines


def outlook(results: Results, units: Units) -> list[str]:
    """How the surfaces stand, and what to do next."""
    told = results.ledger.told.tolist()
    states = [(state, told.count(state)) for state in dict.fromkeys(told)]
    lines = ["surfaces: " + ", ".join(f"{n} {state}" for state, n in sorted(states))]
    return [*(lines if states else []), next_step(results, units)]


def summary(results: Results, units: Units) -> list[str]:
    """What ``account`` prints: what happened, what is under-dressed, what to look at first."""
    site, ledger = results.site, results.ledger
    lines = [f"{site.name}, season from {ledger.start}, as of {ledger.as_of}"]
    lines += [*outlook(results, units), "", *totals(results, units)]
    first = look_first(results, units)
    ended = [text if text.endswith("?") else f"{text}." for text in first]
    lines += ["", "Look first at", *[f"  {n}. {text}" for n, text in enumerate(ended, start=1)]]
    if not len(site.dressings):
        return [lines[0], "", NO_DRESSING]
    if not first:
        lines[-1] = "Nothing stands out."
    return lines
