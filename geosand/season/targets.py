"""The target so far of each surface: what it should have had by the day of account."""

from __future__ import annotations

import numpy as np

from geosand.columns import Bools, Dates, Floats, Ints, Strings, ragged, ratio
from geosand.site.tables import NO_DAY, Site

DAY = np.timedelta64(1, "D")
#: Kinds of which each surface has a programme of its own: a rugby pitch owes nothing of what was
#: planned on the football pitch beside it, as greens do of a green's (common practice, no source).
EACH_ITS_OWN = ("pitch", "lawn")


def first_days(site: Site) -> Dates:
    """Day of each surface id from which boundaries hold that have it.

    NO_DAY for those of a site's oldest survey: they were always there.
    """
    day = site.valid_from.astype("datetime64[D]")
    day[np.unique(site.of_edition, return_index=True)[1]] = NO_DAY
    first = np.full(len(site.ids), np.datetime64("9999-12-31", "D"))
    numbers, days = first.view(np.int64), day[site.surfaces.edition].view(np.int64)
    np.minimum.at(numbers, site.surfaces.ground, days)
    return first


def programmes(site: Site, rows: Ints) -> Strings:
    """What each of the ``rows`` of Surfaces shares its plans by: its kind, or its own id."""
    kind = site.surfaces.kind[rows]
    return np.where(np.isin(kind, EACH_ITS_OWN), site.surfaces.id[rows], kind)


def target_so_far(site: Site, in_force: Ints, counted: Bools, days: Dates, since: Dates) -> Floats:
    """Target so far of each surface id, m: what the season asks from its first day (``since``) on.

    With a season_end the elapsed share of the target. Without: the planned depths of the dressings
    so far, a skipped surface's being the mean of its kind's, so that it falls behind; of
    ``EACH_ITS_OWN`` only those of the surface itself.
    """
    members, ground = site.members, site.surfaces.ground
    target = np.full(len(site.ids), np.nan)
    target[ground[in_force]] = site.surfaces.target_m[in_force]
    start, end = members.season_start[site.of_id], members.season_end[site.of_id]
    begin: Dates = np.maximum(start, since)
    length, passed = end - start, days[site.of_id] - begin
    endless = np.isnat(end)
    share = passed / DAY / np.where(endless, np.nan, length / DAY)
    due: Floats = target * np.clip(share, 0.0, 1.0)
    if not endless.any():
        return due
    counted = counted & endless[ground[site.dressed.surface]]
    return np.where(endless, _planned_so_far(site, in_force, counted, since), due)


def _planned_so_far(site: Site, in_force: Ints, counted: Bools, since: Dates) -> Floats:
    """Planned depths of the ``counted`` dressed rows of each surface id, m; nan = none of its kind.

    A dressing that left a surface out stands there with the mean of its kind. Of a mix its sand
    counts, as in the depth so far.
    """
    size, id_in_force = len(site.ids), site.surfaces.ground[in_force]
    ground = site.surfaces.ground[site.dressed.surface]
    names, number = np.unique(programmes(site, in_force), return_inverse=True)
    kind = np.full(size, -1, dtype=np.int64)  # the kinds of each site have numbers of their own
    each, number = np.unique(site.of_id[id_in_force] * len(names) + number, return_inverse=True)
    kind[id_in_force], kinds = number, len(each)
    keep = counted & np.isfinite(site.dressed.planned_m) & (kind[ground] >= 0)
    fraction = site.sands.sand_mass_fraction[site.dressings.sand[site.dressed.dressing[keep]]]
    mine, planned = ground[keep], site.dressed.planned_m[keep] * fraction
    pair, which = np.unique(site.dressed.dressing[keep] * kinds + kind[mine], return_inverse=True)
    mean = ratio(np.bincount(which, planned, len(pair)), np.bincount(which, minlength=len(pair)))
    of_pair, date = pair % max(kinds, 1), site.dressings.date[pair // max(kinds, 1)]
    due = np.bincount(of_pair, mean, kinds)[kind]
    late = np.flatnonzero((since > NO_DAY) & (kind >= 0))
    order, count = np.argsort(of_pair, kind="stable"), np.bincount(of_pair, minlength=kinds)
    new, place = ragged((np.cumsum(count) - count)[kind[late]], count[kind[late]])
    its = order[place]
    since_then = date[its] >= since[late][new]
    due[late] = np.bincount(new[since_then], mean[its[since_then]], len(late))
    own = np.bincount(mine, planned - mean[which], size)
    return np.where((kind >= 0) & (count > 0)[kind], due + own, np.nan)
