"""In which order to visit places: a short way over them, by nearest neighbour and 2-opt."""

from __future__ import annotations

import re
from collections.abc import Iterable

import numpy as np
import shapely

from geosand.columns import Floats, Geometries, Ints


def route(x_m: Floats, y_m: Floats, start: tuple[float, float]) -> Ints:
    """Order (n,) of places in metres: an open way that begins at ``start``, in straight lines.

    Nearest neighbour, then the best reversal of a piece of the way (2-opt; Croes, Operations
    Research 6:791-812, 1958, from memory) until none shortens it. Not always the shortest way, and
    never one that crosses itself.

    >>> route(np.array([3.0, 1.0, 2.0]), np.zeros(3), (0.0, 0.0)).tolist()
    [1, 2, 0]
    """
    if not len(x_m):
        return np.zeros(0, dtype=np.int64)
    x, y = np.concatenate([[start[0]], x_m]), np.concatenate([[start[1]], y_m])
    apart = np.hypot(x[:, None] - x, y[:, None] - y)
    return _two_opt(apart, _nearest_neighbour(apart))[1:] - 1


def group_by_group(
    x_m: Floats, y_m: Floats, groups: Iterable[Ints], start: tuple[float, float] | None
) -> Ints:
    """Places (numbers) of one group after the other, each by a short way from where the last ended.

    The way begins at ``start``, else at the first place of the first group.

    >>> x, groups = np.array([0.0, 5.0, 1.0, 4.0]), [np.array([0, 2]), np.array([1, 3])]
    >>> group_by_group(x, np.zeros(4), groups, None).tolist()
    [0, 2, 3, 1]
    """
    order, at = [np.zeros(0, dtype=np.int64)], start
    for some in groups:
        at = at or (float(x_m[some[0]]), float(y_m[some[0]]))
        order.append(some[route(x_m[some], y_m[some], at)])
        at = float(x_m[order[-1][-1]]), float(y_m[order[-1][-1]])
    return np.concatenate(order)


def _nearest_neighbour(apart: Floats) -> Ints:
    left = apart.copy()
    left[:, 0] = np.inf
    way = [0]
    for _ in range(len(apart) - 1):
        following = int(left[way[-1]].argmin())
        left[:, following] = np.inf
        way.append(following)
    return np.array(way, dtype=np.int64)


def _two_opt(apart: Floats, way: Ints) -> Ints:
    """The way (n + 1,) from place 0 on with reversals of pieces i … j, best first."""
    last = len(way) - 1
    begin, end = np.triu_indices(last, k=1)
    begin, end = begin + 1, end + 1
    closed = end < last  # nothing follows the end of an open way
    following = np.minimum(end + 1, last)
    while len(begin):
        before = apart[way[begin - 1], way[begin]] + closed * apart[way[end], way[following]]
        after = apart[way[begin - 1], way[end]] + closed * apart[way[begin], way[following]]
        best = int((after - before).argmin())
        if after[best] - before[best] > -1e-9:
            break
        i, j = int(begin[best]), int(end[best])
        way[i : j + 1] = way[i : j + 1][::-1].copy()
    return way


def middles(shapes: Geometries) -> tuple[Floats, Floats]:
    """x and y of the middle of each shape (n,) in metres; nan of an empty one."""
    return coordinates(shapely.centroid(shapes))


def coordinates(points: Geometries) -> tuple[Floats, Floats]:
    """x and y of points (n,); nan of an empty one, which shapely refuses to read."""
    out = np.full((len(points), 2), np.nan)
    out[~(shapely.is_empty(points) | shapely.is_missing(points))] = shapely.get_coordinates(points)
    return out[:, 0], out[:, 1]


def legs(x_m: Floats, y_m: Floats, start: tuple[float, float] | None) -> Floats:
    """Straight way (n,) from each place's predecessor, the first one's from ``start``; nan = none.

    >>> legs(np.array([0.0, 3.0]), np.array([0.0, 4.0]), None).tolist()
    [nan, 5.0]
    """
    first = (np.nan, np.nan) if start is None else start
    x, y = np.concatenate([[first[0]], x_m]), np.concatenate([[first[1]], y_m])
    return np.hypot(np.diff(x), np.diff(y))


def natural(text: str) -> tuple[tuple[int, int, str], ...]:
    """Key to sort ids as people count: g2 before g10.

    >>> sorted(["g10", "g2", "G1"], key=natural)
    ['G1', 'g2', 'g10']
    """
    pieces = re.findall(r"\d+|\D+", text)
    return tuple((0, int(p), "") if p.isdecimal() else (1, 0, p.casefold()) for p in pieces)
