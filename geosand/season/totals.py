"""Sums over the season's dressings, with the sources that persist kept together."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from geosand.balance.account import Balance
from geosand.balance.spread import NEW
from geosand.columns import Bools, Floats, Ints, Runs
from geosand.estimates import Estimates
from geosand.rates.over_time import SURFACE, deviations, stays_of_totals


def season_totals(balance: Balance, dressings: Bools) -> dict[str, Estimates]:
    """``spread``, ``on_surfaces`` and ``overthrow`` (kg) of the measured ones of ``dressings``."""
    rows = np.flatnonzero(dressings & np.isfinite(balance.overthrow.value))
    one = np.zeros(len(rows), dtype=np.int64)
    return sums_of_dressings(balance, rows, one, 1)


def sums_of_dressings(
    balance: Balance, rows: Ints, group: Ints, groups: int
) -> dict[str, Estimates]:
    """``spread``, ``on_surfaces`` and ``overthrow`` (kg) by ``group`` of ``rows`` of Dressings.

    Catches and single bags are new in each dressing; areas, tray size, catch efficiency, labels,
    moisture and the surfaces' own deviations persist. An area and a deviation are of one surface:
    where another is dressed, or caught on, the next time its errors are others.
    """
    spread, on, over = (
        table.rows(rows).group_sum(group, groups, independent=NEW)
        for table in (balance.spread, balance.on_surfaces, balance.overthrow)
    )
    if not len(rows):
        return {"spread": spread, "on_surfaces": on, "overthrow": over}
    place = np.full(len(balance.overthrow), -1, dtype=np.int64)
    place[rows] = group
    lasting = _of_single_surfaces(balance, place, groups)
    return {
        "spread": spread,
        "on_surfaces": replace(on, effects={**on.effects, **lasting}),
        "overthrow": replace(over, effects={**over.effects, **{k: -v for k, v in lasting.items()}}),
    }


def _of_single_surfaces(balance: Balance, place: Ints, groups: int) -> dict[str, Floats]:
    """Effects (groups,) of areas and lasting deviations; ``place`` is a group a dressing, or -1."""
    site, register, rates = balance.site, balance.areas, balance.rates
    dressed = site.dressed
    kept = np.flatnonzero(place[dressed.dressing] >= 0)
    surface, of_row = dressed.surface[kept], place[dressed.dressing[kept]]
    weight = register.area_m2[dressed.surface]
    moved = deviations(rates.rate, rates.in_mean, dressed.dressing, weight)[kept]
    runs, rate = Runs(of_row, groups), rates.rate.value[kept]
    areas = register.errors.effects_of(
        of_row, surface, rate * register.ground_factor[surface], groups, runs
    )
    return {SURFACE: stays_of_totals(moved, site.surfaces.ground[surface], runs, of_row), **areas}
