"""What zones hold of the taper beside each stand, by sums over the crossings of its strips.

Of one strip up to a crossing at l, for a reach L: where L ≥ l it holds A + B/L, with A and B of the
strip and l alone; where L is below l and the strip's cut, W·(L − L²/2L) + T·(L²/2 − L³/3L), W its
width and T its opening. So sums of A and B over a zone's crossings within a reach and of W and T
over those beyond it serve any reach; only strips that are cut short of their crossing are gone
through one by one, and crossings are put in order of l only where some lie on either side of a
reach. The sums are of whole numbers, in a unit of each cell's own, so that they are exact in any
order.

A stand is *plain* where its collar is close and none of its strips is cut. Plain stands of a case
share its crossings; those with the band round the collar are laid only for a reach beyond what the
band's width holds anyhow.
"""

from __future__ import annotations

import numpy as np
import shapely

from geosand.areas.outline_bearings import (
    bearing,
    edge_towards,
    outlines_of,
    parts_of,
    square_to_edges_beside,
)
from geosand.balance.rings.collars import Bands, Collars, bands_of
from geosand.balance.rings.ground import Ground
from geosand.balance.rings.outward import collar_zone, outer_zone, outward_strips, zone_crossings
from geosand.balance.rings.stands import Stands
from geosand.balance.rings.strips import OUTER, Crossings, mass_share, mean_over_cut, together
from geosand.columns import Bools, Floats, Geometries, Ints, distinct, ragged, take
from geosand.tuples import NamedTuple

_FARTHEST_M = 1024.0  #: no crossing lies so far
_PARTS = 2**24  #: of a metre, by which crossings of a cell are put in order
_WHOLE_BITS = 61  #: of the sums of a cell; one bit of 63 to spare


class Asked(NamedTuple):
    """Rows of whose zone it is asked what it holds of the taper."""

    zone: int
    stand: Ints
    reach_m: Floats
    inverse_reach: Floats  #: 1/L, or 0 for the area within the reach


