"""Polygons made small for a page: rounded, thinned for the eye, written as short strings.

Coordinates are whole numbers of 1e-7 degree (about 1 cm), each ring as differences between
neighbours, each difference as printable characters of five bits (the published "encoded polyline"
scheme). A ring that two polygons share is kept once. Only the picture is thinned; no area or rate
is ever computed from it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from geosand.columns import Bools, Floats, Ints, frozen
from geosand.mapping.encoding import encode_differences

#: Whole numbers to a degree.
PER_DEGREE = 10_000_000
METRES_PER_DEGREE = 111_195.0
#: How far a drawn line may lie from the surveyed one, and from one that was worked out.
PICTURE_TOLERANCE_M, BAND_TOLERANCE_M = 0.02, 0.05

Shape = list[list[int]]  #: polygons of ring numbers, the outer ring first


@frozen
class Packed:
    """Polygons as numbers into one pool of encoded rings."""

    origin: tuple[int, int]  #: lon, lat of the lower left corner, in 1e-7 degree
    pool: list[str]
    shapes: list[Shape]  #: one a geometry, in the order given


def metres_scale(latitude_degree: float) -> Floats:
    """Metres to a degree of longitude and of latitude, near enough for a picture."""
    east = METRES_PER_DEGREE * math.cos(math.radians(latitude_degree))
    return np.array([max(east, 1.0), METRES_PER_DEGREE])


def encode_rings(points: Ints, sizes: Ints) -> list[str]:
    """Rings of (n, 2) whole numbers, laid end to end; the first pair of each is from the origin."""
    first = np.cumsum(sizes) - sizes
    steps = np.diff(points, axis=0, prepend=0)
    steps[first] = points[first]
    return encode_differences(steps.ravel(), 2 * sizes)


def thin_rings(
    outlines: NDArray[np.object_], *, scale: Floats, tolerance_m: Floats
) -> tuple[Floats, Ints]:
    """The outlines' corners in degrees, without the repeated last ones, and how many each has.

    ``outlines``: polygons of one ring with a settled start, so that a boundary that two polygons
    share comes out the same from both.
    """
    metres = shapely.transform(outlines, lambda points: points * scale)
    tolerance = np.broadcast_to(tolerance_m, len(metres))
    thin = np.asarray(shapely.simplify(metres, tolerance, preserve_topology=False))
    # an eighth of the time; what is narrower than the tolerance vanishes or falls apart
    gone = shapely.is_empty(thin) | (shapely.get_type_id(thin) != shapely.GeometryType.POLYGON)
    gone |= shapely.get_num_interior_rings(thin) > 0
    thin[gone] = shapely.simplify(metres[gone], tolerance[gone])
    corners, owner = shapely.get_coordinates(thin, return_index=True)
    kept = np.append(owner[1:] == owner[:-1], False)
    return corners[kept] / scale, np.bincount(owner[kept], minlength=len(outlines))


def pack(surveyed: Sequence[Any], bands: Sequence[Any] = ()) -> Packed:
    """Pack lon/lat polygons and multipolygons; empty ones get an empty shape.

    ``bands``: what was worked out around the surveyed ones; only the rings of theirs that no
    surveyed one shares are thinned more.
    """
    geometries = np.asarray([*surveyed, *bands], dtype=object)
    polygons, owner = shapely.get_parts(geometries, return_index=True)
    flat = (shapely.get_type_id(polygons) == 3) & ~shapely.is_empty(polygons)
    polygons, owner = polygons[flat], owner[flat]
    shapes: list[Shape] = [[] for _ in geometries]
    if not len(polygons):
        return Packed(origin=(0, 0), pool=[], shapes=shapes)
    rings, polygon = shapely.get_rings(polygons, return_index=True)
    west, south, _, north = shapely.total_bounds(polygons)
    origin = np.floor(np.array([west, south]) * PER_DEGREE).astype(np.int64)
    scale = metres_scale((south + north) / 2)
    outlines = np.asarray(shapely.normalize(shapely.polygons(rings)), dtype=object)
    drawn = _shared(outlines, owner[polygon] < len(surveyed))
    number: dict[str, int] = {}
    last = -1
    tolerance = np.where(drawn, PICTURE_TOLERANCE_M, BAND_TOLERANCE_M)
    corners, sizes = thin_rings(outlines, scale=scale, tolerance_m=tolerance)
    whole = np.rint(corners * PER_DEGREE).astype(np.int64) - origin
    for part, text in zip(polygon.tolist(), encode_rings(whole, sizes), strict=True):
        index = number.setdefault(text, len(number))
        if part != last:
            shapes[owner[part]].append([])
        shapes[owner[part]][-1].append(index)
        last = part
    return Packed(origin=(int(origin[0]), int(origin[1])), pool=list(number), shapes=shapes)


def _shared(outlines: NDArray[np.object_], surveyed: Bools) -> Bools:
    """Which outlines are surveyed, or the same as a surveyed one to the last whole number."""
    whole = shapely.transform(outlines, lambda points: np.rint(points * PER_DEGREE))
    key = np.array(shapely.to_wkb(whole), dtype=object)
    known = set(key[surveyed])
    shared: Bools = surveyed | np.array([one in known for one in key], dtype=bool)
    return shared


def ground(geometries: Sequence[Any]) -> Any:
    """The land around the surfaces, as a quiet backdrop: grown by 45 m, rounded, thinned to 2 m."""
    shapes = np.asarray([g for g in geometries if not g.is_empty], dtype=object)
    if not len(shapes):
        return shapely.Polygon()
    _, south, _, north = shapely.total_bounds(shapes)
    scale = metres_scale((south + north) / 2)
    hulls = shapely.transform(shapely.convex_hull(shapes), lambda points: points * scale)
    grown = shapely.union_all(shapely.buffer(hulls, 95, quad_segs=6)).buffer(-50, quad_segs=6)
    whole = [shapely.Polygon(part.exterior) for part in shapely.get_parts(grown)]
    land = shapely.simplify(shapely.union_all(whole), 2.0)
    return shapely.transform(land, lambda points: points / scale)


def poles_of(geometries: Sequence[Any]) -> tuple[Floats, Floats]:
    """The point of each shape that is farthest from its edge (n, 2), degree; how far (n,), m.

    The pole of inaccessibility: it lies on the shape, clear of holes, where a name has most room.
    Empty shapes get the origin and 0.
    """
    shapes = np.asarray(geometries, dtype=object)
    poles, radii = np.zeros((len(shapes), 2)), np.zeros(len(shapes))
    solid = np.array([not shape.is_empty for shape in shapes], dtype=bool)
    if not solid.any():
        return poles, radii
    _, south, _, north = shapely.total_bounds(shapes[solid])
    scale = metres_scale((south + north) / 2)
    planes = shapely.make_valid(shapely.transform(shapes[solid], lambda points: points * scale))
    near_enough = np.maximum(0.02 * np.sqrt(shapely.area(planes)), 0.01)
    spokes = shapely.maximum_inscribed_circle(planes, tolerance=near_enough)
    poles[solid] = shapely.get_coordinates(shapely.get_point(spokes, 0)) / scale
    radii[solid] = shapely.length(spokes)
    return poles, radii


def svg_paths(
    geometries: Sequence[Any], *, width: int, tolerance: float
) -> tuple[list[str], int, int]:
    """Whole-number SVG path data of each geometry on a common sheet, and the sheet's size.

    ``tolerance`` is in units of the sheet. East is right and north is up.
    """
    everything = np.asarray(geometries, dtype=object)
    west, south, east, north = shapely.total_bounds(everything)
    metres = metres_scale((south + north) / 2)
    # A tall site is fitted by its height, so that the sheet never grows far beyond its width.
    extent = max((east - west) * metres[0], (north - south) * metres[1], 1.0)
    scale = metres * width / extent
    placed = shapely.transform(everything, lambda p: (p - [west, north]) * scale * [1, -1])
    parts, shape = shapely.get_parts(shapely.simplify(placed, tolerance), return_index=True)
    rings, part = shapely.get_rings(parts, return_index=True)
    corners, owner = shapely.get_coordinates(rings, return_index=True)
    drawn = [""] * len(everything)
    for row, ring in zip(shape[part].tolist(), _svg_rings(corners, owner), strict=True):
        drawn[row] += ring
    size = np.ceil(np.array([(east - west), (north - south)]) * scale).astype(int)
    return drawn, max(int(size[0]), 1), max(int(size[1]), 1)


def _svg_rings(points: Floats, owner: Ints) -> list[str]:
    """A path of each ring, the corners (n, 2) of which lie end to end, as steps from its first."""
    kept = np.append(owner[1:] == owner[:-1], False)  # not the repeated last corners
    whole = np.rint(points[kept]).astype(int)
    ends = np.cumsum(np.bincount(owner[kept])).tolist()
    steps = list(map(str, np.diff(whole, axis=0, prepend=0).ravel().tolist()))
    return [
        f"M{whole[a, 0]} {whole[a, 1]}l{' '.join(steps[2 * a + 2 : 2 * b])}z".replace(" -", "-")
        for a, b in zip([0, *ends[:-1]], ends, strict=True)
    ]
