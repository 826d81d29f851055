"""What zones hold of the taper beside each stand, by sums over the crossings of its strips.

Of one strip up to a crossing at l, for a reach L: where L ≥ l it holds A + B/L, with A and B of the
strip and l alone; where L is below l and the strip's cut, W·(L − L²/2L) + T·(L²/2 − L³/3L), W its
width and T its opening. So with the crossings of a zone in order of l, sums of A and B up to a
crossing and of W and T beyond it serve any reach; only strips that are cut short of their crossing
are gone through one by one. The sums are of whole numbers, in a unit of each cell's own, so that
they are exact and what one cell holds does not depend on those before it.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from geosand.balance.ring_strips import OUTER, Crossings, mass_share, mean_over_cut, ragged
from geosand.columns import Bools, Floats, Ints, take

_FARTHEST_M = 1024.0  #: no crossing lies so far
_PARTS = 2**24  #: of a metre, by which crossings of a cell are put in order
_WHOLE_BITS = 61  #: of the sums of a cell; one bit of 63 to spare


class ZoneCells(NamedTuple):
    """Running sums over crossings by cell, (stands × zones) in one row, then by distance."""

    zones: int
    place: Ints  #: of each crossing: its cell and its distance as one number
    first: Ints  #: of each cell's crossings, with the end of the last
    sums: Ints  #: (4, crossings + 1) of A, B, W and T before each; no W, T of those cut short
    unit: Floats  #: (4, cells) of the sums
    cut: Crossings  #: those whose strip is cut short of them, sorted by cell
    first_cut: Ints  #: of each cell among these, with the end of the last

    def shares(self, stand: Ints, reach_m: Floats, inverse_reach: Floats) -> Floats:
        """Integrals of the taper (n, zones) for rows of these stands; nan where the reach is."""
        every = (stand[:, None] * self.zones + np.arange(self.zones)).ravel()
        share = np.zeros(len(every))
        held = np.flatnonzero(self.first[every + 1] > self.first[every])
        cell, row = every[held], held // self.zones
        reach, inverse = reach_m[row], inverse_reach[row]
        known = np.minimum(np.nan_to_num(reach), _FARTHEST_M / 2)
        passed = np.searchsorted(self.place, _place(cell, known), side="right")
        first, last = self.first[cell], self.first[cell + 1]

        def between(which: int, start: Ints, end: Ints) -> Floats:
            column = self.sums[which]
            total: Floats = (column[end] - column[start]) * self.unit[which, cell]
            return total

        # whole taper as far as each crossing that the reach passes, then up to the reach
        share[held] = between(0, first, passed) + between(1, first, passed) * inverse
        share[held] += between(2, passed, last) * (reach - inverse * reach**2 / 2)
        share[held] += between(3, passed, last) * (reach**2 / 2 - inverse * reach**3 / 3)
        some = np.flatnonzero(self.first_cut[cell + 1] > self.first_cut[cell])
        if len(some):
            share[held[some]] += self._of_cut(cell[some], reach[some], inverse[some])
        table: Floats = share.reshape(-1, self.zones)
        table[np.isnan(reach_m)] = np.nan
        return table

    def _of_cut(self, cell: Ints, reach: Floats, inverse: Floats) -> Floats:
        """What the strips hold that are cut short of a crossing beyond the reach."""
        start = self.first_cut[cell]
        owner, which = ragged(start, self.first_cut[cell + 1] - start)
        beyond = self.cut.limit_m[which] > reach[owner]
        owner, which = owner[beyond], which[beyond]
        share = mass_share(take(self.cut.strips, which), reach[owner], inverse[owner])
        return np.bincount(owner, self.cut.sign[which] * share, len(cell)).astype(np.float64)


def _place(cell: Ints, distance_m: Floats) -> Ints:
    # crossings in one part of a metre may change places: what that adds is less than rounding does
    return cell * int(_FARTHEST_M * _PARTS) + (distance_m * _PARTS).astype(np.int64)


def zone_cells(crossings: Crossings, stands: int) -> ZoneCells:
    """The sums of all crossings by stand and zone."""
    zones = 1 + int(crossings.zone.max(initial=OUTER))
    cells = stands * zones
    cell = crossings.strips.row * zones + crossings.zone
    place = _place(cell, crossings.limit_m)
    order = np.argsort(place)
    held, short = _each(crossings)
    every = np.arange(cells + 1)
    first = np.searchsorted(cell[order], every)
    sums, unit = _running(held[:, order], cell[order], first)
    cut = np.flatnonzero(short)
    cut = cut[np.argsort(cell[cut], kind="stable")]
    return ZoneCells(
        zones=zones,
        place=place[order],
        first=first,
        sums=sums,
        unit=unit,
        cut=Crossings(
            strips=take(crossings.strips, cut),
            limit_m=crossings.limit_m[cut],
            sign=crossings.sign[cut],
            zone=crossings.zone[cut],
        ),
        first_cut=np.searchsorted(cell[cut], every),
    )


def _each(crossings: Crossings) -> tuple[Floats, Bools]:
    """A, B, W and T (4, n) of each crossing, and where its strip is cut short of it: no W, T."""
    strips, limit, sign = crossings.strips, crossings.limit_m, crossings.sign
    width, turn = sign * strips.width_m, sign * strips.turn_rad
    held = np.stack((limit * (width + limit * turn / 2), width, width, turn))
    held[1] = -(limit**2) * (width / 2 + limit * turn / 3)
    short = np.minimum(strips.cut_start_m, strips.cut_end_m) < limit
    some = np.flatnonzero(short)
    if len(some):
        few, limit, width, turn = take(strips, some), limit[some], width[some], turn[some]
        nothing = np.zeros_like(limit)
        held[0, some] = mean_over_cut(few, limit, width, turn / 2, nothing)
        held[1, some] = mean_over_cut(few, limit, nothing, -width / 2, -turn / 3)
        held[2:, some] = 0.0
    return held, short


def _running(each: Floats, cell: Ints, first: Ints) -> tuple[Ints, Floats]:
    """Sums of the columns (4, n) before each row, and their units (4, cells).

    The sums run on from cell to cell and over: only differences within a cell are taken.
    """
    held = np.flatnonzero(first[1:] > first[:-1])
    bits = np.zeros((len(each), len(first) - 1), dtype=np.int32)
    if len(held):
        _, bits[:, held] = np.frexp(np.add.reduceat(np.abs(each), first[held], axis=1))
    unit = np.ldexp(1.0, bits - _WHOLE_BITS)
    whole = np.rint(each / unit[:, cell]).astype(np.int64)
    sums = np.zeros((len(each), each.shape[1] + 1), dtype=np.int64)
    np.cumsum(whole, axis=1, out=sums[:, 1:])
    return sums, unit
