"""What to look at first: the few lines that change what is done next."""

from __future__ import annotations

from collections import Counter

import numpy as np

from geosand.balance.account import NOT_MEASURED, OVERTHROW
from geosand.balance.account_findings import FAR_REACH_M
from geosand.columns import Bools, Floats, Ints, Strings
from geosand.errors import listed, listed_dressings
from geosand.reports.doubts import (
    after_season,
    doubt_steps,
    in_account,
    mostly_beside,
    not_accounted_for,
    not_closing,
    odd_readings,
    off_the_label,
    undecided,
)
from geosand.reports.words import (
    Units,
    chance,
    in_words_of,
    label_of,
    listed_runs,
    names_apart,
    shown,
)
from geosand.results import Results
from geosand.season.ledger import NOT_MEASURED as NOT_MEASURED_STATE
from geosand.season.ledger import OVER, UNDER
from geosand.season.unlike_others import unlike_findings

#: Named one by one; of more only their number is told, as a long list is read by nobody.
MOST_UNDER, MOST_OVER, MOST_UNLIKE = 6, 3, 3
MOST_NAMED = 3  #: in the next step, or twice in one line
_BELIEVABLE = 1.0  #: that a surface gets twice what others get (common practice, no source)
_BOTH: tuple[Units, Units] = ("metric", "us")


def look_first(results: Results, units: Units, *, linked: bool = False) -> list[str]:
    """Lines in order of weight; each begins with the ids it is about and a colon.

    ``linked``: many ids are named one by one, for a page on which each leads to its surface and
    surfaces go by their names.
    """
    return [
        *after_season(results),
        *mostly_beside(results),
        *_names(results, UNDER, MOST_UNDER, units, linked),
        *not_closing(results, units),
        *odd_readings(results),
        *off_the_label(results, units),
        *not_accounted_for(results, units),
        *_names(results, OVER, MOST_OVER, units, linked),
        *_not_measured(results, linked),
        *_unlike_others(results, units, linked),
        *_never_caught(results, linked),
        *_far_reach(results, units),
        *undecided(results, units, linked=linked),
        *_no_targets(results),
    ]


def next_step(results: Results, units: Units, *, linked: bool = False) -> str:
    """What to do next, in one sentence: first what makes figures doubtful, then the sand.

    ``linked``: surfaces go by their names.
    """
    steps = [*doubt_steps(results, units), *_sand_step(results, units, linked)]
    return f"Next: {'; then '.join(steps or [_nothing_due(results)])}."


def _sand_step(results: Results, units: Units, linked: bool) -> list[str]:
    """The surfaces that are behind, else those to leave out; and those of unknown depth.

    One whose state is wrong more often than right needs a tray before it needs sand.
    """
    ledger, ids = results.ledger, results.site.surfaces.id[results.ledger.row]
    behind, over = ledger.state == UNDER, ledger.state == OVER
    under = behind & (ledger.probability >= 0.5)
    steps = []
    if under.any():
        short = ledger.shortfall_m[under]
        names = _in_few_words(results, ids[under][np.argsort(-short, kind="stable")], linked)
        low, high = (
            shown(float(end), "depth", units, unit=False) for end in (short.min(), short.max())
        )
        far = high if low == high else f"{low} to {high}"
        steps.append(
            f"dress {names} ({far} {label_of('depth', units)} behind the target"
            " so far); geosand plan tells with how much"
        )
    if not behind.any() and over.any():
        steps = [f"leave out {_in_few_words(results, ids[over], linked)}, over-dressed so far"]
    steps += _tray_steps(results, behind & ~under, linked)
    unknown = ledger.state == NOT_MEASURED_STATE
    if not unknown.any():
        return steps
    whose = _in_few_words(results, ids[unknown], linked)
    if steps:
        return [*steps, f"lay trays on {whose}, whose depth is not known"]
    where = "is not known: geosand place draws where"
    return [f"lay trays at the next dressing, as the depth of {whose} {where}"]


def _tray_steps(results: Results, hardly_behind: Bools, linked: bool) -> list[str]:
    """Where trays are needed: on surfaces of a doubtful state or depth, and on those never caught.

    ``hardly_behind`` has a row a surface of the ledger.
    """
    ledger, ids = results.ledger, results.site.surfaces.id[results.ledger.row]
    dressed_next = ledger.state != OVER
    hardly = (hardly_behind | ledger.unlike.told) & dressed_next
    never, steps = ledger.never_caught & dressed_next & ~hardly, []
    if hardly.any():
        its = "its depth is" if hardly.sum() == 1 else "their depths are"
        steps.append(
            f"lay trays at the next dressing on {_in_few_words(results, ids[hardly], linked)}, as"
            f" {its} hardly known: geosand place draws where"
        )
    if never.any():
        when = "" if steps else "at the next dressing "
        where = _in_few_words(results, _in_order(ids[never]), linked)
        steps.append(
            f"lay trays {when}on {where}, never caught so far"
            f" (geosand place {_as_last_time(results, ledger.row[never])})"
        )
    return steps


