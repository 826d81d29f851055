"""All rings of a column of polygons as one array of vertices with the ends of each ring."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cached_property
from typing import TypeVar

import numpy as np
import shapely
from numpy.typing import NDArray

from geosand.columns import Bools, Floats, Geometries, Ints, Late, begins, frozen, ragged

Scalar = TypeVar("Scalar", bound=np.generic)
_BLOCK_VERTICES = 32768  #: what is worked on at once stays in a processor's own memory


@frozen
class Rings(Late):
    """R rings with N vertices altogether; each ring is closed, its first vertex comes twice."""

    position: Floats  #: (N, 2), in the units of the geometries
    first: Ints  #: (R,) row of the first vertex of each ring
    last: Ints  #: (R,) row of its closing vertex
    surface: Ints  #: (R,) which geometry the ring belongs to; ascending
    is_hole: Bools  #: (R,)
    surfaces: int  #: how many geometries there were, empty ones too

    def sum_edges(self, values: NDArray[Scalar]) -> NDArray[Scalar]:
        """Sum per ring (R,) of one value per edge (N,), 0 for the edge of no length at its end."""
        total: NDArray[Scalar] = (
            np.add.reduceat(values, self.first) if len(self.first) else values[:0]
        )
        return total

    def sum_vertices(self, values: Floats) -> Floats:
        """Sum per ring (R,) of one value per vertex (N,); a closing vertex does not count."""
        kept = values.copy()
        kept[self.last] = 0.0
        return self.sum_edges(kept)

    def sum_rings(self, values: Floats) -> Floats:
        """Sum per surface of one value per ring (R,); 0 where a surface has no ring."""
        return np.bincount(self.surface, values, self.surfaces).astype(np.float64)

    def per_vertex(self, values: NDArray[Scalar]) -> NDArray[Scalar]:
        """One value per ring (R,) repeated for each of its vertices (N,)."""
        return np.repeat(values, self.last - self.first + 1)

    def edges(self) -> tuple[Floats, Floats]:
        """Begin and end (N, 2) of the edge from each vertex; none (length 0) from a closing one."""
        end = np.roll(self.position, -1, axis=0)
        end[self.last] = self.position[self.last]
        return self.position, end

    def neighbours(self) -> tuple[Floats, Floats]:
        """The vertices (N, 2) before and after each vertex, round the ring's closing vertex."""
        before = np.roll(self.position, 1, axis=0)
        before[self.first] = self.position[self.last - 1]
        after = np.roll(self.position, -1, axis=0)
        after[self.last] = self.position[self.first + 1]
        return before, after

    @cached_property
    def lengths(self) -> Floats:
        """Length of each ring (R,), straight in the units of the geometries."""
        length = np.zeros(len(self.first))
        for rows, block, steps in self.blocks_with_room(2):
            at = block.position.T
            np.subtract(at[:, 1:], at[:, :-1], out=steps[:, :-1])
            steps[:, block.last] = 0.0  # no edge leads from a ring to the next
            square, other = np.multiply(steps, steps, out=steps)
            square += other
            length[rows] = block.sum_edges(np.sqrt(square, out=square))
        return length

    def blocks(self) -> Iterator[tuple[slice, Rings]]:
        """These rings in blocks of some thousand vertices, each with the rows (of R) it holds."""
        if 0 < len(self.position) <= _BLOCK_VERTICES:
            yield slice(0, len(self.last)), self
            return
        starts = np.flatnonzero(begins(self.last // _BLOCK_VERTICES))
        stops = np.append(starts, len(self.last))[1:]
        for begin, stop in zip(starts.tolist(), stops.tolist(), strict=True):
            rows = slice(begin, stop)
            yield rows, self.of(rows)

    def blocks_with_room(self, columns: int) -> Iterator[tuple[slice, Rings, Floats]]:
        """The same with room (columns, n) to work on each, one for all: fresh memory is slow."""
        blocks = list(self.blocks())
        room = np.empty((columns, max((len(block.position) for _, block in blocks), default=0)))
        for rows, block in blocks:
            yield rows, block, room[:, : len(block.position)]

    def of(self, rows: slice) -> Rings:
        """The rings of some consecutive rows alone; they keep the numbers of their surfaces."""
        start, end = self.first[rows.start], self.last[rows.stop - 1] + 1
        return Rings(
            position=self.position[start:end],
            first=self.first[rows] - start,
            last=self.last[rows] - start,
            surface=self.surface[rows],
            is_hole=self.is_hole[rows],
            surfaces=self.surfaces,
        )


def rings_of(geometries: Geometries) -> Rings:
    """The rings of a column (S,) of Polygon and MultiPolygon; None and empty have none.

    Heights are left out. Raises ValueError naming the rows that are something else.
    """
    types = shapely.get_type_id(geometries)
    several = types == 6
    strange = np.flatnonzero((types != 3) & (types != -1) & ~several)
    if strange.size:
        raise ValueError(
            f"rows {strange[:10].tolist()} are not polygons but "
            f"{geometries[strange[0]].geom_type}; allowed: Polygon, MultiPolygon"
        )
    parts, owner = geometries, None
    if several.any():
        parts, owner = shapely.get_parts(geometries, return_index=True)
    corners, part = _ring_lengths(parts)
    return _rings(
        shapely.get_coordinates(geometries),
        corners,
        part,
        part if owner is None else owner[part],
        len(geometries),
    )


def polygons_of(rings: Rings) -> Geometries:
    """The geometries (S,) that rings are of: the way back from ``rings_of``.

    In half the time of setting the coordinates of geometries. Where there is no ring, an empty
    polygon.
    """
    outline = np.flatnonzero(~rings.is_hole)
    surface = rings.surface[outline]
    offsets = (
        np.append(rings.first, len(rings.position)),
        np.append(outline, len(rings.first)),
    )
    parts = shapely.from_ragged_array(shapely.GeometryType.POLYGON, rings.position, offsets)
    return joined(parts, surface, rings.surfaces)


def joined(parts: Geometries, row: Ints, rows: int) -> Geometries:
    """Of the parts (n,) of each ``row`` one geometry (rows,); an empty polygon where none is.

    >>> boxes = shapely.box(np.arange(3), 0, np.arange(1, 4), 1)
    >>> [shape.geom_type for shape in joined(boxes, np.array([1, 2, 2]), 3)]
    ['Polygon', 'Polygon', 'MultiPolygon']
    """
    out: Geometries = np.full(rows, shapely.Polygon(), dtype=object)
    out[row] = parts
    several = np.flatnonzero(np.bincount(row, minlength=rows)[row] > 1)
    if len(several):
        mine, group = np.unique(row[several], return_inverse=True)
        out[mine] = shapely.multipolygons(parts[several], indices=group)
    return out


def as_rings(ground: Geometries | Rings) -> Rings:
    """Rings as they are, those of a column of polygons otherwise: who has them passes them on."""
    return ground if isinstance(ground, Rings) else rings_of(ground)


def _ring_lengths(parts: Geometries) -> tuple[Ints, Ints]:
    """Coordinates of every ring of a column of Polygon, and the row it belongs to.

    Taking rings out as objects is slow: only holes are.
    """
    holes: Ints = shapely.get_num_interior_rings(parts).astype(np.int64)
    corners: Ints = shapely.get_num_coordinates(parts).astype(np.int64)
    part = np.arange(len(parts))
    if holes.any():
        of, number = ragged(np.zeros(len(parts), dtype=np.int64), holes)
        of_hole = shapely.get_num_coordinates(shapely.get_interior_ring(parts[of], number))
        part = np.repeat(part, 1 + holes)
        outer, whole = begins(part), corners
        corners = np.empty(len(part), dtype=np.int64)
        corners[~outer] = of_hole
        corners[outer] = whole - np.bincount(of, of_hole, len(parts)).astype(np.int64)
    there = corners > 0
    return (corners, part) if there.all() else (corners[there], part[there])


def rings_from_ragged(position: Floats, *offsets: Ints) -> Rings:
    """The rings of polygons that lie as columns: ``shapely.to_ragged_array``, GeoArrow.

    ``position`` (N, 2 or 3), then where each ring begins in it and the last one ends, where each
    polygon begins in the rings, and for MultiPolygons where each begins in the polygons.

    >>> offsets = np.array([0, 5]), np.array([0, 1])
    >>> corners = np.array([(0, 0), (1, 0), (1, 1), (0, 1), (0, 0)], dtype=float)
    >>> rings_from_ragged(corners, *offsets).last.tolist()
    [4]
    """
    ring, polygon, *multi = (np.asarray(offset, dtype=np.int64) for offset in offsets)
    corners = np.diff(ring)
    part = np.repeat(np.arange(len(polygon) - 1), np.diff(polygon))
    surface, surfaces = part, len(polygon) - 1
    if multi:
        surfaces = len(multi[0]) - 1
        surface = np.repeat(np.arange(surfaces), np.diff(multi[0]))[part]
    there = corners > 0
    return _rings(position[:, :2], corners[there], part[there], surface[there], surfaces)


def _rings(position: Floats, corners: Ints, part: Ints, surface: Ints, surfaces: int) -> Rings:
    last = np.cumsum(corners) - 1
    return Rings(
        position=position,
        first=last - corners + 1,
        last=last,
        surface=surface,
        is_hole=~begins(part),  # the first ring of a part is its outline
        surfaces=surfaces,
    )
