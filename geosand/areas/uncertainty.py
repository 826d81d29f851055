"""The errors of a site's areas as linear forms, so that a shared edge is not counted twice.

Three things are uncertain: each vertex by itself; where the mown edge was taken to be, the same
along all of one surface's edge; and a bias that one survey has on all its edges. Moving an edge
outward by d adds perimeter · d to the surface and takes it from the neighbour beneath: errors of
polygons with a common boundary are opposite (Forest Science 51(4):347-356, 2005).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geosand.areas.ownership import SharedEdges
from geosand.columns import Floats, Ints, freeze


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class AreaErrors:
    """What is known of the errors of the owned areas, one row a surface (S rows)."""

    u_vertices_m2: Floats  #: standard uncertainty from independent vertices
    own_edge_m: Floats  #: length of the edge that is not ruled by an upper surface
    edge_accuracy_m: Floats  #: standard uncertainty of where its edge is, one error a surface
    edge_bias_m: Floats  #: the same, one error for all surfaces of an edition
    edition: Ints  #: number of the boundary survey
    shared: SharedEdges  #: edges ruled by an upper surface, rows of this table

    def __post_init__(self) -> None:
        freeze(self)

    def edge_gains_m(self, coefficients: Floats) -> Floats:
        """Change (D, S) of each sum of c·A for 1 m that the edge of one surface moves outward.

        net = c·own edge of the surface itself, less c·length of the surfaces beneath it, which
        lose that ground. ``coefficients`` is (D, S): one sum a row.
        """
        rows = np.atleast_2d(np.asarray(coefficients, dtype=np.float64))
        gains = rows * self.own_edge_m
        lost = rows[:, self.shared.lower] * self.shared.length_m
        np.subtract.at(gains.T, self.shared.upper, lost.T)
        return gains

    def edge_biases_m2(self, coefficients: Floats) -> Floats:
        """Signed standard uncertainty (D, E) of each sum from the bias of each edition.

        The editions are in ascending order of their numbers; each column is one error, the same
        for all sums, so that columns of several dressings add up linearly.
        """
        gains = self.edge_gains_m(coefficients) * self.edge_bias_m
        editions, which = np.unique(self.edition, return_inverse=True)
        totals = np.zeros((len(gains), len(editions)))
        np.add.at(totals.T, which, gains.T)
        return totals

    def effects(self, coefficients: Floats) -> dict[str, Floats]:
        """Standard uncertainty (D,) of sums of c·A by source; ``coefficients`` (D, S).

        ``vertices``: sqrt(sum of (c·u)²), as if every surface had its own vertices: a little too
        large where surfaces share them. ``edge``: sqrt(sum of (e·net)²). ``edge bias``: b·sum of
        net, **signed** where the surfaces of a sum are of one edition (a shared source, to be
        added linearly); of several editions their root sum of squares. In the units of c·m².
        """
        rows = np.atleast_2d(np.asarray(coefficients, dtype=np.float64))
        edge = self.edge_gains_m(rows) * self.edge_accuracy_m
        biases = self.edge_biases_m2(rows)
        one = np.count_nonzero(biases, axis=1) <= 1
        together = np.sqrt((biases**2).sum(axis=1))
        return {
            "vertices": np.sqrt(((rows * self.u_vertices_m2) ** 2).sum(axis=1)),
            "edge": np.sqrt((edge**2).sum(axis=1)),
            "edge bias": np.where(one, biases.sum(axis=1), together),
        }

    def u_area_m2(self) -> Floats:
        """Standard uncertainty (S,) of each owned area by itself, all sources together."""
        lower, upper, length = self.shared.lower, self.shared.upper, self.shared.length_m
        surfaces = len(self.own_edge_m)
        edge_lost = (self.edge_accuracy_m[upper] * length) ** 2
        bias_lost = self.edge_bias_m[upper] * length
        edge = (self.edge_accuracy_m * self.own_edge_m) ** 2
        edge = edge + np.bincount(lower, weights=edge_lost, minlength=surfaces)
        bias = self.edge_bias_m * self.own_edge_m
        bias = bias - np.bincount(lower, weights=bias_lost, minlength=surfaces)
        u: Floats = np.sqrt(self.u_vertices_m2**2 + edge + bias**2)
        return u
