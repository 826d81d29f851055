"""How far each group's overthrow reaches, and what its rings hold in each zone."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import shapely

from geosand.balance.ring_ground import Ground
from geosand.balance.ring_stands import Stands
from geosand.balance.ring_strips import (
    COLLAR,
    OUTER,
    Strips,
    mass_share,
    mass_share_slope,
    ragged,
)
from geosand.balance.ring_tasks import sums
from geosand.balance.ring_zones import ZoneCells
from geosand.columns import Bools, Floats, Ints, take

_AT_ONCE = 16_384  #: strips; few enough to stay in a processor's own memory


class Laid(NamedTuple):
    """Ground brought from the distinct stands to the rows that were dressed."""

    cap_m: Floats  #: by row
    strips: Strips
    zones: ZoneCells
    stand: Ints
    rate: Floats
    group: Ints
    groups: int
    perimeter_m: Floats
    drawn: Bools
    collar_m: Floats
    outer_m: Floats

    def rows(self, column: Floats, row: Ints) -> Floats:
        """Sums by row."""
        return sums(row, column, len(self.rate))

    def by_group(self, column: Floats) -> Floats:
        """Sums by group."""
        return sums(self.group, column, self.groups)

    def again(self, times: int) -> Laid:
        """The same rows one below the other, their groups with numbers of their own."""
        size, strips, every = len(self.rate), self.strips, range(times)
        brought: Strips = take(strips, np.tile(np.arange(len(strips.row)), times))
        rows: Laid = take(self, np.tile(np.arange(size), times))
        return rows._replace(
            strips=brought._replace(row=np.concatenate([strips.row + k * size for k in every])),
            group=np.concatenate([self.group + k * self.groups for k in every]),
            groups=self.groups * times,
        )


def brought(
    ground: Ground,
    zones: ZoneCells,
    stands: Stands,
    stand: Ints,
    rate: Floats,
    group: Ints,
    groups: int,
) -> Laid:
    """The ground of each dressed row, from the ground of its distinct stand."""
    return Laid(
        cap_m=ground.cap_m[stand],
        strips=_spread_rows(ground.strips, stand),
        zones=zones,
        stand=stand,
        rate=rate,
        group=group,
        groups=groups,
        perimeter_m=shapely.length(stands.surface)[stand],
        drawn=~shapely.is_missing(stands.collar)[stand],
        collar_m=stands.collar_width_m[stand],
        outer_m=(stands.collar_width_m + stands.surrounds_width_m)[stand],
    )


def _spread_rows(strips: Strips, stand: Ints) -> Strips:
    bounds = np.searchsorted(strips.row, np.arange(stand.max(initial=-1) + 2))
    row, which = ragged(bounds[stand], bounds[stand + 1] - bounds[stand])
    spread: Strips = take(strips, which)
    return spread._replace(row=row)


class _Held(NamedTuple):
    """What groups hold within any reach up to their cap, times the rates of their surfaces."""

    width: Floats  #: of strips that run to the cap: in closed form
    turn: Floats
    short: Strips  #: the others, sorted by group; ``row`` is the group
    rate: Floats  #: of each of these
    first: Ints  #: of each group among these, with the end of the last

    def at(self, group: Ints, reach: Floats) -> tuple[Floats, Floats]:
        """kg within the reach of each of these groups, and its derivative."""
        width, turn = self.width[group], self.turn[group]
        mass, slope = reach * (width / 2 + reach * turn / 6), width / 2 + reach * turn / 3
        count = self.first[group + 1] - self.first[group]
        begun = np.cumsum(count) - count
        for block in range(0, int(count.sum()), _AT_ONCE):
            some = (begun >= block) & (begun < block + _AT_ONCE) & (count > 0)
            held = self._by_strips(group[some], reach[some], count[some])
            mass[some] += held[0]
            slope[some] += held[1]
        return mass, slope

    def _by_strips(self, group: Ints, reach: Floats, count: Ints) -> tuple[Floats, Floats]:
        asked, which = ragged(self.first[group], count)
        strips, rate, far = take(self.short, which), self.rate[which], reach[asked]
        mass, slope = mass_share(strips, far, 1 / far), mass_share_slope(strips, far)
        return sums(asked, rate * mass, len(group)), sums(asked, rate * slope, len(group))

    def guess(self, group: Ints, target_kg: Floats) -> Floats:
        """The reach that would do if no strip were cut."""
        count = len(self.width)
        width = self.width + sums(self.short.row, self.rate * self.short.width_m, count)
        turn = self.turn + sums(self.short.row, self.rate * self.short.turn_rad, count)
        half, sixth = width[group] / 2, turn[group] / 6
        root = np.sqrt(np.maximum(half**2 + 4 * sixth * target_kg, 0.0))
        reach: Floats = 2 * target_kg / np.maximum(half + root, 1e-300)
        return reach


def _held(laid: Laid) -> _Held:
    strips = laid.strips
    owner, weight = laid.group[strips.row], laid.rate[strips.row]
    whole = np.minimum(strips.cut_start_m, strips.cut_end_m) >= laid.cap_m[strips.row]
    weighed = np.where(whole, weight, 0.0)
    cut = np.flatnonzero(~whole)
    cut = cut[np.argsort(owner[cut], kind="stable")]
    short: Strips = take(strips, cut)
    return _Held(
        width=sums(owner, weighed * strips.width_m, laid.groups),
        turn=sums(owner, weighed * strips.turn_rad, laid.groups),
        short=short._replace(row=owner[cut]),
        rate=weight[cut],
        first=np.searchsorted(owner[cut], np.arange(laid.groups + 1)),
    )


def reaches(laid: Laid, targets_kg: Floats) -> Floats:
    """L (k, G) at which each group holds its targets; inf where its cap does not.

    0 for a target of 0, nan for one that is not known. Guarded Newton steps, each by itself.
    """
    held, target = _held(laid), targets_kg.ravel()
    group = np.tile(np.arange(laid.groups), len(targets_kg))
    found = np.where(np.isnan(target), np.nan, 0.0)
    cap = np.zeros(laid.groups)
    cap[laid.group] = laid.cap_m
    todo = np.flatnonzero(target > 0)
    beyond = held.at(group[todo], cap[group[todo]])[0] < target[todo]
    found[todo[beyond]] = np.inf
    todo = todo[~beyond]
    high = cap[group[todo]]
    low, reach = np.zeros(len(todo)), held.guess(group[todo], target[todo])
    reach = np.where(reach < high, reach, high / 2)
    for _ in range(100):
        mass, slope = held.at(group[todo], reach)
        excess = mass - target[todo]
        met = np.abs(excess) <= 1e-13 * target[todo]
        low, high = np.where(excess < 0, reach, low), np.where(excess > 0, reach, high)
        step = reach - excess / np.where(slope > 0, slope, 1.0)
        inside = (slope > 0) & (step > low) & (step < high)
        reach = np.where(met, reach, np.where(inside, step, (low + high) / 2))
        found[todo] = reach
        left = ~met & (high - low > 1e-14 * reach)
        if not left.any():
            break
        todo, low, high, reach = todo[left], low[left], high[left], reach[left]
    return found.reshape(targets_kg.shape)


def masses(laid: Laid, reach_m: Floats) -> dict[int, Floats]:
    """kg by row: −1 in all, COLLAR, OUTER (collar and surrounds), HAZARD + k over each kind.

    ``reach_m`` has one a group of ``laid``; inf: as far as the cap.
    """
    mine = reach_m[laid.group]
    reach = np.where(
        mine > 0, np.clip(np.nan_to_num(mine, posinf=np.inf), 1e-9, laid.cap_m), np.nan
    )
    zones = _zone_sums(laid, reach, 1 / reach)
    found = {zone: np.nan_to_num(laid.rate * share) for zone, share in zones.items()}
    found[OUTER] = np.minimum(found[OUTER], found[-1])  # a drawn zone is cut by lines, once each
    found[COLLAR] = np.minimum(found[COLLAR], found[OUTER])
    return found


def areas(ground: Ground, zones: ZoneCells, stands: Stands) -> tuple[Floats, Floats]:
    """Collar and surrounds of each stand in m², on its own ground."""
    count = len(stands.surface)
    every, one = np.arange(count), np.ones(count)
    laid = brought(ground, zones, stands, every, one, np.zeros(count, np.int64), 1)
    area = _zone_sums(laid, ground.cap_m, 0 * one)
    return area[COLLAR], np.maximum(area[OUTER] - area[COLLAR], 0.0)


def _zone_sums(laid: Laid, reach: Floats, inverse_reach: Floats) -> dict[int, Floats]:
    """Integrals of the taper over each zone by row; with ``inverse_reach`` 0 their areas."""
    strips, row = laid.strips, laid.strips.row

    def within(limit: Floats) -> Floats:
        share = mass_share(strips, np.minimum(limit, reach)[row], inverse_reach[row])
        return laid.rows(share, row)

    by_zone = dict(enumerate(laid.zones.shares(laid.stand, reach, inverse_reach).T))
    if not laid.drawn.all():
        by_zone[COLLAR] = np.where(laid.drawn, by_zone[COLLAR], within(laid.collar_m))
        by_zone[OUTER] = np.where(laid.drawn, by_zone[OUTER], within(laid.outer_m))
    return by_zone | {-1: within(reach)}
