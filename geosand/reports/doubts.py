"""What makes figures doubtful: dates, balances, loads on a scale, stock; each line with its ids."""

from __future__ import annotations

import re

import numpy as np

from geosand.balance.account import NOT_CLOSED, UNDECIDED
from geosand.balance.closing import Closing
from geosand.columns import Bools, Ints
from geosand.distributions import normal_probability, normal_quantile
from geosand.errors import listed, listed_dressings
from geosand.reports.words import Units, in_words_of, names_apart, shown, signed_percent
from geosand.results import Results

MOST_DRESSINGS = 4  #: named one by one; of more only their names are told
MOSTLY = 0.5  #: of the spread: no spreader throws that much over (common practice, no source)
_WRONG = ("figures", "are wrong, as they do")  # of several dressings
_SCALED = "The scale speaks against the unit mass"
NO_PROOF = "One dressing can not prove which"
#: Catches that claim more than twice the spread are not a little off.
SO_MUCH = " So much is rather a unit, tares left out, or a load that is missing."


def doubt_steps(results: Results, units: Units) -> list[str]:
    """What to find out before figures are believed."""
    names = results.site.dressings.id
    late = names[_after_end(results)].tolist()
    wrong = names[of_verdict(results, NOT_CLOSED)].tolist()
    steps = []
    if late:
        whose = "date of {} is" if len(late) == 1 else "dates of {} are"
        steps.append(
            f"see whether the {whose.format(listed_dressings(late, 3))} right, or season_end"
        )
    if lost := _mostly_beside(results):
        its = "its surfaces" if len(lost) == 1 else "their surfaces"
        steps.append(f"find out why most sand of {listed_dressings(lost, 3)} is not on {its}")
    if wrong:
        figure, it = ("figure", "is wrong, as it does") if len(wrong) == 1 else _WRONG
        steps.append(f"find out which {figure} of {listed_dressings(wrong, 3)} {it} not close")
    if full := _too_full(results):
        catch, was = ("catch", "was") if len(full) == 1 else ("catches", "were")
        steps.append(f"see whether {catch} {listed(full, 3)} {was} read right")
    if len(off := _off_scale(results)):
        steps.append(f"see why {_on_scale(results, off[:1], units)[0]}")
    return steps


def in_account(results: Results) -> Bools:
    """Dressings from the season's start to the day of account: seasons before are done with."""
    date = results.site.dressings.date
    return (date >= results.site.season_start) & (date <= results.ledger.as_of)


def of_verdict(results: Results, verdict: str) -> Ints:
    """Rows of the dressings of the account that have this verdict."""
    return np.flatnonzero((results.balance.verdict == verdict) & in_account(results))


def after_season(results: Results) -> list[str]:
    """Dressings dated after the season's end: a year mistyped, or an end that was not moved."""
    site, late = results.site, _after_end(results)
    names = site.dressings.id[late].tolist()
    if not names:
        return []
    its, are = ("its", "date is") if len(names) == 1 else ("their", "dates are")
    return [
        f"{listed_dressings(names)}: {its} {are} after the season's end, {site.season_end}: {its}"
        " sand is not counted, and all of the target counts as due"
    ]


def _after_end(results: Results) -> Bools:
    """Dressings after the season's end, up to the day of account: each makes that day later."""
    date, end = results.site.dressings.date, results.site.season_end
    if end is None:
        return np.zeros(len(date), dtype=np.bool_)
    return (date > end) & (date <= results.ledger.as_of)


def would(verdict: str) -> str:
    """What a balance whose catches claim too much would do if an input were another."""
    return "would close with" if verdict == NOT_CLOSED else "would come to zero with"


def explain(closing: Closing) -> str:
    """One way in which a balance would close, in words."""
    amount = signed_percent(closing.change_percent)
    unit = "points" if closing.input == "moisture" else "%"
    own = "" if closing.sigmas is None else f" ({abs(closing.sigmas):.1f} times its u)"
    return f"{closing.input} {amount} {unit}{own}"


def not_closing(results: Results, units: Units) -> list[str]:
    """Balances that do not close, with what would close them."""
    balance, site = results.balance, results.site
    rows = of_verdict(results, NOT_CLOSED)
    lines = []
    for k in rows[:MOST_DRESSINGS]:
        proof = _culprit(results, int(k), units)
        # what a scale speaks against comes first, else what is explained most easily
        ways = sorted(balance.closing[k], key=lambda c: _SCALED in proof and c.input != "unit mass")
        # seldom so much was brought back that it could be at fault, and it has no u to be ranked by
        ways = ways[:3] + [way for way in ways[3:] if way.input == "returned sand"]
        twice = proof == NO_PROOF and -balance.overthrow.value[k] > balance.spread.value[k]
        lines.append(
            f"{listed_dressings([str(site.dressings.id[k])])}: the balance does not close: the"
            " catches claim"
            f" {shown(-balance.overthrow.value[k], 'mass', units)} more than was spread."
            f" It would close with {'; or '.join(map(explain, ways))}."
            f"{SO_MUCH if twice else ''} {proof}"
        )
    rest = [str(name) for name in site.dressings.id[rows[MOST_DRESSINGS:]]]
    if rest:
        verb = "does" if len(rest) == 1 else "do"
        lines.append(f"{listed_dressings(rest)}: {verb} not close either")
    return lines


