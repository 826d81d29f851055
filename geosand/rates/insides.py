"""What the outlines of surfaces tell of the ground in them: who is surely inside, and how deep.

Told where all of a polygon is seen from some place and a disc about it: then a point's direction
from there names the one piece of the edge that it has before it. Nothing else needs measuring, as
a rule; for the rest bounds say that they know nothing.
"""

from __future__ import annotations

import numpy as np
import shapely

from geosand.areas.outline_bearings import (
    Corners,
    Outlines,
    bearing,
    bends_of,
    edge_towards,
    in_ring,
    outlines_of,
    square_to_edge,
    sums_by_ring,
)
from geosand.columns import Bools, Floats, Geometries, Ints
from geosand.tuples import NamedTuple

SPARE_M = 1e-9  #: bounds that are closer to the limit than this tell nothing


class Depths(NamedTuple):
    """How far points are from the edge of the polygon that they lie in, one row a point."""

    least_m: Floats  #: at least; above 0 a point is surely inside
    most_m: Floats  #: at most; inf where nothing is known

    def of(self, rows: Ints) -> Depths:
        """Some of them."""
        return Depths(self.least_m[rows], self.most_m[rows])

    def within(self, limit: Floats) -> tuple[Bools, Bools]:
        """Which points in polygons are surely within ``limit`` (n,) of the edge, and which may be.

        Those that may be are for :func:`geosand.rates.edge_distance.edge_distances`.
        """
        surely: Bools = self.most_m <= limit - SPARE_M
        maybe: Bools = ~surely & (self.least_m <= limit + SPARE_M)
        return surely, maybe


class Insides(NamedTuple):
    """What the outlines of some polygons of a column (S,) tell; rows are rings unless said."""

    ring_of: Ints  #: (S + 1,) ring of each polygon of which something is known; -1: of others
    box: Floats  #: (4, S) west, south, east, north of each polygon
    outlines: Outlines
    corners: Corners
    disc_m: Floats  #: radius of the disc about the middle from which all of the polygon is seen
    around_m: Floats  #: length of the outline
    turned: Floats  #: times d²: what the band along the edge of width d has more than around_m · d
    keeps_m: Floats  #: up to this width the band has that area

    @classmethod
    def of(cls, polygons: Geometries, rows: Ints) -> Insides:
        """What is known of ``rows`` (n,) of ``polygons`` (S,).

        The edge moved inwards by d encloses P·d less d²·tan(α/2) at each corner that turns by α,
        plus d²·α/2 at concave ones, where it rounds them. That is the band so long as every edge
        moved inwards still has a length and keeps some place on its left: edges grow shorter
        steadily, so that both hold all the way; and what goes once round a place, always
        anticlockwise, does not meet itself.
        """
        outlines, corners = outlines_of(polygons[rows])
        bends, first = bends_of(outlines, corners), outlines.first
        before, convex = (np.maximum(h, 0.0) for h in (bends.half_before, bends.half_tan))
        turned, rounded = -convex, np.flatnonzero(bends.half_tan < 0)
        turned[rounded] = np.arctan(-bends.half_tan[rounded])
        # the first corner once more, at the end of each ring, has no turn
        turns = before + convex
        lasts = np.divide(bends.length_m, turns, out=np.full(len(turns), np.inf), where=turns > 0)
        disc, keeps = (
            np.minimum.reduceat(column, first) if len(first) else np.empty(0)
            for column in (bends.from_middle_m, lasts)
        )
        alone = np.bincount(outlines.of, minlength=len(rows))[outlines.of] == 1
        known = np.flatnonzero(alone & outlines.ordered & (disc > 0))
        ring_of = np.full(len(polygons) + 1, -1, dtype=np.int64)
        ring_of[rows[outlines.of[known]]] = known
        return cls(
            ring_of=ring_of,
            box=np.ascontiguousarray(shapely.bounds(polygons).T),
            outlines=outlines,
            corners=corners,
            disc_m=disc,
            around_m=sums_by_ring(outlines, bends.length_m),
            turned=sums_by_ring(outlines, turned),
            keeps_m=np.minimum(keeps, disc),
        )

    def depths(self, x: Floats, y: Floats, row: Ints, enough_m: Floats) -> Depths:
        """How deep points (n,) are in the polygon in their ``row`` (-1: none).

        Who leaves a polygon leaves its box no earlier. A point is as far from the edge as from the
        outside of the disc. Where that is not ``enough_m`` (n,): the edge is no farther than the
        piece of it in the point's direction from there, met at 1/u of the point's distance; and as
        the disc is seen from there too, what the point sees of it holds a disc of radius (1 − u)·h
        about the point.
        """
        most, least = self._to_box(x, y, row), np.zeros(len(x))
        ring, corners, outlines = self.ring_of.take(row), self.corners, self.outlines
        known = np.flatnonzero(ring >= 0)
        ring, x, y = ring.take(known), x.take(known), y.take(known)
        x -= outlines.middle_x.take(ring)
        y -= outlines.middle_y.take(ring)
        within = self.disc_m.take(ring) - np.sqrt(x * x + y * y)
        least[known] = np.maximum(within, 0.0)
        left = np.flatnonzero(within <= enough_m.take(known))
        known, ring = known.take(left), ring.take(left)
        x, y = x.take(left), y.take(left)
        edge = edge_towards(outlines, corners, ring, bearing(x, y))
        begin = outlines.first.take(ring) + in_ring(edge, outlines.edges.take(ring))
        from_x, from_y, after = corners.x.take(begin), corners.y.take(begin), begin + 1
        step_x, step_y = corners.x.take(after) - from_x, corners.y.take(after) - from_y
        part = (x * step_y - y * step_x) / (from_x * step_y - from_y * step_x)
        least[known] = np.maximum((1 - part) * self.disc_m.take(ring), 0.0)
        to_edge = np.sqrt(square_to_edge(corners, begin, x, y))
        most[known] = np.minimum(most[known], to_edge)
        return Depths(least, most)

    def _to_box(self, x: Floats, y: Floats, row: Ints) -> Floats:
        west, south, east, north = self.box.take(row, axis=1)
        near = np.minimum(np.minimum(x - west, east - x), np.minimum(y - south, north - y))
        return np.where(row >= 0, near, np.inf)

    def band_area_m2(self, row: Ints, distance_m: Floats) -> Floats:
        """Area within the distance of the edge, of polygons in rows (n,); nan where not known."""
        ring = self.ring_of[row]
        proved = np.flatnonzero(ring >= 0)
        proved = proved[distance_m[proved] < self.keeps_m[ring[proved]]]
        ring, d = ring[proved], distance_m[proved]
        band = np.full(len(row), np.nan)
        band[proved] = d * (self.around_m[ring] + d * self.turned[ring])
        return band
