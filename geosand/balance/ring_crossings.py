"""Where lines straight out of an edge cross the outlines of zones.

What of a line lies inside a zone is Σ sign·(its part up to the crossing), for a line of any start:
+1 where it leaves the zone, −1 where it enters. Lines and outlines are compared in blocks of
neighbours, those alone whose boxes meet.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import shapely

from geosand.columns import Bools, Floats, Geometries, Ints

_BLOCK = 12  #: lines, and edges, of a block
_AT_ONCE = 256  #: pairs of blocks; few enough to stay in a processor's own memory
_BEYOND = 1.0137  #: of the cap: where to look beyond it; zones often end at the cap itself


def crossings_of(
    at: Floats, out: Floats, first: Ints, last: Ints, zones: Geometries, cap_m: float
) -> tuple[Ints, Ints, Floats, Floats]:
    """Line, zone, distance from the line's start and sign of each crossing.

    ``at`` and ``out`` (n, 2) are starts and unit directions; lines ``first`` to before ``last`` are
    held against each of the oriented polygons ``zones``. Crossings beyond the cap are counted
    together there, and left out where they make nothing.
    """
    row, zone = _ragged(first, last - first)
    end = at[row] + out[row] * (cap_m * _BEYOND)
    shapely.prepare(zones)
    still = np.flatnonzero(shapely.contains_xy(zones[zone], end[:, 0], end[:, 1]))
    found = [(row[still], zone[still], np.full(len(still), cap_m), np.ones(len(still)))]
    centre = shapely.bounds(zones).reshape(-1, 2, 2).mean(axis=1)
    corner, whose, joined = _corners(zones)
    corner = corner - centre[whose]
    start, ahead = at[row] - centre[zone], out[row]
    rays = _blocks(start, end - centre[zone], zone, len(zones))
    edges = _blocks(corner[:-1], corner[1:], whose[:-1], len(zones))
    left = _sides(rays, start, ahead)
    chain = np.minimum(edges.rows[:, :1] + np.arange(_BLOCK + 1), len(corner) - 1)
    corner, joined = corner[chain], joined[edges.rows] & edges.known
    for ray, edge in _near_blocks(rays, edges):
        k, i, j, way = _changes(left[:, ray], corner[edge], joined[edge])
        line, begin = rays.rows[ray[k], i], corner[edge[k], j]
        away, step = begin - start[line], corner[edge[k], j + 1] - begin
        distance = (away[:, 0] * step[:, 1] - away[:, 1] * step[:, 0]) / way
        kept = (distance > 0) & (distance < cap_m * _BEYOND)
        line, distance = line[kept], np.minimum(distance[kept], cap_m)
        found.append((row[line], zone[line], distance, np.sign(way[kept])))
    line, which, distance, sign = (np.concatenate(column) for column in zip(*found, strict=True))
    return line, which, distance, sign


def _ragged(starts: Ints, counts: Ints) -> tuple[Ints, Ints]:
    """Position and owner of each member of runs of ``counts`` rows from ``starts`` on."""
    owner = np.repeat(np.arange(len(counts)), counts)
    return np.arange(len(owner)) + (starts - np.cumsum(counts) + counts)[owner], owner


def _corners(zones: Geometries) -> tuple[Floats, Ints, Bools]:
    """Corners (m, 2) of all rings, whose they are, and (m − 1) which are joined to the next."""
    parts, zone = shapely.get_parts(zones, return_index=True)
    rings, part = shapely.get_rings(parts, return_index=True)
    xy, ring = shapely.get_coordinates(rings, return_index=True)
    return xy, zone[part[ring]], ring[1:] == ring[:-1]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class _Blocks:
    """Rows that follow each other, a dozen at a time, those of each zone by themselves."""

    rows: Ints  #: (b, 12)
    known: Bools  #: (b, 12); False for rows that only fill up a zone's last block
    of_zone: Ints  #: first block of each zone, and the end
    low: Floats  #: (b, 2) corners of their boxes
    high: Floats


def _blocks(begin: Floats, end: Floats, zone: Ints, zones: int) -> _Blocks:
    """Blocks of lines (n, 2) of a zone each, sorted by it."""
    count = np.bincount(zone, minlength=zones)
    blocks = -(-count // _BLOCK)
    place, whose = _ragged(np.zeros(zones, np.int64), blocks)
    first = (np.cumsum(count) - count)[whose] + place * _BLOCK
    rows = first[:, None] + np.arange(_BLOCK)
    known = rows < np.cumsum(count)[whose][:, None]
    rows = np.minimum(rows, len(zone) - 1)
    low, high = np.minimum(begin, end)[rows.T], np.maximum(begin, end)[rows.T]
    return _Blocks(
        rows=rows,
        known=known,
        of_zone=np.append(0, np.cumsum(blocks)),
        low=low.min(axis=0),
        high=high.max(axis=0),
    )


def _sides(rays: _Blocks, start: Floats, out: Floats) -> Floats:
    """(3, b, 12): a place is x·left₀ + y·left₁ + left₂ to the left of a ray."""
    across = out[:, 1] * start[:, 0] - out[:, 0] * start[:, 1]
    left = np.stack((-out[:, 1], out[:, 0], across))[:, rays.rows]
    # a ray that only fills up a block has every corner on one side
    return np.where(rays.known, left, np.array([0.0, 0.0, -1.0])[:, None, None])


def _near_blocks(rays: _Blocks, edges: _Blocks) -> Iterator[tuple[Ints, Ints]]:
    """Blocks of rays and of edges of one zone whose boxes meet, some pairs at a time."""
    zone = np.repeat(np.arange(len(rays.of_zone) - 1), np.diff(rays.of_zone))
    right, left = _ragged(edges.of_zone[zone], np.diff(edges.of_zone)[zone])
    meet = rays.high[left] >= edges.low[right]
    meet &= rays.low[left] <= edges.high[right]
    met = np.flatnonzero(meet[:, 0] & meet[:, 1])
    left, right = left[met], right[met]
    for k in range(0, len(met), _AT_ONCE):
        yield left[k : k + _AT_ONCE], right[k : k + _AT_ONCE]


def _changes(left: Floats, corner: Floats, joined: Bools) -> tuple[Ints, Ints, Ints, Floats]:
    """Block, ray and edge where an edge goes from one side of a ray to the other; and how far.

    ``left`` (3, k, 12) is that of ``_sides``, ``corner`` (k, 13, 2), and ``joined`` (k, 12) says
    between which corners there is an edge.
    """
    side = left[0][:, :, None] * corner[:, None, :, 0]
    side += left[1][:, :, None] * corner[:, None, :, 1]
    side += left[2][:, :, None]
    # a corner is on one side of a ray for both of its edges, so that no crossing is lost
    above = side > 0
    k, i, j = np.nonzero((above[..., 1:] != above[..., :-1]) & joined[:, None])
    return k, i, j, side[k, i, j + 1] - side[k, i, j]
