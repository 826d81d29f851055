"""Which boxes of two tables come near each other, each only among those with its own key.

Sites laid end to end all lie about the middle of their own plane: keys keep them apart.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely

from geosand.columns import Floats, Ints

_SPARE = 1e-6  #: of the widths at hand: shifted boxes lose digits, and no pair may be lost by it


def near_pairs(
    left: Floats, left_key: Ints, right: Floats, right_key: Ints, distance: float | Floats = 0.0
) -> tuple[Ints, Ints]:
    """Rows (left, right) whose boxes may be within ``distance`` and whose keys are the same.

    ``left`` (n, 4) and ``right`` (m, 4) are west, south, east, north; boxes of nan are near
    nothing. ``distance`` is one for all or one a row of ``left``, in the units of the boxes. Some
    pairs are a little farther apart: they are for an exact comparison to follow. Sorted by left,
    then right.

    >>> boxes = np.array([[0.0, 0.0, 1.0, 1.0], [0.5, 0.5, 2.0, 2.0]])
    >>> [rows.tolist() for rows in near_pairs(boxes, np.zeros(2, int), boxes, np.array([0, 1]))]
    [[0, 1], [0, 0]]
    """
    here, there = (np.isfinite(boxes).all(axis=1) for boxes in (left, right))
    rows, others = np.flatnonzero(here), np.flatnonzero(there)
    none = np.empty(0, dtype=np.int64)
    if not len(rows) or not len(others):
        return none, none
    reach = np.broadcast_to(np.asarray(distance, dtype=np.float64), len(left))[rows]
    ends = np.concatenate([left[rows], right[others]])
    low, high = ends[:, 0].min(), ends[:, 2].max()
    width = (high - low + reach.max()) * 1.5 + 1e-300
    _, key = np.unique(np.concatenate([left_key[rows], right_key[others]]), return_inverse=True)
    shift = key * width
    spare = (np.abs(ends).max() + width * (key.max() + 1)) * 1e-12 + reach * _SPARE
    tree = shapely.STRtree(_boxes(right[others], shift[len(rows) :], np.zeros(len(others))))
    found = tree.query(_boxes(left[rows], shift[: len(rows)], reach + spare))
    one, other = rows[found[0]], others[found[1]]
    order = np.lexsort((other, one))  # the tree's own order is not promised
    return one[order], other[order]


def _boxes(bounds: Floats, shift: Floats, wider: Floats) -> Any:
    west, south, east, north = bounds.T
    return shapely.box(west + shift - wider, south - wider, east + shift + wider, north + wider)
