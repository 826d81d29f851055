"""The stretches of outlines that run near boxes: what is far need not be buffered or overlaid."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely

from geosand.areas.rings import Rings
from geosand.columns import Bools, Floats, Geometries, Ints

_SPARE = 2  #: edges kept beyond the last near one, so that a buffer's corners are the same


def outlines_near(rings: Rings, surface: Ints, bounds: Floats, distance: float) -> Geometries:
    """The stretches of the outline of each ``surface`` (n,) that may be near its box (n,).

    ``surface`` is a number in ``rings``, ``bounds`` (n, 4) the box as west, south, east, north, and
    ``distance`` what counts as near, in the same units. MultiLineStrings; empty where nothing is
    near. Stretches end well outside the box; a ring that is near throughout stays closed.
    """
    row, first, count = _rings_by_row(rings, surface)
    part = np.repeat(np.arange(len(row)), count)
    place = np.arange(len(part)) - (np.cumsum(count) - count)[part]
    vertex = first[part] + place
    begin, end = rings.position[vertex], rings.position[vertex + 1]
    box = bounds[row][part]
    low, high = box[:, :2] - 2 * distance, box[:, 2:] + 2 * distance
    meets = (np.maximum(begin, end) >= low) & (np.minimum(begin, end) <= high)
    near = _with_spare(meets[:, 0] & meets[:, 1], part, place, count)
    # a stretch through the first vertex of a ring is one: its second half is counted on
    gap = np.full(len(row), len(part) + 1)
    np.minimum.at(gap, part[~near], place[~near])
    head = (place < gap[part]) & (gap < count)[part]
    turn = np.where(head, place + count[part], place)
    kept = np.flatnonzero(near)
    kept = kept[np.lexsort((turn[kept], part[kept]))]
    return _lines(begin, end, kept, part, turn, row, len(surface))


def _rings_by_row(rings: Rings, surface: Ints) -> tuple[Ints, Ints, Ints]:
    """Row, first vertex and number of edges of every ring of the surface of each row."""
    order = np.argsort(rings.surface, kind="stable")
    bounds = np.searchsorted(rings.surface[order], np.arange(rings.surfaces + 1))
    start, count = bounds[surface], np.diff(bounds)[surface]
    row = np.repeat(np.arange(len(surface)), count)
    ring = order[np.arange(len(row)) + (start - np.cumsum(count) + count)[row]]
    return row, rings.first[ring], rings.last[ring] - rings.first[ring]


def _with_spare(near: Bools, part: Ints, place: Ints, count: Ints) -> Bools:
    """Near edges and a few before and after each, round the ring."""
    first, size = (np.cumsum(count) - count)[part], count[part]
    out = near.copy()
    for step in range(1, _SPARE + 1):
        out |= near[first + (place + step) % size] | near[first + (place - step) % size]
    return out


def _lines(
    begin: Floats, end: Floats, kept: Ints, part: Ints, turn: Ints, row: Ints, rows: int
) -> Geometries:
    """Edges that follow each other as one line, the lines of a row as one geometry."""
    out = np.full(rows, shapely.MultiLineString(), dtype=object)
    if not len(kept):
        return out
    part, turn = part[kept], turn[kept]
    follows = (np.diff(part, prepend=-1) == 0) & (np.diff(turn, prepend=-1) == 1)
    line = np.cumsum(~follows) - 1
    starts = np.flatnonzero(~follows)
    # each line is its begins and the end of its last edge
    last = np.append(starts[1:], len(kept)) - 1
    position = np.insert(begin[kept], last + 1, end[kept[last]], axis=0)
    lines: Any = shapely.linestrings(position, indices=np.insert(line, last + 1, line[last]))
    used, group = np.unique(row[part[starts]], return_inverse=True)
    out[used] = shapely.multilinestrings(lines, indices=group)
    return out
