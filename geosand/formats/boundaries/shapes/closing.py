"""Lines that come back to their start become polygons; loose lines that meet are put together."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np
import shapely

from geosand.columns import Bools, Floats, Ints, joined_labels
from geosand.formats.boundaries.drawn import Drawn
from geosand.formats.boundaries.shapes.faces import (
    EXACT_M,
    THICKET,
    Line,
    encloses,
    is_thicket,
    meeting_places,
    points_of,
    shared_faces,
)
from geosand.formats.boundaries.shapes.hanging import hanging

LINES = ("LineString", "LinearRing", "MultiLineString")
HINT_M = 30.0  #: gaps up to this are worth a word on how to close them
HINT_SHARE = 0.25  #: of the length of the line
LEFT_OPEN_M = 1.0  #: an outline of a drawing with a gap below this is no part of a net


def close_lines(
    drawn: list[Drawn], tolerance_m: float, metres: Floats, *, crossing: bool
) -> tuple[list[Drawn], list[str], int]:
    """Lines closed within ``tolerance_m`` as polygons, others kept; words on it; how many joined.

    ``metres`` is what one unit of x and of y is worth. Parts of one thing (segments of a track)
    are joined first; then lines of one folder that meet at their ends; then those that share edges.
    Unless ``crossing``, lines that only cross enclose nothing: both ends of one must lie on others.
    """
    out: list[Drawn] = []
    loose: dict[str, list[Line]] = defaultdict(list)
    closing = _Closing(tolerance_m, metres, crossing)
    for thing in drawn:
        if not thing.draws(*LINES):
            out.append(thing)
            continue
        unclosed: list[Floats] = []
        for part in shapely.get_parts(thing.geometry):
            points = shapely.get_coordinates(part, include_z=bool(shapely.has_z(part)))
            made = closing.polygon(points)
            if made is None:
                unclosed.append(points)
                continue
            closing.say(thing, closing.gap_m(points[0], points[-1]))
            out.append(replace(thing, geometry=made))
        loose[thing.folder] += [(thing, points) for points in unclosed]
    outlines: dict[str, list[Any]] = defaultdict(list)
    for thing in out:
        if thing.draws("Polygon"):
            outlines[thing.folder].append(thing.geometry)
    for folder, lines in loose.items():
        out += closing.folder(lines, outlines[folder]) if lines else []
    return out, closing.said, closing.joined


class _Closing:
    """Lines to outlines within one tolerance; what was done, and how many further things joined."""

    def __init__(self, tolerance_m: float, metres: Floats, crossing: bool) -> None:
        self.tolerance_m, self.metres, self.crossing = tolerance_m, metres, crossing
        self.said: list[str] = []
        self.joined = 0

    def gap_m(self, a: Floats, b: Floats) -> float:
        return float(np.hypot(*((a[:2] - b[:2]) * self.metres)))

    def say(self, thing: Drawn, gap_m: float) -> None:
        if gap_m > EXACT_M:
            gap = f"{gap_m * 1000:.1f} mm" if gap_m < 1 else f"{gap_m:.2f} m"
            self.said.append(f"{thing.place}: closed over a gap of {gap}")

    def polygon(self, points: Floats) -> Any:
        """The polygon of a line that ends where it began, so that the last point is the first."""
        if self.gap_m(points[0], points[-1]) > self.tolerance_m:
            return None
        if len(np.unique(points[:-1, :2], axis=0)) < 3:
            return None
        return shapely.polygons(np.vstack([points[:-1], points[:1]]))

    def folder(self, lines: list[Line], outlines: list[Any]) -> list[Drawn]:
        """Lines of one folder: closed chains, then what shares edges.

        A chain that a further line divides is no outline itself: its parts are. Leaders of labels
        divide nothing.
        """
        ends = _ends(lines)
        # ends that meet exactly first: sides shorter than the tolerance would look like forks
        nodes = [meeting_places(ends * self.metres, reach) for reach in (EXACT_M, self.tolerance_m)]
        runs, rings = self._courses(lines, outlines)
        thicket = self.crossing and is_thicket(runs + rings)
        hung = set[int]() if thicket else self._hanging(runs, rings, ends, nodes[1])
        chains = _chains(lines, nodes, hung)
        in_chains = {k // 2 for chain in chains for k in chain}
        rest = [k for k in range(len(lines)) if k not in in_chains]
        polygons = [shapely.polygons(_ring(lines, chain)) for chain in chains]
        dividing = [] if thicket else [lines[k] for k in rest if k not in hung]
        divided = self._divided(polygons, dividing)
        out = []
        for row, (chain, polygon) in enumerate(zip(chains, polygons, strict=True)):
            if row in divided:
                rest += [k // 2 for k in chain]
            else:
                out.append(self._chained(lines, chain, polygon, ends))
        if not rest:
            return out
        if thicket:
            return out + [_as_line(*lines[k], THICKET) for k in rest]
        there = outlines + [d.geometry for d in out]
        rest.sort()
        return out + self._faces([lines[k] for k in rest], there, [k in hung for k in rest])

    def _chained(self, lines: list[Line], chain: list[int], polygon: Any, ends: Floats) -> Drawn:
        """The outline of a closed chain, with words on how it was closed."""
        thing = lines[chain[0] // 2][0]
        if len(chain) > 1:
            self.said.append(f"{thing.place}: {len(chain)} lines that meet are one outline")
        gaps = ends[np.array(chain) ^ 1] - ends[[*chain[1:], chain[0]]]
        self.say(thing, float(np.hypot(*(gaps * self.metres).T).max()))
        self.joined += len({lines[k // 2][0].place for k in chain}) - 1
        return replace(thing, geometry=polygon)

    def _hanging(self, runs: list[Any], rings: list[Any], ends: Floats, node: Ints) -> set[int]:
        reach = max(self.tolerance_m, EXACT_M)
        hung = hanging(runs, rings, ends * self.metres, node, reach)
        return {*np.flatnonzero(hung).tolist()}

    def _courses(self, lines: list[Line], outlines: list[Any]) -> tuple[list[Any], list[Any]]:
        runs = [shapely.linestrings(points[:, :2] * self.metres) for _, points in lines]
        rings = [shapely.transform(o.boundary, lambda p: p * self.metres) for o in outlines]
        return runs, rings

    def _divided(self, polygons: list[Any], lines: list[Line]) -> set[int]:
        """Rows of the polygons in which a line runs that begins or ends on their edge."""
        if not polygons:
            return set()
        plane = np.array(polygons, dtype=object)
        shapes = shapely.transform(plane, lambda points: points * self.metres)
        edges, tree = shapely.boundary(shapes), shapely.STRtree(shapes)
        found = set()
        for _, points in lines:
            run = shapely.linestrings(points[:, :2] * self.metres)
            middle = shapely.line_interpolate_point(run, 0.5, normalized=True)
            ends = shapely.get_point(run, [0, -1])
            for row in tree.query(middle, "within").tolist():
                if shapely.dwithin(edges[row], ends, max(self.tolerance_m, EXACT_M)).any():
                    found.add(row)
        return found

    def _meeting(
        self, lines: list[Line], outlines: list[Any], hung: Bools
    ) -> Iterator[tuple[list[int], list[Any], set[int]]]:
        """Rows of lines, and outlines, that hang together; which of them have both ends on others.

        All at once where crossing counts, but for leaders and outlines that were left open. Else a
        fairway that was walked across its green does not make outlines of what their lines enclose
        between them, and a green lends its edge only.
        """
        runs, rings = self._courses(lines, outlines)
        ends, reach = points_of(_ends(lines) * self.metres), max(self.tolerance_m, EXACT_M)
        end, other = shapely.STRtree(runs + rings).query(ends, "dwithin", distance=reach)
        end, other = end[end // 2 != other], other[end // 2 != other]
        if self.crossing:
            loose = np.bincount(end // 2, minlength=len(runs)) == 0
            net = np.flatnonzero(~(hung | (loose & self._left_open(lines, runs)))).tolist()
            if net:
                yield net, outlines, {*net}
            return
        group = joined_labels(len(runs) + len(rings), end // 2, other)
        both = np.flatnonzero(np.bincount(np.unique(end) // 2, minlength=1) == 2)
        for one in np.unique(group[both]):
            rows = np.flatnonzero(group == one)
            beside = [outlines[k] for k in rows[rows >= len(runs)] - len(runs)]
            ending = set(np.intersect1d(rows, both).tolist())
            yield rows[rows < len(runs)].tolist(), beside, ending

    def _left_open(self, lines: list[Line], runs: list[Any]) -> Bools:
        """Lines whose ends come so near each other that they go around something."""
        apart = np.array([self.gap_m(points[0], points[-1]) for _, points in lines])
        around: Bools = apart < np.minimum(LEFT_OPEN_M, HINT_SHARE * shapely.length(runs))
        return around

    def _faces(self, lines: list[Line], outlines: list[Any], hung: list[bool]) -> list[Drawn]:
        """What lines with shared edges enclose, but for those that hang; the rest as lines."""
        faces: list[tuple[Any, list[int]]] = []
        for rows, beside, ending in self._meeting(lines, outlines, np.array(hung)):
            met = [lines[k] for k in rows]
            runs, rings = self._courses(met, beside)
            if not self.crossing and is_thicket(runs + rings):
                continue
            for face, sides in shared_faces(met, beside, self.tolerance_m, self.metres):
                if own := [rows[k] for k in sides if rows[k] in ending]:
                    faces.append((face, own))
        used = {k for _, sides in faces for k in sides}
        owners = [lines[sides[0]][0] for _, sides in faces]  # the longest line says what a face is
        out = [replace(d, geometry=f, problem="") for d, (f, _) in zip(owners, faces, strict=True)]
        if faces:
            where = owners[0].folder
            count = f"{len(faces)} outline{'s' * (len(faces) > 1)}"
            lines_that = "1 line that shares edges or ends makes"
            if len(used) > 1:
                lines_that = f"{len(used)} lines that share edges or ends make"
            text = f"{lines_that} {count}"
            self.said.append(text + (f" (layer {where[:40]!r})" if where else ""))
        self.joined += len({lines[k][0].place for k in used} - {d.place for d in owners})
        near = _nearest_other(_ends(lines) * self.metres)
        open_ones = [k for k, (_, points) in enumerate(lines) if k not in used and len(points) > 1]
        return out + [
            self._open(*lines[k], float(near[2 * k : 2 * k + 2].min())) for k in open_ones
        ]

    def _open(self, thing: Drawn, points: Floats, near: float) -> Drawn:
        """An open line with the reason, and what would close it; ``near`` is the next other end."""
        apart = self.gap_m(points[0], points[-1])
        text = f"a line that does not close: its ends are {apart:.2f} m apart"
        length = float(np.hypot(*np.diff(points[:, :2] * self.metres, axis=0).T).sum())
        back = len(points) > 2 and apart <= self.tolerance_m
        if back and not encloses(np.vstack([points, points[:1]])):
            text = "a line that does not close: it runs out and straight back"
        elif self.tolerance_m < near < apart - EXACT_M:  # nearer than its own other end
            text += f", the nearest other end is {near:.2f} m away"
        elif apart < min(HINT_M, HINT_SHARE * length):
            hint = f"--close-tolerance {np.ceil(apart * 100 + 1e-6) / 100:.2f} would close it"
            if not shapely.is_valid(shapely.polygons(np.vstack([points, points[:1]]))):
                hint = "closed, it would cross itself, as where it runs on past its start"
            text += f" ({hint})"
        return _as_line(thing, points, text)


def _as_line(thing: Drawn, points: Floats, problem: str) -> Drawn:
    return replace(thing, geometry=shapely.linestrings(points), problem=problem)


def _nearest_other(ends: Floats) -> Floats:
    """How far from each end (2n,) of lines the next is, be it the line's own other end; inf = none.

    ``ends`` (2n, 2) are the first and last point of each line.
    """
    places, at, often = np.unique(ends, axis=0, return_inverse=True, return_counts=True)
    at = at.ravel()
    far = np.full(len(places), np.inf)
    points = points_of(places)
    (here, _), apart = shapely.STRtree(points).query_nearest(
        points, exclusive=True, return_distance=True, all_matches=False
    )
    far[here] = apart
    alone = often[at] == 1
    return np.where(alone, far[at], 0.0)


def _ends(lines: list[Line]) -> Floats:
    """First and last point of each line (2n, 2)."""
    return np.array([p[:2] for _, points in lines for p in (points[0], points[-1])])


def _chains(lines: list[Line], nodes: list[Ints], hung: set[int]) -> list[list[int]]:
    """Closed chains of lines of which two ends meet at each place: the ends each is entered at.

    End 2k is the start of line k, end 2k + 1 its end; each of ``nodes`` has the place of each, and
    is asked for what those before it left. A chain encloses something; ``hung`` are in none.
    """
    chains: list[list[int]] = []
    used = {*hung}
    for node in nodes:
        open_ones = set[int]()
        at: dict[int, list[int]] = defaultdict(list)
        for k, n in enumerate(node.tolist()):
            if k // 2 not in used:
                at[n].append(k)
        for start in range(len(lines)):
            known = start in used or start in open_ones
            chain = None if known else _walk(start, node, at, open_ones)
            if chain is not None and encloses(_ring(lines, chain)):
                used |= {k // 2 for k in chain}
                chains.append(chain)
    return chains


def _ring(lines: list[Line], chain: list[int]) -> Floats:
    """Points (n, 2 or 3) around a chain; the last is the first again."""
    runs = [lines[k // 2][1][:: 1 if k % 2 == 0 else -1] for k in chain]
    size = min(points.shape[1] for points in runs)
    return np.vstack([*(points[:-1, :size] for points in runs), runs[0][:1, :size]])


def _walk(
    start: int, node: Ints, at: dict[int, list[int]], open_ones: set[int]
) -> list[int] | None:
    """Ends at which each line of a closed chain is entered; None where it is open or forks.

    Where two ends meet at each place, the way goes on to one end only and comes from one only: the
    first that it can come back to is the one where it began. Lines along an open one are noted in
    ``open_ones``: no closed chain goes through them.
    """
    chain, end = [2 * start], 2 * start + 1
    while len(meeting := at[int(node[end])]) == 2:
        following = meeting[0] if meeting[1] == end else meeting[1]
        if following == chain[0]:
            return chain
        if following // 2 in open_ones:
            break
        chain.append(following)
        end = following ^ 1
    open_ones |= {k // 2 for k in chain}
    return None
