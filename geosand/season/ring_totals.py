"""What lies beside the edges after a dressing or several: its sums, their sources and limits."""

from __future__ import annotations

import numpy as np

from geosand.balance.account import Balance
from geosand.columns import Floats, Ints
from geosand.estimates import Estimates, Interval
from geosand.rates.over_time import sum_over_dressings
from geosand.season.ring_ledger import ANEW, SHARE, links_of, with_sources


def ring_limits(balance: Balance, period: Ints, periods: int) -> Interval:
    """95 % limits of :func:`ring_totals`, kg: not below zero, nor beyond those of what was thrown.

    Zones hold a part of it, so that neither limit of theirs lies above its own. Its upper limit is
    the sum of what the overthrows of a period are at most; the lower is that of their sum, or the
    sum of theirs where that is more, as one that comes out below zero takes nothing from others.
    """
    bounds = ring_totals(balance, period, periods).interval(floor=0.0)
    over, of = balance.group_overthrow, _period_of_group(balance, period)
    rows = np.flatnonzero((of >= 0) & np.isfinite(over.value))
    of, over = of[rows], over.rows(rows)
    total = sum_over_dressings(over, rows, links_of(balance), of, periods, independent=ANEW)
    each = over.interval(floor=0.0)
    least, most = (np.bincount(of, limit, periods) for limit in (each.low, each.high))
    least = np.maximum(least, total.interval().low)
    low, high = (np.tile(limit, 2) for limit in (least, most))
    return bounds._replace(low=np.minimum(bounds.low, low), high=np.minimum(bounds.high, high))


def _period_of_group(balance: Balance, period: Ints) -> Ints:
    """That of its rows, a row a group; -1 = of none. Rows without ground have none."""
    of = np.full(len(balance.dressing_of_group), -1)
    np.maximum.at(of, balance.group_of_row, period)
    return of


def ring_totals(balance: Balance, period: Ints, periods: int) -> Estimates:
    """Dry product (kg) in all collars of each period, then in all surrounds: 2 · periods rows.

    ``period``: that of each dressed row, -1 = of none; a dressing by itself is one, too. What a
    dressing holds whose catches claim more than was spread is 0, and it may yet hold some
    (:mod:`geosand.balance.throw_shape`). Errors of one overthrow are the same on all its surfaces;
    over dressings they add as in the ring ledger. A surface that throws over more takes from the
    share w of all others: it moves a zone that holds m of it and M of all by m − w·M.
    """
    throw, changes, group = balance.throw, balance.throw_changes, balance.group_of_row
    groups = len(balance.dressing_of_group)
    kept = np.flatnonzero(np.tile(period >= 0, 2))
    of_group = np.tile(group, 2)[kept]
    key = kept // max(len(group), 1) * groups + of_group
    mass = np.nan_to_num(np.concatenate((throw.collar_kg, throw.surrounds_kg))[kept])
    heavier = changes.by_share_kg.ravel()[kept]
    zone = np.bincount(key, heavier, 2 * groups)
    each = with_sources(
        balance,
        mass,
        changes.by_overthrow.ravel()[kept],
        changes.by_shape_kg.ravel()[kept],
        heavier - np.tile(changes.share, 2)[kept] * zone[key],
        of_group,
    )
    together = each.group_sum(key, 2 * groups, independent={SHARE})
    of = _period_of_group(balance, period)
    rows = np.flatnonzero(np.tile(of >= 0, 2))
    return sum_over_dressings(
        together.rows(rows),
        rows % max(groups, 1),
        links_of(balance),
        rows // max(groups, 1) * periods + np.tile(of, 2)[rows],
        2 * periods,
        independent=ANEW,
    )


def laid_out(balance: Balance) -> dict[str, Floats]:
    """Strip width (m), reach (m) and where the overthrow of each dressing lies (kg); nan for none.

    Of several groups of a dressing those that threw sand over, weighted by it.
    """
    throw, size = balance.throw, len(balance.verdict)
    held = np.nan_to_num(throw.group_collar_kg + throw.group_surrounds_kg + throw.group_farther_kg)
    over = np.flatnonzero(held > 0)
    group, kept = balance.dressing_of_group[over], held[over]

    def total(column: Floats) -> Floats:
        return np.bincount(group, column[over], size).astype(np.float64)

    mass = np.bincount(group, kept, size)
    with np.errstate(invalid="ignore", divide="ignore"):
        columns = {
            "strip_width_m": mass / total(held / throw.strip_width_m),
            "reach_m": total(held * throw.reach_m) / mass,
        }
    zones = ("collar_kg", "surrounds_kg", "farther_kg")
    masses = {name: getattr(throw, f"group_{name}") for name in zones}
    masses |= {name: getattr(throw, name) for name in ("collar_low_kg", "collar_high_kg")}
    for name, of_groups in masses.items():
        sand = total(of_groups)
        columns[name] = np.where(np.abs(sand) < 1e-9 * mass, 0.0, sand)  # rounding, not sand
    return {name: np.where(mass > 0, column, np.nan) for name, column in columns.items()}
