"""How well the crew hits a planned rate, from what was caught before."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geosand.areas.register import AreaRegister
from geosand.balance.account import NOT_CLOSED, Balance
from geosand.columns import Floats, Ints
from geosand.rates.surface_rates import Rates
from geosand.site.tables import Site

#: Relative deviation of a dressing from its plan where nothing is known, taken as two dressings;
#: our own choice, no published source.
HIT, HIT_FREEDOM = 0.10, 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class CrewPrecision:
    """How far a dressing lies from its plan, as a share of the plan."""

    u: float
    degrees_of_freedom: float
    ratio: Floats  #: caught / planned mass of each dressing it stands on
    dressings: Ints  #: rows of Dressings


def crew_precision(
    site: Site,
    register: AreaRegister,
    rates: Rates,
    balance: Balance,
    *,
    spreader: str,
    as_of: np.datetime64,
) -> CrewPrecision:
    """Deviation of caught from planned mass over the dressings of a spreader up to a day.

    u² = (2·0.10² + Σ(ratio − 1)²)/(2 + k) of k dressings, with k + 2 degrees of freedom: about the
    plan and not about the crew's own mean, since a crew that spreads a tenth too much needs a tenth
    more sand. Rows without a planned depth or without catches do not count, nor does a dressing
    that does not close: its catches or its records are wrong. What the catches did not see well is
    in it too, so that it is rather too large than too small.
    """
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
    u, freedom = deviation(caught[rows] / meant[rows])
    return CrewPrecision(
        u=u, degrees_of_freedom=freedom, ratio=caught[rows] / meant[rows], dressings=rows
    )


def deviation(ratio: Floats) -> tuple[float, float]:
    """Root mean square deviation of ratios (k,) from 1 with the default's two, and its freedom.

    >>> deviation(np.array([]))
    (0.1, 2.0)
    """
    freedom = HIT_FREEDOM + len(ratio)
    square = (HIT_FREEDOM * HIT**2 + float(((ratio - 1) ** 2).sum())) / freedom
    return float(np.sqrt(square)), freedom
