"""Second opinions on a balance: rings, stock, the season reconciled, draws; and their document."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from geosand.balance.draws import Drawn
from geosand.balance.reconciliation.found import Reconciliation
from geosand.balance.reconciliation.reconcile import reconcile
from geosand.balance.reconciliation.second_witnesses import Unaccounted, unaccounted
from geosand.balance.sharpen import Sharpening
from geosand.balance.strip_widths import StripWidths, shared_edges, strip_widths
from geosand.balance.throw_fit import Throw, ThrowFit, throw_fit
from geosand.balance.witness import Witness, monte_carlo
from geosand.columns import Floats, frozen
from geosand.rates.spatial import Spatial, site_spatial
from geosand.reports.budgets import OVER, dressing_sharpenings
from geosand.reports.documents import Document, columns_of, number, rows_of
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
    balance = results.balance
    fit, strips = throw_fit(balance), strip_widths(balance)
    return Witnesses(
        fit=fit,
        rings=unaccounted(balance, fit=fit),
        strips=strips,
        shared_edge=shared_edges(balance, strips.spreader),
        season=reconcile(balance, fit=fit, stock=results.stock),
        draws=monte_carlo(balance, seed=SEED),
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
    rings, rows = witnesses.rings, np.flatnonzero(witnesses.rings.catches > 0)
    return rows_of(
        {
            "dressing": results.site.dressings.id[witnesses.fit.dressing[rows]],
            "catches": rings.catches[rows],
            "caught_kg": rings.caught.value[rows],
            "u_caught_kg": rings.caught.u()[rows],
            "unaccounted_kg": rings.unaccounted.value[rows],
            "u_unaccounted_kg": rings.unaccounted.u()[rows],
        }
    )


def _throw(results: Results, witnesses: Witnesses) -> list[Document]:
    """Reach, edge rate and strip of each group that threw, by its catches and by both together."""
    site, fit = results.site, witnesses.fit
    names = site.surfaces.id[site.dressed.surface]
    rows = rows_of(
        {
            "dressing": site.dressings.id[fit.dressing],
            "surfaces": [names[sorted(mine)].tolist() for mine in fit.surfaces],
            "catches": _thrown(fit.from_catches),
            "together": _thrown(fit.together),
        }
    )
    return [rows[g] for g in np.flatnonzero(np.isfinite(fit.together.reach_m))]


def _thrown(throw: Throw) -> list[Document]:
    keys = ("reach_m", "u_reach_m", "edge_rate", "u_edge_rate", "strip_width_m")
    bounds = {"low_m": throw.strip_low_m, "high_m": throw.strip_high_m}
    return rows_of({**columns_of(throw, *keys), **bounds})


def _strip_widths(witnesses: Witnesses) -> list[Document]:
    strips, bounds = witnesses.strips, witnesses.strips.interval()
    return rows_of(
        {
            "spreader": strips.spreader,
            "strip_width_m": strips.width.value,
            "low_m": bounds.low,
            "high_m": bounds.high,
            "dressings": strips.dressings,
            "edge_between_dressed": witnesses.shared_edge,
        }
    )


def _season(season: Reconciliation) -> Document:
    return {
        "culprit": season.culprit,
        "probability": number(season.probability),
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
        "inputs": rows_of(
            {
                "input": season.inputs.name,
                **columns_of(season.inputs, "unit", "persistence", "stated", "u", "adjusted"),
                **columns_of(season.inputs, "u_adjusted", "standardised", "seen_from"),
            }
        ),
    }


def _draws(results: Results, draws: Witness) -> Document:
    site = results.site
    of_dressing = {"dressing": site.dressings.id}
    of_surface = {
        "dressing": site.dressings.id[site.dressed.dressing],
        "surface": site.surfaces.id[site.dressed.surface],
    }
    return {
        "number": draws.draws,
        "seed": draws.seed,
        "overthrow": rows_of({**of_dressing, **_drawn(draws.overthrow, "kg")}),
        "on_surfaces": rows_of({**of_dressing, **_drawn(draws.on_surfaces, "kg")}),
        "depth": rows_of({**of_surface, **_drawn(draws.depth, "mm")}),
    }


def _drawn(one: Drawn, unit: str) -> dict[str, Floats]:
    return {f"u_{unit}": one.u, f"low_{unit}": one.low, f"high_{unit}": one.high}


def _spatial(results: Results, spatial: Spatial) -> list[Document]:
    site, rows = results.site, np.flatnonzero(spatial.catches > 0)
    return rows_of(
        {
            "dressing": site.dressings.id[site.dressed.dressing[rows]],
            "surface": site.surfaces.id[site.dressed.surface[rows]],
            "plain_kg_m2": spatial.plain_rate_kg_m2[rows],
            "thiessen_kg_m2": spatial.thiessen_rate_kg_m2[rows],
            "largest_share": spatial.largest_share[rows],
            "kriged_kg_m2": spatial.kriged_rate_kg_m2[rows],
            "u_kriged_kg_m2": spatial.u_kriged_rate_kg_m2[rows],
            "why_not": [why or None for why in spatial.why_not[rows].tolist()],
        }
    )


def _variogram(spatial: Spatial) -> Document | None:
    one = spatial.variogram
    if one is None:
        return None
    return {"model": one.model, "nugget": one.nugget, "sill": one.sill, "range_m": one.range_m}
