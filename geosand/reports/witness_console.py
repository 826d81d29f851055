"""Second opinions on a balance in sentences, and a dressing's spatial means as a table."""

from __future__ import annotations

import numpy as np

from geosand.balance.reconciliation_found import Reconciliation
from geosand.rates.spatial import Spatial
from geosand.reports.budgets import OVER, sentence
from geosand.reports.plain_table import Table
from geosand.reports.witnesses import Witnesses
from geosand.reports.words import (
    MISSING,
    Units,
    between,
    grouped,
    in_words_of,
    label_of,
    merged_findings,
    shown,
)
from geosand.results import Results
from geosand.units import SHOWN

SHARED_EDGE_TOLD = 0.05  #: of the edge, from which it is said that two dressed surfaces share it


def witness_lines(
    results: Results, witnesses: Witnesses, units: Units, only: str | None = None
) -> list[str]:
    """The second opinions in sentences; of ``only`` one dressing where it is named."""
    told = [
        *_ring_lines(results, witnesses, units, only),
        *_strip_lines(witnesses, units),
        *_stock_lines(results, units),
        *_season_lines(witnesses.season, units),
        *_draw_lines(results, witnesses, units, only),
        *(in_words_of(str(finding), units) for finding in witnesses.spatial.findings),
    ]
    return ["", "Second witnesses", *(told or ["none: no dressing has both catches and loads"])]


def _ring_lines(
    results: Results, witnesses: Witnesses, units: Units, only: str | None
) -> list[str]:
    rings, names = witnesses.rings, results.site.dressings.id
    u_caught, u_rest = rings.caught.u(), rings.unaccounted.u()
    lines = []
    for g in np.flatnonzero(rings.catches > 0):
        name = str(names[witnesses.fit.dressing[g]])
        if only not in (None, name):
            continue
        catches = f"{rings.catches[g]} catch{'es' if rings.catches[g] > 1 else ''}"
        lines.append(
            f"{name}: {catches} beside the edges"
            f" {'hold' if rings.catches[g] > 1 else 'holds'}"
            f" {shown(rings.caught.value[g], 'mass', units, unit=False)} ±"
            f" {shown(u_caught[g], 'mass', units)} of overthrow;"
            f" {shown(rings.unaccounted.value[g], 'mass', units, unit=False)} ±"
            f" {shown(u_rest[g], 'mass', units)} stay unaccounted"
        )
    return lines


def _strip_lines(witnesses: Witnesses, units: Units) -> list[str]:
    strips = witnesses.strips
    low, high, _ = strips.interval()
    lines = []
    for k, name in enumerate(strips.spreader):
        dressings = f"{strips.dressings[k]} dressing{'s' if strips.dressings[k] > 1 else ''}"
        width = strips.width.value[k]
        called = f"strip width of {name or 'the unnamed spreader'}"
        if width < 0:
            most = shown(high[k], "length", units)
            lines.append(f"{called}: no overthrow that would show it (95 % < {most}, {dressings})")
            continue
        lines.append(
            f"{called}: {shown(width, 'length', units)}"
            f" (95 % {between(low[k], high[k], 'length', units)}, {dressings})"
        )
        shared = witnesses.shared_edge[k]
        if shared > SHARED_EDGE_TOLD and width > 0:
            outer = shown(width / (1 - shared), "length", units)
            lines[-1] += (
                f"; {100 * shared:.0f} % of that edge lies between two dressed surfaces, where"
                f" nothing is thrown over: {outer} along the rest"
            )
    return lines


def _stock_lines(results: Results, units: Units) -> list[str]:
    lines = []
    site, scale, stock = results.site, results.weighings, results.stock
    for k in range(0 if scale is None else len(scale.load)):
        assert scale is not None
        lines.append(
            f"load {scale.load[k]} on the scale: {shown(scale.weighed_kg[k], 'mass', units)} ±"
            f" {shown(scale.u_weighed_kg[k], 'mass', units)}, by its label"
            f" {shown(scale.stated_kg[k], 'mass', units)} ±"
            f" {shown(scale.u_stated_kg[k], 'mass', units)}"
        )
    for k in range(0 if stock is None else len(stock.sand)):
        assert stock is not None
        parts = (stock.opening_kg, stock.bought.value, stock.taken.value, stock.closing_kg)
        opening, bought, taken, closing = (shown(part[k], "mass", units) for part in parts)
        began = "an empty yard" if np.isnat(stock.opened[k]) else f"{opening} on {stock.opened[k]}"
        lines.append(
            f"stock of {site.sands.name[stock.sand[k]] or 'the sand'}: {began}, bought {bought},"
            f" taken out {taken}, left {closing} on {stock.closed[k]}:"
            f" {shown(stock.missing.value[k], 'mass', units)} ±"
            f" {shown(stock.missing.u()[k], 'mass', units)} not accounted for"
        )
    return lines


