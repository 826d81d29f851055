"""From metres of a site's plane to points on paper: places, shading, ids where there is room."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from geosand.columns import Bools, Floats, Geometries, Ints, frozen
from geosand.reports.printable.drawing import INK, Mark, Words, text_width

Ways = tuple[Floats, ...]
#: How far a drawn line may lie from the surveyed one, points.
FINE = 0.16
POLYGON = 3  #: shapely's number for the type
LEAST_BESIDE_M = 500.0  #: as on the map of the screen


def beside(shapes: Geometries, subject: Geometries) -> Bools:
    """Which shapes reach into the subject's box, or lie within half its width around it, or 500 m.

    Map data may bring the lake of the next village. All, without a subject.
    """
    if not len(subject):
        return np.ones(len(shapes), dtype=np.bool_)
    west, south, east, north = shapely.total_bounds(subject)
    low, high = np.array([west, south]), np.array([east, north])
    over = np.maximum((high - low) / 2, LEAST_BESIDE_M)
    least, most = np.hsplit(shapely.bounds(shapes), 2)
    held: Bools = ((least >= low - over) & (most <= high + over)).all(axis=1)
    return held | ((least <= high) & (most >= low)).all(axis=1)


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
        return (points - [self.west, self.north]) * [self.scale, -self.scale]

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


SIZE = 7.0
GAP = 1.6
MOST_INK = 0.1  #: share of the ground that labels may cover: more would hide the map


@frozen
class Label:
    """A text and the box (west, north, east, south on paper) of what it names."""

    text: str
    box: tuple[float, float, float, float]
    weight: int  #: 0 is placed first
    bold: bool = False
    inside: bool = True  #: whether it may stand on the thing itself


def placed_labels(labels: Sequence[Label], width: float, height: float) -> list[Mark]:
    """Marks of the labels that find room; each is tried on all sides, nearest to the eye first."""
    taken = np.zeros((0, 4))
    left = MOST_INK * _extent([label.box for label in labels])
    things = np.array([label.box for label in labels]).reshape(-1, 4)
    marks: list[Mark] = []
    for k in sorted(range(len(labels)), key=lambda k: labels[k].weight):
        label = labels[k]
        wide = text_width(label.text, SIZE, bold=label.bold)
        if wide * SIZE > left:
            continue
        tried = _places(label.box, wide, inside=label.inside)
        inside = (tried[:, 0] >= 0) & (tried[:, 2] <= width) & (tried[:, 1] >= 0)
        inside &= tried[:, 3] <= height
        free = inside & ~_overlap(tried, taken).any(axis=1)
        if not free.any():
            continue
        others = np.delete(things, k, axis=0)
        over = _overlap(tried, others).sum(axis=1)
        best = min(np.flatnonzero(free), key=lambda c: (over[c], c))
        taken = np.vstack([taken, tried[best]])
        left -= wide * SIZE
        x, y = tried[best][0], tried[best][3] - 1.6
        marks.append(
            Words(
                x=float(x),
                y=float(y),
                text=label.text,
                size=SIZE,
                bold=label.bold,
                colour=INK,
                halo=True,
            )
        )
    return marks


def _extent(boxes: Sequence[tuple[float, float, float, float]]) -> float:
    """Area on paper of the box around everything; a row of surfaces has a strip to stand in."""
    west, north, east, south = np.array(boxes).reshape(-1, 4).T
    if not len(west):
        return 0.0
    wide, tall = east.max() - west.min(), south.max() - north.min()
    return float(max(wide, 0.3 * tall, 60.0) * max(tall, 0.3 * wide, 60.0))


def _places(box: tuple[float, float, float, float], wide: float, *, inside: bool) -> Floats:
    """Boxes of a text on the thing itself where it fits well, and on its eight sides, (n, 4)."""
    west, north, east, south = box
    middle_x, middle_y = (west + east) / 2, (north + south) / 2
    left = [east + GAP, west - GAP - wide, middle_x - wide / 2, middle_x - wide / 2]
    left += [east - 1, west + 1 - wide, east - 1, west + 1 - wide]
    low = [middle_y + SIZE / 2, middle_y + SIZE / 2, north - GAP, south + GAP + SIZE]
    low += [north + 1, north + 1, south - 1 + SIZE, south - 1 + SIZE]
    if inside and east - west > 1.8 * wide and south - north > 2 * SIZE:
        left.insert(0, middle_x - wide / 2)
        low.insert(0, middle_y + SIZE / 2)
    corner_x, corner_y = np.array(left), np.array(low)
    return np.stack([corner_x, corner_y - SIZE, corner_x + wide, corner_y], axis=1)


def _overlap(boxes: Floats, others: Floats) -> Floats:
    """Whether each of (n, 4) boxes meets each of (m, 4) others, (n, m)."""
    apart = boxes[:, None, 2] <= others[None, :, 0]
    apart |= boxes[:, None, 0] >= others[None, :, 2]
    apart |= boxes[:, None, 3] <= others[None, :, 1]
    apart |= boxes[:, None, 1] >= others[None, :, 3]
    return np.asarray(~apart)
