"""Draws of uncertain inputs, and intervals read off the draws of a result (JCGM 101:2008).

Normal inputs are Latin hypercube samples (McKay, Beckman & Conover, Technometrics 21, 1979,
239–245) in random orders, freed from correlation (A. B. Owen, Journal of the American Statistical
Association 89, 1994, 1517–1522) and scaled, each draw with its mirror image (J. M. Hammersley &
K. W. Morton, Mathematical Proceedings of the Cambridge Philosophical Society 52, 1956, 449–475; all
from memory). Their mean is 0, their variance 1 and their covariance 0 to the last digits, so that
the u of any sum of them is exact.

Tables of draws have a row an input or figure, a column a draw.
"""

from __future__ import annotations

from functools import cache, lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from geosand.columns import Floats
from geosand.distributions import normal_probability, normal_quantile, student_quantile
from geosand.estimates import COVERAGE
from geosand.tuples import NamedTuple

Singles = NDArray[np.float32]
AnyFloats = NDArray[np.floating[Any]]

_MADE_AT_ONCE = 16  # inputs: few sites have more
_NODES = 16  # of Student's t: within 1e-7 of it at one degree of freedom, 1e-11 from three up
_SPARE = 1.4  # times as many draws as are wanted are looked at in a tail
_ROWS = 12  # figures at a time: more need room, fewer need more calls


