"""Figures that are sums of the same few columns of draws, and their intervals without all draws.

Figures whose weights are nearly alike have nearly the same draws in their tails. From bounds of
each draw over a group of them follows which draws are surely below an interval's bound in all of
them and which are surely above: these are counted, and only what is left is worked out and put in
order. The result is that of all draws, not an approximation.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geosand.balance.draws import Drawn, between_ranks, far_enough, outermost, tail_rank
from geosand.columns import Floats, Ints

_ALIKE = 4.0  # standard deviations: differences of all figures of a group, from where it is halved
_ROUNDING = 1e-12  # of a bound
_AT_ONCE = 16  # groups: the bounds of the draws looked at stay in a processor's own memory


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
        order, starts = _groups(weights * centre[len(self.columns) :], u)
        weights, u, out = weights[order], u[order], np.empty((len(u), 4))
        below = _lowest(weights, u, both, centre, starts, rank)
        above = -_lowest(-weights, u, both, centre, starts, rank)
        out[order] = np.concatenate([below, above[:, ::-1]], axis=1)
        return out * size[:, None]


def _lowest(
    weights: Floats, u: Floats, both: Floats, centre: Floats, starts: Ints, rank: int
) -> Floats:
    """Draws number ``rank`` and ``rank`` + 1 (n, 2) from below of figures (n, K).

    Groups of them begin at ``starts`` (G,); ``both`` (2 K, R) are the columns and their magnitudes,
    ``centre`` (2 K,) their means.
    """
    far = far_enough(rank, both.shape[1])
    # few draws are low in any figure: only these are looked at group by group
    bounds = _bounds(weights, starts[:1])
    low, high = bounds @ both
    edge = outermost(high[None], (bounds @ centre)[1:] - far * u.max(), rank)[0, 1]
    both = both.take(np.flatnonzero(low <= edge), axis=1)
    columns, out = both[: weights.shape[1]], np.empty((len(weights), 2))
    ends = np.append(starts[1:], len(weights))
    bounds = _bounds(weights, starts)
    edges = bounds @ centre - far * np.tile(np.add.reduceat(u, starts) / (ends - starts), 2)
    bounds, edges = bounds.reshape(2, -1, len(both)), edges.reshape(2, -1)
    for first in range(0, len(starts), _AT_ONCE):
        some = slice(first, first + _AT_ONCE)
        low, high = bounds[:, some] @ both
        low_edge, high_edge = edges[:, some]
        surely = high < outermost(low, low_edge, rank)[:, :1]
        band = low <= outermost(high, high_edge, rank)[:, 1:]
        band ^= surely
        for k, (lower, chosen) in enumerate(zip(surely, band, strict=True), first):
            one, place = slice(starts[k], ends[k]), rank - np.count_nonzero(lower)
            values = weights[one] @ columns.take(np.flatnonzero(chosen), axis=1)
            values.partition((place, place + 1), axis=1)
            out[one] = values[:, place : place + 2]
    return out


def _bounds(weights: Floats, starts: Ints) -> Floats:
    """Weights (2 G, 2 K) of columns and their magnitudes, whose sums no figure (n, K) passes.

    A group of figures begins at each of ``starts`` (G,). Bounds from below, then those from above.
    """
    least, most = np.minimum.reduceat(weights, starts), np.maximum.reduceat(weights, starts)
    middle = (least + most) / 2
    reach = (most - least) / 2 + _ROUNDING * np.maximum(-least, most)
    return np.block([[middle, -reach], [middle, reach]])


def _groups(effects: Floats, u: Floats) -> tuple[Ints, Ints]:
    """Rows of effects (n, K) in order of groups that differ little beside their u (n,).

    And where in that order each group begins.
    """
    rows, starts = np.arange(len(effects)), np.zeros(1, dtype=np.int64)
    while True:
        sizes, part = np.diff(starts, append=len(rows)), effects[rows]
        width = np.maximum.reduceat(part, starts) - np.minimum.reduceat(part, starts)
        wide = sizes * width.sum(axis=1) > _ALIKE * np.minimum.reduceat(u[rows], starts)
        if not wide.any():
            return rows, starts
        group = np.repeat(np.arange(len(starts)), sizes)
        widest = part[np.arange(len(rows)), width.argmax(axis=1)[group]]
        rows = rows[np.lexsort((widest, group))]
        starts = np.sort(np.concatenate([starts, (starts + sizes // 2)[wide]]))
