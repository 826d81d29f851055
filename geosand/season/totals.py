"""Sums over the season's dressings, with the sources that persist kept together."""

from __future__ import annotations

import numpy as np

from geosand.balance.account import Balance
from geosand.balance.spread import BAGS
from geosand.columns import Bools
from geosand.estimates import Estimates
from geosand.rates.over_time import CATCHES

NEW_EACH_TIME = frozenset({CATCHES, BAGS})


def season_totals(balance: Balance, dressings: Bools) -> dict[str, Estimates]:
    """``spread``, ``on_surfaces`` and ``overthrow`` (kg) of the measured ones of ``dressings``.

    Catches and single bags are new in each dressing; areas, tray size, catch efficiency, labels,
    moisture and the surfaces' own deviations persist and add linearly.
    """
    rows = np.flatnonzero(dressings & np.isfinite(balance.overthrow.value))
    one = np.zeros(len(rows), dtype=np.int64)
    tables = {
        "spread": balance.spread,
        "on_surfaces": balance.on_surfaces,
        "overthrow": balance.overthrow,
    }
    return {
        name: table.rows(rows).group_sum(one, 1, independent=NEW_EACH_TIME)
        for name, table in tables.items()
    }
