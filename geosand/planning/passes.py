"""Which way to drive: the overthrow that geometry alone forces, by heading and offset.

Passes are parallel, one swath wide, side by side without gap or overlap. Each starts where its
strip first meets the surface and stops where it last leaves it, spreading over the full width
all the way: the ground covered beyond the surface is forced overthrow, holes and bays included.
Parts that lie apart are driven each on its own, on one grid of strips; where two lie side by side
in a strip, one pass serves both. It is found from the rotated vertices alone: a strip's length is
the difference of the extreme points of the outline in it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from geosand.areas.rings import rings_of
from geosand.columns import Floats, Geometries, Ints, columns, take
from geosand.tuples import NamedTuple

HEADINGS, OFFSETS = 60, 8
#: A heading may need this many times the fewest passes: nobody turns 47 times over a straight of
#: 560 by 25 m that three passes cover (common practice, no published source).
MOST_TURNS = 3.0
#: Of a large surface's sand, what may go over its edge to save all turns, a third of it to save a
#: third: a football field, of which passes across force some hundredths less, is driven along
#: (common practice, no published source).
SHARE_FOR_TURNS, LARGE_M2 = 0.1, 2000.0
#: A last strip that would hold less of a surface is not driven: edges are not known better.
SLIVER_M, SLIVER_SHARE = 0.05, 0.02  #: the lesser of a length and a share of the swath


@dataclass(frozen=True, slots=True, kw_only=True)
class Forced:
    """Ground covered beyond each surface: (S, H, J) by surface, heading and offset."""

    heading_degree: Floats  #: (H,) clockwise from north; a pass goes either way along it
    offset_m: Floats  #: (J,) how far the first pass begins before the edge, across the heading
    excess_m2: Floats  #: (S, H, J)
    passes: Ints  #: (S, H, J)
    area_m2: Floats  #: (S,)


@columns
class Headings:
    """The best way to drive each surface; one row a surface."""

    heading_degree: Floats
    offset_m: Floats
    passes: Ints
    forced_m2: Floats
    worst_heading_degree: Floats
    worst_m2: Floats
    last_m2: Floats  #: at the heading last driven; nan where none is known


def forced_overthrow(
    shapes: Geometries,
    *,
    swath_m: float,
    heading_degree: Floats | None = None,
    offsets: int = OFFSETS,
) -> Forced:
    """Excess = swath · Σ strip lengths − area, for all surfaces, headings and offsets at once.

    ``shapes`` (S,): polygons in metres. ``heading_degree`` (H,): default 60 from 0 to 177°. Offset
    j begins the first pass j/offsets of a swath before the surface's edge. As swath → 0 the excess
    of a circle of radius r tends to 2·r·swath: the upper sum of the chords less their integral.
    """
    heading = np.arange(HEADINGS) * 180.0 / HEADINGS if heading_degree is None else heading_degree
    bands = _bands(shapes, heading, swath_m, offsets)
    shape = (len(shapes), len(heading), offsets)
    length, passes = np.zeros(shape), np.zeros(shape, dtype=np.int64)
    for offset in range(offsets):
        driven = bands.passes(offset, offsets)
        cell, size = driven.surface_cell, shape[0] * shape[1]
        along = np.bincount(cell, driven.high - driven.low, size)
        length[:, :, offset] = along.reshape(shape[:2])
        passes[:, :, offset] = np.bincount(cell, minlength=size).reshape(shape[:2])
    area = shapely.area(shapes)
    excess = np.maximum(swath_m * length - area[:, None, None], 0.0)
    return Forced(
        heading_degree=heading,
        offset_m=np.arange(offsets) * swath_m / offsets,
        excess_m2=np.where((area > 0)[:, None, None], excess, 0.0),
        passes=passes,
        area_m2=area,
    )


def best_headings(
    forced: Forced,
    *,
    last_degree: Floats | None = None,
    avoid_within_degree: float = 0.0,
) -> Headings:
    """The heading and offset of least forced overthrow, against the worst and the last driven.

    Headings are compared at their own best offset. ``last_degree`` (S,), nan = unknown: the excess
    there is that of the nearest heading looked at. ``avoid_within_degree`` above 0 leaves headings
    so near to the last one out of the choice. Of what is left none is chosen that needs more than
    ``MOST_TURNS`` times the fewest passes. From ``LARGE_M2`` up one may force more than the least:
    ``SHARE_FOR_TURNS`` of the area times the share of the passes that it saves.
    """
    by_heading = forced.excess_m2.min(axis=2)
    surfaces = np.arange(len(by_heading))
    last = np.full(len(by_heading), np.nan) if last_degree is None else last_degree
    # headings are lines: 0 and 180 degrees are the same
    apart = np.abs((forced.heading_degree - last[:, None] + 90) % 180 - 90)
    allowed = ~(apart < avoid_within_degree)
    allowed |= ~allowed.any(axis=1, keepdims=True)
    least = forced.excess_m2.argmin(axis=2)[:, :, None]
    passes = np.take_along_axis(forced.passes, least, axis=2)[:, :, 0]
    fewest = np.where(allowed, passes, np.inf).min(axis=1, keepdims=True)
    allowed &= passes <= MOST_TURNS * fewest
    forces_m2 = np.where(allowed, by_heading, np.inf)
    of_least = passes[surfaces, forces_m2.argmin(axis=1)]
    share = np.where(forced.area_m2 >= LARGE_M2, SHARE_FOR_TURNS, 0.0)
    turn_m2 = share * forced.area_m2 / np.maximum(of_least, 1)
    h = (forces_m2 + turn_m2[:, None] * passes).argmin(axis=1)
    worst = by_heading.argmax(axis=1)
    nearest = apart.argmin(axis=1)
    j = forced.excess_m2[surfaces, h].argmin(axis=1)
    return Headings(
        heading_degree=forced.heading_degree[h],
        offset_m=forced.offset_m[j],
        passes=forced.passes[surfaces, h, j],
        forced_m2=by_heading[surfaces, h],
        worst_heading_degree=forced.heading_degree[worst],
        worst_m2=by_heading[surfaces, worst],
        last_m2=np.where(np.isnan(last), np.nan, by_heading[surfaces, nearest]),
    )


def pass_lines(
    shapes: Geometries, *, swath_m: float, heading_degree: Floats, offset_m: Floats
) -> tuple[Geometries, Ints]:
    """Centre lines of all passes in metres, and the surface of each; headings (S,), offsets (S,).

    Every second one runs the other way, as a driver would.
    """
    lines, owner = [np.zeros(0, dtype=object)], [np.zeros(0, dtype=np.int64)]
    finest = 64
    for k in range(len(shapes)):  # few surfaces; one heading each
        shift = round(float(offset_m[k]) / swath_m * finest) % finest
        bands = _bands(shapes[k : k + 1], heading_degree[k : k + 1], swath_m, finest)
        driven = bands.passes(shift, finest)
        low, high = driven.low, driven.high
        across = bands.edge[0] + (driven.strip + 0.5 - shift / finest) * swath_m
        flip = np.arange(len(low)) % 2 == 1
        ends = np.stack([np.where(flip, high, low), np.where(flip, low, high)], axis=1)
        turn = np.radians(heading_degree[k])
        along = np.array([np.sin(turn), np.cos(turn)])
        side = np.array([np.cos(turn), -np.sin(turn)])
        points = ends[:, :, None] * along + across[:, None, None] * side
        lines.append(np.asarray(shapely.linestrings(points), dtype=object))
        owner.append(np.full(len(points), k, dtype=np.int64))
    return np.concatenate(lines), np.concatenate(owner)


class _Passes(NamedTuple):
    """Passes in the order of driving, part by part."""

    surface_cell: Ints  #: (surface, heading) of each
    strip: Ints  #: on the grid of its surface
    low: Floats  #: where it begins and ends, along the heading
    high: Floats

    def joined(self) -> _Passes:
        """Passes of one strip that run side by side as one, in the place of the first of them."""
        order = np.lexsort((self.low, self.strip, self.surface_cell))
        cell, strip, low, high = take(self, order)
        same = (np.diff(cell) == 0) & (np.diff(strip) == 0)
        reach = high.copy()
        # as often as parts lie in a strip
        while (farther := same & (reach[:-1] > reach[1:])).any():
            reach[1:][farther] = reach[:-1][farther]
        first = np.flatnonzero(np.append(True, ~(same & (low[1:] <= reach[:-1]))))
        joined = _Passes(cell[first], strip[first], low[first], np.maximum.reduceat(high, first))
        in_place: _Passes = take(joined, np.argsort(np.minimum.reduceat(order, first)))
        return in_place


@dataclass(frozen=True, slots=True, kw_only=True)
class _Bands:
    """Extreme points of the outline in each thin band; cells are (part, heading), in order."""

    low: Floats  #: least distance along the heading; inf where the band holds nothing
    high: Floats
    count: Ints  #: bands of each cell
    edge: Floats  #: where the first strip of each cell's surface begins, across the heading
    begin: Ints  #: strip of that grid in which each cell's first band lies
    surface_cell: Ints  #: (surface, heading) of each cell
    parted: bool  #: whether a surface has parts that lie apart

    def passes(self, offset: int, per_strip: int) -> _Passes:
        """One pass a strip and part; strips begin ``offset`` bands before the surface's edge."""
        cell = np.repeat(np.arange(len(self.count)), self.count)
        begin = np.cumsum(self.count) - self.count
        number = np.arange(len(cell)) - begin[cell]
        strip = (number + offset) // per_strip
        first = np.flatnonzero((number == 0) | (np.diff(strip, prepend=-1) != 0))
        low, high = np.minimum.reduceat(self.low, first), np.maximum.reduceat(self.high, first)
        driven = np.isfinite(high - low)
        cell, strip = cell[first][driven], strip[first][driven]
        strip = strip + self.begin[cell]
        found = _Passes(self.surface_cell[cell], strip, low[driven], high[driven])
        if not self.parted:
            return found
        by_part: _Passes = take(found, np.lexsort((strip, cell, self.begin[cell])))
        return by_part.joined()


