"""Figures that are sums of the same few columns of draws, and their intervals without all draws.

Figures whose weights are nearly alike have nearly the same draws in their tails. From bounds of
each draw over a group of them follows which draws are surely below an interval's bound in all of
them and which are surely above: these are counted, and only what is left is worked out and put in
order. Where to look is guessed from the middle of the group; a bound that is found elsewhere is
sought among all draws. The result is that of all draws, not an approximation: the bounds of draws
are in single precision and wider by its rounding, the figures are worked out in double.

What is found for a figure does not depend, to the last digit, on which others are beside it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geosand.balance.draws import (
    Drawn,
    Singles,
    between_ranks,
    far_enough,
    outermost,
    tail_rank,
)
from geosand.columns import Floats, Ints

_CELL = 0.2  # standard deviations: figures of a group differ no more along any axis; of many, less
_FEW = 300  # figures
_BESIDE = 0.05  # standard deviations: how near the guess a bound is looked for
_NOTHING = 1e-14  # of the largest variance: what varies less is a direction without draws
_GROUPS, _FIGURES = 8, 64  # at a time: their draws stay in a processor's own memory


@dataclass(frozen=True, slots=True, kw_only=True)
class Alike:
    """Figures number ``rows`` (n,) of a table: weights (n, K) times columns (K, R) of draws."""

    rows: Ints
    weights: Floats
    columns: Floats

    def read_off(self) -> Drawn:
        """Mean, standard deviation and 95 % interval of each figure."""
        draws = self.columns.shape[1]
        centre = self.columns.mean(axis=1)
        off = self.columns - centre[:, None]
        covariance = np.vecdot(off[:, None], off) / (draws - 1)
        mean, *part = sums(self.weights, np.column_stack([centre, covariance])).T
        u = np.sqrt((np.stack(part, axis=1) * self.weights).sum(axis=1))
        rank, share = tail_rank(draws)
        # of one size, so that a large figure does not differ from a small one by that alone
        weights = self.weights / np.where(u > 0, u, 1.0)[:, None]
        four = u[:, None] * _tails(weights, off, covariance, rank) + mean[:, None]
        return Drawn(mean, u, *between_ranks(four, share))


def sums(weights: Floats, columns: Floats) -> Floats:
    """Weights (n, K) times columns (K, R), always added up in the same order.

    The last digit of a matrix product depends on how many rows and columns it has; here, two
    columns or more, it does not.
    """
    total: Floats = np.einsum("nk,kr->nr", weights, columns)
    return total


def _tails(weights: Floats, off: Floats, covariance: Floats, rank: int) -> Floats:
    """Those of :func:`geosand.balance.draws.tails` (n, 4), of figures of mean 0 and u 1.

    Weights (n, K) of columns (K, R) of mean 0, whose covariance is given.
    """
    turned, columns = _turned(weights, off, covariance)
    order, starts = _groups(turned)
    weights, turned, out = weights[order], turned[order], np.empty((len(weights), 4))
    starts = np.append(starts, len(weights))
    for first in range(0, len(starts) - 1, _GROUPS):
        some = starts[first : first + _GROUPS + 1]
        rows = slice(some[0], some[-1])
        part, begin = weights[rows], some - some[0]
        low, high = np.split(_bounds(turned[rows], begin[:-1]) @ columns, 2)
        below = _lowest(part, off, low, high, begin, rank)
        above = -_lowest(-part, off, -high, -low, begin, rank)
        out[order[rows]] = np.concatenate([below, above[:, ::-1]], axis=1)
    return out


def _turned(weights: Floats, off: Floats, covariance: Floats) -> tuple[Floats, Singles]:
    """Weights (n, K) of as many other columns and their magnitudes (2 K, R), with the same sums.

    The columns have variance 1 and no correlation, and stand along the principal axes of the
    weights, so that limits of each weight alone enclose little else than the figures.
    """
    variance, axes = np.linalg.eigh(covariance)
    least = max(_NOTHING * variance[-1], np.finfo(np.float64).tiny)
    spread = np.sqrt(np.maximum(variance, least))
    weights = weights @ (axes * spread)
    apart = weights - weights.mean(axis=0)
    principal = np.linalg.eigh(apart.T @ apart)[1]
    columns = ((axes / spread @ principal).T @ off).astype(np.float32)
    return weights @ principal, np.concatenate([columns, np.abs(columns)])


def _lowest(
    weights: Floats, off: Floats, low: Singles, high: Singles, starts: Ints, rank: int
) -> Floats:
    """Draws number ``rank`` and ``rank`` + 1 (n, 2) from below of figures (n, K).

    Groups of them begin at ``starts`` (G + 1,), the last of which is n; no draw of a group's
    figures lies below its ``low`` (G, R) or above its ``high``.
    """
    draws = low.shape[1]
    edge = np.full(len(low), -far_enough(rank, draws))
    guess = outermost((low + high) / 2, edge, rank)
    least, most = guess[:, 0] - np.float32(_BESIDE), guess[:, 1] + np.float32(_BESIDE)
    surely = high < least[:, None]
    band = low <= most[:, None]
    band ^= surely
    place = [rank - np.count_nonzero(lower) for lower in surely]
    chosen = np.flatnonzero(band)
    begin = np.searchsorted(chosen, np.arange(len(low) + 1) * draws)
    chosen %= draws
    out = np.full((len(weights), 2), np.nan)
    for k, first in enumerate(place):
        columns = off.take(chosen[begin[k] : begin[k + 1]], axis=1)
        if 0 <= first < columns.shape[1] - 1:
            for row in range(int(starts[k]), int(starts[k + 1]), _FIGURES):
                rows = slice(row, min(row + _FIGURES, starts[k + 1]))
                values = sums(weights[rows], columns)
                values.sort(axis=1)
                out[rows] = values[:, first : first + 2]
    group = np.repeat(np.arange(len(low)), np.diff(starts))
    found = (out[:, 0] >= least[group]) & (out[:, 1] <= most[group])
    for row in np.flatnonzero(~found).tolist():
        out[row] = np.sort(sums(weights[row : row + 1], off)[0])[rank : rank + 2]
    return out


def _bounds(weights: Floats, starts: Ints) -> Singles:
    """Weights (2 G, 2 K) of columns and their magnitudes, whose sums no figure (n, K) passes.

    A group of figures begins at each of ``starts`` (G,). Bounds from below, then those from above.
    """
    least, most = np.minimum.reduceat(weights, starts), np.maximum.reduceat(weights, starts)
    middle = (least + most) / 2
    rounding = (2 * weights.shape[1] + 4) * np.finfo(np.float32).eps
    reach = (most - least) / 2 + rounding * np.maximum(-least, most)
    return np.block([[middle, -reach], [middle, reach]]).astype(np.float32)


def _groups(weights: Floats) -> tuple[Ints, Ints]:
    """Rows of weights (n, K) in order of groups that differ little: cells of a lattice.

    And where in that order each group begins.
    """
    cells = np.floor(weights.T / (_CELL * min(1.0, (_FEW / len(weights)) ** 0.25)))
    order = np.lexsort(cells)
    cells = cells[:, order]
    new = (cells[:, 1:] != cells[:, :-1]).any(axis=0)
    return order, np.append(0, np.flatnonzero(new) + 1)
