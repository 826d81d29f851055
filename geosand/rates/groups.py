"""Values of groups: in order, counted, their means and standard deviations."""

from __future__ import annotations

import numpy as np

from geosand.columns import Floats, Ints


def in_order(values: Floats, group: Ints, groups: int) -> tuple[Floats, Ints]:
    """The values (n,) group after group, each group from low to high, and the sizes of the groups.

    ``group`` (n,) are numbers from 0 below ``groups``. Most tables have few sizes of groups, and
    small ones: one call for all of a size takes a quarter of the time of sorting by two keys.

    >>> ordered, count = in_order(np.array([3.0, 9.0, 1.0, 2.0]), np.array([2, 0, 2, 2]), 3)
    >>> ordered.tolist(), count.tolist()
    ([9.0, 1.0, 2.0, 3.0], [1, 0, 3])
    """
    count = np.bincount(group, minlength=groups)
    if (group[1:] < group[:-1]).any():
        values = values[np.argsort(group, kind="stable")]
    ordered = values.copy()
    start = np.cumsum(count) - count
    for size in (np.flatnonzero(np.bincount(count)[2:]) + 2).tolist():
        place = start[count == size, None] + np.arange(size)
        ordered[place] = np.sort(values[place], axis=1)
    return ordered, count


def group_mean_sd(values: Floats, group: Ints, groups: int) -> tuple[Ints, Floats, Floats]:
    """Number, mean and standard deviation (n − 1) of the values of each group.

    ``values`` and ``group`` (index 0 … groups − 1) are equally long. Two passes, the second on
    values centred by group, so that a small scatter about a large mean is not lost. An empty group
    has mean nan, fewer than two values have sd nan.

    >>> group_mean_sd(np.array([1.0, 3.0, 5.0]), np.array([0, 0, 2]), 3)[1]
    array([ 2., nan,  5.])
    """
    n = np.bincount(group, minlength=groups)
    rough = over(np.bincount(group, values, groups), n)
    mean = rough + over(np.bincount(group, values - rough[group], groups), n)
    squares = np.bincount(group, (values - mean[group]) ** 2, groups)
    return n, mean, np.sqrt(over(squares, n - 1))


def over(above: Floats | Ints | float, below: Floats | Ints, empty: float = np.nan) -> Floats:
    """above / below; ``empty`` where below is not above zero."""
    return np.divide(
        above, below, out=np.where(np.isnan(below), np.nan, empty), where=np.asarray(below) > 0
    )
