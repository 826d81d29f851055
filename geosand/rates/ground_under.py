"""Which polygon each point lies on: of many sites at once, each among its own.

Sites laid end to end all lie about the middle of their own plane: keys keep them apart.
"""

from __future__ import annotations

import numpy as np
import shapely

from geosand.columns import Bools, Floats, Geometries, Ints, ragged

_CELLS_A_BOX = 2  #: about so many, so that most cells meet few boxes
_WORTH_AN_INDEX = 6  #: points in a polygon: for fewer, going round it takes less than its index


def surfaces_under(
    x: Floats,
    y: Floats,
    edition: Ints,
    surfaces: Geometries,
    surface_edition: Ints,
    likely: Ints | None = None,
) -> Ints:
    """Row of ``surfaces`` that each point (n,) lies on, edges included; -1 for none.

    Only surfaces of the point's own ``edition`` count. They own their ground, so that a point
    inside one is on no other; on a common edge the first in the table counts. ``likely`` (n,) are
    rows to look at first, -1 for none.
    """
    out = np.full(len(x), -1, dtype=np.int64)
    if likely is not None:
        known = np.flatnonzero(likely >= 0)
        row = likely[known]
        known = known[surface_edition[row] == edition[known]]
        _inside(surfaces, likely[known], x, y, known, out)
    left = np.flatnonzero(out < 0)
    if not len(left) or not len(surfaces):
        return out
    keys = 1 + int(max(edition.max(), surface_edition.max()))
    grid = BoxGrid(shapely.bounds(surfaces), surface_edition, keys)
    cell = grid.cells(x[left], y[left], edition[left])
    at, end = grid.start[cell], grid.start[cell] + grid.count[cell]
    there, missed = at < end, [(left[:0], left[:0])]
    while there.any():  # the next box of the cell of each point that is still on nothing
        left, at, end = left[there], at[there], end[there]
        box = grid.boxes[at]
        held = np.flatnonzero(grid.holds(box, x[left], y[left]))
        point, row = left[held], box[held]
        on = _inside(surfaces, row, x, y, point, out)
        missed.append((point[~on], row[~on]))
        at += 1
        there = at < end
        there[held[on]] = False
    point, row = (np.concatenate(column) for column in zip(*missed, strict=True))
    _on_edges(surfaces, row, x, y, point, out)
    return out


def _inside(surfaces: Geometries, row: Ints, x: Floats, y: Floats, point: Ints, out: Ints) -> Bools:
    """Write ``row`` to ``out`` for the points inside it, edges not included, and tell which."""
    shapely.prepare(surfaces[np.bincount(row, minlength=len(surfaces)) >= _WORTH_AN_INDEX])
    on: Bools = shapely.contains_xy(surfaces[row], x[point], y[point])
    out[point[on]] = row[on]
    return on


def _on_edges(
    surfaces: Geometries, row: Ints, x: Floats, y: Floats, point: Ints, out: Ints
) -> None:
    """Write to ``out`` the first row on whose edge a point lies that is inside none."""
    bare = np.flatnonzero(out[point] < 0)
    point, row = point[bare], row[bare]
    on = shapely.intersects_xy(surfaces[row], x[point], y[point])
    point, row = point[on], row[on]
    order = np.lexsort((-row, point))
    out[point[order]] = row[order]  # the smallest row is written last


class BoxGrid:
    """Which boxes each cell meets, from small to large.

    ``bounds`` (m, 4) are west, south, east, north; boxes of nan are in no cell. ``key`` (m,) are
    numbers from 0 below ``keys``: a grid for each, over the reach of its boxes.
    """

    def __init__(self, bounds: Floats, key: Ints, keys: int) -> None:
        size = (bounds[:, 2] - bounds[:, 0]) * (bounds[:, 3] - bounds[:, 1])
        boxes = np.argsort(size, kind="stable")
        boxes = boxes[np.isfinite(size[boxes])]
        self._bounds = np.ascontiguousarray(bounds.T)
        west, south, east, north = self._bounds[:, boxes]
        of = key[boxes]
        number = np.bincount(of, minlength=keys)
        self._across = np.maximum(np.ceil(np.sqrt(_CELLS_A_BOX * number)).astype(np.int64), 1)
        self._begun = np.cumsum(self._across**2) - self._across**2
        self._x = _Axis(west, east, of, self._across)
        self._y = _Axis(south, north, of, self._across)
        left, low = self._x.cells(west, of), self._y.cells(south, of)
        wide = self._x.cells(east, of) - left + 1
        many = wide * (self._y.cells(north, of) - low + 1)
        box, step = ragged(np.zeros_like(many), many)
        down, along = np.divmod(step, wide[box])
        cell = (self._begun[of] + low * self._across[of] + left)[box]
        cell += down * self._across[of[box]] + along
        #: rows of ``bounds``, cell by cell: those of a cell begin at ``start``, ``count`` of them
        self.boxes = boxes[box[np.argsort(cell, kind="stable")]]
        self.count = np.bincount(cell, minlength=int((self._across**2).sum()))
        self.start = np.cumsum(self.count) - self.count

    def cells(self, x: Floats, y: Floats, key: Ints) -> Ints:
        """The cell (n,) of points: all boxes of their key that hold them meet it.

        A point beyond the reach of all boxes of its key is in some cell at the rim.
        """
        row: Ints = self._begun[key] + self._y.cells(y, key) * self._across[key]
        return row + self._x.cells(x, key)

    def holds(self, box: Ints, x: Floats, y: Floats) -> Bools:
        """Whether each ``box`` (n,), a row of the bounds, holds its point; edges count."""
        west, south, east, north = self._bounds
        on: Bools = (west[box] <= x) & (x <= east[box]) & (south[box] <= y) & (y <= north[box])
        return on


class _Axis:
    """Cells along one axis: as many for each key as ``across`` says, over the reach of its boxes.

    A number is in the cell that one rising function gives for points and boxes alike, so that
    rounding loses no point.
    """

    def __init__(self, low: Floats, high: Floats, of: Ints, across: Ints) -> None:
        first, last = np.full(len(across), np.inf), np.full(len(across), -np.inf)
        np.minimum.at(first, of, low)
        np.maximum.at(last, of, high)
        some = last > first
        self._first = np.where(some, first, 0.0)
        reach = np.where(some, last, 1.0) - self._first
        self._scale = np.where(some, across / reach, 0.0)
        self._last = (across - 1).astype(np.float64)

    def cells(self, value: Floats, of: Ints) -> Ints:
        """Number of the cell of each value; those beyond the reach are in the first or last one."""
        place = (value - self._first[of]) * self._scale[of]
        return np.minimum(np.maximum(place, 0.0), self._last[of]).astype(np.int64)
