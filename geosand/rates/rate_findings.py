"""What a reader should know of the rates: set aside, empty or pooled catches, and few of them."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from geosand.columns import Bools, Floats, Ints, Runs, ratio
from geosand.errors import Finding, listed
from geosand.rates.about_dressings import Teller, by_group
from geosand.rates.assignment import Assignment
from geosand.rates.catch_rates import CatchRates
from geosand.rates.catch_rows import Counted
from geosand.rates.edge_distance import edge_bands_m
from geosand.rates.groups import in_order
from geosand.rates.random_effects import DressingRates
from geosand.site.tables import Site

#: Of surfaces, relative: beyond, the default of 8 % is too sure of those without catches.
FAR_APART = 0.15
FAR_TIMES = 4.0  #: a catch this many times its dressing's median, or a part of it, is told
#: A catch this many times the median of its dressing, and of its own surface, is told where that is
#: also FAR_SCATTERS times the scatter of the dressing's catches: overlapping passes lay twice as
#: much, give or take that scatter; trays near an edge get less.
MORE_THAN_LAPPED, FAR_SCATTERS = 2.5, 6.0
LEAST_SCATTER_OTHERS = 8  #: fewer others do not tell how far a dressing's catches scatter
#: Standard deviations from chance at which what was set aside is told to differ from what counts.
CHOSEN_SIGMAS = 3.0
ROOM = 2.0  #: swaths that a surface is long, at least, where trays could lie farther apart
LEAST_OTHERS = 4  #: fewer others do not tell which of them is the odd one
_SIGMAS_OF_MEDIAN = 1.4826  #: normal standard deviations in a median absolute deviation, 1/Φ⁻¹(¾)


def pool_findings(site: Site, where: Assignment) -> list[Finding]:
    """Pools whose trays lie on several surfaces: their reading knows none of these by itself."""
    catches, about = site.catches, Teller(site, "catch")
    pool = np.maximum(catches.mass_pool, catches.volume_pool)
    mine = np.flatnonzero(catches.used & (pool >= 0))
    findings = []
    for _, rows in by_group(mine[_differs(pool[mine], where.dressed[mine])], pool):
        text = (
            f"the trays of one reading lie on several surfaces: it counts as one catch, that of"
            f" {catches.id[rows[0]]}"
        )
        findings.append(about.finding(catches.dressing[rows[0]], text))
    return findings


def _differs(group: Ints, value: Ints) -> Ints:
    """Rows of those groups whose rows do not all have the same value."""
    _, first, which = np.unique(group, return_index=True, return_inverse=True)
    other = np.bincount(which, value != value[first][which], len(first)) > 0
    return np.flatnonzero(other[which])


def set_aside(site: Site) -> list[Finding]:
    """Catches with a reject_reason: kept and listed, not used."""
    catches, about = site.catches, Teller(site, "catch")
    findings = []
    for dressing, rows in by_group(np.flatnonzero(~catches.used), catches.dressing):
        told = [f"{catches.id[k]} ({catches.reject_reason[k]})" for k in rows.tolist()]
        text = f"set aside and not used: {listed(told)}"
        findings.append(about.finding(dressing, text))
    return findings


def chosen_by_value(site: Site, where: Assignment, each: CatchRates, rate: Floats) -> list[Finding]:
    """Sites whose catches set aside hold more, or less, than those that count: a biased choice.

    ``rate`` (n,) is that of each catch over the planned scale of its surface. Of the r set aside
    and k others of a dressing the sum of ranks of the former is r·(r + k + 1)/2 by chance, with a
    variance of r·k·(r + k + 1)/12 (H. B. Mann, D. R. Whitney, Annals of Mathematical Statistics 18
    (1947), 50-60); both add over dressings.
    """
    catches, dressing, size = site.catches, site.catches.dressing, len(site.dressings)
    pool = np.maximum(catches.mass_pool, catches.volume_pool)
    # what holds nothing was lost; a pool's reading is that of several trays
    aside = ~catches.used & (rate > 0) & (pool < 0)
    chosen = np.bincount(dressing, aside, size) > 0  # in a season few
    mine = chosen[dressing] & (each.counts | aside) & (where.dressed >= 0)
    rows = np.flatnonzero(mine)
    group, aside = dressing[rows], aside[rows]
    count, r = np.bincount(group, minlength=size), np.bincount(group, aside, size)
    lead = np.zeros(len(rows))  # twice the rank, less its mean; from both ends, as some are equal
    for sign in (1, -1):
        order = np.lexsort((sign * rate[rows], group))
        lead[order] += sign * (np.arange(len(rows)) - (np.cumsum(count) - count)[group[order]])
    above = np.bincount(group, lead * aside, size) / 2
    of, sites, both = site.of_dressing, len(site.members), (r > 0) & (r < count)
    variance = np.bincount(of, r * (count - r) * (count + 1) / 12, sites)
    sigmas = ratio(np.bincount(of, above * both, sites), np.sqrt(variance), empty=0.0)
    whole = ratio(np.bincount(group, rate[rows], size), count)
    kept = ratio(np.bincount(group, rate[rows] * ~aside, size), count - r)
    more = ratio(whole, kept, empty=1.0) - 1
    change = ratio(
        np.bincount(of, np.where(both, r * more, 0.0), sites), np.bincount(of, r * both, sites)
    )
    return [
        Finding(about="catches", text=_chosen(change[m]), topic="catch", member=m)
        for m in np.flatnonzero(abs(sigmas) > CHOSEN_SIGMAS).tolist()
    ]


def _chosen(change: float) -> str:
    """How far what was set aside would move the mean of the catches, and what to think of it."""
    more, others = "more", "If it was set aside for what it holds"
    if change < 0:
        more, others = "less", "Spilt trays do; if others were set aside for what they hold"
    return (
        f"what was set aside holds {more} than what counts: with it the catches of those dressings"
        f" would average {100 * change:+.0f} %. {others}, rates, depths and overthrow are wrong:"
        " set aside what was spoiled, whatever it holds"
    )


def model_findings(site: Site, model: DressingRates, catches: Ints) -> list[Finding]:
    """What few catches can not tell; ``catches`` has one row a dressed surface."""
    about, size = Teller(site, "rate"), len(site.dressings)
    dressed = np.bincount(site.dressed.dressing, minlength=size)
    seen = np.bincount(site.dressed.dressing[catches > 0], minlength=size)
    differ = ratio(model.sigma_b, np.where(model.mu > 0, model.mu, 0.0), empty=0.0)
    differ = np.where((seen > 1) & (seen < dressed), differ, 0.0)
    few = (seen < 2) & (dressed > seen)
    wanted = np.flatnonzero(few | model.inseparable | (differ > FAR_APART))
    return [
        about.finding(k, text)
        for k in wanted.tolist()
        for text in _few(int(dressed[k]), int(seen[k]), bool(model.inseparable[k]), differ[k])
    ]


def _few(dressed: int, seen: int, inseparable: bool, differ: float) -> Iterator[str]:
    """Texts about a dressing with catches on ``seen`` of its ``dressed`` surfaces."""
    if dressed and not seen:
        yield "no catches lie on its surfaces: rates and depths are not measured"
    elif seen == 1 < dressed:
        yield (
            f"catches on one surface of {dressed}: they know that surface, not the other"
            f" {dressed - 1}"
        )
    elif inseparable:
        yield (
            "one catch on each surface: scatter on a surface and differences between surfaces"
            " can not be told apart"
        )
    if differ > FAR_APART:
        bare = f"{dressed - seen} surface{'s' if dressed - seen > 1 else ''}"
        yield (
            f"its surfaces differ by {100 * differ:.0f} %, much more than usual: the {bare}"
            " without catches may lie outside the interval more often than 1 time in 20. Lay"
            " trays there too"
        )


def unlike_settings(site: Site, catches: Ints) -> list[Finding]:
    """Dressings whose rows were set unlike, with no plan to tell what surfaces without catches got.

    ``catches`` has one row a dressed surface.
    """
    dressed, of, size = site.dressed, site.dressed.dressing, len(site.dressings)
    begun = np.flatnonzero(np.diff(of, prepend=-1))
    first = np.zeros(size, dtype=np.int64)
    first[of[begun]] = begun
    unlike = dressed.setting != dressed.setting[first[of]]
    for column in (dressed.speed_m_s, dressed.swath_m):
        unlike |= np.nan_to_num(column) != np.nan_to_num(column[first[of]])

    def some(rows: Bools) -> Bools:
        return np.bincount(of, rows, size) > 0

    wanted = some(unlike) & some(np.isnan(dressed.planned_m)) & some(catches > 0)
    about = Teller(site, "rate")
    text = (
        "its surfaces were not all set and driven alike, and not all planned depths are said: those"
        " without catches are taken to be dressed as the others. Say each row's planned depth"
    )
    return [about.finding(k, text) for k in np.flatnonzero(wanted & some(catches == 0)).tolist()]


def tight_catches(
    site: Site, area_m2: Floats, where: Assignment, counted: Counted
) -> list[Finding]:
    """Dressings with surfaces all of whose catches lie within one swath, where there was more room.

    ``area_m2`` has one row a dressed surface. The spreader's stripes are the same in such catches,
    so that they agree with each other better than with the surface: in simulated dressings with
    stripes of 20 % the intervals of such surfaces held 75 % of the depths, those of totals 95 %.
    """
    order = np.argsort(counted.row, kind="stable")
    row, catch = counted.row[order], counted.catch[order]
    begun = np.flatnonzero(np.diff(row, prepend=-1))
    size = np.zeros(len(begun))
    for place in (where.x_m[catch], where.y_m[catch]):
        size += (np.maximum.reduceat(place, begun) - np.minimum.reduceat(place, begun)) ** 2
    mine, several = row[begun], np.diff(begun, append=len(row)) > 1
    swath = 2 * edge_bands_m(site)[mine]
    tight = mine[several & (size <= swath**2) & (area_m2[mine] > (ROOM * swath) ** 2)]
    about, findings = Teller(site, "rate"), []
    for dressing, rows in by_group(tight, site.dressed.dressing):
        names = site.surfaces.id[site.dressed.surface[rows]].tolist()
        one = len(names) == 1
        text = (
            f"all catches on {listed(names)} lie within a swath of each other: they"
            f" share the spreader's stripes, and the depth of {'that surface' if one else 'each'}"
            " may lie outside its interval more often than 1 time in 20. Lay trays farther apart,"
            " or note where each one lay"
        )
        findings.append(about.finding(dressing, text))
    return findings


def empty_trays(site: Site, where: Assignment, each: CatchRates) -> list[Finding]:
    """Catches on dressed ground without any sand: a tray that was missed, or not weighed."""
    empty = np.flatnonzero(each.counts & (where.dressed >= 0) & (each.rate_kg_m2 <= 0))
    about = Teller(site, "catch")
    findings = []
    for dressing, rows in by_group(empty, site.catches.dressing):
        names = site.catches.id[rows].tolist()
        one = len(names) == 1
        text = (
            f"{'catch' if one else 'catches'} {listed(names)}"
            f" {'holds' if one else 'hold'} no sand on"
            f" dressed ground and {'counts' if one else 'count'} as 0: if nothing was weighed, give"
            " a reject_reason"
        )
        findings.append(about.finding(dressing, text))
    return findings


def far_catches(
    site: Site, where: Assignment, each: CatchRates, rate: Floats
) -> tuple[list[Finding], list[Finding], Ints]:
    """Catches on dressed ground far from the others of their dressing: a slip of pen or scale.

    Also those of the findings of which some hold too much, which no edge explains, and these as
    rows of Catches. ``rate`` (n,) is that of each catch over the planned scale of its surface.
    Empty trays are told by :func:`empty_trays`.
    """
    rows = np.flatnonzero(each.counts & (where.dressed >= 0))
    rows = rows[_far_apart(rate[rows], site.catches.dressing[rows], len(site.dressings))]
    group, about = site.catches.dressing[rows], Teller(site, "catch")
    middle, _, count = _medians(rate[rows], group, len(site.dressings))
    against = middle[group]
    times = rate[rows] / np.where(against > 0, against, np.nan)
    far = (count[group] > LEAST_OTHERS) & ((times > FAR_TIMES) | (times < 1 / FAR_TIMES))
    off = np.log(np.where(times > 0, times, np.nan))
    spread = _medians(np.nan_to_num(abs(off), nan=np.inf), group, len(middle))[0]
    odd = (times > MORE_THAN_LAPPED) & (off > FAR_SCATTERS * _SIGMAS_OF_MEDIAN * spread[group])
    surface = where.dressed[rows]
    _, beside, _ = _medians(rate[rows], surface, len(site.dressed))  # alone there: its own rate
    odd &= rate[rows] > MORE_THAN_LAPPED * beside[surface]
    far |= (count[group] > LEAST_SCATTER_OTHERS) & odd
    far &= rate[rows] > 0
    findings, doubtful = [], []
    for dressing, mine in by_group(np.flatnonzero(far), group):
        told = [f"{site.catches.id[rows[k]]} ({times[k]:.2g} times)" for k in mine.tolist()]
        one = len(told) == 1
        text = (
            f"{'catch' if one else 'catches'} {listed(told)}"
            f" {'lies' if one else 'lie'} far from the median of the dressing's catches:"
            " check readings, tray sizes and their units; a spoiled catch gets a reject_reason"
        )
        findings.append(about.finding(dressing, text))
        doubtful += findings[-1:] if (times[mine] > 1).any() else []
    return findings, doubtful, rows[far & (times > 1)]


def _far_apart(values: Floats, group: Ints, groups: int) -> Bools:
    """Of each value (n,) whether one of its group may be MORE_THAN_LAPPED times another, or more.

    In other groups none is that far from the median: few need theirs.
    """
    least, most = Runs(group, groups).extremes(values)
    near: Bools = 1.001 * most <= MORE_THAN_LAPPED * least  # room for rounding; not of nan
    return ~near[group]


def _medians(values: Floats, group: Ints, groups: int) -> tuple[Floats, Floats, Ints]:
    """Median, lower median and number of the values of each group; nan where there is none."""
    ordered, count = in_order(values, group, groups)
    ordered = np.append(ordered, np.nan)
    start = np.cumsum(count) - count
    low, high = start + np.maximum(count - 1, 0) // 2, start + count // 2
    lower = np.where(count > 0, ordered[low], np.nan)
    return (lower + ordered[high]) / 2, lower, count
