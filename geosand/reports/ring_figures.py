"""Where the overthrow of a dressing lies, as a document: strip, reach, collar and surrounds."""

from __future__ import annotations

import numpy as np

from geosand.columns import Floats, Ints
from geosand.reports.documents import Document, figures_of, number
from geosand.results import Results


def ring_figures(results: Results, k: int) -> Document:
    """Strip width, reach and the split of the overthrow of dressing ``k`` over its groups."""
    balance, throw = results.balance, results.balance.throw
    groups = np.flatnonzero(balance.dressing_of_group == k)
    held = (throw.group_collar_kg + throw.group_surrounds_kg + throw.group_farther_kg)[groups]
    thrown = groups[np.nan_to_num(held) > 0]
    kept = held[np.nan_to_num(held) > 0]
    strip, reach = np.nan, np.nan
    if len(thrown):  # of several groups the ones that threw sand over, weighted by it
        strip = kept.sum() / (kept / throw.strip_width_m[thrown]).sum()
        reach = float(np.average(throw.reach_m[thrown], weights=kept))
    rows = results.site.dressed.dressing == k
    laid = len(thrown) > 0  # also of a dressing that does not close but for these groups
    interval = balance.interval
    maybe = groups[np.isfinite(throw.collar_most_kg[groups])]  # those of no overthrow may hold some

    def total(column: Floats, of: Ints = thrown) -> float | None:
        mass = column[of].sum()
        dust = abs(mass) < 1e-9 * kept.sum()  # rounding, not sand
        return number(0.0 if dust else mass) if laid else None

    return {
        "strip_width_m": number(strip) if laid else None,
        "reach_m": number(reach) if laid else None,
        "collar_kg": total(throw.group_collar_kg),
        "surrounds_kg": total(throw.group_surrounds_kg),
        "farther_kg": total(throw.group_farther_kg),
        "collar_low_kg": total(throw.collar_low_kg),
        "collar_high_kg": total(throw.collar_high_kg),
        "collar_least_kg": total(throw.collar_least_kg),
        "collar_most_kg": total(throw.collar_most_kg, maybe),
        "over_kg": {
            kind: number(np.nansum(column[rows])) if laid else None
            for kind, column in throw.hazard_kg.items()
        },
        "parts": _parts(results, groups),
        "not_told_from_zero": laid and bool(interval.low[k] <= 0 <= interval.high[k]),
        "no_rings": None if laid else _why_no_rings(results, k, bool(rows.any())),
    }


def _parts(results: Results, groups: Ints) -> list[Document]:
    """The parts of a dressing whose loads name their surfaces, each with its own overthrow."""
    if len(groups) < 2:
        return []
    site, balance, throw = results.site, results.balance, results.balance.throw
    parts = []
    for g in groups:
        rows = np.flatnonzero(balance.group_of_row == g)
        names = site.surfaces.id[site.dressed.surface[rows]].tolist()
        parts.append(
            {
                "surfaces": names,
                "overthrow_kg": number(balance.group_overthrow.value[g]),
                **figures_of(throw, g, "reach_m", "strip_width_m"),
            }
        )
    return parts


def _why_no_rings(results: Results, k: int, dressed: bool) -> str:
    if str(results.balance.verdict[k]) == "not measured" or not dressed:
        return "the dressing has no catches or no loads"
    if results.balance.overthrow.value[k] > 0:
        return "the catches hold no sand, so there is no rate to lay beside the edges"
    return "there is no overthrow: the catches claim as much sand as was spread, or more"
