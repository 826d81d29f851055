"""All rings of a column of polygons as one array of vertices with the ends of each ring."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from geosand.columns import Bools, Floats, Geometries, Ints


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Rings:
    """R rings with N vertices altogether; each ring is closed, its first vertex comes twice."""

    position: Floats  #: (N, 2), in the units of the geometries
    first: Ints  #: (R,) row of the first vertex of each ring
    last: Ints  #: (R,) row of its closing vertex
    surface: Ints  #: (R,) which geometry the ring belongs to
    is_hole: Bools  #: (R,)
    surfaces: int  #: how many geometries there were, empty ones too

    def sum_edges(self, values: Floats) -> Floats:
        """Sum per ring (R,) of one value per edge (N,), 0 for the edge of no length at its end."""
        total: Floats = np.add.reduceat(values, self.first) if len(self.first) else np.zeros(0)
        return total

    def sum_vertices(self, values: Floats) -> Floats:
        """Sum per ring (R,) of one value per vertex (N,); a closing vertex does not count."""
        kept = values.copy()
        kept[self.last] = 0.0
        return self.sum_edges(kept)

    def sum_rings(self, values: Floats) -> Floats:
        """Sum per surface of one value per ring (R,); 0 where a surface has no ring."""
        total: Floats = np.bincount(self.surface, values, self.surfaces).astype(np.float64)
        return total

    def per_vertex(self, values: Floats) -> Floats:
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


def rings_of(geometries: Geometries) -> Rings:
    """The rings of a column (S,) of Polygon and MultiPolygon; None and empty have none.

    Heights are left out. Raises ValueError naming the rows that are something else.
    """
    types = shapely.get_type_id(geometries)
    strange = np.flatnonzero(~np.isin(types, (-1, 3, 6)))
    if strange.size:
        raise ValueError(
            f"rows {strange[:10].tolist()} are not polygons but "
            f"{geometries[strange[0]].geom_type}; allowed: Polygon, MultiPolygon"
        )
    parts, owner = geometries, np.arange(len(geometries))
    if (types == 6).any():
        parts, owner = shapely.get_parts(geometries, return_index=True)
    rings, part = shapely.get_rings(parts, return_index=True)
    corners = shapely.get_num_coordinates(rings).astype(np.int64)
    last = np.cumsum(corners) - 1
    return Rings(
        position=shapely.get_coordinates(rings),
        first=last - corners + 1,
        last=last,
        surface=owner[part],
        is_hole=np.diff(part, prepend=-1) == 0,  # the first ring of a part is its outline
        surfaces=len(geometries),
    )
