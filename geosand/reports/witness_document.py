"""Second opinions on a balance: rings, stock, the season reconciled, draws; and their document."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from geosand.balance.draws import Drawn
from geosand.balance.reconciliation import reconcile
from geosand.balance.reconciliation_found import Reconciliation
from geosand.balance.second_witnesses import Unaccounted, unaccounted
from geosand.balance.sharpen import Sharpening
from geosand.balance.strip_widths import StripWidths, shared_edges, strip_widths
from geosand.balance.throw_fit import ThrowFit, throw_fit
from geosand.balance.witness import Witness, monte_carlo
from geosand.columns import Floats, frozen
from geosand.rates.spatial import Spatial, site_spatial
from geosand.reports.budgets import OVER, dressing_sharpenings
from geosand.reports.documents import MILLIMETRE, Document, figures_of, number
from geosand.results import Results

SEED = 20260301  #: of the draws: the same figures at each call


@frozen
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
                **figures_of(throw, g, "reach_m", "u_reach_m", "edge_rate", "u_edge_rate"),
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
        "chi_square_probability": number(season.chi_square_probability),
        "threshold": number(season.threshold),
        "sentences": list(season.sentences),
        "inputs": [
            {
                "input": str(name),
                "unit": str(season.inputs.unit[k]),
                "persistence": str(season.inputs.persistence[k]),
                **figures_of(season.inputs, k, "stated", "u", "adjusted", "u_adjusted"),
                **figures_of(season.inputs, k, "standardised", "seen_from"),
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
    one: Drawn, names: list[dict[str, str]], unit: str, factor: float = 1.0
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
            "largest_share": number(spatial.largest_share[row]),
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
