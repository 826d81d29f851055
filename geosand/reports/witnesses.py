"""Second opinions on a balance: rings, stock, the season reconciled, draws, spatial means."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from geosand.balance.reconciliation import reconcile
from geosand.balance.reconciliation_found import Reconciliation
from geosand.balance.second_witnesses import Unaccounted, unaccounted
from geosand.balance.shared_edges import shared_edges
from geosand.balance.sharpen import Sharpening
from geosand.balance.throw_fit import StripWidths, ThrowFit, strip_widths, throw_fit
from geosand.balance.witness import Witness, Witnessed, monte_carlo
from geosand.columns import Floats
from geosand.rates.spatial import Spatial, site_spatial
from geosand.reports.budgets import OVER, dressing_sharpenings, sentence
from geosand.reports.documents import MILLIMETRE, Document, number
from geosand.reports.plain_table import Table
from geosand.reports.words import MISSING, Units, between, label_of, shown
from geosand.results import Results
from geosand.units import SHOWN

SEED = 20260301  #: of the draws: the same figures at each call
SHARED_EDGE_TOLD = 0.05  #: of the edge, from which it is said that two dressed surfaces share it


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Witnesses:
    """All second opinions on one site."""

    fit: ThrowFit
    rings: Unaccounted
    strips: StripWidths
    shared_edge: Floats  #: of each spreader's edge, the share between two dressed surfaces
    season: Reconciliation | None
    draws: Witness
    spatial: Spatial
    sharper: tuple[Mapping[str, Sharpening], ...]  #: of each dressing's masses, where measured


def hear(results: Results) -> Witnesses:
    """Work out the second opinions on a site's results."""
    parts = (results.site, results.areas, results.rates, results.balance)
    fit, strips = throw_fit(*parts), strip_widths(*parts)
    return Witnesses(
        fit=fit,
        rings=unaccounted(*parts, fit=fit),
        strips=strips,
        shared_edge=shared_edges(*parts[:3], strips.spreader),
        season=reconcile(*parts, fit=fit, stock=results.stock),
        draws=monte_carlo(*parts, seed=SEED),
        spatial=site_spatial(results.site, results.areas, results.rates),
        sharper=tuple(dressing_sharpenings(results, k) for k in range(len(results.site.dressings))),
    )


def witness_document(results: Results, witnesses: Witnesses) -> Document:
    """The second opinions as a document."""
    return {
        "ring_catches": _ring_catches(results, witnesses),
        "throw": _throw(results, witnesses),
        "strip_widths": _strip_widths(witnesses),
        "reconciliation": None if witnesses.season is None else _season(witnesses.season),
        "draws": _draws(results, witnesses.draws),
        "sharpen": {
            str(name): found[OVER].sentence(unit="kg")
            for name, found in zip(results.site.dressings.id, witnesses.sharper, strict=True)
            if OVER in found
        },
        "spatial": _spatial(results, witnesses.spatial),
        "variogram": _variogram(witnesses.spatial),
    }


def _ring_catches(results: Results, witnesses: Witnesses) -> list[Document]:
    rings, names = witnesses.rings, results.site.dressings.id
    caught, rest = rings.caught, rings.unaccounted
    u_caught, u_rest = caught.u(), rest.u()
    return [
        {
            "dressing": str(names[witnesses.fit.dressing[g]]),
            "catches": int(rings.catches[g]),
            "caught_kg": number(caught.value[g]),
            "u_caught_kg": number(u_caught[g]),
            "unaccounted_kg": number(rest.value[g]),
            "u_unaccounted_kg": number(u_rest[g]),
        }
        for g in np.flatnonzero(rings.catches > 0)
    ]


def _throw(results: Results, witnesses: Witnesses) -> list[Document]:
    """Reach, edge rate and strip of each group that threw, by its catches and by both together."""
    site, fit = results.site, witnesses.fit
    out = []
    for g in np.flatnonzero(np.isfinite(fit.together.reach_m)).tolist():
        rows = sorted(fit.surfaces[g])
        entry: Document = {
            "dressing": str(site.dressings.id[fit.dressing[g]]),
            "surfaces": site.surfaces.id[site.dressed.surface[rows]].tolist(),
        }
        for name, throw in (("catches", fit.from_catches), ("together", fit.together)):
            entry[name] = {
                "reach_m": number(throw.reach_m[g]),
                "u_reach_m": number(throw.u_reach_m[g]),
                "edge_rate": number(throw.edge_rate[g]),
                "u_edge_rate": number(throw.u_edge_rate[g]),
                "strip_width_m": number(throw.strip_width_m[g]),
                "low_m": number(throw.strip_low_m[g]),
                "high_m": number(throw.strip_high_m[g]),
            }
        out.append(entry)
    return out


def _strip_widths(witnesses: Witnesses) -> list[Document]:
    strips = witnesses.strips
    low, high, _ = strips.interval()
    return [
        {
            "spreader": str(name),
            "strip_width_m": number(strips.width.value[k]),
            "low_m": number(low[k]),
            "high_m": number(high[k]),
            "dressings": int(strips.dressings[k]),
            "edge_between_dressed": number(witnesses.shared_edge[k]),
        }
        for k, name in enumerate(strips.spreader)
    ]