def _in_few_words(results: Results, ids: Strings | list[str], linked: bool) -> str:
    """Up to three surfaces as they stand, of more whole kinds first, then some runs of ids.

    ``linked``: names instead of ids.
    """
    site, names = results.site, [str(one) for one in ids]
    rows = site.in_force()
    called = dict(zip(site.surfaces.id[rows], names_apart(site.surfaces)[rows], strict=True))
    if len(names) <= MOST_NAMED:
        return listed([str(called[one]) for one in names] if linked else names)
    kind_of = dict(zip(site.surfaces.id[rows].tolist(), site.surfaces.kind[rows], strict=True))
    meant, every = Counter(map(kind_of.get, names)), Counter(kind_of.values())
    whole = sorted(kind for kind in every if meant[kind] == every[kind] > 1)
    rest = [one for one in names if kind_of.get(one) not in whole]
    told = listed([str(called[one]) for one in rest], MOST_NAMED)
    told = told if linked else listed_runs(rest, MOST_NAMED)
    return ", ".join([*(f"every {kind}" for kind in whole), *([told] if rest else [])])


def _as_last_time(results: Results, rows: Ints) -> str:
    """Options of ``place`` for as many surfaces and trays as were laid last.

    Of the kinds of ``rows`` of Surfaces; one tray on one surface where they never had any.
    """
    site = results.site
    kinds = np.unique(site.surfaces.kind[rows])
    caught = results.ledger.counted & results.rates.own
    caught &= np.isin(site.surfaces.kind[site.dressed.surface], kinds)
    dressing, trays = site.dressed.dressing[caught], results.rates.catches[caught]
    last = trays[dressing == dressing.max(initial=-1)]
    count, each = (len(last), int(np.median(last))) if len(last) else (1, 1)
    options = f"--catches {each} --on {count}"
    return f"--surfaces {kinds[0]} {options}" if len(kinds) == 1 else options


def _nothing_due(results: Results) -> str:
    if len(results.ledger.row) and not np.isfinite(results.ledger.target_so_far_m).any():
        return f"write {_unsaid(results)}"
    return "nothing is due: no surface is behind its target so far"


def _unsaid(results: Results) -> str:
    """What a site lacks whose surfaces have no target so far."""
    if np.isfinite(results.ledger.target_m).any():
        return "season_end into site.toml, or planned depths into the dressings, to see what is due"
    return "[targets_mm] or [targets_in] into site.toml, to see what falls behind"


def _in_order(ids: Strings) -> list[str]:
    """Ids as people count."""
    from geosand.planning.route import natural

    return sorted(ids.tolist(), key=natural)


def _told(ids: Strings | list[str], linked: bool) -> str:
    """Up to six ids; of more the runs, which name more in less room."""
    names = [str(one) for one in ids]
    return listed(names) if linked or len(names) <= 6 else listed_runs(names)


def _names(results: Results, state: str, most: int, units: Units, linked: bool) -> list[str]:
    """The surfaces farthest off their target, and how many more there are in that state."""
    ledger = results.ledger
    order = np.flatnonzero(ledger.state == state)
    groups = _alike(results, order[np.argsort(-np.abs(ledger.shortfall_m[order]), kind="stable")])
    if len(groups) == most + 1:  # the line that counts the rest would be no shorter
        most += 1
    lines = [_line(results, state, rows, units, linked) for rows in groups[:most]]
    rest = sum(len(rows) for rows in groups[most:])
    return [*lines, *([f"{rest} more surfaces are {state}"] if rest else [])]


def _alike(results: Results, order: Ints) -> list[list[int]]:
    """Rows of the ledger, the farthest off first, in groups that one line tells.

    Those of one target are alike as far as its tolerance goes: a line for each would part what
    nobody dresses apart, one for all of a kind would hide those that are far behind.
    """
    ledger, share = results.ledger, results.site.settings.tolerance
    groups: list[list[int]] = []
    of_target: dict[tuple[str, ...], list[int]] = {}
    for k in order.tolist():
        target = tuple(shown(ledger.target_so_far_m[k], "depth", unit) for unit in _BOTH)
        rows = of_target.get(target, [])
        far = np.abs(ledger.shortfall_m[[*rows[:1], k]])
        if not rows or far[0] - far[1] > share * ledger.target_so_far_m[k]:
            rows = of_target[target] = []
            groups.append(rows)
        rows.append(k)
    return groups


def _line(results: Results, state: str, rows: list[int], units: Units, linked: bool) -> str:
    """Depths of ``rows`` of the ledger, of the target they share, and which is farthest off.

    A page names a few and leads to them: those that are farthest off.
    """
    ledger, surfaces = results.ledger, results.site.surfaces
    depth, of = ledger.depth.value[rows], shown(ledger.target_so_far_m[rows[0]], "depth", units)
    ends = {u: [shown(float(end), "depth", u) for end in (depth.min(), depth.max())] for u in _BOTH}
    worst_first = np.argsort(-np.abs(ledger.shortfall_m[rows]), kind="stable")
    which = ledger.row[rows][worst_first]
    who = surfaces.id[which].tolist()
    if not linked or all(low == high for low, high in ends.values()):
        who = _in_order(surfaces.id[which])
    low, high = ends[units]
    far = f"{low} of {of} so far"
    if low != high:
        name = (names_apart(surfaces) if linked else surfaces.id)[which[0]]
        far = f"{low.partition(' ')[0]} to {high} of {of} so far, {name} the farthest off"
    probable = _chances(ledger.probability[rows])
    return f"{_told(who, linked)}: {state}, {far} (probability {probable})"


