"""What of the sampling errors of a dressing stays with its surfaces, and what is new in the next.

The error of Σ Aᵢ·rateᵢ over surfaces of one dressing is, with aᵢ = Aᵢ·(1 − wᵢ) and T = Σ aᵢ in the
terms of ``geosand.rates.random_effects``, Σⱼ (T·gⱼ − aⱼ)·bⱼ + Σⱼ (T·gⱼ + Aⱼ·wⱼ)·ēⱼ. Its variance is
Σ aⱼ²·σb² + Σ (Aⱼ·wⱼ)²·σe²/nⱼ + T²·var μ, of which σb²·(T²·Σ gⱼ² − 2T·Σ gⱼaⱼ + Σ aⱼ²) is the same
error in each dressing: surfaces keep their deviations. Of a surface with the only catches nothing
stays, as they measure it each time.
"""

from __future__ import annotations

import numpy as np

from geosand.columns import Floats, Ints, Runs
from geosand.estimates import Estimates

SURFACE, CATCHES, MEAN = "sampling: surface", "sampling: catches", "sampling: mean"
NEW_EACH_TIME = frozenset({CATCHES})  #: not the same error in the next dressing


def sum_over_surfaces(
    rate: Estimates, in_mean: Floats, dressing: Ints, weight: Floats, group: Runs
) -> Estimates:
    """Σ weight · rate by ``group`` of rows of one dressing each; what stays and what is new apart.

    Rows (n,) are dressed surfaces: the ``dressing`` of each, and ``in_mean`` its g.
    """
    table = rate.group_sum(group, group.size, weight=weight)
    deviation = rate.effects[SURFACE] * weight
    total, mixed = group.sums(np.stack([deviation, deviation * in_mean]))
    square = group.firsts(_squares(in_mean, dressing))[0]
    stays = table.effects[SURFACE] ** 2 + total * (total * square - 2 * mixed)
    return _divided(table, np.sqrt(np.maximum(stays, 0.0)))


def surfaces_alone(table: Estimates, in_mean: Floats, dressing: Ints) -> Estimates:
    """A table of dressed surfaces, each by itself; what stays and what is new apart.

    Its rows are not to be added up over a dressing: what they share is no longer told.
    """
    share = 1 - 2 * in_mean + _squares(in_mean, dressing)
    return _divided(table, table.effects[SURFACE] * np.sqrt(np.maximum(share, 0.0)))


def _squares(in_mean: Floats, dressing: Ints) -> Floats:
    """Σ g² over the surfaces of the dressing of each row."""
    squares: Floats = np.bincount(dressing, in_mean**2)[dressing].astype(np.float64)
    return squares


def _divided(table: Estimates, stays: Floats) -> Estimates:
    """The table with ``stays`` of its sampling u as what stays and the rest as what is new."""
    effects = dict(table.effects)
    square = effects[SURFACE] ** 2 + effects[CATCHES] ** 2 + effects.pop(MEAN) ** 2
    effects[SURFACE] = stays
    effects[CATCHES] = np.sqrt(np.maximum(square - stays**2, 0.0))
    return Estimates(
        value=table.value,
        effects=effects,
        per_row=table.per_row,
        degrees_of_freedom=table.degrees_of_freedom,
    )
