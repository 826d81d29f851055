"""Second opinions on a balance in sentences, and a dressing's spatial means as a table."""

from __future__ import annotations

import numpy as np

from geosand.balance.reconciliation.found import Reconciliation
from geosand.rates.spatial import Spatial
from geosand.reports.balance_document import stock_document
from geosand.reports.budgets import OVER, sentence
from geosand.reports.documents import told
from geosand.reports.plain_table import Table, by_columns
from geosand.reports.witness_document import Witnesses
from geosand.reports.words import (
    MISSING,
    Units,
    between,
    cells,
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
    lines = [
        *_ring_lines(results, witnesses, units, only),
        *_strip_lines(witnesses, units),
        *_stock_lines(results, units),
        *_season_lines(witnesses.season, units),
        *_draw_lines(results, witnesses, units, only),
        *(in_words_of(str(finding), units) for finding in witnesses.spatial.findings),
    ]
    return ["", "Second witnesses", *(lines or ["none: no dressing has both catches and loads"])]


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
    lines, document = [], stock_document(results)
    for load in document["weighed_loads"]:
        names = ("weighed_kg", "u_weighed_kg", "stated_kg", "u_stated_kg")
        weighed, u_weighed, stated, u_stated = (told(load[key], "mass", units) for key in names)
        lines.append(
            f"load {load['load']} on the scale: {weighed} ± {u_weighed}, by its label"
            f" {stated} ± {u_stated}"
        )
    for one in document["stock"]:
        masses = ("opening_kg", "bought_kg", "taken_kg", "closing_kg", "not_accounted_for_kg")
        opening, bought, taken, left, missing = (told(one[key], "mass", units) for key in masses)
        began = "an empty yard" if one["from"] is None else f"{opening} on {one['from']}"
        lines.append(
            f"stock of {one['sand'] or 'the sand'}: {began}, bought {bought}, taken out {taken},"
            f" left {left} on {one['to']}: {missing} ±"
            f" {told(one['u_not_accounted_for_kg'], 'mass', units)} not accounted for"
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
    return [in_words_of(line, units, alone=True) for line in lines]


def _group_lines(group: tuple[str, ...], season: Reconciliation, units: Units) -> list[str]:
    """Inputs that are not told apart, and the measurements that would tell, the best first."""
    telling = [one for one in season.would_tell if one.among == group]
    names = f"can not be told apart by these data: {' / '.join(group)}"
    if not telling:
        return [names]
    lines = [f"{names}; ± {shown(telling[0].open_kg, 'mass', units)} open. What would tell:"]
    for one in telling:
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
            told = {"about": str(name), "topic": "balance"}
            sharper.append(told | {"text": said.removeprefix(f"{OVER}: ")})
    if sharper:
        lines.append("what would sharpen the overthrow:")
        lines += [f"  {line}" for line in merged_findings(sharper, units)]
    return lines if len(lines) > 1 else []


def spatial_table(results: Results, spatial: Spatial, k: int, units: Units) -> Table:
    """Means of the catches of dressing ``k`` by surface: plain, by Thiessen polygons, kriged."""
    site, unit = results.site, label_of("rate", units)
    rows = np.flatnonzero((site.dressed.dressing == k) & (spatial.catches > 0))
    kriged, u = spatial.kriged_rate_kg_m2[rows], spatial.u_kriged_rate_kg_m2[rows]
    both = zip(cells(kriged, "rate", units), cells(u, "rate", units), strict=True)
    known = [rate if rate == MISSING else f"{rate} ± {doubt}" for rate, doubt in both]
    return by_columns(
        f"{site.dressings.id[k]}: means of its catches on each surface",
        ("surface", False, site.surfaces.id[site.dressed.surface[rows]]),
        ("catches", True, spatial.catches[rows]),
        (f"mean\n{unit}", True, cells(spatial.plain_rate_kg_m2[rows], "rate", units)),
        (f"by Thiessen\n{unit}", True, cells(spatial.thiessen_rate_kg_m2[rows], "rate", units)),
        (f"kriged\n{unit}", True, known),
    )