def _season_lines(season: Reconciliation | None, units: Units) -> list[str]:
    """What the season's balances say together, what they can not, and what would tell it."""
    if season is None:
        return []
    measures = {"kg": "mass", "m": "length", "kg/m³": "density"}
    lines = [*season.in_words({si: SHOWN[units][each][:2] for si, each in measures.items()})]
    if not season.suspects and not season.degrees_of_freedom:
        lines = ["these data hold no balance against another: a further dressing would"]
    groups = dict.fromkeys((*season.not_told_apart, *(one.among for one in season.would_tell)))
    for group in groups:
        lines += _group_lines(group, season, units)
    return [in_words_of(line, units) for line in lines]


def _group_lines(group: tuple[str, ...], season: Reconciliation, units: Units) -> list[str]:
    """Inputs that are not told apart, and the measurements that would tell, the best first."""
    told = [one for one in season.would_tell if one.among == group]
    names = f"can not be told apart by these data: {' / '.join(group)}"
    if not told:
        return [names]
    lines = [f"{names}; ± {shown(told[0].open_kg, 'mass', units)} open. What would tell:"]
    for one in told:
        error = f"; an error of {one.shown_percent:.1f} % would show" if one.shown_percent else ""
        left = shown(one.left_kg, "mass", units)
        lines.append(f"  {one.measurement}: leaves ± {left} open{error}")
    return lines


def _draw_lines(
    results: Results, witnesses: Witnesses, units: Units, only: str | None
) -> list[str]:
    over, balance = witnesses.draws.overthrow, results.balance
    unit = label_of("mass", units)
    draws = grouped(witnesses.draws.draws)
    lines, sharper = [f"overthrow by {draws} draws, 95 % interval in {unit}:"], []
    for k, name in enumerate(results.site.dressings.id):
        if only not in (None, str(name)) or not np.isfinite(over.mean[k]):
            continue
        drawn = between(over.low[k], over.high[k], "mass", units)
        summed = between(balance.interval.low[k], balance.interval.high[k], "mass", units)
        lines.append(f"  {name}: {drawn} (by sums {summed})")
        if only is None:  # of one dressing it stands under its budget
            said = sentence(OVER, witnesses.sharper[k][OVER], units, "mass")
            sharper.append({"about": str(name), "text": said.removeprefix(f"{OVER}: ")})
    if sharper:
        lines.append("what would sharpen the overthrow:")
        lines += [f"  {line}" for line in merged_findings(sharper, units)]
    return lines if len(lines) > 1 else []


def spatial_table(results: Results, spatial: Spatial, k: int, units: Units) -> Table:
    """Means of the catches of dressing ``k`` by surface: plain, by Thiessen polygons, kriged."""
    site = results.site
    rows = []
    for row in np.flatnonzero((site.dressed.dressing == k) & (spatial.catches > 0)).tolist():
        kriged, u = spatial.kriged_rate_kg_m2[row], spatial.u_kriged_rate_kg_m2[row]
        known = f"{shown(kriged, 'rate', units, unit=False)} ±"
        known += f" {shown(u, 'rate', units, unit=False)}"
        rows.append(
            [
                str(site.surfaces.id[site.dressed.surface[row]]),
                str(spatial.catches[row]),
                shown(spatial.plain_rate_kg_m2[row], "rate", units, unit=False),
                shown(spatial.thiessen_rate_kg_m2[row], "rate", units, unit=False),
                known if np.isfinite(kriged) else MISSING,
            ]
        )
    unit = label_of("rate", units)
    heads = ["surface", "catches", f"mean\n{unit}", f"by Thiessen\n{unit}", f"kriged\n{unit}"]
    return Table(
        title=f"{site.dressings.id[k]}: means of its catches on each surface",
        heads=heads,
        right=[False, True, True, True, True],
        rows=rows,
    )