def _chances(probability: Floats) -> str:
    low, high = (chance(float(end)) for end in (min(probability), max(probability)))
    return low if low == high else f"{low} and more"


def _not_measured(results: Results, linked: bool) -> list[str]:
    site, balance, lines = results.site, results.balance, []
    unmeasured = (balance.verdict == NOT_MEASURED) & in_account(results)
    no_loads = unmeasured & np.isnan(balance.spread.value)
    caught = np.bincount(site.catches.dressing, minlength=len(unmeasured)) > 0
    for what, mask in (
        ("no loads are recorded", no_loads),
        ("no catches are recorded", unmeasured & ~no_loads & ~caught),
        (
            "none of the recorded catches counts on what was dressed",
            unmeasured & ~no_loads & caught,
        ),
    ):
        names = [str(name) for name in site.dressings.id[mask]]
        if names:
            its = "its balance is" if len(names) == 1 else "their balances are"
            lines.append(f"{listed_dressings(names)}: {what}: {its} not measured")
    rows = results.ledger.row[results.ledger.state == NOT_MEASURED_STATE]
    if len(rows):
        who = _told(_in_order(site.surfaces.id[rows]), linked)
        lines.append(f"{who}: had a dressing without catches: depth not known")
    return lines


def _never_caught(results: Results, linked: bool) -> list[str]:
    ledger, site = results.ledger, results.site
    rows = ledger.row[ledger.never_caught]
    if not len(rows):
        return []
    names = _told(_in_order(site.surfaces.id[rows]), linked)
    verb, they = ("has", "it") if len(rows) == 1 else ("have", "they")
    line = f"{names}: {verb} never had a catch; the depth is estimated from the other surfaces"
    which, more = _instead_of_overthrow(results, rows)
    if more <= _BELIEVABLE:
        if len(which) < len(rows):
            ids = _in_order(site.surfaces.id[which])
            called = dict(zip(site.surfaces.id, names_apart(site.surfaces), strict=True))
            they = listed([str(called[one]) for one in ids] if linked else ids)
            if len(ids) > MOST_NAMED:
                they = "those dressed with overthrow"
        line += f". If {they} got {100 * more:.0f} % more, nothing was thrown over: a tray tells"
    return [line]


def _unlike_others(results: Results, units: Units, linked: bool) -> list[str]:
    """Surfaces whose own catches speak against what counts where they had none."""
    site, ledger = results.site, results.ledger
    found = unlike_findings(site, ledger.row, ledger.depth, ledger.unlike)
    lines = [f"{f.about}: {in_words_of(f.text, units, alone=True)}" for f in found[:MOST_UNLIKE]]
    if more := [f.about for f in found[MOST_UNLIKE:]]:
        lines.append(f"{_told(more, linked)}: likewise; geosand check tells by how much")
    return lines


def _instead_of_overthrow(results: Results, rows: Ints) -> tuple[Ints, float]:
    """Which ``rows`` of Surfaces were dressed where sand was thrown over, and how much more they
    would have got if none was (inf: nobody would believe it).
    """
    site, balance = results.site, results.balance
    over = (balance.verdict == OVERTHROW) & in_account(results)
    ground = site.surfaces.ground
    mine = over[site.dressed.dressing] & np.isin(ground[site.dressed.surface], ground[rows])
    which = rows[np.isin(ground[rows], ground[site.dressed.surface[mine]])]
    mass = results.rates.rate.value * results.areas.area_m2[site.dressed.surface]
    theirs = np.bincount(site.dressed.dressing[mine], mass[mine], len(over))[over]
    thrown = balance.overthrow.value[over]
    # believable in each dressing that threw over, not on the average only
    explained = len(theirs) > 0 and bool((thrown <= _BELIEVABLE * theirs).all())
    return which, float(thrown.sum() / theirs.sum()) if explained else np.inf


def _far_reach(results: Results, units: Units) -> list[str]:
    balance, site, lines = results.balance, results.site, []
    asked = in_account(results)[balance.dressing_of_group]
    for g in np.flatnonzero((balance.throw.reach_m > FAR_REACH_M) & asked):
        name = listed_dressings([str(site.dressings.id[balance.dressing_of_group[g]])])
        reach = shown(balance.throw.reach_m[g], "length", units)
        lines.append(f"{name}: its overthrow would reach {reach} beyond the edge: was sand lost?")
    return lines


def _no_targets(results: Results) -> list[str]:
    ledger = results.ledger
    if len(ledger.row) and not np.isfinite(ledger.target_so_far_m).any():
        return [f"targets: no surface has one so far: write {_unsaid(results)}"]
    return []
