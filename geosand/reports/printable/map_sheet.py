"""From metres of a site's plane to points on paper, and the lines that shade what is estimated."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from geosand.columns import Floats, Geometries, Ints, frozen

Ways = tuple[Floats, ...]
#: How far a drawn line may lie from the surveyed one, points.
FINE = 0.16
POLYGON = 3  #: shapely's number for the type


@frozen
class Sheet:
    """Where a place of the plane lies on paper; north is up."""

    west: float
    north: float
    scale: float  #: points a metre
    width: float
    height: float

    @classmethod
    def around(cls, shapes: Geometries, *, width: float, tallest: float) -> Sheet:
        """A sheet that holds all shapes with a margin; a tall site stands in the middle."""
        west, south, east, north = shapely.total_bounds(shapes)
        margin = 0.02 * max(east - west, north - south, 10.0)
        west, east, south, north = west - margin, east + margin, south - margin, north + margin
        scale = min(width / (east - west), tallest / (north - south))
        spare = (width / scale - (east - west)) / 2
        height = (north - south) * scale
        return cls(west=west - spare, north=north, scale=scale, width=width, height=height)

    def placed(self, points: Floats) -> Floats:
        """Points on paper of points (n, 2) in metres."""
        placed: Floats = (points - [self.west, self.north]) * [self.scale, -self.scale]
        return placed

    def rings(self, shapes: Geometries) -> list[Ways]:
        """The rings of each polygon, thinned for paper."""
        thin = shapely.simplify(shapes, FINE / self.scale)
        parts, shape = shapely.get_parts(thin, return_index=True)
        flat = shapely.get_type_id(parts) == POLYGON
        rings, part = shapely.get_rings(parts[flat], return_index=True)
        return self._ways(rings, shape[flat][part], len(shapes))

    def lines(self, lines: NDArray[Any]) -> Ways:
        """Lines as they are."""
        return self._ways(lines, np.zeros(len(lines), dtype=np.int64), 1)[0]

    def _ways(self, lines: NDArray[Any], owner: Ints, size: int) -> list[Ways]:
        corners, line = shapely.get_coordinates(lines, return_index=True)
        cuts = np.flatnonzero(np.diff(line)) + 1
        found: list[list[Floats]] = [[] for _ in range(size)]
        for way, mine in zip(np.split(self.placed(corners), cuts), owner.tolist(), strict=False):
            found[mine].append(way)
        return [tuple(ways) for ways in found]

    def boxes(self, shapes: Geometries) -> Floats:
        """West, north, east and south of each shape on paper, (n, 4)."""
        bounds = shapely.bounds(shapes)
        first, last = self.placed(bounds[:, [0, 3]]), self.placed(bounds[:, [2, 1]])
        return np.concatenate([first, last], axis=1)


def hatch(shape: Any, distance: float) -> NDArray[Any]:
    """Lines at 45 degrees, ``distance`` apart, where they cross ``shape``."""
    west, south, east, north = shapely.bounds(shape)
    step = distance * math.sqrt(2)
    first, last = math.floor((west - (north - south)) / step), math.ceil(east / step)
    x = np.arange(first, last + 1) * step
    low = np.stack([x, np.full(len(x), south)], axis=1)
    high = np.stack([x + north - south, np.full(len(x), north)], axis=1)
    crossed = shapely.intersection(shapely.linestrings(np.stack([low, high], axis=1)), shape)
    parts: NDArray[Any] = shapely.get_parts(crossed)
    return parts[shapely.length(parts) > 0]
