"""Catches and the dressed surfaces that they lie on, as columns of indices."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from geosand.columns import Bools, Floats, Ints


def check_rows(
    y: Floats, group: Ints, surface: Ints, groups: int, dressed_group: Ints, dressed_surface: Ints
) -> None:
    """Raise ValueError, with all that is wrong, for columns that can not be worked with."""
    faults = []
    if not len(y) == len(group) == len(surface):
        faults.append(f"y, group, surface: {len(y)}, {len(group)}, {len(surface)} rows; want equal")
    if len(dressed_group) != len(dressed_surface):
        lengths = f"{len(dressed_group)}, {len(dressed_surface)}"
        faults.append(f"dressed_group, dressed_surface: {lengths} rows; want equal")
    for name, column in (("group", group), ("dressed_group", dressed_group)):
        outside = np.flatnonzero((column < 0) | (column >= groups))
        if outside.size:
            faults.append(f"{name}: rows {_first(outside)} outside 0 to {groups - 1}")
    for name, column in (("surface", surface), ("dressed_surface", dressed_surface)):
        negative = np.flatnonzero(column < 0)
        if negative.size:
            faults.append(f"{name}: rows {_first(negative)} below 0")
    strange = np.flatnonzero(~np.isfinite(y))
    if strange.size:
        faults.append(f"y: rows {_first(strange)} are not finite; leave those catches out")
    if faults:
        raise ValueError("; ".join(faults))


def _first(rows: Ints) -> str:
    """The first five of the rows at fault, as text."""
    return ", ".join(map(str, rows[:5].tolist())) + (" …" if rows.size > 5 else "")


def rows_of_catches(group: Ints, surface: Ints, dressed_group: Ints, dressed_surface: Ints) -> Ints:
    """The row (n,) of ``dressed_group`` that each catch lies on, all four being whole numbers.

    Raises ValueError for a surface named twice in a dressing, or caught on and not dressed.
    """
    span = int(max(surface.max(initial=0), dressed_surface.max(initial=0))) + 1
    key = dressed_group * span + dressed_surface
    order = np.argsort(key, kind="stable")
    twice = np.flatnonzero(np.diff(key[order]) == 0)
    if twice.size:
        rows = _first(order[twice + 1])
        raise ValueError(f"dressed_surface: rows {rows} repeat a surface of the same dressing")
    row = rows_of_pairs(dressed_group, dressed_surface, group, surface)
    lost = np.flatnonzero(row < 0)
    if lost.size:
        raise ValueError(
            f"surface: catches in rows {_first(lost)} lie on surfaces that their "
            "dressing did not dress; leave them out or add the surface to the dressing"
        )
    return row


def rows_of_pairs(left: Ints, right: Ints, left_wanted: Ints, right_wanted: Ints) -> Ints:
    """Row (n,) of the table (left, right), each pair once, that has each wanted pair; -1 for none.

    All numbers are from 0 up; a wanted number below 0 is in no row.

    >>> rows_of_pairs(*np.array([[0, 0, 1], [4, 2, 2], [1, 0, 0], [2, 4, -1]])).tolist()
    [2, 0, -1]
    """
    if not len(left):
        return np.full(len(left_wanted), -1, dtype=np.int64)
    span = 1 + int(max(right.max(), right_wanted.max(initial=0)))
    key, wanted = left * span + right, left_wanted * span + right_wanted
    order = np.argsort(key, kind="stable")
    place = np.searchsorted(key[order], wanted)
    row = order[np.minimum(place, len(order) - 1)]
    found = (left[row] == left_wanted) & (right[row] == right_wanted)
    return np.where(found, row, -1)


class Counted(NamedTuple):
    """Catches with a rate of the surface that they lie on, in order of their rows."""

    catch: Ints  #: row of Catches
    row: Ints  #: row of Dressed
    dressing: Ints
    rate_kg_m2: Floats

    def of(self, kept: Bools) -> Counted:
        """Those that are ``kept`` (n,)."""
        return Counted(self.catch[kept], self.row[kept], self.dressing[kept], self.rate_kg_m2[kept])


def counted_on(dressed: Ints, dressing: Ints, rate_kg_m2: Floats, counts: Bools) -> Counted:
    """Those of the catches (n,) that ``counts``; ``dressed`` is the row of Dressed of each."""
    catch = np.flatnonzero(counts)
    return Counted(catch, dressed[catch], dressing[catch], rate_kg_m2[catch])
