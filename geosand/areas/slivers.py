"""What a cut leaves beside the ground: parts too small to be any, and hairs along its edges."""

from __future__ import annotations

import numpy as np
import shapely

from geosand.areas.ellipsoid import ellipsoid_areas_m2
from geosand.areas.rings import Rings, joined, polygons_of, rings_of
from geosand.columns import Floats, Geometries, Ints, begins, distinct

_SLIVER_M2 = 1e-3  # parts of an overlay smaller than this are numerical dust
#: Nine decimals of a degree round a corner by up to 0.08 mm, and each of two edges has its own.
_HAIR_M, _SHORTEST_HAIR_M = 2e-4, 0.05
_M_PER_DEGREE = 111_000.0
_TURN_DEG2 = 1e-13  # 0.001 m²: of 0.2 mm and 6 m, or of two edges of 3 cm
_ROUNDS = 10  # of hairs that have corners along them


def without_slivers(geometries: Geometries) -> tuple[Geometries, Floats]:
    """Polygons of their parts of at least 1e-3 m², empty where none is left; and their areas."""
    left = geometries.copy()
    mixed = np.flatnonzero(shapely.get_type_id(left) != 3)
    if len(mixed):
        left[mixed] = _large_parts(left[mixed])
    left, rings = _without_hairs(left)
    area = ellipsoid_areas_m2(rings)
    gone = area < _SLIVER_M2
    if gone.any():
        left[gone], area[gone] = shapely.Polygon(), 0.0
    return left, area


def _without_hairs(geometries: Geometries) -> tuple[Geometries, Rings]:
    """The outlines without runs out and back that are thinner than 0.2 mm; and their rings.

    Rounding leaves such where a surface on top ends in the middle of another's straight edge: they
    have no ground and twice their length of edge.
    """
    rings = rings_of(geometries)
    for _ in range(_ROUNDS):
        rows = distinct(rings.surface[np.searchsorted(rings.last, _hair_tips(rings))])
        if not len(rows):
            break
        some = rings_of(geometries[rows])
        thinned = polygons_of(_without(some, _hair_tips(some)))
        better = shapely.is_valid(thinned)
        if not better.any():
            break
        geometries = geometries.copy()
        geometries[rows[better]] = thinned[better]
        rings = rings_of(geometries)
    return geometries, rings


def _hair_tips(rings: Rings) -> Ints:
    """Vertices (n,) from which the edge runs back on itself; of a ring's end both of them."""
    some = _turning_back(rings)
    ring = np.searchsorted(rings.last, some)
    first, corners = rings.first[ring], (rings.last - rings.first)[ring]
    here = rings.position[some]
    metres = _M_PER_DEGREE * np.column_stack([np.cos(np.radians(here[:, 1])), np.ones(len(some))])

    def arm(way: int) -> Floats:
        """To the corner before or after that is no other corner of a blunt tip."""
        near, far = (
            (rings.position[first + (some - first + step) % corners] - here) * metres
            for step in (way, 2 * way)
        )
        return np.where(np.hypot(*near.T)[:, None] < _HAIR_M, far, near)

    back, ahead = arm(-1), arm(1)
    cross = back[:, 0] * ahead[:, 1] - back[:, 1] * ahead[:, 0]
    short, long = np.sort(np.stack([np.hypot(*back.T), np.hypot(*ahead.T)]), axis=0)
    hair = (back * ahead).sum(axis=1) > 0
    hair &= (np.abs(cross) < _HAIR_M * long) & (short > _SHORTEST_HAIR_M)
    tips: Ints = some[hair]
    return tips


def _turning_back(rings: Rings) -> Ints:
    """Vertices where the edge turns by more than a right angle or has hardly any length; and ends.

    By the product of the edges before and after, in square degrees.
    """
    found = [rings.first, rings.last]
    for rows, block, room in rings.blocks_with_room(3):
        step, other, turn = room
        longitude, latitude = block.position.T
        np.subtract(longitude[1:], longitude[:-1], out=step[:-1])
        np.multiply(step[:-2], step[1:-1], out=turn[:-2])
        np.subtract(latitude[1:], latitude[:-1], out=step[:-1])
        np.multiply(step[:-2], step[1:-1], out=other[:-2])
        turn[:-2] += other[:-2]
        found.append(np.flatnonzero(turn[:-2] < _TURN_DEG2) + 1 + rings.first[rows.start])
    return distinct(np.concatenate(found))


def _without(rings: Rings, vertices: Ints) -> Rings:
    """The rings without some of their vertices (n,), each with at least three corners left."""
    ring = rings.per_vertex(np.arange(len(rings.first)))
    dropped = np.zeros(len(rings.position), dtype=np.bool_)
    dropped[vertices] = True
    dropped[rings.last] = True  # a ring is closed again by its first corner
    few = np.bincount(ring[~dropped], minlength=len(rings.first)) < 3
    dropped[few[ring]] = False
    dropped[rings.last] = True
    kept = np.flatnonzero(~dropped)
    first = kept[begins(ring[kept])]
    rows = np.concatenate([kept, first])[
        np.argsort(np.append(ring[kept], ring[first]), kind="stable")
    ]
    size = np.bincount(ring[kept], minlength=len(rings.first)) + 1
    end = np.cumsum(size)
    return Rings(
        position=rings.position.take(rows, axis=0),
        first=end - size,
        last=end - 1,
        surface=rings.surface,
        is_hole=rings.is_hole,
        surfaces=rings.surfaces,
    )


def _large_parts(geometries: Geometries) -> Geometries:
    """The polygons of at least 1e-3 m² in each geometry as one; empty where there is none."""
    parts, row = shapely.get_parts(geometries, return_index=True)
    areal = shapely.get_type_id(parts) == 3
    parts, row = parts[areal], row[areal]
    large = ellipsoid_areas_m2(parts) >= _SLIVER_M2
    return joined(parts[large], row[large], len(geometries))
