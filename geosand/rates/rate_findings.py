"""What a reader should know of the rates: set aside, empty or pooled catches, and few of them."""

from __future__ import annotations

import numpy as np

from geosand.columns import Floats, Ints, distinct
from geosand.errors import Finding
from geosand.rates.assignment import Assignment
from geosand.rates.catch_rates import CatchRates
from geosand.rates.random_effects import DressingRates
from geosand.site.tables import Site

#: Of surfaces, relative: beyond, the default of 8 % is too sure of those without catches.
FAR_APART = 0.15
MOST_TOLD = 6  #: catches named in one finding
FAR_TIMES = 4.0  #: a catch this many times its dressing's median, or a part of it, is told
LEAST_OTHERS = 4  #: fewer others do not tell which of them is the odd one


def pool_findings(site: Site, where: Assignment) -> list[Finding]:
    """Pools whose trays lie on several surfaces: their reading knows none of these by itself."""
    catches = site.catches
    pool = np.maximum(catches.mass_pool, catches.volume_pool)
    mine = catches.used & (pool >= 0)
    pairs = distinct(np.stack([pool, where.dressed], axis=1)[mine], axis=0)
    numbers, surfaces = np.unique(pairs[:, 0], return_counts=True)
    findings = []
    for number in numbers[surfaces > 1].tolist():
        rows = np.flatnonzero(mine & (pool == number))
        text = (
            f"the trays of one reading lie on several surfaces: it counts as one catch, that of"
            f" {catches.id[rows[0]]}"
        )
        about = str(site.dressings.id[catches.dressing[rows[0]]])
        findings.append(Finding(about=about, text=text, topic="catch"))
    return findings


def set_aside(site: Site) -> list[Finding]:
    """Catches with a reject_reason: kept and listed, not used."""
    catches, findings = site.catches, []
    for dressing in distinct(catches.dressing[~catches.used]):
        rows = np.flatnonzero(~catches.used & (catches.dressing == dressing)).tolist()
        told = [f"{catches.id[k]} ({catches.reject_reason[k]})" for k in rows[:MOST_TOLD]]
        more = f" and {len(rows) - MOST_TOLD} more" if len(rows) > MOST_TOLD else ""
        text = f"set aside and not used: {', '.join(told)}{more}"
        about = str(site.dressings.id[dressing])
        findings.append(Finding(about=about, text=text, topic="catch"))
    return findings


def model_findings(site: Site, model: DressingRates, catches: Ints) -> list[Finding]:
    """What few catches can not tell; ``catches`` has one row a dressed surface."""
    findings = []
    for k, name in enumerate(site.dressings.id.tolist()):
        rows = site.dressed.dressing == k
        dressed, seen = int(rows.sum()), int((catches[rows] > 0).sum())
        texts = []
        if dressed and not seen:
            texts.append("no catches lie on its surfaces: rates and depths are not measured")
        elif seen == 1 < dressed:
            texts.append(
                f"catches on one surface of {dressed}: they know that surface, not the other"
                f" {dressed - 1}"
            )
        elif bool(model.inseparable[k]):
            texts.append(
                "one catch on each surface: scatter on a surface and differences between surfaces"
                " can not be told apart"
            )
        differ = model.sigma_b[k] / model.mu[k] if model.mu[k] > 0 else 0.0
        if 1 < seen < dressed and differ > FAR_APART:
            bare = f"{dressed - seen} surface{'s' if dressed - seen > 1 else ''}"
            texts.append(
                f"its surfaces differ by {100 * differ:.0f} %, much more than usual: the {bare}"
                " without catches may lie outside the interval more often than 1 time in 20. Lay"
                " trays there too"
            )
        findings += [Finding(about=name, text=text, topic="rate") for text in texts]
    return findings


def empty_trays(site: Site, where: Assignment, each: CatchRates) -> list[Finding]:
    """Catches on dressed ground without any sand: a tray that was missed, or not weighed."""
    empty = each.counts & (where.dressed >= 0) & (each.rate_kg_m2 <= 0)
    findings = []
    for dressing in distinct(site.catches.dressing[empty]):
        names = site.catches.id[empty & (site.catches.dressing == dressing)].tolist()
        one, more = len(names) == 1, len(names) - MOST_TOLD
        text = (
            f"{'catch' if one else 'catches'} {', '.join(names[:MOST_TOLD])}"
            f"{f' and {more} more' if more > 0 else ''} {'holds' if one else 'hold'} no sand on"
            f" dressed ground and {'counts' if one else 'count'} as 0: if nothing was weighed, give"
            " a reject_reason"
        )
        about = str(site.dressings.id[dressing])
        findings.append(Finding(about=about, text=text, topic="catch"))
    return findings


def far_catches(site: Site, where: Assignment, each: CatchRates, rate: Floats) -> list[Finding]:
    """Catches on dressed ground far from the others of their dressing: a slip of pen or scale.

    ``rate`` (n,) is that of each catch over the planned scale of its surface. Empty trays are told
    by :func:`empty_trays`.
    """
    rows = np.flatnonzero(each.counts & (where.dressed >= 0) & np.isfinite(rate))
    group = site.catches.dressing[rows]
    middle, count = _medians(rate[rows], group, len(site.dressings))
    against = middle[group]
    times = rate[rows] / np.where(against > 0, against, np.nan)
    far = (count[group] > LEAST_OTHERS) & ((times > FAR_TIMES) | (times < 1 / FAR_TIMES))
    far &= rate[rows] > 0
    findings = []
    for dressing in distinct(group[far]):
        mine = np.flatnonzero(far & (group == dressing)).tolist()
        told = [f"{site.catches.id[rows[k]]} ({times[k]:.2g} times)" for k in mine[:MOST_TOLD]]
        more = f" and {len(mine) - MOST_TOLD} more" if len(mine) > MOST_TOLD else ""
        text = (
            f"{'catch' if len(mine) == 1 else 'catches'} {', '.join(told)}{more}"
            f" {'lies' if len(mine) == 1 else 'lie'} far from the median of the dressing's catches:"
            " check readings, tray sizes and their units; a spoiled catch gets a reject_reason"
        )
        about = str(site.dressings.id[dressing])
        findings.append(Finding(about=about, text=text, topic="catch"))
    return findings


def _medians(values: Floats, group: Ints, groups: int) -> tuple[Floats, Ints]:
    """Median and number of the values of each group; nan where there is none."""
    ordered = np.append(values[np.lexsort((values, group))], np.nan)
    count = np.bincount(group, minlength=groups)
    start = np.cumsum(count) - count
    low, high = start + np.maximum(count - 1, 0) // 2, start + count // 2
    return np.where(count > 0, (ordered[low] + ordered[high]) / 2, np.nan), count
