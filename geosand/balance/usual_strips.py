"""The strip width that each spreader usually has, and how much it differs between dressings."""

from __future__ import annotations

import numpy as np

from geosand.balance.reconciliation_evidence import Evidence
from geosand.balance.spread import NEW
from geosand.balance.strip_widths import SCATTER, SCATTER_FREEDOM
from geosand.columns import Floats, Ints, ratio

LEAST_FREEDOM = 2  #: that kinds of bags must leave for the scatter to be taken within them


def usual_strips(evidence: Evidence) -> tuple[Floats, Floats]:
    """Median strip width (k,) m of each spreader, and its standard deviation between dressings, m.

    With m the median, √((2·(0.25·m)² + Σ(s − m)² − (n − 1)·v)/(2 + n − 1)), v being what catches
    and bags make of it (mean), as their errors have places of their own. From 4 dressings up
    without the one farthest off, and without overthrows below zero by more than 2 u, which no strip
    can have. Neither follows one faulty dressing, so that it does not hide itself. Where kinds of
    bags come back often enough, the scatter is about the median of the dressings of each set of
    kinds, so that a kind that is off does not hide itself either.
    """
    each = ratio(evidence.overthrow_kg, evidence.edge_kg)
    overthrow = evidence.spread.minus(evidence.on_surfaces)
    can_be = evidence.overthrow_kg > -2 * overthrow.u()
    new = sum((v**2 for k, v in overthrow.effects.items() if k in NEW), np.zeros(len(each)))
    noise = ratio(new, evidence.edge_kg**2)
    kinds = _kinds_of_bags(evidence)
    median, between = np.zeros((2, len(evidence.spreaders)))
    for k in range(len(median)):
        mine = (evidence.spreader == k) & can_be
        if not mine.any():
            continue
        median[k] = max(float(np.median(each[mine])), 0.0)
        square, freedom = _scatter(each[mine], kinds[mine], median[k])
        prior = SCATTER_FREEDOM * (SCATTER * median[k]) ** 2
        square = max(square - freedom * float(noise[mine].mean()), 0.0)
        between[k] = np.sqrt((prior + square) / (SCATTER_FREEDOM + freedom))
    return median, np.minimum(between, median)


def _kinds_of_bags(evidence: Evidence) -> Ints:
    """A number (b,) for the kinds of bags of each dressing, the same for the same kinds."""
    loads = evidence.site.loads
    sets = [frozenset(loads.label[loads.dressing == d].tolist()) for d in evidence.dressing]
    return np.array([sets.index(one) for one in sets], dtype=np.int64)


def _scatter(each: Floats, kinds: Ints, median: float) -> tuple[float, int]:
    """Sum of squares of strips about those of their own kinds of bags, and its degrees of freedom.

    About the median of all where the kinds leave less than two degrees of freedom. From 4 strips
    up without the one farthest off.
    """
    centre, groups = np.full(len(each), median), 1
    different = sorted(set(kinds.tolist()))
    if len(each) - len(different) >= LEAST_FREEDOM:
        groups = len(different)
        for kind in different if groups > 1 else ():
            centre[kinds == kind] = np.median(each[kinds == kind])
    square = np.sort((each - centre) ** 2)
    square = square[:-1] if len(square) >= 4 else square
    return float(square.sum()), max(len(square) - groups, 0)
