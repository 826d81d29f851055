"""What was dressed and thrown over, cut up by field: those that are worked out together."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import shapely

from geosand.balance.rings.stands import Hazards, Stands
from geosand.balance.rings.strips import parts_less_holes
from geosand.columns import Bools, Floats, Ints, distinct, ratio, take
from geosand.tuples import NamedTuple

_AT_ONCE = 40_000  #: corners of surfaces: few enough to stay in a processor's own memory
_MOST_BLOCKS = 16  #: each is picked out of all rows


class Rows(NamedTuple):
    """One row a surface and dressing."""

    place: Ints  #: row among those of all fields
    case: Ints
    dressing: Ints
    group: Ints
    field: Ints
    rate: Floats  #: kg/m²; 0 where it is not known


class Sand(NamedTuple):
    """What was thrown over, one row a group."""

    place: Ints  #: row among those of all fields
    field: Ints  #: −1 where nothing was dressed
    overthrow_kg: Floats
    low_kg: Floats
    high_kg: Floats
    edge_kg_m: Floats  #: Σ(rate·perimeter)
    round_kg_m2: Floats  #: Σ(rate·π·χ)
    placeable: Bools  #: its rates are known and not all 0

    def targets_kg(self) -> Floats:
        """(3, G) the overthrow, its lower and its upper limit, at least 0; nan: no rings."""
        three = np.clip(np.stack((self.overthrow_kg, self.low_kg, self.high_kg)), 0.0, None)
        return np.where(self.placeable, three, np.nan)

    def reach_alone_m(self) -> Floats:
        """The longest reach (G,) for the targets as if no ring met anything; 0 for no rings."""
        straight, round_ = self.edge_kg_m / 2, self.round_kg_m2 / 3
        most: Floats = np.fmax.reduce(self.targets_kg(), axis=0)
        root = np.sqrt(np.maximum(straight**2 + 4 * round_ * most, 0.0))
        return ratio(2 * most, straight + root, empty=0.0)


class Task(NamedTuple):
    """Some of the fields, with all that they need."""

    cases: Stands
    rows: Rows
    sand: Sand
    hazards: Hazards

    def only(self, wanted: Bools) -> Task:
        """Fewer fields (F + 1, the last for groups of none); cases and groups counted anew."""
        kept, groups = wanted[self.cases.field], wanted[self.sand.field]
        rows: Rows = take(self.rows, wanted[self.rows.field])
        case, group = np.cumsum(kept) - 1, np.cumsum(groups) - 1
        return Task(
            cases=take(self.cases, kept)._replace(case=np.arange(kept.sum())),
            rows=rows._replace(case=case[rows.case], group=group[rows.group]),
            sand=take(self.sand, groups),
            hazards=take(self.hazards, wanted[self.hazards.field]),
        )

    def blocks(self, fields: int) -> Iterator[Bools]:
        """Which fields (F + 1) to take at once."""
        corners = shapely.get_num_coordinates(self.cases.surface)
        places = np.bincount(self.cases.field, corners, fields).astype(np.int64)
        at_once = max(_AT_ONCE, int(places.sum()) // _MOST_BLOCKS)
        block = np.append((np.cumsum(places) - places) // at_once, 0)
        return (block == k for k in distinct(block))


def sand_of(
    cases: Stands, rows: Rows, known: Bools, overthrow_kg: Floats, low_kg: Floats, high_kg: Floats
) -> Sand:
    """What the groups threw over; ``known``: rows whose rate is."""
    groups, group, case = len(overthrow_kg), rows.group, rows.case
    edge = sums(group, rows.rate * shapely.length(cases.surface)[case], groups)
    round_ = rows.rate * np.pi * parts_less_holes(cases.surface)[case]
    field = np.full(groups, -1)
    field[group] = rows.field
    return Sand(
        place=np.arange(groups),
        field=field,
        overthrow_kg=overthrow_kg,
        low_kg=low_kg,
        high_kg=high_kg,
        edge_kg_m=edge,
        round_kg_m2=sums(group, round_, groups),
        placeable=(edge > 0) & (sums(group, np.where(known, 0.0, 1.0), groups) == 0),
    )


def sums(owner: Ints, column: Floats, count: int) -> Floats:
    """Sums of a column by owner."""
    return np.bincount(owner, column, count).astype(np.float64)
