"""Surveys of which too many surfaces lie on each other: refused before the memory runs out."""

from __future__ import annotations

import numpy as np
import shapely

from geosand.areas.near_pairs import beside
from geosand.columns import Floats, Ints
from geosand.errors import Fault, Refused

#: Pairs of surfaces of one survey whose boxes meet; 1,000 surfaces on the same ground have as many.
MOST_PAIRS = 500_000
_AT_ONCE = 2_000_000  #: pairs that are looked for at once


def refuse_crowds(bounds: Floats, edition: Ints, file: str) -> None:
    """Raise Refused where more than MOST_PAIRS boxes (S, 4) of one ``edition`` meet each other."""
    if np.bincount(edition).max(initial=0) ** 2 <= 2 * MOST_PAIRS:
        return  # too few to make so many pairs
    side_by_side = beside(bounds, edition)
    for number in np.flatnonzero(np.bincount(edition, side_by_side) > MOST_PAIRS).tolist():
        mine = bounds[edition == number]
        if _meets_more(mine, MOST_PAIRS):
            raise Refused(
                Fault(
                    file=file,
                    found=f"{len(mine):,} surfaces lie so that more than {MOST_PAIRS:,} pairs of "
                    "them can overlap",
                    allowed=f"{MOST_PAIRS:,} pairs, as of 1,000 surfaces on the same ground",
                    remedy="look for surfaces that were brought in many times, and keep each once",
                )
            )


def _meets_more(bounds: Floats, most: int) -> bool:
    """Whether more than ``most`` pairs of boxes (n, 4) meet; each is counted once."""
    boxes = np.asarray(shapely.box(*bounds[np.isfinite(bounds).all(axis=1)].T))
    tree, step, found = shapely.STRtree(boxes), max(_AT_ONCE // max(len(boxes), 1), 1), 0
    for start in range(0, len(boxes), step):
        one, other = tree.query(boxes[start : start + step])
        found += int(np.count_nonzero(one + start < other))
        if found > most:
            return True
    return False
