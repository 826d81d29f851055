"""Tables and summaries for people at a console: short, plain, the important thing first."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from geosand.balance.account import NOT_CLOSED
from geosand.errors import listed, listed_dressings
from geosand.estimates import Estimates
from geosand.rates.uniformity import Uniformity
from geosand.reports.balance_document import ring_figures
from geosand.reports.documents import Document, told
from geosand.reports.doubts import explain, would
from geosand.reports.first import look_first, next_step
from geosand.reports.plain_table import Table, by_columns
from geosand.reports.words import (
    MISSING,
    NO_DRESSING,
    Units,
    between,
    cells,
    chance,
    ended,
    label_of,
    listed_runs,
    percent,
    shown,
)
from geosand.results import Results
from geosand.season.ledger import NO_TARGET, NOT_MEASURED, NOT_YET, ON_TARGET, OVER, UNDER
from geosand.season.totals import season_totals
from geosand.site.tables import Site

CAUTION = (
    "Areas here are for sand planning; boundary and title work needs a licensed surveyor. Dry sand"
    " makes dust with crystalline silica: follow local rules for dust, bulk bags, machines, heat."
)


def balance_table(results: Results, units: Units, only: str | None = None) -> Table:
    """One line a dressing, or ``only`` one: spread, on surfaces, overthrow, interval, verdict."""
    site, balance, unit = results.site, results.balance, label_of("mass", units)
    rows = np.flatnonzero([only in (None, name) for name in site.dressings.id.tolist()])
    ends = zip(balance.interval.low[rows], balance.interval.high[rows], strict=True)
    return by_columns(
        f"{site.name}: balance of each dressing",
        ("dress-\ning", False, site.dressings.id[rows]),
        ("date", False, site.dressings.date[rows]),
        (f"spread\n{unit}", True, cells(balance.spread.value[rows], "mass", units)),
        (f"on sur-\nfaces {unit}", True, cells(balance.on_surfaces.value[rows], "mass", units)),
        (f"over-\nthrow {unit}", True, cells(balance.overthrow.value[rows], "mass", units)),
        ("95 %\ninterval", True, [between(*both, "mass", units) for both in ends]),
        ("share", True, map(percent, balance.fraction[rows])),
        ("verdict", False, balance.verdict[rows]),
    )


def balance_notes(results: Results, k: int, units: Units, sources: Sequence[Document]) -> list[str]:
    """Sentences on one dressing: methods, where overthrow lies, closing, where its u comes from."""
    site, balance = results.site, results.balance
    methods = balance.methods
    density = methods.density_kg_m3[k]
    parts = [
        f"{name.replace('_', ' ')} {shown(column[k], 'rate', units)} ="
        f" {shown(column[k] / density, 'depth', units)}"
        for name, column in methods.rates_kg_m2.items()
        if math.isfinite(column[k])
    ]
    day = f"{listed_dressings([str(site.dressings.id[k])])}, {site.dressings.date[k]}"
    lines = [f"{day}: {'; '.join(parts) or 'nothing measured'}"]
    if methods.agree[k] is not None:
        word = "agree" if methods.agree[k] else "do not agree"
        lines[0] += f" (they {word} within {percent(site.settings.agreement)})"
    lines += _beside(ring_figures(results, k), str(balance.verdict[k]), units)
    if balance.closing[k]:
        lines.append(
            "  the catches claim more sand than was spread; overthrow can not explain that."
        )
        lines.append(
            f"  it {would(str(balance.verdict[k]))}:"
            f" {'; or '.join(explain(c) for c in balance.closing[k])}."
        )
    if sources:
        largest = [s for s in sources[:3] if s["share"] >= 0.01] or sources[:1]
        named = ", ".join(f"{s['source']} {percent(s['share'])}" for s in largest)
        lines.append(f"  the overthrow's uncertainty comes from: {named}")
    return lines + _evenness(results.rates.uniformity, k)


def _evenness(even: Uniformity, k: int) -> list[str]:
    """How evenly the catches of a dressing fell, with the rule of the low quarter."""
    if not math.isfinite(even.cv[k]):
        return []
    n = int(even.n[k])
    return [
        f"  evenness of {n} catches: CV {percent(even.cv[k])}, low quarter"
        f" {percent(even.du_lq[k])} (mean of the lowest {round(n / 4)} over the mean of"
        f" all), Christiansen's coefficient {percent(even.cu[k])}"
    ]


def _beside(figures: Document, verdict: str, units: Units) -> list[str]:
    """Where the overthrow of a dressing lies, and that of its parts."""
    lines = []
    if figures["reach_m"] is not None:
        said = "if all overthrow landed beside the edges"
        if verdict == NOT_CLOSED:
            said = "where its parts threw sand over"
        elif figures["not_told_from_zero"]:
            said += ", not told from zero"
        names = ("collar_kg", "surrounds_kg", "farther_kg")
        collar, surrounds, farther = (told(figures[key], "mass", units) for key in names)
        reach, strip = (
            told(figures[f"{key}_m"], "length", units) for key in ("reach", "strip_width")
        )
        lines.append(
            f"  {said}: collar {collar}, surrounds {surrounds}, farther {farther}; reach {reach},"
            f" strip width {strip}"
        )
    for part in figures["parts"]:
        mass = told(part["overthrow_kg"], "mass", units)
        lines.append(f"  loads of {listed_runs(part['surfaces'])}: overthrow {mass}")
        if part["overthrow_kg"] is not None and part["overthrow_kg"] < 0:
            lines[-1] += ": their catches claim more than these"
        if part["reach_m"] is not None:
            lines[-1] += f", reach {told(part['reach_m'], 'length', units)}"
    return lines


def surfaces_table(results: Results, k: int, units: Units, only: int | None = None) -> Table:
    """Rates and depths of one dressing, one line a surface, or ``only`` one dressed row."""
    site, rates = results.site, results.rates
    bounds = rates.depth.interval(floor=0.0)
    rows = np.flatnonzero(site.dressed.dressing == k) if only is None else np.array([only])
    surface, rate = site.dressed.surface[rows], rates.rate.value[rows]
    basis = np.where(rates.own[rows], "own catches", "other surfaces")
    where = "each surface" if only is None else site.surfaces.id[surface[0]]
    ends = zip(bounds.low[rows], bounds.high[rows], strict=True)
    area, depth, mass = (label_of(measure, units) for measure in ("area", "depth", "mass"))
    return by_columns(
        f"{site.dressings.id[k]}: on {where}",
        ("surface", False, site.surfaces.id[surface]),
        (f"area\n{area}", True, cells(results.areas.area_m2[surface], "area", units)),
        ("catches", True, rates.catches[rows]),
        ("stands on", False, np.where(np.isfinite(rate), basis, MISSING)),
        (f"rate\n{label_of('rate', units)}", True, cells(rate, "rate", units)),
        (f"depth\n{depth}", True, cells(rates.depth.value[rows], "depth", units)),
        ("95 %\ninterval", True, [between(*both, "depth", units) for both in ends]),
        (mass, True, cells(results.balance.surface_mass.value[rows], "mass", units)),
    )


def _so_far(depth_m: float, measured: bool, units: Units) -> str:
    """A depth; what was measured of it where a dressing was not."""
    text = shown(depth_m, "depth", units, unit=False)
    return text if measured or text == MISSING else f"≥ {text}"


def season_table(results: Results, units: Units, only: int | None = None) -> Table:
    """The ledger, the most under-dressed first, or ``only`` one row of it."""
    site, ledger = results.site, results.ledger
    rows = np.argsort(-np.nan_to_num(ledger.shortfall_m, nan=-np.inf), kind="stable")
    rows = rows if only is None else np.array([only])
    state, depth, unit = ledger.told[rows], ledger.depth.value[rows], label_of("depth", units)
    ends = zip(ledger.interval.low[rows], ledger.interval.high[rows], strict=True)
    so_far = zip(depth, ledger.measured[rows], strict=True)
    states = zip(state, ledger.probability[rows], strict=True)
    known = (ledger.dressings[rows] > 0) & np.isfinite(depth)
    holes = ledger.in_holes_m[rows]
    filled = [("of it\nin holes", True, cells(holes, "depth", units))] if (holes > 0).any() else []
    return by_columns(
        f"{site.name}: depth from {ledger.start} to {ledger.as_of}",
        ("surface", False, site.surfaces.id[ledger.row[rows]]),
        ("kind", False, site.surfaces.kind[ledger.row[rows]]),
        (f"depth\n{unit}", True, [_so_far(*both, units) for both in so_far]),
        ("95 %\ninterval", True, [between(*both, "depth", units) for both in ends]),
        *filled,
        ("target\nso far", True, cells(ledger.target_so_far_m[rows], "depth", units)),
        (f"short-\nfall {unit}", True, cells(ledger.shortfall_m[rows], "depth", units)),
        ("state", False, state),
        ("proba-\nbility", True, [MISSING if s == NOT_YET else chance(p) for s, p in states]),
        ("catches", False, np.select([ledger.own[rows], known], ["own", "others"], MISSING)),
    )


def rings_table(results: Results, units: Units, around: str | None = None) -> Table:
    """Sand that built up in collars and surrounds, if all overthrow landed there.

    Of all surfaces, or those ``around`` one; rings that got none are left out.
    """
    rings, unit = results.ledger.rings, label_of("depth", units)
    kept = rings.mass_kg > 0
    if around is not None:
        kept &= results.site.ids[rings.ground] == around
    order = np.argsort(-rings.depth_m, kind="stable")
    rows = order[kept[order]]
    return by_columns(
        "Thrown over, so far",
        ("collar or surrounds", False, rings.id[rows]),
        (f"depth {unit}", True, cells(rings.depth_m[rows], "depth", units)),
        (f"u {unit}", True, cells(rings.u_depth_m[rows], "depth", units)),
        (label_of("mass", units), True, cells(rings.mass_kg[rows], "mass", units)),
    )


def _outside(site: Site) -> str:
    """Names of dressings before or after the season, which the totals leave out."""
    date, end = site.dressings.date, site.season_end
    outside = date < site.season_start
    if end is not None:
        outside |= date > end
    names = site.dressings.id[outside].tolist()
    are = "is" if len(names) == 1 else "are"
    return f"; {listed(names, 3)} {are} outside the season" if names else ""


def totals(results: Results, units: Units) -> list[str]:
    """The season so far in three lines: spread, landed, thrown over."""
    from geosand.reports.season_document import counted_dressings

    counted = counted_dressings(results)
    sums = season_totals(results.balance, counted)
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
    lines[0] += _outside(results.site)
    if measured:
        spread = sums["spread"].value[0]
        lines += [
            f"spread {shown(spread, 'mass', units)}, on the surfaces"
            f" {shown(sums['on_surfaces'].value[0], 'mass', units)}",
            _overthrow(sums["overthrow"], spread, units),
        ]
        if open_ones:
            lines[-1] += "; what does not close is in it"
    unmeasured = counted & ~np.isfinite(results.balance.overthrow.value)
    out = np.nansum(results.balance.spread.value[unmeasured])
    if out > 0:
        mass = shown(out, "mass", units)
        about = f"not in these figures: {mass} spread and not measured"
        lines.append(about if measured else f"spread {mass}; not known where it lies")
    return lines


def _overthrow(over: Estimates, spread: float, units: Units) -> str:
    """The season's overthrow; one below zero says what it is."""
    mass, (low, high, _) = over.value[0], over.interval()
    text = (
        f"overthrow {shown(mass, 'mass', units)} ({percent(mass / spread if spread else None)} of"
        f" the spread), 95 % interval {between(low[0], high[0], 'mass', units)}"
        f" {label_of('mass', units)}"
    )
    if mass < 0:
        text += "; the catches claim more than was spread"
        text += ", within what is known" if high[0] >= 0 else ""
    return text


def outlook(results: Results, units: Units) -> list[str]:
    """How the surfaces stand, what calls for something first, and what to do next."""
    each = results.ledger.told.tolist()
    states = (UNDER, OVER, NOT_MEASURED, ON_TARGET, NOT_YET, NO_TARGET)
    told = ", ".join(f"{each.count(state)} {state}" for state in states if state in each)
    return [*([f"surfaces: {told}"] if told else []), next_step(results, units)]


def summary(results: Results, units: Units) -> list[str]:
    """What ``account`` prints: what happened, what is under-dressed, what to look at first."""
    site, ledger = results.site, results.ledger
    lines = [f"{site.name}, season from {ledger.start}, as of {ledger.as_of}"]
    lines += [*outlook(results, units), "", *totals(results, units)]
    first = look_first(results, units)
    lines += ["", "Look first at", *[f"  {n}. {ended(text)}" for n, text in enumerate(first, 1)]]
    if not len(site.dressings):
        return [lines[0], "", NO_DRESSING]
    if not first:
        lines[-1] = "Nothing stands out."
    return lines