def _season(season: Reconciliation) -> Document:
    return {
        "culprit": season.culprit,
        "probability": None if season.probability is None else number(season.probability),
        "suspects": [
            {
                "inputs": list(one.inputs),
                "change": [number(c) for c in one.change],
                "unit": list(one.unit),
                "standardised": number(one.standardised),
                "probability": number(one.probability),
            }
            for one in season.suspects
        ],
        "not_told_apart": [list(names) for names in season.not_told_apart],
        "measurement_that_would_tell": list(season.measurement_that_would_tell),
        "chi_square": number(season.chi_square),
        "degrees_of_freedom": season.degrees_of_freedom,
        "threshold": number(season.threshold),
        "sentences": list(season.sentences),
        "inputs": [
            {
                "input": str(name),
                "unit": str(season.inputs.unit[k]),
                "persistence": str(season.inputs.persistence[k]),
                "stated": number(season.inputs.stated[k]),
                "u": number(season.inputs.u[k]),
                "adjusted": number(season.inputs.adjusted[k]),
                "u_adjusted": number(season.inputs.u_adjusted[k]),
                "standardised": number(season.inputs.standardised[k]),
                "seen_from": number(season.inputs.seen_from[k]),
            }
            for k, name in enumerate(season.inputs.name)
        ],
    }


def _draws(results: Results, draws: Witness) -> Document:
    site = results.site
    dressings = site.dressings.id.tolist()
    kg = [{"dressing": name} for name in dressings]
    depths = [
        {"dressing": dressings[d], "surface": str(site.surfaces.id[s])}
        for d, s in zip(site.dressed.dressing, site.dressed.surface, strict=True)
    ]
    return {
        "number": draws.draws,
        "seed": draws.seed,
        "overthrow": _drawn(draws.overthrow, kg, "kg"),
        "on_surfaces": _drawn(draws.on_surfaces, kg, "kg"),
        "depth": _drawn(draws.depth, depths, "mm", MILLIMETRE),
    }


def _drawn(
    one: Witnessed, names: list[dict[str, str]], unit: str, factor: float = 1.0
) -> list[Document]:
    return [
        {
            **name,
            f"u_{unit}": number(one.u[k], factor),
            f"low_{unit}": number(one.low[k], factor),
            f"high_{unit}": number(one.high[k], factor),
        }
        for k, name in enumerate(names)
    ]


def _spatial(results: Results, spatial: Spatial) -> list[Document]:
    site = results.site
    return [
        {
            "dressing": str(site.dressings.id[site.dressed.dressing[row]]),
            "surface": str(site.surfaces.id[site.dressed.surface[row]]),
            "plain_kg_m2": number(spatial.plain_rate_kg_m2[row]),
            "thiessen_kg_m2": number(spatial.thiessen_rate_kg_m2[row]),
            "kriged_kg_m2": number(spatial.kriged_rate_kg_m2[row]),
            "u_kriged_kg_m2": number(spatial.u_kriged_rate_kg_m2[row]),
            "why_not": str(spatial.why_not[row]) or None,
        }
        for row in np.flatnonzero(spatial.catches > 0)
    ]


def _variogram(spatial: Spatial) -> Document | None:
    one = spatial.variogram
    if one is None:
        return None
    return {"model": one.model, "nugget": one.nugget, "sill": one.sill, "range_m": one.range_m}


def witness_lines(
    results: Results, witnesses: Witnesses, units: Units, only: str | None = None
) -> list[str]:
    """The second opinions in sentences; of ``only`` one dressing where it is named."""
    return [
        "",
        "Second witnesses",
        *_ring_lines(results, witnesses, units, only),
        *_strip_lines(witnesses, units),
        *_stock_lines(results, units),
        *_season_lines(witnesses.season, units),
        *_draw_lines(results, witnesses, units, only),
        *(str(finding) for finding in witnesses.spatial.findings),
    ]


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
    kg, name = SHOWN[units]["mass"][:2]
    metre = SHOWN[units]["length"][:2]
    lines = [*season.in_words({"kg": (kg, name), "m": metre})]
    groups = [" / ".join(group) for group in season.not_told_apart]
    lines += [f"can not be told apart by these data: {group}" for group in groups]
    if season.would_tell:
        lines.append("a measurement that would tell:")
        lines += [f"  {one.sentence(unit=name, factor=kg)}" for one in season.would_tell]
    return lines


def _draw_lines(
    results: Results, witnesses: Witnesses, units: Units, only: str | None
) -> list[str]:
    over, balance = witnesses.draws.overthrow, results.balance
    unit = label_of("mass", units)
    lines = [f"overthrow by {witnesses.draws.draws:,} draws, 95 % interval in {unit}:"]
    for k, name in enumerate(results.site.dressings.id):
        if only not in (None, str(name)) or not np.isfinite(over.mean[k]):
            continue
        drawn = between(over.low[k], over.high[k], "mass", units)
        summed = between(balance.interval.low[k], balance.interval.high[k], "mass", units)
        lines.append(f"  {name}: {drawn} (by sums {summed})")
        if only is None:  # of one dressing it stands under its budget
            lines.append(f"    {sentence(OVER, witnesses.sharper[k][OVER], units, 'mass')}")
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