def normal_draws(seed: int, draws: int, inputs: int) -> Floats:
    """Common draws (inputs, draws) of uncorrelated inputs of mean 0 and standard deviation 1.

    The same for every caller: an input's draws depend neither on how many others there are nor on
    what was drawn before. Raises ValueError for fewer draws than four times the inputs.
    """
    made = -(-inputs // _MADE_AT_ONCE) * _MADE_AT_ONCE
    if draws < 4 * made:
        raise ValueError(f"draws: found {draws}; at least {4 * made} for {inputs} inputs")
    return _made(seed, draws, made)[:inputs]


@lru_cache(maxsize=4)
def _made(seed: int, draws: int, inputs: int) -> Floats:
    rng, half, strata = np.random.default_rng(seed), draws // 2, _strata(draws)
    table = np.stack(
        [rng.permutation(strata) * rng.choice((-1.0, 1.0), half) for _ in range(inputs)]
    )
    for _ in range(2):  # once leaves 1e-15
        root = np.linalg.cholesky(table @ table.T * (2 / (draws - 1)))
        table = np.linalg.inv(root) @ table
    table = np.concatenate([table, np.zeros((inputs, draws % 2)), -table], axis=1)
    table.flags.writeable = False
    return table


@lru_cache(maxsize=4)
def _strata(draws: int) -> Floats:
    """Normal quantiles of the upper half of the strata, which lie alike about 0."""
    strata: Floats = normal_quantile((np.arange(draws - draws // 2, draws) + 0.5) / draws)
    strata.flags.writeable = False
    return strata


def student_draws(normal: Floats, degrees_of_freedom: Floats) -> Floats:
    """Student's t of scale 1 (F, R) at the probabilities of draws (R,) of :func:`normal_draws`.

    For each of the degrees of freedom (F,), above 0, inf for the normal distribution; its standard
    deviation is √(ν/(ν − 2)), if any. ln(t/z) is a smooth function of z² and is interpolated by
    Chebyshev polynomials through 16 quantiles.
    """
    from numpy.polynomial.chebyshev import chebvander

    half = normal[: len(normal) // 2]  # the other half are their mirror images
    square = half * half
    top = float(np.ceil(square.max()))  # whole, so that few polynomials serve all seeds
    square *= 2 / top
    square -= 1
    powers = chebvander(square, _NODES - 1)
    out = np.zeros((len(degrees_of_freedom), len(normal)))
    for row, freedom in zip(out, degrees_of_freedom.tolist(), strict=True):
        drawn = np.exp(powers @ _stretch(top, freedom), out=row[: len(half)])
        drawn *= half
        np.negative(drawn, out=row[len(normal) - len(half) :])
    return out


@lru_cache(maxsize=1024)
def _stretch(top: float, degrees_of_freedom: float) -> Floats:
    """Terms (16,) of the Chebyshev polynomials of ln(t/z) for z² of 0 to ``top``."""
    from numpy.polynomial.chebyshev import chebvander

    node = np.cos(np.pi * (np.arange(_NODES) + 0.5) / _NODES)
    z = np.sqrt(top * (1 + node) / 2)
    t = -student_quantile(normal_probability(-z), degrees_of_freedom)
    at_nodes = np.asarray(chebvander(node, _NODES - 1), dtype=np.float64)
    terms: Floats = at_nodes.T @ np.log(t / z) * (2 / _NODES)
    terms[0] /= 2
    terms.flags.writeable = False
    return terms


def single_product(weights: Floats, columns: Floats, out: Singles | None = None) -> Singles:
    """Weights (n, K) times columns (K, R) in single precision: half the time, half the room."""
    return np.matmul(weights.astype(np.float32), columns.astype(np.float32), out=out)


class Drawn(NamedTuple):
    """What is read off the draws of figures, columns (n,)."""

    mean: Floats
    u: Floats  #: standard deviation
    low: Floats
    high: Floats


def read_off(values: AnyFloats) -> Drawn:
    """Mean, standard deviation and 95 % interval of the draws (n, R) of n figures."""
    rank, share = tail_rank(values.shape[1])
    mean, u, four = np.empty(len(values)), np.empty(len(values)), np.empty((len(values), 4))
    room = np.empty((min(_ROWS, len(values)), values.shape[1]), dtype=values.dtype)
    for first in range(0, len(values), _ROWS):
        rows = slice(first, first + _ROWS)
        some = values[rows]
        mean[rows] = middle = some.mean(axis=1)
        off = np.subtract(some, middle[:, None], out=room[: len(some)])
        u[rows] = np.sqrt(np.vecdot(off, off) / (values.shape[1] - 1))
        four[rows] = tails(some, rank, mean[rows], u[rows])
    return Drawn(mean, u, *between_ranks(four, share))


def tail_rank(draws: int) -> tuple[int, float]:
    """The draw, counted from 0 up, at or before the lower bound, and the way to the next one.

    Between the bounds lie 95 % of the draws, as many below as above.
    """
    position = (draws - 1) * (1 - COVERAGE) / 2
    return int(position), position - int(position)


def between_ranks(four: Floats, share: float) -> tuple[Floats, Floats]:
    """Bounds (n,) from :func:`tails`."""
    below, above, before, beyond = four.T
    return below + share * (above - below), beyond - share * (beyond - before)


def tails(values: AnyFloats, rank: int, middle: Floats, u: Floats) -> Floats:
    """Of the draws (n, R) of n figures, in order, four (n, 4) about the bounds of an interval.

    They are those number ``rank`` and ``rank`` + 1 from below, counted from 0, then the same from
    above, in ascending order. Only draws far from ``middle`` (n,) in units of ``u`` (n,) are put in
    order; where too few are far enough, all are.
    """
    far = far_enough(rank, values.shape[1]) * u
    below = outermost(values, middle - far, rank)
    above = outermost(values, middle + far, rank, above=True)
    return np.concatenate([below, above], axis=1, dtype=np.float64)


@cache
def far_enough(rank: int, draws: int) -> float:
    """How many standard deviations below the mean draw number ``rank`` + 1 surely lies."""
    share = min(_SPARE * (rank + 2) / draws, 0.5)
    return -float(normal_quantile(share))


def outermost(values: AnyFloats, edge: Floats, rank: int, *, above: bool = False) -> AnyFloats:
    """Draws number ``rank`` and ``rank`` + 1 from below, or above, of each row of draws (n, R).

    In ascending order (n, 2). Only draws beyond an ``edge`` (n,) are put in order; where these are
    too few, all are.
    """
    rows, draws = values.shape
    limit: AnyFloats = edge.astype(values.dtype)[:, None]  # of another precision it would be slow
    chosen = values > limit if above else values < limit
    place = np.flatnonzero(chosen)
    count = np.diff(np.searchsorted(place, np.arange(rows + 1) * draws))
    width = max(int(count.max()), rank + 2)
    table = np.full((rows, width), -np.inf if above else np.inf, dtype=values.dtype)
    table[np.arange(width) < count[:, None]] = values.ravel()[place]
    out = _in_order(table, rank, above)
    few = count < rank + 2
    if few.any():
        out[few] = _in_order(values[few], rank, above)
    return out


def _in_order(table: AnyFloats, rank: int, above: bool) -> AnyFloats:
    first = table.shape[1] - 2 - rank if above else rank
    ordered: AnyFloats = np.sort(table, axis=1)  # quicker than np.partition
    return ordered[:, first : first + 2]
