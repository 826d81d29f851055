"""What to look at first: the few lines that change what is done next."""

from __future__ import annotations

import numpy as np

from geosand.balance.account import NOT_CLOSED, NOT_MEASURED, UNDECIDED
from geosand.balance.closing import Closing
from geosand.columns import Strings
from geosand.errors import listed
from geosand.reports.words import Units, chance, label_of, listed_runs, shown, signed_percent
from geosand.results import Results
from geosand.season.ledger import NOT_MEASURED as NOT_MEASURED_STATE
from geosand.season.ledger import OVER, UNDER

#: Named one by one; of more only their number is told, as a long list is read by nobody.
MOST_UNDER, MOST_OVER, MOST_DRESSINGS = 6, 3, 4
_BOTH: tuple[Units, Units] = ("metric", "us")
_WRONG = ("figures", "are wrong, as they do")  # of several dressings
NO_PROOF = "One dressing can not prove which"


def look_first(results: Results, units: Units, *, linked: bool = False) -> list[str]:
    """Lines in order of weight; each begins with the ids it is about and a colon.

    ``linked``: many ids are named one by one, for a page on which each leads to its surface.
    """
    return [
        *_names(results, UNDER, MOST_UNDER, units, linked),
        *_not_closing(results, units),
        *_stock(results, units),
        *_names(results, OVER, MOST_OVER, units, linked),
        *_not_measured(results, linked),
        *_never_caught(results, linked),
        *_far_reach(results, units),
        *_undecided(results),
        *_no_targets(results),
    ]


def next_step(results: Results, units: Units) -> str:
    """What to do next, in one sentence: first what makes figures doubtful, then the sand."""
    steps = [*_doubt_step(results), *_sand_step(results, units)] or [_nothing_due(results)]
    return f"Next: {'; then '.join(steps)}."


def _doubt_step(results: Results) -> list[str]:
    balance, names = results.balance, results.site.dressings.id
    wrong = [str(name) for name in names[balance.verdict == NOT_CLOSED]]
    if wrong:
        figure, it = ("figure", "is wrong, as it does") if len(wrong) == 1 else _WRONG
        return [f"find out which {figure} of {listed(wrong, 3)} {it} not close"]
    return []


def _sand_step(results: Results, units: Units) -> list[str]:
    """The surfaces that are behind, else those to leave out; and those of unknown depth.

    One whose state is wrong more often than right needs a tray before it needs sand.
    """
    ledger, ids = results.ledger, results.site.surfaces.id[results.ledger.row]
    behind, over = ledger.state == UNDER, ledger.state == OVER
    under = behind & (ledger.probability >= 0.5)
    steps = []
    if under.any():
        short = ledger.shortfall_m[under]
        names = ids[under][np.argsort(-short, kind="stable")]
        low, high = (
            shown(float(end), "depth", units, unit=False) for end in (short.min(), short.max())
        )
        far = high if low == high else f"{low} to {high}"
        steps.append(
            f"dress {_told(names, False, 3)} ({far} {label_of('depth', units)} behind the target"
            " so far); geosand plan tells with how much"
        )
    if (behind & ~under).any():
        its = "its depth is" if (behind & ~under).sum() == 1 else "their depths are"
        steps.append(
            f"lay trays at the next dressing on {_told(ids[behind & ~under], False, 3)}, as"
            f" {its} hardly known: geosand place draws where"
        )
    if not steps and over.any():
        steps = [f"leave out {_told(ids[over], False, 3)}, over-dressed so far"]
    unknown = ledger.state == NOT_MEASURED_STATE
    if not unknown.any():
        return steps
    whose = _told(ids[unknown], False, 3)
    if steps:
        return [*steps, f"lay trays on {whose}, whose depth is not known"]
    where = "is not known: geosand place draws where"
    return [f"lay trays at the next dressing, as the depth of {whose} {where}"]


def _nothing_due(results: Results) -> str:
    if len(results.ledger.row) and not np.isfinite(results.ledger.target_so_far_m).any():
        return f"write {_unsaid(results)}"
    return "nothing is due: no surface is behind its target so far"


def _unsaid(results: Results) -> str:
    """What a site lacks whose surfaces have no target so far."""
    if np.isfinite(results.ledger.target_m).any():
        return "season_end into site.toml, or planned depths into the dressings, to see what is due"
    return "[targets_mm] or [targets_in] into site.toml, to see what falls behind"


def would(verdict: str) -> str:
    """What a balance whose catches claim too much would do if an input were another."""
    return "would close with" if verdict == NOT_CLOSED else "would come to zero with"


def explain(closing: Closing) -> str:
    """One way in which a balance would close, in words."""
    amount = signed_percent(closing.change_percent)
    unit = "points" if closing.input == "moisture" else "%"
    own = "" if closing.sigmas is None else f" ({abs(closing.sigmas):.1f} times its u)"
    return f"{closing.input} {amount} {unit}{own}"


def _not_closing(results: Results, units: Units) -> list[str]:
    balance, site = results.balance, results.site
    rows = np.flatnonzero(balance.verdict == NOT_CLOSED)
    lines = []
    for k in rows[:MOST_DRESSINGS]:
        ways = "; or ".join(explain(c) for c in balance.closing[k][:3])
        lines.append(
            f"{site.dressings.id[k]}: the balance does not close: the catches claim"
            f" {shown(-balance.overthrow.value[k], 'mass', units)} more than was spread."
            f" It would close with {ways}. {_culprit(results, int(k), units)}"
        )
    rest = [str(name) for name in site.dressings.id[rows[MOST_DRESSINGS:]]]
    if rest:
        verb = "does" if len(rest) == 1 else "do"
        lines.append(f"{listed(rest)}: {verb} not close either")
    return lines


