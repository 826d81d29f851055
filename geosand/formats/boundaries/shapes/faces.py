"""Line work whose outlines share edges: lines that meet three at a place, or end on another."""

from __future__ import annotations

from collections import defaultdict
from typing import Any

import numpy as np
import shapely

from geosand.areas.crossings import meet_often
from geosand.columns import Floats, Geometries, Ints
from geosand.formats.boundaries.drawn import Drawn

Line = tuple[Drawn, Floats]
EXACT_M = 1e-6
TOUCH_M = 1e-3  #: of a face's edge that a line must share to belong to it
#: Of lines with each other, beside two a corner: those of a plan meet some at each end. Own choice.
MOST_MEETINGS = 20_000
THICKET = (
    f"a line among lines that meet or cross each other over {MOST_MEETINGS:,} times: put the edges"
    " of surfaces on layers of their own"
)
THINNEST = 1e-9  #: of a ring's length squared that it has to enclose


def is_thicket(courses: list[Any]) -> bool:
    """Whether lines meet far more often than those of surfaces, so that faces would take minutes.

    As hatching does, or contours over other lines.
    """
    lines = np.array(courses, dtype=object)
    return meet_often(lines, MOST_MEETINGS + 2 * int(shapely.get_num_coordinates(lines).sum()))


def shared_faces(
    lines: list[Line], outlines: list[Any], tolerance_m: float, metres: Floats
) -> list[tuple[Any, list[int]]]:
    """Faces that ``lines`` enclose, each with the lines on its edge, longest first.

    ``outlines`` are polygons that are there already: their edges count as lines, but what lies
    in them is no face. Ends within ``tolerance_m`` of each other or of another line's course meet
    there; nothing else moves. All in the units of the file, of which ``metres`` are the sizes.
    """
    if len(lines) + len(outlines) < 2:  # a line alone is closed already, or encloses nothing
        return []
    size = min(points.shape[1] for _, points in lines)
    scale = np.array([*metres, 1.0])[:size]
    shells = np.array([_scaled(shape, scale) for shape in outlines], dtype=object)
    every = shapely.get_rings(shells)
    rings = [shapely.get_coordinates(ring, include_z=size > 2) for ring in every]
    runs = _ends_together([points[:, :size] * scale for _, points in lines], tolerance_m)
    runs = _ends_on_courses(runs, rings, tolerance_m)
    edges = np.array([shapely.linestrings(run) for run in runs], dtype=object)
    own = len(lines)
    tree = shapely.STRtree(edges)
    one, other = tree.query(edges, "intersects")
    meeting = np.unique(one[one != other])  # the others, such as contours, can enclose nothing
    whole = shapely.node(shapely.union_all(edges[meeting]))
    faces = shapely.get_parts(shapely.polygonize(shapely.get_parts(whole)))
    inside = np.zeros(len(faces), dtype=bool)
    if len(shells) and len(faces):
        inside[shapely.STRtree(shells).query(shapely.point_on_surface(faces), "within")[0]] = True
    found: list[tuple[Any, list[int]]] = []
    for face in faces[~inside]:
        band = shapely.buffer(shapely.boundary(face), 10 * EXACT_M)
        near = tree.query(band, "intersects")
        near = np.sort(near[near < own])
        share = shapely.length(shapely.intersection(edges[near], band))
        order = np.argsort(-share, kind="stable")
        sides = near[order[share[order] > TOUCH_M]].tolist()
        thin = 2 * shapely.area(face) <= TOUCH_M * shapely.length(face)  # along a line drawn twice
        if sides and not thin:
            found.append((_scaled(face, 1 / scale), sides))
    return found


def encloses(ring: Floats) -> bool:
    """Whether a ring (n, 2 or 3) has an area: a line that was drawn twice goes there and back."""
    if len(np.unique(ring[:, :2], axis=0)) < 3:
        return False
    shape = shapely.polygons(ring[:, :2])
    return bool(shapely.area(shape) > THINNEST * shapely.length(shape) ** 2)


