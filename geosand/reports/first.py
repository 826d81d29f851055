"""What to look at first: the few lines that change what is done next."""

from __future__ import annotations

import numpy as np

from geosand.balance.account import NOT_CLOSED, NOT_MEASURED, UNDECIDED
from geosand.balance.closing import Closing
from geosand.columns import Bools
from geosand.reports.words import Units, chance, listed, shown, signed_percent
from geosand.results import Results
from geosand.season.ledger import NOT_MEASURED as NOT_MEASURED_STATE
from geosand.season.ledger import OVER, UNDER


def look_first(results: Results, units: Units) -> list[str]:
    """Lines in order of weight; each begins with the id it is about and a colon."""
    return [
        *_under_dressed(results, units),
        *_not_closing(results, units),
        *_over_dressed(results, units),
        *_not_measured(results),
        *_never_caught(results),
        *_far_reach(results, units),
        *_undecided(results),
        *_no_targets(results),
    ]


def explain(closing: Closing) -> str:
    """One way in which a balance would close, in words."""
    amount = signed_percent(closing.change_percent)
    unit = "points" if closing.input == "moisture" else "%"
    own = "" if closing.sigmas is None else f" ({abs(closing.sigmas):.1f} times its u)"
    return f"{closing.input} {amount} {unit}{own}"


def _not_closing(results: Results, units: Units) -> list[str]:
    balance, site = results.balance, results.site
    lines = []
    for k in range(len(site.dressings)):
        mass = balance.overthrow.value[k]
        if not mass < 0:
            continue
        ways = "; or ".join(explain(c) for c in balance.closing[k][:3])
        head = "does not close" if balance.verdict[k] == NOT_CLOSED else f"is {balance.verdict[k]}"
        lines.append(
            f"{site.dressings.id[k]}: the balance {head}: the catches claim"
            f" {shown(-mass, 'mass', units)} more than was spread. It would close with {ways}."
            " One dressing can not prove which"
        )
    return lines


def _names(results: Results, mask: Bools, units: Units) -> list[str]:
    ledger, site = results.ledger, results.site
    order = np.flatnonzero(mask)
    order = order[np.argsort(-np.abs(ledger.shortfall_m[order]), kind="stable")]
    return [
        f"{site.surfaces.id[ledger.row[k]]}: {ledger.state[k]},"
        f" {shown(ledger.depth.value[k], 'depth', units)} of"
        f" {shown(ledger.target_so_far_m[k], 'depth', units)} so far"
        f" (probability {chance(ledger.probability[k])})"
        for k in order
    ]


def _under_dressed(results: Results, units: Units) -> list[str]:
    return _names(results, results.ledger.state == UNDER, units)


def _over_dressed(results: Results, units: Units) -> list[str]:
    return _names(results, results.ledger.state == OVER, units)


def _not_measured(results: Results) -> list[str]:
    site, lines = results.site, []
    for k in np.flatnonzero(results.balance.verdict == NOT_MEASURED):
        what = "no loads" if np.isnan(results.balance.spread.value[k]) else "no catches"
        lines.append(f"{site.dressings.id[k]}: {what} are recorded: its balance is not measured")
    rows = results.ledger.row[results.ledger.state == NOT_MEASURED_STATE]
    if len(rows):
        names = listed([str(i) for i in site.surfaces.id[rows]])
        lines.append(f"{len(rows)} surfaces: had a dressing without catches: {names}")
    return lines


def _never_caught(results: Results) -> list[str]:
    ledger, site = results.ledger, results.site
    rows = ledger.row[~ledger.own & (ledger.dressings > 0) & ledger.measured]
    if not len(rows):
        return []
    names = listed([str(i) for i in site.surfaces.id[rows]])
    verb = "has" if len(rows) == 1 else "have"
    return [f"{names}: {verb} never had a catch; the depth is estimated from the other surfaces"]


def _far_reach(results: Results, units: Units) -> list[str]:
    balance, site, lines = results.balance, results.site, []
    for g in np.flatnonzero(balance.throw.reach_m > 5):
        name = site.dressings.id[balance.dressing_of_group[g]]
        reach = shown(balance.throw.reach_m[g], "length", units)
        lines.append(f"{name}: its overthrow would reach {reach} beyond the edge: was sand lost?")
    return lines


def _undecided(results: Results) -> list[str]:
    site, verdict = results.site, results.balance.verdict
    names = site.dressings.id[(verdict == UNDECIDED) & ~(results.balance.overthrow.value < 0)]
    if not len(names):
        return []
    return [
        f"{listed([str(n) for n in names])}: undecided: whether sand was thrown over is not known"
        " well enough; catches on more surfaces and weighed bags would tell"
    ]


def _no_targets(results: Results) -> list[str]:
    ledger = results.ledger
    if len(ledger.row) and not np.isfinite(ledger.target_so_far_m).any():
        return ["site.toml: no surface has a target: write [targets_mm] to see what falls behind"]
    return []