class ZoneCells(NamedTuple):
    """Crossings by cell, (stands × zones) in one row, and their sums."""

    zones: int
    place: Ints  #: of each crossing: its cell and its distance as one number
    first: Ints  #: of each cell's crossings, with the end of the last
    ends: Ints  #: (2, cells) the least and the largest place
    each: Ints  #: (4, crossings) A, B, W and T; no W, T of those cut short
    whole: Ints  #: (4, cells) their sums
    unit: Floats  #: (4, cells) of these
    cut: Crossings  #: those whose strip is cut short of them, sorted by cell
    first_cut: Ints  #: of each cell among these, with the end of the last

    def shares(self, asked: list[Asked]) -> list[Floats]:
        """Integrals of the taper over zones, nan where the reach is."""
        zone = np.concatenate([np.full(len(one.stand), one.zone) for one in asked])
        _, *columns = zip(*asked, strict=True)
        found = self._share(zone, *map(np.concatenate, columns))
        return np.split(found, np.cumsum([len(one.stand) for one in asked])[:-1])

    def _share(self, zone: Ints, stand: Ints, reach_m: Floats, inverse_reach: Floats) -> Floats:
        """The same of rows (n,)."""
        known = zone < self.zones
        cell = np.where(known, stand * self.zones + zone, 0)
        share = np.zeros(len(cell))
        held = np.flatnonzero(known & (reach_m > 0) & (self.first[cell + 1] > self.first[cell]))
        cell, reach, inverse = cell[held], reach_m[held], inverse_reach[held]
        place = _place(cell, np.minimum(reach, _FARTHEST_M / 2))
        nearest, farthest = self.ends.take(cell, axis=1)
        whole, unit = self.whole.take(cell, axis=1), self.unit.take(cell, axis=1)
        passed = whole * (farthest <= place)
        some = np.flatnonzero((nearest <= place) & (place < farthest))
        if len(some):
            passed[:, some] = self._passed(cell[some], place[some])
        within, beyond = passed[:2] * unit[:2], (whole - passed)[2:] * unit[2:]
        # whole taper as far as each crossing that the reach passes, then up to the reach
        square = reach * reach / 2
        found = within[0] + within[1] * inverse
        found += beyond[0] * (reach - inverse * square)
        found += beyond[1] * (square - inverse * reach**3 / 3)
        some = np.flatnonzero(self.first_cut[cell + 1] > self.first_cut[cell])
        if len(some):
            found[some] += self._of_cut(cell[some], reach[some], inverse[some])
        share[held] = found
        share[np.isnan(reach_m)] = np.nan
        return share

    def _passed(self, cell: Ints, place: Ints) -> Ints:
        """Sums (4, n) over the crossings of cells up to these places.

        They run on from cell to cell and over: only differences within a cell are taken.
        """
        mine = distinct(cell)
        count = self.first[mine + 1] - self.first[mine]
        which = ragged(self.first[mine], count)[1]
        which = which[np.argsort(self.place[which])]
        sums = np.zeros((4, len(which) + 1), dtype=np.int64)
        np.cumsum(self.each.take(which, axis=1), axis=1, out=sums[:, 1:])
        before = (np.cumsum(count) - count)[np.searchsorted(mine, cell)]
        at = np.searchsorted(self.place[which], place, side="right")
        passed: Ints = sums.take(at, axis=1) - sums.take(before, axis=1)
        return passed

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
    order = np.argsort(cell, kind="stable")
    place = _place(cell, crossings.limit_m).take(order)
    held, short = _each(crossings)
    count = np.bincount(cell, minlength=cells)
    first = np.append(0, np.cumsum(count))
    each, unit = _in_units(held.take(order, axis=1), count, first)
    ends, whole = np.zeros((2, cells), np.int64), np.zeros((4, cells), np.int64)
    some = np.flatnonzero(count)
    for end, extreme in zip(ends, (np.minimum, np.maximum), strict=True):
        end[some] = extreme.reduceat(place, first[some])
    whole[:, some] = np.add.reduceat(each, first[some], axis=1)
    cut = np.flatnonzero(short)
    cut = cut[np.argsort(cell[cut], kind="stable")]
    return ZoneCells(
        zones=zones,
        place=place,
        first=first,
        ends=ends,
        each=each,
        whole=whole,
        unit=unit,
        cut=take(crossings._replace(strips=take(crossings.strips, cut)), cut),
        first_cut=np.append(0, np.cumsum(np.bincount(cell[cut], minlength=cells))),
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


def _in_units(each: Floats, count: Ints, first: Ints) -> tuple[Ints, Floats]:
    """The columns (4, n) in whole numbers of units (4, cells): ``count`` rows of each cell."""
    held = np.flatnonzero(count)
    bits = np.zeros((len(each), len(count)), dtype=np.int32)
    if len(held):
        # of no less than the sum, whatever the order of the rows
        most = np.maximum.reduceat(np.abs(each), first[held], axis=1) * count[held]
        _, bits[:, held] = np.frexp(most)
    each *= np.repeat(np.ldexp(1.0, _WHOLE_BITS - bits), count, axis=1)
    return np.rint(each, out=each).astype(np.int64), np.ldexp(1.0, bits - _WHOLE_BITS)


class DrawnZones(NamedTuple):
    """What drawn zones hold; columns by stand."""

    cells: ZoneCells  #: of the stands, then of the close collars
    place: Ints  #: which row of these tells of collar and surrounds
    drawn: Bools  #: its collar is
    plain: Bools
    collar_m2: Floats  #: of plain stands
    surrounds_m2: Floats


def drawn_zones(ground: Ground, stands: Stands, collars: Collars, reach_m: Floats) -> DrawnZones:
    """The zones of all stands; ``reach_m``: the longest one that is asked of each."""
    count, plain = len(stands.surface), ground.plain
    mine = np.flatnonzero(plain)
    place = np.arange(count)
    place[mine] = count + collars.row_of[stands.case[mine]]
    collar_m2, surrounds_m2 = np.zeros((2, count))
    found = [ground.crossings] if len(ground.crossings.zone) else []
    if len(mine):
        first = np.unique(place[mine], return_index=True)[1]
        one = mine[np.sort(first)]  # a stand of each case
        shown = collars.row_of[stands.case[one]]
        width = np.zeros(len(collars.case))
        width[shown] = stands.surrounds_width_m[one]
        bands = bands_of(collars, width)
        which = place[mine] - count
        collar_m2[mine], surrounds_m2[mine] = collars.area_m2[which], bands.area_m2[which]
        wide = np.zeros(len(width), dtype=np.bool_)
        wide[which[reach_m[mine] > width[which]]] = True
        found += _crossings(ground, collars, one, wide[shown], shown, bands)
    return DrawnZones(
        cells=zone_cells(together(found), count + len(collars.case)),
        place=place,
        drawn=~shapely.is_missing(stands.collar),
        plain=plain,
        collar_m2=collar_m2,
        surrounds_m2=surrounds_m2,
    )


def _crossings(
    ground: Ground, collars: Collars, stand: Ints, wide: Bools, collar: Ints, bands: Bands
) -> list[Crossings]:
    """Crossings of some plain stands, with the row of the close collar of each.

    The bands are crossed only where they are ``wide``.
    """
    wanted = np.zeros(len(ground.cut), dtype=np.bool_)
    wanted[stand] = True
    strips = outward_strips(ground.edges, wanted)
    above = len(ground.cut)
    zones = [collar_zone(collars, stand, collar)]
    if wide.any():
        zones.append(outer_zone(collars, stand[wide], collar[wide], bands))
    return [zone_crossings(strips, ground.cap_m, zone, above) for zone in zones]


def farthest_corners_m(
    zones: Geometries, surfaces: Geometries, beyond_m: Floats, field: Ints, fields: int
) -> Floats:
    """Greatest distance by field (F,) of a zone's outer corners from its surface's outline.

    ``beyond_m`` (n) is added to those of each zone. 0 for a field without zones. Only corners that
    may be the farthest of their field are measured against the whole outline.
    """
    parts, of_part = parts_of(zones)
    corners, part = shapely.get_coordinates(shapely.get_exterior_ring(parts), return_index=True)
    row = of_part[part]
    outline = shapely.boundary(surfaces)
    at_most = _at_most_m(corners, row, surfaces) + beyond_m[row]
    of_corner, farthest = field[row], np.zeros(fields)
    highest = np.zeros(fields)
    np.maximum.at(highest, of_corner, at_most)
    few = np.flatnonzero(at_most == highest[of_corner])  # the likeliest corner of each field
    for _ in range(2):
        away = shapely.distance(shapely.points(corners[few]), outline[row[few]])
        np.maximum.at(farthest, of_corner[few], away + beyond_m[row[few]])
        few = np.flatnonzero(at_most > farthest[of_corner] * (1 + 1e-12))
    return farthest


def _at_most_m(corners: Floats, row: Ints, surfaces: Geometries) -> Floats:
    """Distance of corners from the edges in their direction, so not less than from the outline."""
    outlines, own = outlines_of(surfaces)
    usable = np.full(len(surfaces), -1)
    usable[outlines.of[outlines.ordered]] = np.flatnonzero(outlines.ordered)
    ring = usable[row]
    known = np.flatnonzero(ring >= 0)
    ring = ring[known]
    x = corners[known, 0] - outlines.middle_x[ring]
    y = corners[known, 1] - outlines.middle_y[ring]
    edge = edge_towards(outlines, own, ring, bearing(x, y))
    out = np.full(len(row), np.inf)
    out[known] = np.sqrt(square_to_edges_beside(outlines, own, ring, edge, x, y))
    return out
