"""Lines that come back to their start become polygons; loose lines that meet are put together."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from typing import Any

import numpy as np
import shapely

from geosand.columns import Floats
from geosand.formats.boundaries.drawn import Drawn

LINES = ("LineString", "LinearRing", "MultiLineString")
EXACT_M = 1e-6


def close_lines(
    drawn: list[Drawn], tolerance_m: float, metres: tuple[float, float]
) -> tuple[list[Drawn], list[str], int]:
    """Lines closed within ``tolerance_m`` as polygons, others kept; words on it; how many joined.

    ``metres`` is what one unit of x and of y is worth. Parts of one thing (segments of a track)
    are joined first; then lines of one folder that meet at their ends, where no third line does.
    """
    out: list[Drawn] = []
    loose: dict[str, list[tuple[Drawn, Floats]]] = defaultdict(list)
    said: list[str] = []
    for thing in drawn:
        if thing.geometry is None or thing.geometry.geom_type not in LINES:
            out.append(thing)
            continue
        rest = []
        for part in shapely.get_parts(thing.geometry):
            points = shapely.get_coordinates(part, include_z=bool(shapely.has_z(part)))
            made = _polygon(points, tolerance_m, metres)
            if made is None:
                rest.append(points)
                continue
            _say(said, thing, _gap(points[0], points[-1], metres))
            out.append(replace(thing, geometry=made))
        loose[thing.folder] += [(thing, points) for points in rest]
    joined = 0
    for lines in loose.values():
        chains, things = _chains(lines, tolerance_m, metres, said)
        out += chains
        joined += things
    return out, said, joined


def _say(said: list[str], thing: Drawn, gap_m: float) -> None:
    if gap_m > EXACT_M:
        said.append(f"{thing.place}: closed over a gap of {gap_m * 1000:.1f} mm")


def _gap(a: Floats, b: Floats, metres: tuple[float, float]) -> float:
    return float(np.hypot((a[0] - b[0]) * metres[0], (a[1] - b[1]) * metres[1]))


def _polygon(points: Floats, tolerance_m: float, metres: tuple[float, float]) -> Any:
    """The polygon of a line that ends where it began; the last point is then the first again."""
    if _gap(points[0], points[-1], metres) > tolerance_m:
        return None
    if len(np.unique(points[:-1, :2], axis=0)) < 3:
        return None
    return shapely.polygons(np.vstack([points[:-1], points[:1]]))


def _chains(
    lines: list[tuple[Drawn, Floats]],
    tolerance_m: float,
    metres: tuple[float, float],
    said: list[str],
) -> tuple[list[Drawn], int]:
    """Closed chains as polygons, and how many further things went into them; the rest as lines."""
    if not lines:
        return [], 0
    ends = np.array([p[:2] for _, points in lines for p in (points[0], points[-1])])
    scaled = ends * np.array(metres)
    node = _clusters(scaled, tolerance_m)
    at: dict[int, list[int]] = defaultdict(list)
    for k, n in enumerate(node.tolist()):
        at[n].append(k)
    out: list[Drawn] = []
    used: set[int] = set()
    joined = 0
    for start in range(len(lines)):
        if start in used:
            continue
        chain = _walk(start, node, at)
        if chain is None:
            continue
        used |= {k // 2 for k in chain}
        thing = lines[start][0]
        points = _joined(
            [lines[k // 2][1] if k % 2 == 0 else lines[k // 2][1][::-1] for k in chain]
        )
        if len(np.unique(points[:, :2], axis=0)) < 3:
            used -= {k // 2 for k in chain if k // 2 != start}
            out.append(replace(thing, geometry=shapely.linestrings(lines[start][1])))
            continue
        gaps = [
            _gap(ends[k ^ 1], ends[chain[(i + 1) % len(chain)]], metres)
            for i, k in enumerate(chain)
        ]
        joined += len({lines[k // 2][0].place for k in chain}) - 1
        if len(chain) > 1:
            said.append(f"{thing.place}: {len(chain)} lines that meet are one outline")
        _say(said, thing, max(gaps))
        out.append(replace(thing, geometry=shapely.polygons(np.vstack([points, points[:1]]))))
    for k, (thing, points) in enumerate(lines):
        if k not in used and len(points) > 1:
            out.append(_open(thing, points, k, scaled, tolerance_m))
    return out, joined


def _joined(parts: list[Floats]) -> Floats:
    size = min(points.shape[1] for points in parts)
    return np.vstack([points[:-1, :size] for points in parts])


def _open(thing: Drawn, points: Floats, k: int, scaled: Floats, tolerance_m: float) -> Drawn:
    others = np.delete(scaled, 2 * k, axis=0)
    near = float(np.hypot(*(others - scaled[2 * k]).T).min())
    apart = float(np.hypot(*(scaled[2 * k] - scaled[2 * k + 1])))
    gap = min(near, apart)
    text = f"a line that does not close: its ends are {apart:.2f} m apart"
    if gap < apart and gap > tolerance_m:
        text += f", the nearest other end is {gap:.2f} m away"
    return replace(thing, geometry=shapely.linestrings(points), problem=text)


def _walk(start: int, node: Any, at: dict[int, list[int]]) -> list[int] | None:
    """Ends at which each line of a closed chain is entered; None where it is open or forks."""
    chain, end = [2 * start], 2 * start + 1
    seen = {start}
    while True:
        meeting = at[int(node[end])]
        if len(meeting) != 2:
            return None
        following = meeting[0] if meeting[1] == end else meeting[1]
        if following == 2 * start:
            return chain
        if following // 2 in seen:
            return None
        seen.add(following // 2)
        chain.append(following)
        end = following ^ 1


def _clusters(points: Floats, tolerance_m: float) -> Any:
    """A number for each point, the same for points within the tolerance of each other."""
    shapes = np.asarray(shapely.points(points), dtype=object)
    pairs = shapely.STRtree(shapes).query(shapes, "dwithin", distance=max(tolerance_m, EXACT_M))
    group = np.arange(len(points))
    for _ in range(len(points)):  # smallest number of a neighbour, until nothing changes
        smaller = group.copy()
        np.minimum.at(smaller, pairs[0], group[pairs[1]])
        if (smaller == group).all():
            break
        group = smaller
    return group
