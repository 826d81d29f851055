"""What collars and surrounds of a site hold after several dressings, with its sources."""

from __future__ import annotations

import numpy as np

from geosand.areas.register import AreaRegister
from geosand.balance.account import Balance
from geosand.balance.throw_shape import changes_of
from geosand.columns import Bools
from geosand.estimates import Estimates
from geosand.rates.over_time import sum_over_dressings
from geosand.rates.surface_rates import Rates
from geosand.season.ring_ledger import ANEW, SHARE, links_of, with_sources
from geosand.site.tables import Site


def ring_totals(
    site: Site, register: AreaRegister, rates: Rates, balance: Balance, counted: Bools
) -> Estimates:
    """Dry product (kg) in all collars and in all surrounds of one site: two rows.

    ``counted``: which dressed rows. Those of a dressing whose catches claim more than was spread
    hold none, and may yet hold some (:mod:`geosand.balance.throw_shape`). Errors of one overthrow
    are the same on all its surfaces; over dressings they add as in the ring ledger. A surface that
    throws over more takes from the share w of all others: it moves a zone that holds m of it and M
    of all by m − w·M.
    """
    throw, group, groups = balance.throw, balance.group_of_row, len(balance.dressing_of_group)
    changes = changes_of(site, register, rates, balance.group_overthrow, group, throw)
    kept = np.flatnonzero(np.tile(counted, 2))
    of_group = np.tile(group, 2)[kept]
    key = kept // max(len(group), 1) * groups + of_group
    mass = np.nan_to_num(np.concatenate((throw.collar_kg, throw.surrounds_kg))[kept])
    zone = np.bincount(key, mass, 2 * groups)
    each = with_sources(
        balance,
        mass,
        changes.by_overthrow.ravel()[kept],
        changes.by_shape_kg.ravel()[kept],
        mass - np.tile(changes.share, 2)[kept] * zone[key],
        of_group,
    )
    together = each.group_sum(key, 2 * groups, independent={SHARE})
    return sum_over_dressings(
        together,
        np.tile(np.arange(groups), 2),
        links_of(site, register, rates, balance),
        np.repeat(np.arange(2), groups),
        2,
        independent=ANEW,
    )
