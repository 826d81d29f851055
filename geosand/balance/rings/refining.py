"""Where cuts do not run straight from ray to ray: strips there are halved until they nearly do.

The medial axis bends where what is nearest changes, and beside corners it is a parabola.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from geosand.balance.rings.cuts import Obstacles, cuts_of
from geosand.balance.rings.edges import Edges
from geosand.balance.rings.rays import Rays, turned
from geosand.columns import Bools, Floats, Ints, take
from geosand.tuples import NamedTuple

_ROUNDS = 6
_WRONG = 1e-4  #: of what a surface's ring holds within the cut: what one strip may be off by
_ALL_WRONG = 0.05  #: the same of all strips of a surface, should all be off the same way


class _Tolerance(NamedTuple):
    """What strips may be off by, one row a surface."""

    around_m: Floats  #: its perimeter
    share: Floats  #: of what its ring holds within the cut of the strip


def refined(rays: Rays, cuts_m: Floats, obstacles: Obstacles) -> tuple[Rays, Floats]:
    """Rays and their cuts, with more of them where the cut half way is not the mean of two.

    Areas of zones that end beyond the reach count too, and within a longer reach the ring holds
    more than it does as far as the cut: what is off is held against that, whatever the reach.
    """
    cap_m = obstacles.cap_m
    halved = np.flatnonzero(_cut_short(rays, cuts_m, cap_m))
    tolerance = _tolerance(rays.row[halved], obstacles.edges, len(cap_m))
    halved = halved[_may_be_wrong(rays, cuts_m, halved, tolerance, cap_m)]
    for _ in range(_ROUNDS):
        if not len(halved):
            break
        middle = _half_way(rays, halved)
        # what ends a ray ends those beside it nearly as far out
        near = np.maximum(cuts_m[halved], cuts_m[rays.after[halved]]) * 1.2 + middle.width_m
        found = cuts_of(middle, obstacles, np.minimum(near, cap_m[middle.row]))
        beyond = np.flatnonzero((found > near) & (near < cap_m[middle.row]))
        if len(beyond):
            found[beyond] = cuts_of(take(middle, beyond), obstacles)
        wrong = _is_wrong(rays, cuts_m, halved, found, tolerance, cap_m)
        rays, cuts_m, first = _with_middles(rays, cuts_m, halved, middle, found)
        halved = first[wrong]
        halved = np.sort(np.concatenate((halved, halved + 1)))
    return rays, cuts_m


def _cut_short(rays: Rays, cuts_m: Floats, cap_m: Floats) -> Bools:
    """Strips that end before the cap on one side at least; none along an edge that is shared."""
    ends = np.minimum(cuts_m, cuts_m[rays.after]) < cap_m[rays.row]
    shared = (rays.lacks_rad >= np.pi) & (cuts_m[rays.after] == 0)
    short: Bools = ends & ~shared & (rays.width_m + np.abs(rays.turn_rad) > 0)
    return short


def _tolerance(short: Ints, edges: Edges, count: int) -> _Tolerance:
    """Of ``count`` surfaces; ``short``: whose the strips are that are cut short."""
    strips = np.maximum(np.bincount(short, minlength=count), 1)
    return _Tolerance(
        around_m=np.bincount(edges.row, edges.length_m, count).astype(np.float64),
        share=np.minimum(_WRONG, _ALL_WRONG / strips),
    )


def _half_way(rays: Rays, ray: Ints) -> Rays:
    """Rays in the middle of the strips that follow these."""
    one: Rays = take(rays, ray)
    at = (one.at + rays.at.take(one.after, axis=0)) / 2
    turn = one.turn_rad / 2
    return one._replace(
        at=np.where((one.width_m > 0)[:, None], at, one.at),
        out=turned(one.out, turn),
        width_m=one.width_m / 2,
        turn_rad=turn,
        lacks_rad=np.zeros(len(ray)),
        joint=one.joint & (one.width_m == 0),
    )


def _may_be_wrong(
    rays: Rays, cuts_m: Floats, ray: Ints, tolerance: _Tolerance, cap_m: Floats
) -> Bools:
    """Which strips are so wide that it would matter if the cut rose or fell as steeply as 1."""
    cap = cap_m[rays.row[ray]]
    start, end = np.minimum(cuts_m[ray], cap), np.minimum(cuts_m[rays.after[ray]], cap)
    high = np.maximum(start, end)
    wide = rays.width_m[ray] + np.abs(rays.turn_rad[ray]) * high
    return _matters(rays, ray, high - np.abs(start - end) / 2 - wide / 2, high, tolerance)


def _is_wrong(
    rays: Rays, cuts_m: Floats, ray: Ints, found_m: Floats, tolerance: _Tolerance, cap_m: Floats
) -> Bools:
    """Of which strips the mean of both cuts is not near enough to that ``found_m`` half way."""
    cap = cap_m[rays.row[ray]]
    mean = np.minimum(cuts_m[ray], cap) + np.minimum(cuts_m[rays.after[ray]], cap)
    low, high = np.sort(np.stack((mean / 2, np.minimum(found_m, cap))), axis=0)
    return _matters(rays, ray, low, high, tolerance)


def _matters(rays: Rays, ray: Ints, low_m: Floats, high_m: Floats, tolerance: _Tolerance) -> Bools:
    """Whether a strip that ends at one or the other makes a difference to its surface."""
    row = rays.row[ray]
    holds = high_m * (tolerance.around_m[row] / 2 + high_m * np.pi / 3)
    wide = rays.width_m[ray] + np.abs(rays.turn_rad[ray]) * high_m
    return (high_m - low_m) * wide > tolerance.share[row] * holds


def _with_middles(
    rays: Rays, cuts_m: Floats, ray: Ints, middle: Rays, found_m: Floats
) -> tuple[Rays, Floats, Ints]:
    """With a further ray after each of these; and their rows in the new table."""
    more = np.zeros(len(cuts_m), dtype=np.int64)
    more[ray] = 1
    place = np.arange(len(cuts_m)) + np.cumsum(more) - more  # of the rays that were there
    first = place[ray]
    size = len(cuts_m) + len(ray)

    def both(column: NDArray[Any], new: NDArray[Any]) -> Any:
        out = np.empty((size, *column.shape[1:]), column.dtype)
        out[place] = column
        out[first + 1] = new
        return out

    cuts = both(cuts_m, found_m)
    after = both(place[rays.after], place[middle.after])
    after[first] = first + 1
    width, turn = rays.width_m.copy(), rays.turn_rad.copy()
    width[ray], turn[ray] = middle.width_m, middle.turn_rad
    halves = rays._replace(width_m=width, turn_rad=turn)
    columns = map(both, halves, middle)
    return Rays(*columns)._replace(after=after), cuts, first