def odd_readings(results: Results) -> list[str]:
    """Catches that hold nothing, or far more than the others of their dressing."""
    asked = set(results.site.dressings.id[in_account(results)].tolist())
    odd = [found for found in results.rates.odd_readings if found.about in asked]
    lines = [f"{listed_dressings([f.about])}: {f.text}" for f in odd[:MOST_DRESSINGS]]
    if rest := list(dict.fromkeys(found.about for found in odd[MOST_DRESSINGS:])):
        lines.append(f"{listed_dressings(rest)}: likewise; geosand check tells which catches")
    return lines


def _too_full(results: Results) -> list[str]:
    """Catches that hold far more than the others; not of dressings that do not close anyway."""
    site, full = results.site, results.rates.too_full
    of = site.catches.dressing[full]
    asked = in_account(results) & (results.balance.verdict != NOT_CLOSED)
    pairs = zip(site.catches.id[full], site.dressings.id[of], asked[of], strict=True)
    return [f"{catch} of {listed_dressings([dressing])}" for catch, dressing, mine in pairs if mine]


def mostly_beside(results: Results) -> list[str]:
    """Dressings most of whose sand the catches do not find: rather a unit than an overthrow."""
    lost = _mostly_beside(results)
    if not lost:
        return []
    return [
        f"{listed_dressings(lost)}: more than half of the spread is not on the surfaces: look at"
        " the units of masses and trays, and for a surface that is missing"
    ]


def _mostly_beside(results: Results) -> list[str]:
    balance = results.balance
    lost = (balance.interval.low > MOSTLY * balance.spread.value) & in_account(results)
    return [str(name) for name in results.site.dressings.id[lost]]


def _culprit(results: Results, k: int, units: Units) -> str:
    """What a weighed load of a dressing that does not close says of its unit mass, if it does."""
    site, scale = results.site, results.weighings
    if scale is None:
        return NO_PROOF
    from geosand.balance.stock import SIGNIFICANT  # loaded already, as loads were weighed

    mine = site.loads.dressing[site.weighed.load] == k
    told = _on_scale(results, np.flatnonzero(mine & (scale.sigmas > SIGNIFICANT)), units)
    if not told:
        return NO_PROOF
    return f"{_SCALED}: {listed(told)}"


def off_the_label(results: Results, units: Units) -> list[str]:
    """Loads whose label the scale speaks against, but for dressings that do not close anyway."""
    site, rows = results.site, _off_scale(results)
    if not len(rows):
        return []
    mine = site.loads.dressing[site.weighed.load[rows]]
    names = site.dressings.id[np.unique(mine)].tolist()
    return [
        f"{listed_dressings(names)}: the scale speaks against the unit mass, on which the balance"
        f" stays: {listed(_on_scale(results, rows, units), 3)}"
    ]


def _off_scale(results: Results) -> Ints:
    """Weighings that differ from their label by more than chance, the surest first.

    Of thirty good ones one would be off by 2 u in three sites of four: the limit is that which the
    farthest of so many reaches as seldom as one alone reaches 2 u (Z. Šidák, Journal of the
    American Statistical Association 62, 1967).
    """
    site, scale = results.site, results.weighings
    if scale is None:
        return np.empty(0, dtype=np.int64)
    from geosand.balance.stock import SIGNIFICANT  # loaded already, as loads were weighed

    sure, chance = np.abs(scale.sigmas), 2 * normal_probability(-SIGNIFICANT)
    each = 1 - (1 - chance) ** (1 / max(len(sure), 1))
    asked = in_account(results) & (results.balance.verdict != NOT_CLOSED)
    far = (sure > -normal_quantile(each / 2)) & asked[site.loads.dressing[site.weighed.load]]
    order = np.argsort(-sure, kind="stable")
    off: Ints = order[far[order]]
    return off


def _on_scale(results: Results, rows: Ints, units: Units) -> list[str]:
    scale = results.weighings
    if scale is None:
        return []
    return [
        f"load {scale.load[row]} weighs {shown(scale.weighed_kg[row], 'mass', units)},"
        f" not {shown(scale.stated_kg[row], 'mass', units)}"
        for row in rows
    ]


def not_accounted_for(results: Results, units: Units) -> list[str]:
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


def undecided(results: Results, units: Units, *, linked: bool = False) -> list[str]:
    """Dressings whose verdict is open, and what would narrow their intervals most.

    ``linked``: surfaces go by their names.
    """
    site, balance = results.site, results.balance
    rows = of_verdict(results, UNDECIDED)
    if not len(rows):
        return []
    from geosand.balance.sharpen import changes, sharpest

    called = site.ids.astype(object)
    if linked:
        called[site.surfaces.ground] = names_apart(site.surfaces)
    marks = np.array([f"\ue000{k}\ue001" for k in range(len(called))])
    options = changes(site, results.areas, results.rates, dressings=rows, called=marks)
    best = sharpest(balance.overthrow.rows(rows), options)
    # names come last: "Tee 150 m" holds no figure to be turned
    told = re.sub("\ue000(.+?)\ue001", lambda k: called[int(k[1])], in_words_of(best or "", units))
    way = f"{told} would help most" if best else "no one measurement helps"
    below = rows[balance.overthrow.value[rows] < 0]
    of = "" if len(below) == len(rows) else f"of {listed(site.dressings.id[below].tolist())} "
    more = (
        f" ({of}the catches claim more than was spread, within what is known)" if len(below) else ""
    )
    return [
        f"{listed_dressings(site.dressings.id[rows].tolist())}: undecided: whether sand was thrown"
        f" over is not known well enough{more}; {way}"
    ]
