"""Figures that are sums of the same few columns of draws, and their intervals without all draws.

Figures whose weights are nearly alike have nearly the same draws in their tails. From bounds of
each draw over a group of them follows which draws are surely below an interval's bound in all of
them and which are surely above: these are counted, and only what is left is worked out and put in
order. The result is that of all draws, not an approximation.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from geosand.balance.draws import Drawn, between_ranks, tail_rank, tails
from geosand.columns import Floats, Ints

_ALIKE = 6.0  # standard deviations: differences of all figures of a group, from where it is halved
_ROUNDING = 1e-12  # of a bound
_AT_ONCE = 4  # groups: their bounds stay in a processor's own memory


@dataclass(frozen=True, slots=True, kw_only=True)
class Alike:
    """Figures number ``rows`` (n,) of a table: weights (n, K) times columns (K, R) of draws."""

    rows: Ints
    weights: Floats
    columns: Floats

    def values(self) -> Floats:
        """All draws (n, R)."""
        product: Floats = self.weights @ self.columns
        return product

    def read_off(self) -> Drawn:
        """Mean, standard deviation and 95 % interval of each figure."""
        draws = self.columns.shape[1]
        centre = self.columns.mean(axis=1)
        off = self.columns - centre[:, None]
        covariance = off @ off.T / (draws - 1)
        mean = self.weights @ centre
        u = np.sqrt(((self.weights @ covariance) * self.weights).sum(axis=1))
        rank, share = tail_rank(draws)
        return Drawn(mean, u, *between_ranks(self._tails(u, rank), share))

    def _tails(self, u: Floats, rank: int) -> Floats:
        """Those of :func:`geosand.balance.draws.tails` (n, 4)."""
        # of one size, so that a large figure does not differ from a small one by that alone
        size = np.where(self.weights[:, 0] != 0, np.abs(self.weights[:, 0]), 1.0)
        weights, u = self.weights / size[:, None], u / size
        both = np.concatenate([self.columns, np.abs(self.columns)])
        centre = both.mean(axis=1)
        groups = list(_groups(weights * centre[len(self.columns) :], u))
        out = np.empty((len(weights), 4))
        room = np.empty((2 * _AT_ONCE, both.shape[1]))
        for first in range(0, len(groups), _AT_ONCE):
            some = groups[first : first + _AT_ONCE]
            bounds = np.stack([_bounds(weights[rows]) for rows in some], axis=1)
            bounds = bounds.reshape(-1, len(both))  # those from below, then those from above
            typical = np.array([u[rows].mean() for rows in some] * 2)
            drawn = np.matmul(bounds, both, out=room[: len(bounds)])
            known = tails(drawn, rank, bounds @ centre, typical)
            for k, rows in enumerate(some):
                two = [k, k + len(some)]
                out[rows] = self._between(drawn[two], known[two], weights[rows], rank)
        return out * size[:, None]

    def _between(self, bounds: Floats, known: Floats, weights: Floats, rank: int) -> Floats:
        """The same of figures whose draws lie between bounds (2, R), with those of the bounds."""
        (low, high), out = bounds, np.empty((len(weights), 4))
        for first, at in ((rank, 0), (len(low) - 2 - rank, 2)):
            below = high < known[0, at]
            band = np.flatnonzero(~below & (low <= known[1, at + 1]))
            place = first - np.count_nonzero(below)
            some = weights @ self.columns.take(band, axis=1)
            some.partition((place, place + 1), axis=1)
            out[:, at : at + 2] = some[:, place : place + 2]
        return out


def _bounds(weights: Floats) -> Floats:
    """Weights (2, 2 K) of columns and their magnitudes, whose sums no figure (n, K) passes."""
    least, most = weights.min(axis=0), weights.max(axis=0)
    middle, reach = (least + most) / 2, (most - least) / 2 + _ROUNDING * np.abs(most)
    return np.stack([np.concatenate([middle, -reach]), np.concatenate([middle, reach])])


def _groups(effects: Floats, u: Floats) -> Iterator[Ints]:
    """Rows of effects (n, K) in groups that differ little beside their u (n,)."""
    waiting = [np.arange(len(effects))]
    while waiting:
        rows = waiting.pop()
        width = np.ptp(effects[rows], axis=0)
        if len(rows) * width.sum() <= _ALIKE * u[rows].min():
            yield rows
            continue
        order = rows[np.argsort(effects[rows, width.argmax()], kind="stable")]
        waiting += [order[: len(rows) // 2], order[len(rows) // 2 :]]
