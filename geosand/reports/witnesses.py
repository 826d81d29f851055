"""Second opinions on a balance: ring catches, the season reconciled, draws, spatial means."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geosand.balance.reconciliation import Reconciliation, reconcile
from geosand.balance.second_witnesses import Unaccounted, unaccounted
from geosand.balance.sharpen import changes, sharpen
from geosand.balance.throw_fit import StripWidths, ThrowFit, strip_widths, throw_fit
from geosand.balance.witness import Witness, monte_carlo
from geosand.rates.spatial import Spatial, site_spatial
from geosand.reports.documents import Document, number
from geosand.reports.words import Units, between, label_of, shown
from geosand.results import Results

SEED = 20260301  #: of the draws: the same figures at each call


@dataclass(frozen=True, slots=True, kw_only=True)
class Witnesses:
    """All second opinions on one site."""

    fit: ThrowFit
    rings: Unaccounted
    strips: StripWidths
    season: Reconciliation | None
    draws: Witness
    spatial: Spatial
    sharper: tuple[str, ...]  #: for each dressing the change that would sharpen its overthrow most


def hear(results: Results) -> Witnesses:
    """Work out the second opinions on a site's results."""
    parts = (results.site, results.areas, results.rates, results.balance)
    fit = throw_fit(*parts)
    sharper = []
    for k in range(len(results.site.dressings)):
        one = np.array([k])
        if np.isfinite(results.balance.overthrow.value[k]):
            found = changes(results.site, results.areas, results.rates, dressings=one)
            sharper.append(sharpen(results.balance.overthrow, found, row=k).sentence(unit="kg"))
        else:
            sharper.append("")
    return Witnesses(
        fit=fit,
        rings=unaccounted(*parts, fit=fit),
        strips=strip_widths(*parts),
        season=reconcile(*parts, fit=fit),
        draws=monte_carlo(*parts, seed=SEED),
        spatial=site_spatial(results.site, results.areas, results.rates),
        sharper=tuple(sharper),
    )


def witness_document(results: Results, witnesses: Witnesses) -> Document:
    """The second opinions as a document."""
    site, over = results.site, witnesses.draws.overthrow
    rings = witnesses.rings
    caught, rest = rings.caught, rings.unaccounted
    season = witnesses.season
    strip = witnesses.strips.interval()
    return {
        "ring_catches": [
            {
                "dressing": str(site.dressings.id[witnesses.fit.dressing[g]]),
                "catches": int(rings.catches[g]),
                "caught_kg": number(caught.value[g]),
                "u_caught_kg": number(caught.u()[g]),
                "unaccounted_kg": number(rest.value[g]),
                "u_unaccounted_kg": number(rest.u()[g]),
            }
            for g in np.flatnonzero(rings.catches > 0)
        ],
        "strip_widths": [
            {
                "spreader": str(name),
                "strip_width_m": number(witnesses.strips.width.value[k]),
                "low_m": number(strip.low[k]),
                "high_m": number(strip.high[k]),
                "dressings": int(witnesses.strips.dressings[k]),
            }
            for k, name in enumerate(witnesses.strips.spreader)
        ],
        "reconciliation": None
        if season is None
        else {
            "culprit": season.culprit,
            "probability": None if season.probability is None else number(season.probability),
            "not_told_apart": [list(names) for names in season.not_told_apart],
            "measurement_that_would_tell": list(season.measurement_that_would_tell),
            "chi_square": number(season.chi_square),
            "degrees_of_freedom": season.degrees_of_freedom,
            "sentences": list(season.sentences),
        },
        "draws": {
            "number": witnesses.draws.draws,
            "seed": witnesses.draws.seed,
            "overthrow": [
                {
                    "dressing": str(site.dressings.id[k]),
                    "u_kg": number(over.u[k]),
                    "low_kg": number(over.low[k]),
                    "high_kg": number(over.high[k]),
                }
                for k in range(len(site.dressings))
            ],
        },
        "sharpen": {
            str(name): text
            for name, text in zip(site.dressings.id, witnesses.sharper, strict=True)
            if text
        },
        "spatial": _spatial(results, witnesses.spatial),
    }


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


def witness_lines(results: Results, witnesses: Witnesses, units: Units) -> list[str]:
    """The second opinions in sentences."""
    site, unit = results.site, label_of("mass", units)
    lines = ["", "Second witnesses"]
    rings = witnesses.rings
    u_caught, u_rest = rings.caught.u(), rings.unaccounted.u()
    for g in np.flatnonzero(rings.catches > 0):
        lines.append(
            f"{site.dressings.id[witnesses.fit.dressing[g]]}: {rings.catches[g]} catches beside the"
            f" edges hold {shown(rings.caught.value[g], 'mass', units, unit=False)} ±"
            f" {shown(u_caught[g], 'mass', units)} of overthrow;"
            f" {shown(rings.unaccounted.value[g], 'mass', units, unit=False)} ±"
            f" {shown(u_rest[g], 'mass', units)} stay unaccounted"
        )
    strip = witnesses.strips.interval()
    for k, name in enumerate(witnesses.strips.spreader):
        lines.append(
            f"strip width of {name or 'the unnamed spreader'}:"
            f" {shown(witnesses.strips.width.value[k], 'length', units)}"
            f" (95 % {between(strip.low[k], strip.high[k], 'length', units)},"
            f" {witnesses.strips.dressings[k]} dressings)"
        )
    if witnesses.season is not None:
        lines += list(witnesses.season.sentences)
    over = witnesses.draws.overthrow
    lines.append(f"overthrow by {witnesses.draws.draws:,} draws, 95 % interval in {unit}:")
    for k, name in enumerate(site.dressings.id):
        if np.isfinite(over.mean[k]):
            bounds = between(over.low[k], over.high[k], "mass", units)
            lines.append(f"  {name}: {bounds}; {witnesses.sharper[k]}")
    return lines
