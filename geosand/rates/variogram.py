"""The variogram of a site's catches: pooled over surfaces and dressings, or why it is not known.

Half the squared difference of two catches of one surface and dressing, each over the mean of its
surface, is one reading of γ at their distance (G. Matheron, Economic Geology 58, 1963, 1246–1266).
Readings are averaged by distance and a spherical model is fitted by least squares with weights
N/h² (as gstat does: E. J. Pebesma, Computers & Geosciences 30, 2004, 683–691).

At least 100 places are wanted for a variogram (R. Webster & M. A. Oliver, Journal of Soil Science
43, 1992, 177–192) and 30 pairs at each distance (A. G. Journel & Ch. J. Huijbregts, Mining
Geostatistics, 1978; both from memory).
"""

from __future__ import annotations

import math

import numpy as np

from geosand.columns import Floats, Ints, Sized, columns, ragged, ratio
from geosand.rates.kriging import Variogram

LEAST_CATCHES, LEAST_PAIRS, LEAST_LAGS, LAGS = 100, 30, 4, 12
MOST_PAIRS = 4_000_000  #: of more catches an even part tells as much as all
CHI_SQUARE = 6.0  #: 95 % quantile of 2 degrees of freedom, sill and range, that a flat one lacks
_RANGES = 200  # that are tried, in geometric steps


@columns
class Lags(Sized):
    """The variogram as measured, one row a class of distances that has enough pairs."""

    distance_m: Floats  #: mean of the pairs
    gamma: Floats  #: relative to the mean of the surface, squared
    pairs: Floats


def pooled_lags(points_m: Floats, values: Floats, group: Ints) -> Lags:
    """Lags of the pairs (i, j) of catches of one ``group`` (surface of a dressing).

    ``points_m`` is (n, 2), ``values`` and ``group`` (n,). Distances up to half the largest are
    used, in up to 12 classes of equally many pairs, 30 or more. Values of a group whose mean is not
    above zero are left out, and catches of large groups where there would be more than
    ``MOST_PAIRS`` pairs.
    """
    groups = int(group.max(initial=-1)) + 1
    mean = ratio(np.bincount(group, values, groups), np.bincount(group, minlength=groups))
    known = np.flatnonzero(mean[group] > 0)
    known = _thinned(known[np.argsort(group[known], kind="stable")], group)
    left, right = _pairs_within(group[known])
    left, right = known[left], known[right]
    distance = np.hypot(*(points_m[left] - points_m[right]).T)
    gamma = ((values[left] - values[right]) / mean[group[left]]) ** 2 / 2
    farthest = distance.max(initial=0.0) / 2
    near = (distance > 0) & (distance <= farthest)
    distance, gamma = distance[near], gamma[near]
    # classes of equally many pairs: near ones are few, and tell most
    lags = min(LAGS, len(distance) // LEAST_PAIRS)
    lag = np.empty(len(distance), dtype=np.int64)
    lag[np.argsort(distance, kind="stable")] = np.arange(len(distance)) * lags // len(distance)
    pairs = np.bincount(lag, minlength=lags)[:lags].astype(np.float64)
    return Lags(
        distance_m=np.bincount(lag, distance, lags)[:lags] / pairs,
        gamma=np.bincount(lag, gamma, lags)[:lags] / pairs,
        pairs=pairs,
    )


def _thinned(rows: Ints, group: Ints) -> Ints:
    """Rows, sorted by group, of which ``MOST_PAIRS`` pairs or fewer are of one group.

    Of a group with more rows than each may have, as many are kept, evenly in their order.
    """
    _, start, which, count = np.unique(
        group[rows], return_index=True, return_inverse=True, return_counts=True
    )
    if (count * (count - 1)).sum() <= 2 * MOST_PAIRS:
        return rows
    most = np.minimum(max(math.isqrt(2 * MOST_PAIRS // len(count)), 2), count)[which]
    place = (np.arange(len(rows)) - start[which]) * most
    kept: Ints = rows[place // count[which] != (place - most) // count[which]]
    return kept


def _pairs_within(group: Ints) -> tuple[Ints, Ints]:
    """All pairs i < j of rows of one group; ``group`` is in ascending order."""
    _, start, count = np.unique(group, return_index=True, return_counts=True)
    row = np.arange(len(group))
    return ragged(row + 1, np.repeat(start + count, count) - row - 1)


def fitted(lags: Lags) -> Variogram:
    """Spherical model nearest to the measured lags; its range is at most the farthest of them.

    For each of many ranges the best nugget and sill follow by linear least squares, neither below
    0; the range with the smallest weighted sum of squares wins.
    """
    h, gamma, weight = lags.distance_m, lags.gamma, lags.pairs / lags.distance_m**2
    ranges = np.geomspace(h.min(), h.max(), _RANGES)
    s = np.minimum(h / ranges[:, None], 1.0)
    shape = 1.5 * s - 0.5 * s**3
    mean_shape = (shape @ weight) / weight.sum()
    mean_gamma = float(gamma @ weight / weight.sum())
    off = shape - mean_shape[:, None]
    slope = ratio(off @ (weight * gamma), (off**2) @ weight, empty=0.0)
    # where the best nugget or sill is negative, the best with it at 0
    sill = np.clip(slope, 0.0, None)
    nugget = mean_gamma - sill * mean_shape
    through = ratio(shape @ (weight * gamma), (shape**2) @ weight, empty=0.0)
    sill = np.where(nugget < 0, through, sill)
    nugget = np.maximum(nugget, 0.0)
    rest = ((nugget[:, None] + sill[:, None] * shape - gamma) ** 2) @ weight
    best = int(rest.argmin())
    return Variogram(
        model="spherical",
        nugget=float(nugget[best]),
        sill=float(sill[best]),
        range_m=float(ranges[best]),
    )


def _evidence(lags: Lags, found: Variogram) -> float:
    """How much better the model fits than scatter that is the same at all distances.

    A difference of chi-squares: γ of N pairs has a relative standard deviation of √(2/N).
    """
    flat = np.full(len(lags), float(lags.gamma @ lags.pairs / lags.pairs.sum()))
    model = found.between(lags.distance_m)
    if not (model > 0).all() or not (flat > 0).all():
        return 0.0
    misfits = [float(lags.pairs @ (lags.gamma / g - 1) ** 2) / 2 for g in (flat, model)]
    return misfits[0] - misfits[1]


def site_variogram(points_m: Floats, values: Floats, group: Ints) -> tuple[Variogram | None, str]:
    """The pooled variogram, and one sentence on it or on why there is none."""
    n = len(values)
    if n < LEAST_CATCHES:
        return None, (
            f"no variogram: {n} catch{'' if n == 1 else 'es'} on dressed surfaces, at least"
            f" {LEAST_CATCHES} are needed"
        )
    lags = pooled_lags(points_m, values, group)
    if len(lags) < LEAST_LAGS:
        return None, (
            f"no variogram: at {len(lags)} distances there are {LEAST_PAIRS} pairs of catches on"
            f" one surface, at least {LEAST_LAGS} are needed: lay more trays on a surface"
        )
    found = fitted(lags)
    if _evidence(lags, found) < CHI_SQUARE:
        return None, (
            f"no variogram: as far as {n} catches tell, those {lags.distance_m.min():.1f} m apart"
            " differ as much as those farther apart, so that the plain mean is the best one"
        )
    return found, (
        f"variogram of {n} catches: spherical, range {found.range_m:.1f} m; catches side by side"
        f" scatter by {100 * np.sqrt(found.nugget):.0f} %, far apart on a surface by"
        f" {100 * np.sqrt(found.nugget + found.sill):.0f} %"
    )
