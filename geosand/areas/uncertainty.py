"""The errors of a site's areas as linear forms, so that a shared edge is not counted twice.

Three things are uncertain: each vertex by itself; where the mown edge was taken to be, the same
along all of one surface's edge; and a bias that one survey has on all its edges. Moving an edge
outward by d adds perimeter · d to the surface and takes it from the neighbour beneath: errors of
polygons with a common boundary are opposite (Forest Science 51(4):347-356, 2005).
"""

from __future__ import annotations

import numpy as np

from geosand.areas.common_edges import SharedEdges
from geosand.columns import Floats, Ints, Runs, alike, begins, columns, ragged
from geosand.tuples import NamedTuple


class Sums(NamedTuple):
    """Sums of c·x, one term a row: each x stands in a sum once; sorted by sum, then by x."""

    group: Ints  #: which sum
    row: Ints  #: which x
    coefficient: Floats
    runs: Runs  #: of ``group``; as many as there are sums, also those without a term

    @classmethod
    def of(cls, group: Ints, row: Ints, coefficient: Floats, runs: Runs) -> Sums:
        """Terms in any order; the coefficients of one x in one sum are added up."""
        if runs.order is None and runs.rise(row):  # as dressed rows do
            return cls(group, row, coefficient, runs)
        width = int(row.max(initial=0)) + 1
        key = group * width + row
        step = np.diff(key)
        if (step < 0).any():
            order = np.argsort(key, kind="stable")
            key, coefficient = key[order], coefficient[order]
            step = np.diff(key)
        first = np.flatnonzero(np.concatenate([[True], step > 0]))
        key, total = key[first], np.add.reduceat(coefficient, first)
        group = key // width
        return cls(group, key % width, total, Runs(group, runs.size))

    def root_of_squares(self, u: Floats | None = None) -> Floats:
        """Standard uncertainty (groups,) where each x has its own error, of size ``u`` or 1."""
        if u is None:
            squares = self.coefficient * self.coefficient
        else:
            squares = self.coefficient * alike(u, self.row)
            squares *= squares
        return np.sqrt(self.runs.sums(squares))


@columns
class AreaErrors:
    """What is known of the errors of the owned areas, one row a surface (S rows)."""

    u_vertices_m2: Floats  #: standard uncertainty from independent vertices
    own_edge_m: Floats  #: length of the edge that is not ruled by an upper surface
    edge_accuracy_m: Floats  #: standard uncertainty of where its edge is, one error a surface
    edge_bias_m: Floats  #: the same, one error for all surfaces of an edition
    edition: Ints  #: number of the boundary survey
    shared: SharedEdges  #: edges ruled by an upper surface, rows of this table

    def edge_gains_of(self, sums: Sums) -> Sums:
        """Change of each sum of c·A for 1 m that the edge of one surface moves outward, in m.

        net = c·own edge of the surface itself, less c·length of the surfaces beneath it, which
        lose that ground. Rows are surfaces.
        """
        alone = self.own_edge_m.copy()
        alone[self.shared.lower] = np.nan
        length = alone.take(sums.row)
        if not np.isnan(length).any():  # none of the surfaces lies beneath another
            return sums._replace(coefficient=sums.coefficient * length)
        of_each = np.bincount(self.shared.lower, minlength=len(self.edition))
        count = of_each[sums.row]
        order = np.argsort(self.shared.lower, kind="stable")
        term, place = ragged((np.cumsum(of_each) - of_each)[sums.row], count)
        edge = order[place]
        lost = sums.coefficient[term] * self.shared.length_m[edge]
        own = sums.coefficient * self.own_edge_m.take(sums.row)
        group = np.concatenate([sums.group, sums.group[term]])
        return Sums.of(
            group,
            np.concatenate([sums.row, self.shared.upper[edge]]),
            np.concatenate([own, -lost]),
            Runs(group, sums.runs.size),
        )

    def edge_biases_of(self, gains: Sums) -> Sums:
        """Signed standard uncertainty of each sum from the bias of each edition, from its gains.

        In c·m²; rows are numbers of editions. Each is one error, the same for all sums, so that
        those of several dressings add up linearly.
        """
        bias = gains.coefficient * self.edge_bias_m[gains.row]
        return Sums.of(gains.group, self.edition[gains.row], bias, gains.runs)

    def effects_of(
        self,
        group: Ints,
        surface: Ints,
        coefficient: Floats,
        groups: int,
        runs: Runs | None = None,
    ) -> dict[str, Floats]:
        """Standard uncertainty (groups,) of sums of c·A by source, one term of a sum a row (n,).

        ``vertices``: sqrt(sum of (c·u)²), as if every surface had its own vertices: a little too
        large where surfaces share them. ``edge``: sqrt(sum of (e·net)²). ``edge bias``: b·sum of
        net, **signed** where the surfaces of a sum are of one edition (a shared source, to be
        added linearly); of several editions their root sum of squares. In the units of c·m².
        ``runs`` of ``group`` may be given where they are known.
        """
        sums = Sums.of(group, surface, coefficient, runs or Runs(group, groups))
        gains = self.edge_gains_of(sums)
        return {
            "vertices": sums.root_of_squares(self.u_vertices_m2),
            "edge": gains.root_of_squares(self.edge_accuracy_m),
            "edge bias": self._edge_bias(gains),
        }

    def _edge_bias(self, gains: Sums) -> Floats:
        if self._of_one_edition_each(gains):
            return gains.runs.sums(gains.coefficient * alike(self.edge_bias_m, gains.row))
        biases = self.edge_biases_of(gains)
        one = biases.runs.sums((biases.coefficient != 0).astype(np.float64)) <= 1
        return np.where(one, biases.runs.sums(biases.coefficient), biases.root_of_squares())

    def _of_one_edition_each(self, gains: Sums) -> bool:
        """Whether all surfaces of a sum are of one survey."""
        if not len(gains.row):
            return True
        if np.count_nonzero(begins(self.edition)) == 1:
            return True
        # where editions lie one after the other, the first and last surface of a sum tell
        if not np.count_nonzero(self.edition[1:] < self.edition[:-1]):
            first = gains.runs.first
            last = np.concatenate([first[1:], [len(gains.row)]]) - 1
            ends = gains.row.take(first), gains.row.take(last)
            return bool((self.edition.take(ends[0]) == self.edition.take(ends[1])).all())
        edition = self.edition.take(gains.row)
        changes = np.flatnonzero(edition[1:] != edition[:-1])
        return bool((gains.group[changes + 1] != gains.group[changes]).all())

    def effects(self, coefficients: Floats) -> dict[str, Floats]:
        """The same from a table (D, S) of coefficients, one sum a row."""
        rows = np.atleast_2d(np.asarray(coefficients, dtype=np.float64))
        group, surface = np.nonzero(rows)
        return self.effects_of(group, surface, rows[group, surface], len(rows))

    def u_area_m2(self) -> Floats:
        """Standard uncertainty (S,) of each owned area by itself, level, all sources together."""
        lower, upper, length = self.shared.lower, self.shared.upper, self.shared.length_m
        surfaces = len(self.own_edge_m)
        edge_lost = (self.edge_accuracy_m[upper] * length) ** 2
        bias_lost = self.edge_bias_m[upper] * length
        edge = (self.edge_accuracy_m * self.own_edge_m) ** 2
        edge = edge + np.bincount(lower, weights=edge_lost, minlength=surfaces)
        bias = self.edge_bias_m * self.own_edge_m
        bias = bias - np.bincount(lower, weights=bias_lost, minlength=surfaces)
        return np.sqrt(self.u_vertices_m2**2 + edge + bias**2)
