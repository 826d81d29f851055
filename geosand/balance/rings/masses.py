"""How far each group's overthrow reaches, and what its rings hold in each zone."""

from __future__ import annotations

import numpy as np
import shapely

from geosand.balance.rings.ground import Ground
from geosand.balance.rings.stands import Stands
from geosand.balance.rings.strips import (
    COLLAR,
    HAZARD,
    OUTER,
    Strips,
    mass_share,
    mass_share_slope,
)
from geosand.balance.rings.tasks import sums
from geosand.balance.rings.zones import Asked, DrawnZones
from geosand.columns import Floats, Ints, ragged, take
from geosand.tuples import NamedTuple

_AT_ONCE = 16_384  #: strips; few enough to stay in a processor's own memory


class Laid(NamedTuple):
    """Ground brought from the distinct stands to the rows that were dressed."""

    cap_m: Floats  #: by row
    width_m: Floats  #: by row, of the strips that run to the cap
    turn_rad: Floats
    short: Strips  #: the others
    stand: Ints
    rate: Floats
    group: Ints
    groups: int
    perimeter_m: Floats
    collar_m: Floats
    outer_m: Floats  #: from the edge on, where no collar is drawn
    beyond_m: Floats  #: surrounds are at least as wide, collar or none

    def by_group(self, column: Floats) -> Floats:
        """Sums by group."""
        return sums(self.group, column, self.groups)


def _within(laid: Laid | Ground, limit_m: Floats, inverse_reach: Floats) -> Floats:
    """Integral of the taper up to limits (n,) that are no farther than reach and cap."""
    u, width, turn, row = limit_m, laid.width_m, laid.turn_rad, laid.short.row
    share = u * (width + u * ((turn - width * inverse_reach) / 2 - u * turn * inverse_reach / 3))
    if len(row):
        share += sums(row, mass_share(laid.short, u[row], inverse_reach[row]), len(u))
    return share


def brought(
    ground: Ground, stands: Stands, stand: Ints, rate: Floats, group: Ints, groups: int
) -> Laid:
    """The ground of each dressed row, from the ground of its distinct stand."""
    return Laid(
        cap_m=ground.cap_m[stand],
        width_m=ground.width_m[stand],
        turn_rad=ground.turn_rad[stand],
        short=_spread_rows(ground.short, stand),
        stand=stand,
        rate=rate,
        group=group,
        groups=groups,
        perimeter_m=shapely.length(stands.surface)[stand],
        collar_m=stands.collar_width_m[stand],
        outer_m=(stands.collar_width_m + stands.surrounds_width_m)[stand],
        beyond_m=stands.surrounds_width_m[stand],
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
        return 2 * target_kg / np.maximum(half + root, 1e-300)


def _held(laid: Laid) -> _Held:
    short = laid.short
    owner = laid.group[short.row]
    order = np.argsort(owner, kind="stable")
    owner, by_owner = owner[order], take(short, order)
    return _Held(
        width=laid.by_group(laid.rate * laid.width_m),
        turn=laid.by_group(laid.rate * laid.turn_rad),
        short=by_owner._replace(row=owner),
        rate=laid.rate[by_owner.row],
        first=np.searchsorted(owner, np.arange(laid.groups + 1)),
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


def masses(
    laid: Laid, zones: DrawnZones, reach_m: Floats, kinds: int
) -> tuple[dict[int, Floats], Floats]:
    """kg by zone and row at the first reach, and kg (k, G) in the collars at each of them.

    Zones are −1: all, COLLAR, OUTER (collar and surrounds), HAZARD + k over each kind. ``reach_m``
    (k, G) has one a group of ``laid``; inf: as far as the cap.
    """
    reach = _reach_of_rows(laid, reach_m)
    inverse, main = 1 / reach, reach[0]

    def within(limit_m: Floats) -> Floats:
        """At each of the reaches (k, n)."""
        return np.stack([_within(laid, *columns) for columns in zip(limit_m, inverse, strict=True)])

    whole, collar = within(reach), within(np.minimum(laid.collar_m, reach))
    outer = _within(laid, np.minimum(laid.outer_m, main), inverse[0])
    near = zones.plain[laid.stand] & ~(main > laid.beyond_m)
    outer[near] = whole[0, near]
    drawn = np.flatnonzero(zones.drawn[laid.stand])
    wide = drawn[~near[drawn]]
    place, hazards = zones.place[laid.stand], range(HAZARD, HAZARD + kinds)
    asked = [
        Asked(COLLAR, place[drawn], r[drawn], i[drawn]) for r, i in zip(reach, inverse, strict=True)
    ]
    asked.append(Asked(OUTER, place[wide], main[wide], inverse[0, wide]))
    asked += [Asked(k, laid.stand, main, inverse[0]) for k in hazards]
    found = zones.cells.shares(asked)
    collar[:, drawn], outer[wide] = found[: len(reach)], found[len(reach)]
    zone = {-1: whole[0], COLLAR: collar[0], OUTER: outer}
    zone |= dict(zip(hazards, found[len(reach) + 1 :], strict=True))
    most = laid.rate * whole
    kg = {k: _or_nothing(laid.rate * share, most[0]) for k, share in zone.items()}
    kg[OUTER] = np.minimum(kg[OUTER], kg[-1])  # a drawn zone is cut by lines, once each
    kg[COLLAR] = np.minimum(kg[COLLAR], kg[OUTER])
    held = _or_nothing(laid.rate * np.minimum(collar, whole), most)
    return kg, np.stack([laid.by_group(one) for one in held])


def _or_nothing(mass_kg: Floats, most_kg: Floats) -> Floats:
    """0 where there is no reach, and for what is rounding and not sand."""
    return np.where(mass_kg > 1e-12 * most_kg, mass_kg, 0.0)


def areas(ground: Ground, stands: Stands, zones: DrawnZones) -> tuple[Floats, Floats]:
    """Collar and surrounds by stand in m², on its own ground."""
    cap, flat = ground.cap_m, np.zeros(len(ground.cap_m))
    collar = _within(ground, np.minimum(stands.collar_width_m, cap), flat)
    wide = stands.collar_width_m + stands.surrounds_width_m
    outer = _within(ground, np.minimum(wide, cap), flat)
    row = np.flatnonzero(zones.drawn & ~zones.plain)
    if len(row):
        asked = [Asked(zone, row, cap[row], flat[row]) for zone in (COLLAR, OUTER)]
        collar[row], outer[row] = zones.cells.shares(asked)
    surrounds = np.where(zones.plain, zones.surrounds_m2, np.maximum(outer - collar, 0.0))
    return np.where(zones.plain, zones.collar_m2, collar), surrounds


def _reach_of_rows(laid: Laid, reach_m: Floats) -> Floats:
    """Up to the cap (k, n); nan where nothing is thrown."""
    mine = reach_m[:, laid.group]
    capped = np.minimum(np.maximum(mine, 1e-9), laid.cap_m)
    return np.where(mine > 0, capped, np.nan)