def _bands(shapes: Geometries, heading: Floats, swath_m: float, per_swath: int) -> _Bands:
    """Outlines cut at every band's border, extremes taken per band, part by part.

    All parts of a surface lie on one grid of strips: that of its own edge.
    """
    width_m, headings = swath_m / per_swath, len(heading)
    parts, owner = shapely.get_parts(shapes, return_index=True)
    rings = rings_of(parts)
    begin, end = rings.edges()
    part = rings.per_vertex(rings.surface)
    turn = np.radians(heading)
    along = np.stack([np.sin(turn), np.cos(turn)])
    side = np.stack([np.cos(turn), -np.sin(turn)])
    u = np.stack([begin @ along, end @ along])  # (2, N, H)
    v = np.stack([begin @ side, end @ side])
    cell = np.broadcast_to(part[:, None] * headings + np.arange(headings), u.shape[1:]).ravel()
    near, far = np.full(len(parts) * headings, np.inf), np.full(len(parts) * headings, -np.inf)
    np.minimum.at(near, cell, v[0].ravel())
    np.maximum.at(far, cell, v[0].ravel())
    empty = np.isinf(near)
    near[empty], far[empty] = 0.0, 0.0
    surface_cell = (owner[:, None] * headings + np.arange(headings)).ravel()
    edge = np.full(len(shapes) * headings, np.inf)
    np.minimum.at(edge, surface_cell, near)
    edge = edge[surface_cell]
    strip = np.floor((near - edge) / swath_m + 1e-9).astype(np.int64)
    start = edge + strip * swath_m
    sliver = min(SLIVER_M, SLIVER_SHARE * swath_m)
    count = np.ceil((far - start - sliver) / width_m).clip(0).astype(np.int64)
    low, high = _extremes(u.reshape(2, -1), v.reshape(2, -1) - start[cell], cell, count, width_m)
    return _Bands(
        low=low,
        high=high,
        count=count,
        edge=edge,
        begin=strip,
        surface_cell=surface_cell,
        parted=len(parts) > len(shapes),
    )


