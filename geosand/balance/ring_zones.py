"""What zones hold of the taper beside each stand, by sums over the crossings of its strips.

Of one strip up to a crossing at l, for a reach L: where L ≥ l it holds A + B/L, with A and B of the
strip and l alone; where L is below l and the strip's cut, W·(L − L²/2L) + T·(L²/2 − L³/3L), W its
width and T its opening. So with the crossings of a zone in order of l, sums of A and B up to a
crossing and of W and T beyond it serve any reach; only strips that are cut short of their crossing
are gone through one by one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from geosand.balance.ring_strips import OUTER, Crossings, Strips, mass_share, mean_over_cut, ragged
from geosand.columns import Floats, Ints, take

_FARTHEST_M = 1024.0  #: no crossing lies so far


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class ZoneCells:
    """Running sums over crossings by cell, (stands × zones) in one row, then by distance."""

    zones: int
    place: Floats  #: of each crossing: its cell and its distance as one number
    first: Ints  #: of each cell's crossings, with the end of the last
    sums: NDArray[
        np.longdouble
    ]  #: (crossings + 1, 4) of A, B, W and T before each; no W, T of those cut short
    cut: Crossings  #: those whose strip is cut short of them, sorted by cell
    first_cut: Ints  #: of each cell among these, with the end of the last

    def shares(self, stand: Ints, reach_m: Floats, inverse_reach: Floats) -> Floats:
        """Integrals of the taper (n, zones) for rows of these stands; nan where the reach is."""
        cell = stand[:, None] * self.zones + np.arange(self.zones)
        reach, inverse = reach_m[:, None], inverse_reach[:, None]
        known = np.minimum(np.nan_to_num(reach), _FARTHEST_M / 2)
        passed = np.searchsorted(self.place, _place(cell, known), side="right")
        up_to, end = self.sums[passed], self.sums[self.first[cell + 1]]
        until = (up_to - self.sums[self.first[cell]]).astype(np.float64)
        after = (end - up_to).astype(np.float64)
        far = until[..., 0] + until[..., 1] * inverse
        near = after[..., 2] * (reach - inverse * reach**2 / 2)
        near += after[..., 3] * (reach**2 / 2 - inverse * reach**3 / 3)
        share: Floats = far + near
        row, zone = np.nonzero(self.first_cut[cell + 1] > self.first_cut[cell])
        if len(row):
            share[row, zone] += self._of_cut(cell[row, zone], reach_m[row], inverse_reach[row])
        return share

    def _of_cut(self, cell: Ints, reach: Floats, inverse: Floats) -> Floats:
        """What the strips hold that are cut short of a crossing beyond the reach."""
        start = self.first_cut[cell]
        owner, which = ragged(start, self.first_cut[cell + 1] - start)
        beyond = self.cut.limit_m[which] > reach[owner]
        owner, which = owner[beyond], which[beyond]
        share = mass_share(take(self.cut.strips, which), reach[owner], inverse[owner])
        return np.bincount(owner, self.cut.sign[which] * share, len(cell)).astype(np.float64)


def _place(cell: Ints, distance_m: Floats) -> Floats:
    return cell + distance_m / _FARTHEST_M


def zone_cells(crossings: Crossings, stands: int) -> ZoneCells:
    """The sums of all crossings by stand and zone."""
    zones = 1 + int(crossings.zone.max(initial=OUTER))
    cells = stands * zones
    cell = crossings.strips.row * zones + crossings.zone
    place = _place(cell, crossings.limit_m)
    order = np.argsort(place, kind="stable")
    cell, limit, sign = cell[order], crossings.limit_m[order], crossings.sign[order]
    strips: Strips = take(crossings.strips, order)
    nothing = np.zeros_like(limit)
    constant = mean_over_cut(strips, limit, strips.width_m, strips.turn_rad / 2, nothing)
    slope = mean_over_cut(strips, limit, nothing, -strips.width_m / 2, -strips.turn_rad / 3)
    short = np.minimum(strips.cut_start_m, strips.cut_end_m) < limit
    whole = np.where(short, 0.0, sign)
    each = (sign * constant, sign * slope, whole * strips.width_m, whole * strips.turn_rad)
    # wider numbers: a cell's sums are small differences of those of all
    sums = np.zeros((len(limit) + 1, 4), dtype=np.longdouble)
    np.cumsum(np.column_stack(each), axis=0, out=sums[1:])
    cut = np.flatnonzero(short)
    every = np.arange(cells + 1)
    return ZoneCells(
        zones=zones,
        place=place[order],
        first=np.searchsorted(cell, every),
        sums=sums,
        cut=Crossings(
            strips=take(strips, cut),
            limit_m=limit[cut],
            sign=sign[cut],
            zone=crossings.zone[order][cut],
        ),
        first_cut=np.searchsorted(cell[cut], every),
    )
