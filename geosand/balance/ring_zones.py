"""What zones hold of the taper beside each stand, by sums over the crossings of its strips.

Of one strip up to a crossing at l, for a reach L: where L ≥ l it holds A + B/L, with A and B of the
strip and l alone; where L is below l and the strip's cut, W·(L − L²/2L) + T·(L²/2 − L³/3L), W its
width and T its opening. So the crossings of a zone are summed once, and only those stands are gone
through ray by ray whose reach lies among their crossings.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geosand.balance.ring_strips import OUTER, Crossings, Strips, mass_share, mean_over_cut, ragged
from geosand.columns import Floats, Ints, take


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class ZoneCells:
    """Sums of each cell, (stands × zones) in one row; crossings sorted by cell."""

    zones: int
    crossings: Crossings
    first: Ints  #: of each cell's crossings, with the end of the last
    below_m: Floats  #: a reach up to here meets neither a crossing nor a cut
    beyond_m: Floats  #: a reach from here on lies beyond all crossings
    constant: Floats  #: A
    per_inverse: Floats  #: B
    width: Floats  #: W
    turn: Floats  #: T

    def shares(self, stand: Ints, reach_m: Floats, inverse_reach: Floats) -> Floats:
        """Integrals of the taper (n, zones) for rows of these stands; nan where the reach is."""
        cell = stand[:, None] * self.zones + np.arange(self.zones)
        reach, inverse = reach_m[:, None], inverse_reach[:, None]
        far = self.constant[cell] + self.per_inverse[cell] * inverse
        near = self.width[cell] * (reach - inverse * reach**2 / 2)
        near += self.turn[cell] * (reach**2 / 2 - inverse * reach**3 / 3)
        beyond = reach >= self.beyond_m[cell]
        share: Floats = np.where(beyond, far, near)
        row, zone = np.nonzero(~beyond & (reach > self.below_m[cell]))
        if len(row):
            share[row, zone] = self._among(cell[row, zone], reach_m[row], inverse_reach[row])
        return share

    def _among(self, cell: Ints, reach: Floats, inverse: Floats) -> Floats:
        """The same crossing by crossing."""
        owner, which = ragged(self.first[cell], self.first[cell + 1] - self.first[cell])
        limit = np.minimum(self.crossings.limit_m[which], reach[owner])
        share = mass_share(take(self.crossings.strips, which), limit, inverse[owner])
        return np.bincount(owner, self.crossings.sign[which] * share, len(cell)).astype(np.float64)


def zone_cells(crossings: Crossings, stands: int) -> ZoneCells:
    """The sums of all crossings by stand and zone."""
    zones = 1 + int(crossings.zone.max(initial=OUTER))
    cells = stands * zones
    cell = crossings.strips.row * zones + crossings.zone
    order = np.argsort(cell, kind="stable")
    cell, limit, sign = cell[order], crossings.limit_m[order], crossings.sign[order]
    strips = take(crossings.strips, order)
    cut = np.minimum(strips.cut_start_m, strips.cut_end_m)
    below, beyond = np.full(cells, np.inf), np.zeros(cells)
    np.minimum.at(below, cell, np.minimum(limit, cut))
    np.maximum.at(beyond, cell, limit)
    nothing = np.zeros_like(limit)
    constant = mean_over_cut(strips, limit, strips.width_m, strips.turn_rad / 2, nothing)
    slope = mean_over_cut(strips, limit, nothing, -strips.width_m / 2, -strips.turn_rad / 3)
    return ZoneCells(
        zones=zones,
        crossings=_sorted(crossings, strips, order),
        first=np.searchsorted(cell, np.arange(cells + 1)),
        below_m=below,
        beyond_m=beyond,
        constant=_sums(cell, sign * constant, cells),
        per_inverse=_sums(cell, sign * slope, cells),
        width=_sums(cell, sign * strips.width_m, cells),
        turn=_sums(cell, sign * strips.turn_rad, cells),
    )


def _sorted(crossings: Crossings, strips: Strips, order: Ints) -> Crossings:
    return Crossings(
        strips=strips,
        limit_m=crossings.limit_m[order],
        sign=crossings.sign[order],
        zone=crossings.zone[order],
    )


def _sums(cell: Ints, column: Floats, cells: int) -> Floats:
    return np.bincount(cell, column, cells).astype(np.float64)
