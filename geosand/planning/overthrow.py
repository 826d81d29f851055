"""The overthrow to expect, from the strip width that this spreader had before."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geosand.areas.register import AreaRegister
from geosand.balance.account import NOT_CLOSED, Balance
from geosand.balance.strip_widths import STRIP, strip_widths
from geosand.columns import Ints
from geosand.estimates import Estimates, Interval
from geosand.rates.surface_rates import Rates
from geosand.site.tables import Site


@dataclass(frozen=True, slots=True, kw_only=True)
class StripWidth:
    """Width of a strip at full rate that would hold the overthrow, of one spreader."""

    width_m: float  #: mean over its dressings; nan where no dressing tells it
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

    The width is that of ``strip_widths``, the one that a balance with witnesses shows; a further
    dressing is predicted with its scatter from dressing to dressing added: s²·(1 + Σw²), w the
    weights of the mean, with the degrees of freedom of s.
    """
    mine = (site.dressings.spreader == spreader) & (site.dressings.date <= as_of)
    mine &= np.isfinite(balance.overthrow.value)
    faulty = balance.verdict == NOT_CLOSED
    all_of_them = strip_widths(site, register, rates, balance, as_of=as_of)
    row = np.flatnonzero(all_of_them.spreader == spreader)
    if not len(row):
        return StripWidth(
            width_m=float("nan"),
            relative=Estimates(value=np.array([np.nan])),
            dressings=row,
            left_out=np.flatnonzero(mine & faulty),
        )
    mean = all_of_them.width.rows(row)
    another = np.hypot(mean.effects[STRIP], all_of_them.between_m[row])
    return StripWidth(
        width_m=float(mean.value[0]),
        relative=Estimates(
            value=mean.value,
            effects={**mean.effects, STRIP: another},
            degrees_of_freedom=mean.degrees_of_freedom,
        ),
        dressings=np.flatnonzero(mine & ~faulty),
        left_out=np.flatnonzero(mine & faulty),
    )
