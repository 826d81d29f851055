"""Which boxes of two tables come near each other, each only among those with its own key.

Sites laid end to end all lie about the middle of their own plane: keys keep them apart.
"""

from __future__ import annotations

import numpy as np
import shapely

from geosand.columns import Bools, Floats, Ints, ragged

_BESIDE = 32  #: boxes beside each box, on the average, up to which sorting is the quickest
_SPARE = 1e-6  #: of the widths at hand


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
    rows, others = (np.flatnonzero(_known(boxes)) for boxes in (left, right))
    none = np.empty(0, dtype=np.int64)
    if not len(rows) or not len(others):
        return none, none
    reach = distance[rows] if isinstance(distance, np.ndarray) else np.array([distance])
    ends = np.concatenate([left[rows], right[others]])
    boxes, wider = _laid_apart(ends, np.concatenate([left_key[rows], right_key[others]]), reach)
    near, far = boxes[:, : len(rows)], boxes[:, len(rows) :]
    near[:2] -= wider
    near[2:] += wider
    one, other = _swept(near, far) or _tree(far).query(shapely.box(*near))
    one, other = rows[one], others[other]
    order = np.lexsort((other, one))
    return one[order], other[order]


def near_each_other(boxes: Floats, key: Ints, distance: float = 0.0) -> tuple[Ints, Ints]:
    """Pairs (one, other) of different rows as of ``near_pairs``, each once, the lower row first.

    >>> boxes = np.array([[0.0, 0.0, 1.0, 1.0], [0.5, 0.5, 2.0, 2.0], [0.0, 0.0, 1.0, 1.0]])
    >>> [rows.tolist() for rows in near_each_other(boxes, np.array([0, 0, 1]))]
    [[0], [1]]
    """
    rows = np.flatnonzero(_known(boxes))
    if not len(rows):
        return rows, rows
    laid, wider = _laid_apart(boxes[rows], key[rows], np.array([distance]))
    order = np.argsort(laid[0], kind="stable")
    west, south, east, north = laid = laid[:, order]
    after = np.arange(1, len(rows) + 1)
    count = np.searchsorted(west, east + wider, "right") - after
    if count.sum() > _BESIDE * len(rows):
        wide = shapely.box(west - wider, south - wider, east + wider, north + wider)
        one, other = _tree(laid).query(wide)
        one, other = one[one < other], other[one < other]
    else:
        one, other = ragged(after, count)
        met = (south[one] <= (north + wider)[other]) & (south[other] <= (north + wider)[one])
        one, other = one[met], other[met]
    one, other = rows[order[one]], rows[order[other]]
    one, other = np.minimum(one, other), np.maximum(one, other)
    by_rows = np.argsort((one << 32) + other, kind="stable")  # in a third of lexsort's time
    return one[by_rows], other[by_rows]


def beside(boxes: Floats, key: Ints) -> Ints:
    """How many boxes (n, 4) of its key begin between the west and the east of each one, itself not.

    Each pair that meets is counted once, and so is each that meets only in longitude.
    """
    count = np.zeros(len(boxes), dtype=np.int64)
    rows = np.flatnonzero(_known(boxes))
    if len(rows):
        (west, _, east, _), wider = _laid_apart(boxes[rows], key[rows], np.zeros(1))
        order = np.argsort(west)
        last = np.searchsorted(west[order], east[order] + wider, "right")
        count[rows[order]] = last - np.arange(1, len(rows) + 1)
    return count


def _laid_apart(ends: Floats, key: Ints, reach: Floats) -> tuple[Floats, Floats]:
    """Sides (4, n) of boxes, those of one key far from those of another, and ``reach`` with room.

    The room is for the digits that boxes lose by being shifted: no pair may be lost by it.
    """
    low, high = ends[:, 0].min(), ends[:, 2].max()
    width = (high - low + reach.max()) * 1.5 + 1e-300
    if key.min() < 0 or key.max() > len(key):
        key = np.unique(key, return_inverse=True)[1]
    spare = (np.abs(ends).max() + width * (key.max() + 1)) * 1e-12 + reach * _SPARE
    west, south, east, north = ends.T
    shift = key * width
    return np.stack([west + shift, south, east + shift, north]), reach + spare


def _tree(sides: Floats) -> shapely.STRtree:
    return shapely.STRtree(np.asarray(shapely.box(*sides)))


def _known(boxes: Floats) -> Bools:
    """Whether no side (n, 4) is nan."""
    west, south, east, north = boxes.T
    known: Bools = np.isfinite(west + south + east + north)
    return known


def _swept(left: Floats, right: Floats) -> tuple[Ints, Ints] | None:
    """Pairs of boxes (4, n) and (4, m) that meet; None where many are beside each other.

    Of two that meet one begins between the west and east of the other: sorted by their west sides
    those stand together. That takes a third of the time of building a tree.
    """
    by_west, left_by_west = np.argsort(right[0]), np.argsort(left[0])
    wests, left_wests = right[0, by_west], left[0, left_by_west]
    start = np.searchsorted(wests, left[0])
    count = np.searchsorted(wests, left[2], "right") - start
    left_start = np.searchsorted(left_wests, right[0], "right")
    left_count = np.searchsorted(left_wests, right[2], "right") - left_start
    if count.sum() + left_count.sum() > _BESIDE * (len(wests) + len(left_wests)):
        return None
    one, place = ragged(start, count)
    other, left_place = ragged(left_start, left_count)
    one = np.concatenate([one, left_by_west[left_place]])
    other = np.concatenate([by_west[place], other])
    met = (left[1, one] <= right[3, other]) & (left[3, one] >= right[1, other])
    return one[met], other[met]
