"""How catches of a dressing scatter: between its surfaces and on each of them.

Sums of squares and degrees of freedom of each dressing, a default that counts as some more, and
what the other dressings of the same spreader tell: see ``geosand.rates.random_effects``.
"""

from __future__ import annotations

import numpy as np

from geosand.columns import Bools, Floats, Ints
from geosand.rates.groups import group_mean_sd, over
from geosand.tuples import NamedTuple

# With one catch on each surface, σe² and σb² can not be told apart: each is taken as three quarters
# of the variance of the means, more than half of it, as a too small share would be too sure.
INSEPARABLE_SHARE = 0.75


class Prior(NamedTuple):
    """What is taken for granted of both components: see ``rates_of_rows``."""

    relative: float = 0.08
    weight: float = 2.0
    cap: float = 8.0


class Scatter(NamedTuple):
    """Sums of each dressing; one row a dressing."""

    m: Floats  # surfaces with catches
    catches: Floats  # N
    mean: Floats  # of the surface means
    variance: Floats  # of the surface means, 0 for a single one
    reciprocal: Floats  # mean of 1/n over the surfaces
    inseparable: Bools
    squares_e: Floats  # sum of squares that tells of σe, and its degrees of freedom
    df_e: Floats


def scatter_of(
    residual: Floats, group: Ints, n: Ints, mean: Floats, dressed_group: Ints, groups: int
) -> Scatter:
    caught = n > 0
    m, grand, sd = group_mean_sd(mean[caught], dressed_group[caught], groups)
    catches = np.bincount(group, minlength=groups)
    variance = np.where(m > 1, sd**2, 0.0)
    inseparable = (catches == m) & (m > 1)
    within = np.bincount(group, residual**2, groups)
    return Scatter(
        m=m.astype(float),
        catches=catches.astype(float),
        mean=grand,
        variance=variance,
        reciprocal=over(np.bincount(dressed_group[caught], 1 / n[caught], groups), m),
        inseparable=inseparable,
        squares_e=np.where(inseparable, (m - 1) * INSEPARABLE_SHARE * variance, within),
        df_e=np.where(inseparable, m - 1.0, catches - m),
    )


def components(s: Scatter, spreader: Ints, prior: Prior) -> tuple[Floats, Floats, Floats, Bools]:
    """σb², σe², its degrees of freedom and whether others were pooled, a row a dressing."""
    square = prior.relative**2
    with_prior = _posterior(s, square, prior.weight, square, prior.weight)
    squares_b, df_b, squares_e, df_e = _relative_scatter(s, with_prior[1])
    most = max(prior.cap, prior.weight)
    sums, pooled = [], np.zeros(len(spreader), dtype=np.bool_)
    for squares, df in ((squares_b, df_b), (squares_e, df_e)):
        others_df = _others(df, spreader)
        total_df = prior.weight + others_df
        variance = over(prior.weight * square + _others(squares, spreader), total_df)
        sums += [np.where(total_df > 0, variance, 0.0), np.minimum(most, total_df)]
        pooled |= others_df > 0
    variance_b, variance_e = _posterior(s, *sums)
    return variance_b, variance_e, sums[3] + s.df_e, pooled


def _posterior(
    s: Scatter,
    prior_b: Floats | float,
    weight_b: Floats | float,
    prior_e: Floats | float,
    weight_e: Floats | float,
) -> tuple[Floats, Floats]:
    """σb² and σe² from relative prior variances, their degrees of freedom, and the scatter."""
    variance_e = over(weight_e * prior_e * s.mean**2 + s.squares_e, weight_e + s.df_e)
    squares_b = _squares_between(s, variance_e)
    variance_b = over(weight_b * prior_b * s.mean**2 + squares_b, weight_b + s.m - 1)
    nothing = s.m == 0
    variance_b[nothing] = variance_e[nothing] = np.nan
    return variance_b, variance_e


def _squares_between(s: Scatter, variance_e: Floats) -> Floats:
    """(m − 1) times the variance of the surface means beyond what σe explains."""
    excess = np.maximum(0.0, s.variance - variance_e * s.reciprocal)
    # a single surface tells nothing of the differences between surfaces, whatever σe is
    squares = np.where(s.m > 1, (s.m - 1) * excess, 0.0)
    return np.where(s.inseparable, s.squares_e, squares)


def _relative_scatter(s: Scatter, variance_e: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """What each dressing tells others: relative sums of squares and their degrees of freedom."""
    tells = s.mean > 0
    square = np.where(tells, s.mean, 1.0) ** 2
    df_b = np.where(tells, s.m - 1, 0.0)
    df_e = np.where(tells, s.df_e, 0.0)
    squares_b = np.where(df_b > 0, _squares_between(s, variance_e) / square, 0.0)
    return squares_b, df_b, np.where(df_e > 0, s.squares_e / square, 0.0), df_e


def _others(values: Floats, spreader: Ints) -> Floats:
    """Sum over the other dressings with the same spreader; 0 where the spreader is unknown."""
    known = spreader >= 0
    total = np.bincount(spreader[known], values[known])
    others = np.zeros_like(values)
    # rounding may leave less than nothing
    others[known] = np.maximum(0.0, total[spreader[known]] - values[known])
    return others
