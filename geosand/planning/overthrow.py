"""The overthrow to expect, from the strip width that this spreader had before."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geosand.areas.register import AreaRegister
from geosand.balance.account import NOT_CLOSED, Balance
from geosand.columns import Floats, Ints
from geosand.estimates import Estimates, Interval
from geosand.rates.surface_rates import Rates
from geosand.season.totals import NEW_EACH_TIME
from geosand.site.tables import Site

STRIP = "strip width"
#: Relative scatter of the strip width from dressing to dressing where little is known of it, taken
#: as two degrees of freedom; our own choice, no published source.
SCATTER, SCATTER_FREEDOM = 0.25, 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class StripWidth:
    """Width of a strip at full rate that would hold the overthrow, of one spreader."""

    width_m: float  #: Σ overthrow / Σ(rate · perimeter); nan where no dressing tells it
    relative: Estimates  #: one row: width, with what another dressing adds
    dressings: Ints  #: rows of Dressings it stands on
    left_out: Ints  #: rows whose balance does not close: their overthrow is a fault of measurement

    def interval(self) -> Interval:
        """95 % prediction interval of the next dressing's strip width, m."""
        return self.relative.interval(floor=0.0)


def strip_width(
    site: Site,
    register: AreaRegister,
    rates: Rates,
    balance: Balance,
    *,
    spreader: str,
    as_of: np.datetime64,
) -> StripWidth:
    """Strip width of ``spreader`` ("" = not named) over its measured dressings up to ``as_of``.

    Weighted by rate · perimeter, so that a large dressing counts for more. A further dressing is
    predicted with variance shared² + s²·(1 + Σw²/(Σw)²): sources that persist (areas, catch
    efficiency, tray size, label) add with their signs, and s² is the weighted variance between
    dressings, (2·(0.25·width)² + Σwᵢ(widthᵢ − width)²·k/Σw)/(2 + k − 1) for k dressings, with k + 1
    degrees of freedom; it holds the sampling of the catches, which is therefore not added again.
    """
    dressed, size = site.dressed, len(site.dressings)
    around = rates.rate.value * register.perimeter_m[dressed.surface]
    per_metre = np.bincount(dressed.dressing, around, size)
    usable = (site.dressings.spreader == spreader) & (site.dressings.date <= as_of)
    usable &= np.isfinite(balance.overthrow.value) & (per_metre > 0)
    faulty = usable & (balance.verdict == NOT_CLOSED)
    rows = np.flatnonzero(usable & ~faulty)
    if not len(rows):
        return StripWidth(
            width_m=float("nan"),
            relative=Estimates(value=np.array([np.nan])),
            dressings=rows,
            left_out=np.flatnonzero(faulty),
        )
    weight: Floats = per_metre[rows].astype(np.float64)
    total = balance.overthrow.rows(rows).group_sum(
        np.zeros(len(rows), dtype=np.int64), 1, independent=NEW_EACH_TIME
    )
    width = float(total.value[0] / weight.sum())
    each: Floats = balance.overthrow.value[rows] / weight
    spread_out, freedom = another(width, each, weight)
    shared = {
        name: effect / weight.sum()
        for name, effect in total.effects.items()
        if name not in NEW_EACH_TIME
    }
    return StripWidth(
        width_m=width,
        relative=Estimates(
            value=np.array([width]),
            effects={**shared, STRIP: np.array([spread_out])},
            degrees_of_freedom={STRIP: np.array([freedom])},
        ),
        dressings=rows,
        left_out=np.flatnonzero(faulty),
    )


def another(width_m: float, each_m: Floats, weight: Floats) -> tuple[float, float]:
    """How far a further dressing's strip width lies from the mean: its sd, degrees of freedom."""
    n = len(each_m)
    between = float((weight * (each_m - width_m) ** 2).sum() * n / weight.sum())
    prior = SCATTER_FREEDOM * (SCATTER * width_m) ** 2
    freedom = SCATTER_FREEDOM + n - 1
    of_mean = float((weight**2).sum() / weight.sum() ** 2)
    return float(np.sqrt((prior + between) / freedom * (1 + of_mean))), freedom
