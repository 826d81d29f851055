"""Polygons made small for a page: rounded, thinned for the eye, written as short strings.

Coordinates are whole numbers of 1e-7 degree (about 1 cm), each ring as differences between
neighbours, each difference as printable characters of five bits (the published "encoded polyline"
scheme). A ring that two polygons share is kept once. Only the picture is thinned; no area or rate
is ever computed from it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from geosand.columns import Floats, Ints

#: Whole numbers to a degree.
PER_DEGREE = 10_000_000
METRES_PER_DEGREE = 111_195.0
#: How far a drawn line may lie from the surveyed one.
PICTURE_TOLERANCE_M = 0.02

Shape = list[list[int]]  #: polygons of ring numbers, the outer ring first


@dataclass(frozen=True, slots=True, kw_only=True)
class Packed:
    """Polygons as numbers into one pool of encoded rings."""

    origin: tuple[int, int]  #: lon, lat of the lower left corner, in 1e-7 degree
    pool: list[str]
    shapes: list[Shape]  #: one a geometry, in the order given


def metres_scale(latitude_degree: float) -> Floats:
    """Metres to a degree of longitude and of latitude, near enough for a picture."""
    east = METRES_PER_DEGREE * math.cos(math.radians(latitude_degree))
    return np.array([max(east, 1.0), METRES_PER_DEGREE])


def encode_differences(whole: Ints) -> list[str]:
    """Each whole number as its own run of characters, five bits a character, low bits first.

    >>> encode_differences(np.array([-17998321]))  # -179.98321 degree at 1e-5: the scheme's example
    ['`~oia@']
    """
    zigzag = np.where(whole < 0, ~(whole << 1), whole << 1)
    shifted = zigzag[:, None] >> (5 * np.arange(13))
    used = shifted > 0
    used[:, 0] = True
    more = np.zeros_like(used)
    more[:, :-1] = used[:, 1:]
    letters = (shifted & 31) + 32 * more + 63
    text = letters[used].astype(np.uint8).tobytes().decode("ascii")
    ends = np.cumsum(used.sum(axis=1))
    return [text[a:b] for a, b in zip([0, *ends[:-1]], ends, strict=True)]


def encode_ring(points: Ints) -> str:
    """A ring of (n, 2) whole numbers; the first pair counts from the origin."""
    differences = np.diff(points, axis=0, prepend=np.zeros((1, 2), dtype=np.int64))
    return "".join(encode_differences(differences.ravel()))


def thin_rings(rings: NDArray[np.object_], *, scale: Floats, tolerance_m: float) -> list[Floats]:
    """Each ring's corners in degrees, without the repeated last one, from a settled start.

    The settled start makes a boundary that two polygons share come out the same from both.
    """
    outlines = shapely.normalize(shapely.polygons(rings))
    metres = shapely.transform(outlines, lambda points: points * scale)
    thin = shapely.simplify(metres, tolerance_m)
    corners, owner = shapely.get_coordinates(thin, return_index=True)
    cuts = np.flatnonzero(np.diff(owner)) + 1
    return [part[:-1] / scale for part in np.split(corners, cuts)]


def pack(geometries: Sequence[Any]) -> Packed:
    """Pack lon/lat polygons and multipolygons; empty ones get an empty shape."""
    polygons, owner = shapely.get_parts(np.asarray(geometries, dtype=object), return_index=True)
    flat = (shapely.get_type_id(polygons) == 3) & ~shapely.is_empty(polygons)
    polygons, owner = polygons[flat], owner[flat]
    shapes: list[Shape] = [[] for _ in geometries]
    if not len(polygons):
        return Packed(origin=(0, 0), pool=[], shapes=shapes)
    rings, polygon = shapely.get_rings(polygons, return_index=True)
    west, south, _, north = shapely.total_bounds(polygons)
    origin = np.floor(np.array([west, south]) * PER_DEGREE).astype(np.int64)
    scale = metres_scale((south + north) / 2)
    number: dict[str, int] = {}
    last = -1
    corners = thin_rings(rings, scale=scale, tolerance_m=PICTURE_TOLERANCE_M)
    for part, points in zip(polygon, corners, strict=True):
        whole = np.rint(points * PER_DEGREE).astype(np.int64) - origin
        index = number.setdefault(encode_ring(whole), len(number))
        if part != last:
            shapes[owner[part]].append([])
        shapes[owner[part]][-1].append(index)
        last = part
    return Packed(origin=(int(origin[0]), int(origin[1])), pool=list(number), shapes=shapes)


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
    drawn = []
    for shape in shapely.simplify(placed, tolerance):
        rings = shapely.get_rings(shapely.get_parts(shape))
        drawn.append("".join(_svg_ring(shapely.get_coordinates(ring)) for ring in rings))
    size = np.ceil(np.array([(east - west), (north - south)]) * scale).astype(int)
    return drawn, max(int(size[0]), 1), max(int(size[1]), 1)


def _svg_ring(points: Floats) -> str:
    whole = np.rint(points[:-1]).astype(int)
    steps = np.diff(whole, axis=0).ravel()
    text = f"M{whole[0, 0]} {whole[0, 1]}l" + " ".join(map(str, steps.tolist()))
    return text.replace(" -", "-") + "z"
