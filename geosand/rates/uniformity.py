"""How evenly sand fell: coefficient of variation, low quarter, Christiansen's coefficient."""

from __future__ import annotations

import numpy as np

from geosand.columns import Floats, Ints, columns
from geosand.rates.groups import group_mean_sd, in_order

#: Fewer catches give no figures.
LEAST_CATCHES = 4


@columns
class Uniformity:
    """Uniformity of the depths of each group; one row a group; ratios, not percent.

    Each is nan below four catches and where the mean is not above zero; mean and sd are told from
    one and two catches up, in the unit of the depths.
    """

    n: Ints  #: catches
    mean: Floats
    sd: Floats  #: standard deviation (n − 1)
    cv: Floats  #: sd / mean
    du_lq: Floats  #: mean of the lowest quarter / mean
    du_lh: Floats  #: mean of the lower half / mean
    cu: Floats  #: Christiansen's coefficient, 1 − mean absolute deviation / mean


def uniformity(depth: Floats, group: Ints, groups: int) -> Uniformity:
    """Uniformity of the catches of each group.

    ``depth`` (m, or any other unit common to a group) and ``group`` (index 0 … groups − 1) have one
    row a catch. Group by surface, and call again with one group for all surfaces together.

    The low quarter is the round(n/4) lowest catches, halves to the even number, at least one; other
    rules differ by several percent. The lower half is the round(n/2) lowest in the same way. The
    coefficients are those of J. E. Christiansen, Irrigation by sprinkling, California Agricultural
    Experiment Station Bulletin 670 (1942), and of J. L. Merriam and J. Keller, Farm irrigation
    system evaluation (1978).

    >>> result = uniformity(np.array([2.0, 4.0, 4.0, 6.0]), np.zeros(4, int), 1)
    >>> result.du_lq, result.cu
    (array([0.5]), array([0.75]))
    """
    ordered, n = in_order(depth, group, groups)
    _, mean, sd = group_mean_sd(ordered, np.repeat(np.arange(groups), n), groups)
    off = np.append(ordered - np.repeat(mean, n), 0.0)
    start = np.cumsum(n) - n
    usable = (n >= LEAST_CATCHES) & (mean > 0)
    over = np.where(usable, mean, np.nan)

    def of_lowest(parts: int) -> Floats:
        """Mean of the lowest catches of each group over the mean of all."""
        lowest = np.maximum(1, np.rint(n / parts))  # rint takes halves to the even number
        return 1 + _sums(off, start, lowest.astype(np.int64), n) / lowest / over

    return Uniformity(
        n=n,
        mean=mean,
        sd=sd,
        cv=sd / over,
        du_lq=of_lowest(4),
        du_lh=of_lowest(2),
        cu=1 - _sums(np.abs(off), start, n, n) / np.maximum(n, 1) / over,
    )


def _sums(column: Floats, start: Ints, count: Ints, n: Ints) -> Floats:
    """Sum of the first ``count`` values of each group; 0 where the group has none (``n`` is 0)."""
    out = np.zeros(len(n))
    some = np.flatnonzero(n)
    ends = np.stack([start[some], start[some] + count[some]], axis=1)
    if some.size:
        out[some] = np.add.reduceat(column, ends.ravel())[::2]
    return out
