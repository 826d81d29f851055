"""How well the crew hits a planned rate, from what was caught before."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geosand.balance.account import NOT_CLOSED, Balance
from geosand.columns import Floats, Ints

#: Relative deviation of a dressing from its plan where nothing is known, taken as two dressings;
#: our own choice, no published source.
HIT, HIT_FREEDOM = 0.10, 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class CrewPrecision:
    """How far the next dressing will lie from its plan, as a share of the plan."""

    u: float  #: about ``more``
    degrees_of_freedom: float
    more: float  #: that this crew usually spreads above the plan, never below 0
    ratio: Floats  #: caught / planned mass of each dressing it stands on
    dressings: Ints  #: rows of Dressings


def crew_precision(balance: Balance, *, spreader: str, as_of: np.datetime64) -> CrewPrecision:
    """Deviation of caught from planned mass over the dressings of a spreader up to a day.

    Rows without a planned depth or without catches do not count, nor does a dressing
    that does not close: its catches or its records are wrong. What the catches did not see well is
    in it too, so that it is rather too large than too small.
    """
    site, register, rates = balance.site, balance.areas, balance.rates
    dressed, size = site.dressed, len(site.dressings)
    density = rates.density.value[site.dressings.sand[dressed.dressing]]
    planned = dressed.planned_m * density
    both = np.isfinite(planned) & np.isfinite(rates.rate.value) & (planned > 0)
    area, group = register.area_m2[dressed.surface], dressed.dressing
    caught = np.bincount(group[both], (rates.rate.value * area)[both], size)
    meant = np.bincount(group[both], (planned * area)[both], size)
    mine = (site.dressings.spreader == spreader) & (site.dressings.date <= as_of) & (meant > 0)
    mine &= balance.verdict != NOT_CLOSED
    rows = np.flatnonzero(mine)
    ratio = caught[rows] / meant[rows]
    more, u = deviation(ratio)
    return CrewPrecision(
        u=u,
        degrees_of_freedom=HIT_FREEDOM + len(rows),
        more=max(more, 0.0),
        ratio=ratio,
        dressings=rows,
    )


def deviation(ratio: Floats) -> tuple[float, float]:
    """What to expect of the next ratio less 1, from those of k dressings, and its u.

    The default counts as two dressings on their plan, so that a crew's own mean m is believed by
    k/(k + 2); u² = (2·0.10²/1.5 + Σ(ratio − 1 − m)² + 2k/(k + 2)·m²)/(k + 2)·(1 + 1/(k + 2)), with
    k + 2 degrees of freedom: normal dressings of unknown mean and variance with a conjugate prior,
    e.g. Gelman et al., Bayesian Data Analysis, section 3.3 (from memory).

    >>> deviation(np.array([]))
    (0.0, 0.1)
    """
    k, n = len(ratio), HIT_FREEDOM + len(ratio)
    own = float((ratio - 1).mean()) if k else 0.0
    square = HIT_FREEDOM * HIT**2 / (1 + 1 / HIT_FREEDOM)
    square += float(((ratio - 1 - own) ** 2).sum()) + HIT_FREEDOM * k / n * own**2
    return own * k / n, float(np.sqrt(square / n * (1 + 1 / n)))
