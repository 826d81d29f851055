"""Lines that come back to their start become polygons; loose lines that meet are put together."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from typing import Any

import numpy as np
import shapely

from geosand.columns import Floats
from geosand.formats.boundaries.drawn import Drawn
from geosand.formats.boundaries.faces import EXACT_M, clusters, shared_faces

Line = tuple[Drawn, Floats]
LINES = ("LineString", "LinearRing", "MultiLineString")
HINT_M = 30.0  #: gaps up to this are worth a word on how to close them
HINT_SHARE = 0.25  #: of the length of the line


def close_lines(
    drawn: list[Drawn], tolerance_m: float, metres: tuple[float, float]
) -> tuple[list[Drawn], list[str], int]:
    """Lines closed within ``tolerance_m`` as polygons, others kept; words on it; how many joined.

    ``metres`` is what one unit of x and of y is worth. Parts of one thing (segments of a track)
    are joined first; then lines of one folder that meet at their ends; then those that share edges.
    """
    out: list[Drawn] = []
    loose: dict[str, list[Line]] = defaultdict(list)
    said: list[str] = []
    for thing in drawn:
        if thing.geometry is None or thing.geometry.geom_type not in LINES:
            out.append(thing)
            continue
        unclosed: list[Floats] = []
        for part in shapely.get_parts(thing.geometry):
            points = shapely.get_coordinates(part, include_z=bool(shapely.has_z(part)))
            made = _polygon(points, tolerance_m, metres)
            if made is None:
                unclosed.append(points)
                continue
            _say(said, thing, _gap(points[0], points[-1], metres))
            out.append(replace(thing, geometry=made))
        loose[thing.folder] += [(thing, points) for points in unclosed]
    joined = 0
    for folder, lines in loose.items():
        outlines = [d.geometry for d in out if d.folder == folder and _is_area(d)]
        made, things = _close_folder(lines, outlines, tolerance_m, metres, said)
        out += made
        joined += things
    return out, said, joined


def _close_folder(
    lines: list[Line],
    outlines: list[Any],
    tolerance_m: float,
    metres: tuple[float, float],
    said: list[str],
) -> tuple[list[Drawn], int]:
    """Lines of one folder: closed chains, then what shares edges; how many further things joined.

    A chain that a further line divides is no outline itself: its parts are.
    """
    chains = _chains(lines, tolerance_m, metres) if lines else []
    in_chains = {k // 2 for chain in chains for k in chain}
    rest = [k for k in range(len(lines)) if k not in in_chains]
    polygons = [shapely.polygons(_ring(lines, chain)) for chain in chains]
    divided = _divided(polygons, [lines[k] for k in rest], tolerance_m, metres) if rest else set()
    out, joined = [], 0
    for row, (chain, polygon) in enumerate(zip(chains, polygons, strict=True)):
        if row in divided:
            rest += [k // 2 for k in chain]
            continue
        thing = lines[chain[0] // 2][0]
        if len(chain) > 1:
            said.append(f"{thing.place}: {len(chain)} lines that meet are one outline")
        _say(said, thing, _widest_gap(lines, chain, metres))
        joined += len({lines[k // 2][0].place for k in chain}) - 1
        out.append(replace(thing, geometry=polygon))
    if not rest:
        return out, joined
    there = outlines + [d.geometry for d in out]
    made, more = _faces([lines[k] for k in sorted(rest)], there, tolerance_m, metres, said)
    return out + made, joined + more


def _divided(
    polygons: list[Any], lines: list[Line], tolerance_m: float, metres: tuple[float, float]
) -> set[int]:
    """Rows of the polygons in which a line runs that begins or ends on their edge."""
    if not polygons:
        return set()
    scale = np.array(metres)
    shapes = [shapely.transform(polygon, lambda points: points * scale) for polygon in polygons]
    edges, tree = shapely.boundary(shapes), shapely.STRtree(shapes)
    found = set()
    for _, points in lines:
        run = shapely.linestrings(points[:, :2] * scale)
        middle = shapely.line_interpolate_point(run, 0.5, normalized=True)
        ends = shapely.get_point(run, [0, -1])
        for row in tree.query(middle, "within").tolist():
            if shapely.dwithin(edges[row], ends, max(tolerance_m, EXACT_M)).any():
                found.add(row)
    return found


def _is_area(thing: Drawn) -> bool:
    return thing.geometry is not None and thing.geometry.geom_type == "Polygon"


def _faces(
    lines: list[Line],
    outlines: list[Any],
    tolerance_m: float,
    metres: tuple[float, float],
    said: list[str],
) -> tuple[list[Drawn], int]:
    """What lines with shared edges enclose, how many further things went in; the rest as lines."""
    faces = shared_faces(lines, outlines, tolerance_m, metres)
    used = {k for _, sides in faces for k in sides}
    owners = [lines[sides[0]][0] for _, sides in faces]  # the longest line says what a face is
    out = [replace(d, geometry=f, problem="") for d, (f, _) in zip(owners, faces, strict=True)]
    if faces:
        where = owners[0].folder
        count = f"{len(faces)} outline{'s' * (len(faces) > 1)}"
        text = f"{len(used)} lines that share edges or ends make {count}"
        said.append(text + (f" (layer {where[:40]!r})" if where else ""))
    scaled = _ends(lines) * np.array(metres)
    for k, (thing, points) in enumerate(lines):
        if k not in used and len(points) > 1:
            out.append(_open(thing, points, k, scaled, tolerance_m, np.array(metres)))
    return out, len({lines[k][0].place for k in used} - {d.place for d in owners})


def _say(said: list[str], thing: Drawn, gap_m: float) -> None:
    if gap_m > EXACT_M:
        gap = f"{gap_m * 1000:.1f} mm" if gap_m < 1 else f"{gap_m:.2f} m"
        said.append(f"{thing.place}: closed over a gap of {gap}")


def _gap(a: Floats, b: Floats, metres: tuple[float, float]) -> float:
    return float(np.hypot((a[0] - b[0]) * metres[0], (a[1] - b[1]) * metres[1]))


def _polygon(points: Floats, tolerance_m: float, metres: tuple[float, float]) -> Any:
    """The polygon of a line that ends where it began; the last point is then the first again."""
    if _gap(points[0], points[-1], metres) > tolerance_m:
        return None
    if len(np.unique(points[:-1, :2], axis=0)) < 3:
        return None
    return shapely.polygons(np.vstack([points[:-1], points[:1]]))


def _chains(lines: list[Line], tolerance_m: float, metres: tuple[float, float]) -> list[list[int]]:
    """Closed chains of lines of which two ends meet at each place: the ends each is entered at.

    End 2k is the start of line k, end 2k + 1 its end. A chain encloses something.
    """
    node = clusters(_ends(lines) * np.array(metres), tolerance_m)
    at: dict[int, list[int]] = defaultdict(list)
    for k, n in enumerate(node.tolist()):
        at[n].append(k)
    chains: list[list[int]] = []
    used: set[int] = set()
    for start in range(len(lines)):
        chain = None if start in used else _walk(start, node, at)
        if chain is not None and len(np.unique(_ring(lines, chain)[:, :2], axis=0)) > 2:
            used |= {k // 2 for k in chain}
            chains.append(chain)
    return chains


def _ends(lines: list[Line]) -> Floats:
    return np.array([p[:2] for _, points in lines for p in (points[0], points[-1])])


def _ring(lines: list[Line], chain: list[int]) -> Floats:
    """Points (n, 2 or 3) around a chain; the last is the first again."""
    points = _joined([lines[k // 2][1][:: 1 if k % 2 == 0 else -1] for k in chain])
    return np.vstack([points, points[:1]])


def _widest_gap(lines: list[Line], chain: list[int], metres: tuple[float, float]) -> float:
    ends = _ends(lines)
    following = [*chain[1:], chain[0]]
    return max(_gap(ends[k ^ 1], ends[j], metres) for k, j in zip(chain, following, strict=True))


def _joined(parts: list[Floats]) -> Floats:
    size = min(points.shape[1] for points in parts)
    return np.vstack([points[:-1, :size] for points in parts])


def _open(
    thing: Drawn, points: Floats, k: int, scaled: Floats, tolerance_m: float, size: Floats
) -> Drawn:
    """An open line with the reason, and what would close it."""
    others = np.delete(scaled, [2 * k, 2 * k + 1], axis=0)
    both = [np.hypot(*(others - end).T).min() for end in scaled[2 * k : 2 * k + 2] if len(others)]
    near = float(min(both, default=np.inf))
    apart = float(np.hypot(*(scaled[2 * k] - scaled[2 * k + 1])))
    gap = min(near, apart)
    text = f"a line that does not close: its ends are {apart:.2f} m apart"
    length = float(np.hypot(*np.diff(points[:, :2] * size, axis=0).T).sum())
    if gap < apart and gap > tolerance_m:
        text += f", the nearest other end is {gap:.2f} m away"
    elif apart < min(HINT_M, HINT_SHARE * length):
        text += f" (--close-tolerance {np.ceil(apart * 100 + 1e-6) / 100:.2f} would close it)"
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