def _scaled(shape: Any, scale: Floats) -> Any:
    return shapely.transform(shape, lambda points: points * scale, include_z=len(scale) > 2)


def points_of(places: Floats) -> Geometries:
    return np.asarray(shapely.points(places), dtype=object)


def clusters(shapes: Geometries, tolerance: float) -> Ints:
    """Of each shape the first that it hangs together with, over any others, within a tolerance."""
    pairs = shapely.STRtree(shapes).query(shapes, "dwithin", distance=max(tolerance, EXACT_M))
    group = np.arange(len(shapes))
    while True:  # the first of a neighbour's, until nothing changes
        smaller = group.copy()
        np.minimum.at(smaller, pairs[0], group[pairs[1]])
        if (smaller == group).all():
            return group
        group = smaller[smaller]


def meeting_places(places: Floats, tolerance: float) -> Ints:
    """Of each place (n, 2) the first that it hangs together with: as :func:`clusters`.

    Of places that are the same only one is looked at, as all lines may end at one.
    """
    _, first, same = np.unique(places, axis=0, return_index=True, return_inverse=True)
    in_order = np.sort(first)
    group = clusters(points_of(places[in_order]), tolerance)
    return in_order[group][np.searchsorted(in_order, first)[same.ravel()]]


def _ends_together(runs: list[Floats], tolerance_m: float) -> list[Floats]:
    """Lines whose ends that lie within the tolerance of each other are where the first one is."""
    ends = np.array([run[place] for run in runs for place in (0, -1)])
    moved = ends[meeting_places(ends[:, :2], tolerance_m)]
    out = [run.copy() for run in runs]
    for k, run in enumerate(out):
        run[[0, -1]] = moved[2 * k : 2 * k + 2]
    return out


def _ends_on_courses(runs: list[Floats], rings: list[Floats], tolerance_m: float) -> list[Floats]:
    """Lines and rings; an end near the course of another lies on it, and is a corner of it.

    Ends that meet go there together.
    """
    reach = max(tolerance_m, EXACT_M)
    everything = runs + rings
    courses = np.array([shapely.linestrings(run) for run in everything], dtype=object)
    tree = shapely.STRtree(courses)
    corners: dict[int, list[tuple[float, Floats]]] = defaultdict(list)
    meeting: dict[tuple[float, ...], list[tuple[int, int]]] = defaultdict(list)
    for k, run in enumerate(runs):
        for place in (0, -1):
            meeting[tuple(run[place].tolist())].append((k, place))
    for at, ends in meeting.items():
        end, own = shapely.points(at), {k for k, _ in ends}
        near = [j for j in tree.query(end, "dwithin", distance=reach).tolist() if j not in own]
        if not near:
            continue
        j = min(near, key=lambda j: float(shapely.distance(courses[j], end)))
        along = float(shapely.line_locate_point(courses[j], end))
        on_it = shapely.line_interpolate_point(courses[j], along)
        foot = shapely.get_coordinates(on_it, include_z=len(at) > 2)[0]
        apart = np.hypot(*(everything[j][:, :2] - foot[:2]).T)
        if apart.min() <= EXACT_M:  # at a corner of the other, or at its end
            foot = everything[j][apart.argmin()].copy()
        else:
            corners[j].append((along, foot))
        for k, place in ends:
            runs[k][place] = foot
    return [_with_corners(run, corners.get(j, [])) for j, run in enumerate(everything)]


def _with_corners(run: Floats, corners: list[tuple[float, Floats]]) -> Floats:
    if not corners:
        return run
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(run[:, :2], axis=0).T))])
    further = np.array([distance for distance, _ in corners])
    points = np.vstack([run, [point for _, point in corners]])
    return np.array(points[np.argsort(np.concatenate([along, further]), kind="stable")])
