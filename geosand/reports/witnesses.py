"""Second opinions on a balance: rings, stock, the season reconciled, draws, spatial means."""

from __future__ import annotations

from collections.abc import Mapping

from geosand.balance.reconciliation import reconcile
from geosand.balance.reconciliation_found import Reconciliation
from geosand.balance.second_witnesses import Unaccounted, unaccounted
from geosand.balance.sharpen import Sharpening
from geosand.balance.strip_widths import StripWidths, shared_edges, strip_widths
from geosand.balance.throw_fit import ThrowFit, throw_fit
from geosand.balance.witness import Witness, monte_carlo
from geosand.columns import Floats, frozen
from geosand.rates.spatial import Spatial, site_spatial
from geosand.reports.budgets import dressing_sharpenings
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