def _extremes(
    u: Floats, v: Floats, cell: Ints, count: Ints, width_m: float
) -> tuple[Floats, Floats]:
    """Least and largest u of the pieces of all edges (2, E) in each band, bands end to end."""
    turned = v[0] > v[1]
    u0, u1 = np.where(turned, u[1], u[0]), np.where(turned, u[0], u[1])
    v0, v1 = np.where(turned, v[1], v[0]) / width_m, np.where(turned, v[0], v[1]) / width_m
    # an edge along a band's border belongs to neither side: its neighbours hold its ends
    steep = v1 - v0 > 1e-9
    u0, u1, v0, v1, cell = u0[steep], u1[steep], v0[steep], v1[steep], cell[steep]
    tiny = 1e-9
    bottom = np.floor(v0 + tiny).astype(np.int64)
    pieces = np.maximum(np.ceil(v1 - tiny).astype(np.int64) - bottom, 1)
    edge = np.repeat(np.arange(len(pieces)), pieces)
    band = bottom[edge] + np.arange(len(edge)) - np.repeat(np.cumsum(pieces) - pieces, pieces)
    slope = ((u1 - u0) / (v1 - v0))[edge]
    start = u0[edge] + slope * (np.clip(band, v0[edge], v1[edge]) - v0[edge])
    stop = u0[edge] + slope * (np.clip(band + 1, v0[edge], v1[edge]) - v0[edge])
    kept = (band >= 0) & (band < count[cell[edge]])
    at = ((np.cumsum(count) - count)[cell[edge]] + band)[kept]
    total = int(count.sum())
    low, high = np.full(total, np.inf), np.full(total, -np.inf)
    np.minimum.at(low, at, np.minimum(start, stop)[kept])
    np.maximum.at(high, at, np.maximum(start, stop)[kept])
    return low, high
