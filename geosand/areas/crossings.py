"""An outline that crosses itself: the ways to read it, each with its own area.

No one of them is right: a figure of eight drawn on purpose has two loops, two corners recorded in
the wrong order make a field of twice that area look like one, a slip of the hand leaves a loop of
no meaning. So the figures of all are shown and a person chooses.

The rings are noded into faces. ``loops`` keeps the faces that a shell goes round, whichever way
(the nonzero rule), less those in a hole; ``even-odd`` those that all rings together go round an odd
number of times (both rules as in SVG 2, W3C, "fill-rule"). ``uncrossed`` is the 2-opt move of
G. A. Croes, Operations Research 6 (1958) 791-812: where two edges cross, the run of corners
between them is turned round; the outline grows shorter each time, so it ends.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import shapely

from geosand.areas.ellipsoid import ellipsoid_areas_m2
from geosand.areas.remarks import square_metres
from geosand.columns import Floats, Geometries, Ints

#: Name of each way and what it keeps; the first is taken where none is named.
METHODS: Mapping[str, str] = {
    "loops": "all its loops",
    "even-odd": "what it goes round an odd number of times",
    "largest": "its largest loop alone",
    "uncrossed": "the same corners in an order without crossing",
}
_SAME_M2 = 0.05  # figures closer than this are one
_LARGEST_RING = 5000
_MOVES = 200
_DUST_M2 = 1e-3
_AT_ONCE = 50  # sides


def mended(polygon: Any, method: str) -> Any:
    """A valid polygon in place of one that is not, by one of METHODS; None where there is none.

    Coordinates are lon/lat degrees and edges straight in them. Raises KeyError for another method.
    """
    METHODS[method]
    flat = without_collapsed(shapely.force_2d(polygon))
    if flat is None:
        return None
    if shapely.is_valid(flat):
        made = flat
    else:
        made = _uncrossed(flat) if method == "uncrossed" else _faces(flat, method == "even-odd")
    if made is None:
        return None
    parts = np.asarray(shapely.get_parts(made), dtype=object)
    parts = parts[(shapely.get_type_id(parts) == 3) & (ellipsoid_areas_m2(parts) > _DUST_M2)]
    if not len(parts):
        return None
    if method == "largest":
        return parts[int(ellipsoid_areas_m2(parts).argmax())]
    return parts[0] if len(parts) == 1 else shapely.multipolygons(parts)


def meet_often(lines: Geometries, most: int) -> bool:
    """Whether sides of the lines (n,) meet or cross each other in more than ``most`` pairs.

    Two sides of one line that share a corner are such a pair.
    """
    points, line = shapely.get_coordinates(shapely.get_parts(lines), return_index=True)
    side = line[1:] == line[:-1]
    ends = np.stack([points[:-1][side], points[1:][side]], axis=1)
    sides = np.asarray(shapely.linestrings(ends), dtype=object)
    tree, met = shapely.STRtree(sides), 0
    for begin in range(0, len(sides), _AT_ONCE):  # a few at a time, since each may meet all
        some = sides[begin : begin + _AT_ONCE]
        met += len(tree.query(some, "intersects")[0]) - len(some)  # each meets itself
        if met > 2 * most:
            return True
    return False


def without_collapsed(polygon: Any) -> Any:
    """The polygon without rings of fewer than three corners, which hold no ground; None = no other.

    Rounding leaves such of islands and holes that are smaller than its step. A part whose shell is
    one is no part. Others are the same object.
    """
    parts, spoiled = [], False
    for part in shapely.get_parts(polygon).tolist():
        shell, *holes = shapely.get_rings(part).tolist()
        kept = [ring for ring in (shell, *holes) if _has_corners(ring)]
        spoiled |= len(kept) <= len(holes)
        if kept and kept[0] is shell:
            parts.append(shapely.polygons(shell, holes=kept[1:] or None))
    if not spoiled:
        return polygon
    if not parts:
        return None
    return parts[0] if len(parts) == 1 else shapely.multipolygons(parts)


def _has_corners(ring: Any) -> bool:
    """Whether a ring has three corners; mostly its first ones tell."""
    corners = shapely.get_coordinates(ring)
    return any(len(np.unique(some, axis=0)) > 2 for some in (corners[:4], corners))


def _faces(polygon: Any, odd: bool) -> Any:
    """The faces of the noded rings that one of the two rules keeps, put together."""
    lines = shapely.boundary(shapely.get_parts(polygon))
    faces = shapely.get_parts(shapely.polygonize(shapely.get_parts(shapely.union_all(lines))))
    if not len(faces):
        return None
    points = shapely.get_coordinates(shapely.point_on_surface(faces))
    inside = np.zeros(len(faces), dtype=np.int64)
    kept = np.zeros(len(faces), dtype=np.bool_)
    for part in shapely.get_parts(polygon):
        shell, *holes = (_turns(points, ring) for ring in _outermost_first(shapely.get_rings(part)))
        hole = np.any([turns != 0 for turns in holes], axis=0) if holes else False
        kept |= (shell != 0) & ~np.asarray(hole)
        inside += np.sum([shell, *holes], axis=0)
    chosen = inside % 2 == 1 if odd else kept
    return shapely.union_all(faces[chosen]) if chosen.any() else None


def _outermost_first(rings: Geometries) -> Geometries:
    """The rings of a polygon, that which goes round all others first, as a shell does.

    Where rings run the wrong way round, readers take a hole for the shell.
    """
    boxes = np.asarray(shapely.envelope(rings), dtype=object)
    around = np.asarray(shapely.covers(boxes[:, None], boxes)).all(axis=1)
    first = int(around.argmax())
    return np.concatenate([rings[[first]], np.delete(rings, first)])


def _turns(points: Floats, ring: Any) -> Ints:
    """How often a ring goes round each point (n,), counter-clockwise positive: winding number."""
    begin = shapely.get_coordinates(ring)
    end = np.roll(begin, -1, axis=0)
    turns = np.zeros(len(points), dtype=np.int64)
    for k, (x, y) in enumerate(points.tolist()):
        up = (begin[:, 1] <= y) & (end[:, 1] > y)
        down = (begin[:, 1] > y) & (end[:, 1] <= y)
        side = (end[:, 0] - begin[:, 0]) * (y - begin[:, 1])
        side -= (x - begin[:, 0]) * (end[:, 1] - begin[:, 1])
        turns[k] = np.count_nonzero(up & (side > 0)) - np.count_nonzero(down & (side < 0))
    return turns


def figures_m2(polygon: Any) -> dict[str, float]:
    """Area on the ellipsoid by each of METHODS that gives one."""
    shapes = {name: mended(polygon, name) for name in METHODS}
    return {
        name: float(ellipsoid_areas_m2(np.array([shape], dtype=object))[0])
        for name, shape in shapes.items()
        if shape is not None
    }


def figures_text(figures: Mapping[str, float]) -> str:
    """The figures in words, methods that agree together.

    >>> figures_text({"loops": 200.0, "even-odd": 200.0, "largest": 100.0})
    '200.0 m² by loops or even-odd, 100.0 m² by largest'
    """
    groups: list[tuple[float, list[str]]] = []
    for name, figure in figures.items():
        for value, names in groups:
            if abs(value - figure) < _SAME_M2:
                names.append(name)
                break
        else:
            groups.append((figure, [name]))
    if len(groups) == 1:
        return f"{square_metres(groups[0][0])} however it is mended"
    return ", ".join(f"{square_metres(value)} by {_or(names)}" for value, names in groups)


def _or(names: list[str]) -> str:
    return f"{', '.join(names[:-1])} or {names[-1]}" if len(names) > 1 else names[0]


def _uncrossed(polygon: Any) -> Any:
    """Every ring with its corners in an order without crossing; None where that is no polygon."""
    parts = []
    for part in shapely.get_parts(polygon):
        rings = [_untangled(shapely.get_coordinates(ring)[:-1]) for ring in shapely.get_rings(part)]
        if any(ring is None for ring in rings):
            return None
        parts.append(shapely.Polygon(rings[0], rings[1:]))
    made = parts[0] if len(parts) == 1 else shapely.multipolygons(parts)
    return made if shapely.is_valid(made) else None


def _untangled(corners: Floats) -> Floats | None:
    """Corners (n, 2) of a ring reordered until no two edges cross; None where that does not end."""
    if len(corners) > _LARGEST_RING:
        return None
    for _ in range(_MOVES):
        ends = np.stack([corners, np.roll(corners, -1, axis=0)], axis=1)
        edges = np.asarray(shapely.linestrings(ends), dtype=object)
        first, second = shapely.STRtree(edges).query(edges, "crosses")
        later = first < second
        if not later.any():
            return corners
        order = np.lexsort((second[later], first[later]))[0]
        i, j = int(first[later][order]), int(second[later][order])
        corners = np.vstack([corners[: i + 1], corners[i + 1 : j + 1][::-1], corners[j + 1 :]])
    return None