def _stock(results: Results, units: Units) -> list[str]:
    """Sand that deliveries, loads and counts do not account for."""
    stock = results.stock
    if stock is None:
        return []
    from geosand.balance.stock import SIGNIFICANT  # loaded already, as stock was counted

    missing, u = stock.missing.value, stock.missing.u()
    lines = []
    for k in np.flatnonzero(np.abs(missing) > SIGNIFICANT * u):
        mass = shown(abs(missing[k]), "mass", units, unit=False)
        how = "were bought and are neither in the loads nor in stock"
        if missing[k] < 0:
            how = "more were taken out or counted than were bought"
        name = results.site.sands.called(int(stock.sand[k]))
        lines.append(f"{name}: {mass} ± {shown(u[k], 'mass', units)} {how}")
    return lines


def _culprit(results: Results, k: int, units: Units) -> str:
    """What a weighed load of a dressing that does not close says of its unit mass, if it does."""
    site, scale = results.site, results.weighings
    if scale is None:
        return NO_PROOF
    from geosand.balance.stock import SIGNIFICANT  # loaded already, as loads were weighed

    mine = site.loads.dressing[site.weighed.load] == k
    told = [
        f"load {scale.load[row]} weighs {shown(scale.weighed_kg[row], 'mass', units)},"
        f" not {shown(scale.stated_kg[row], 'mass', units)}"
        for row in np.flatnonzero(mine & (scale.sigmas > SIGNIFICANT))
    ]
    if not told:
        return NO_PROOF
    return f"The scale speaks against the unit mass: {listed(told)}"


def _in_order(ids: Strings) -> list[str]:
    """Ids as people count."""
    from geosand.planning.route import natural

    return sorted(ids.tolist(), key=natural)


def _told(ids: Strings | list[str], linked: bool, most: int = 6) -> str:
    """Up to ``most`` ids; of more the runs, which name more in less room."""
    names = [str(one) for one in ids]
    return listed(names) if linked or len(names) <= most else listed_runs(names)


def _names(results: Results, state: str, most: int, units: Units, linked: bool) -> list[str]:
    """The surfaces farthest off their target, and how many more there are in that state.

    Those with the same figures are one line: without catches of their own many are.
    """
    ledger, site = results.ledger, results.site
    order = np.flatnonzero(ledger.state == state)
    order = order[np.argsort(-np.abs(ledger.shortfall_m[order]), kind="stable")]
    alike: dict[tuple[str, ...], list[int]] = {}
    for k in order.tolist():  # by figures in all units, so that lines are the same in each
        depths = ledger.depth.value[k], ledger.target_so_far_m[k]
        told = [shown(value, "depth", unit) for value in depths for unit in _BOTH]
        alike.setdefault((*told, chance(ledger.probability[k])), []).append(k)
    groups = list(alike.values())
    if len(groups) == most + 1:  # the line that counts the rest would be no shorter
        most += 1
    lines = [
        f"{_told(_in_order(site.surfaces.id[ledger.row[rows]]), linked)}: {state},"
        f" {shown(ledger.depth.value[rows[0]], 'depth', units)} of"
        f" {shown(ledger.target_so_far_m[rows[0]], 'depth', units)} so far"
        f" (probability {chance(ledger.probability[rows[0]])})"
        for rows in groups[:most]
    ]
    rest = sum(len(rows) for rows in groups[most:])
    return [*lines, *([f"{rest} more surfaces are {state}"] if rest else [])]


def _not_measured(results: Results, linked: bool) -> list[str]:
    site, balance, lines = results.site, results.balance, []
    unmeasured = balance.verdict == NOT_MEASURED
    no_loads = unmeasured & np.isnan(balance.spread.value)
    for what, mask in (("no loads", no_loads), ("no catches", unmeasured & ~no_loads)):
        names = [str(name) for name in site.dressings.id[mask]]
        if names:
            its = "its balance is" if len(names) == 1 else "their balances are"
            lines.append(f"{listed(names)}: {what} are recorded: {its} not measured")
    rows = results.ledger.row[results.ledger.state == NOT_MEASURED_STATE]
    if len(rows):
        who = _told(_in_order(site.surfaces.id[rows]), linked)
        lines.append(f"{who}: had a dressing without catches: depth not known")
    return lines


def _never_caught(results: Results, linked: bool) -> list[str]:
    ledger, site = results.ledger, results.site
    rows = ledger.row[~ledger.own & (ledger.dressings > 0) & ledger.measured]
    if not len(rows):
        return []
    names = _told(_in_order(site.surfaces.id[rows]), linked)
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
    site, undecided = results.site, results.balance.verdict == UNDECIDED
    names = site.dressings.id[undecided]
    if not len(names):
        return []
    without = undecided[site.dressed.dressing] & ~results.rates.own
    more = "catches on more surfaces" if without.any() else "more catches"
    return [
        f"{listed([str(n) for n in names])}: undecided: whether sand was thrown over is not known"
        f" well enough; {more} and weighed bags would tell"
    ]


def _no_targets(results: Results) -> list[str]:
    ledger = results.ledger
    if len(ledger.row) and not np.isfinite(ledger.target_so_far_m).any():
        return [f"targets: no surface has one so far: write {_unsaid(results)}"]
    return []
