"""Catches and the dressed surfaces that they lie on, as columns of indices."""

from __future__ import annotations

import numpy as np

from geosand.columns import Bools, Floats, Ints, begins
from geosand.tuples import NamedTuple


def rows_of_pairs(left: Ints, right: Ints, left_wanted: Ints, right_wanted: Ints) -> Ints:
    """Row (n,) of the table (left, right), each pair once, that has each wanted pair; -1 for none.

    All numbers are from 0 up; a wanted number below 0 is in no row.

    >>> left, right = np.array([[0, 0, 1], [4, 2, 2]])
    >>> rows_of_pairs(left, right, *np.array([[1, 0, 0, 9], [2, 4, -1, 9]])).tolist()
    [2, 0, -1, -1]
    """
    if not len(left):
        return np.full(len(left_wanted), -1, dtype=np.int64)
    span = 1 + int(max(right.max(), right_wanted.max(initial=0)))
    key = left * span + right
    wanted = np.where(right_wanted < 0, -1, left_wanted * span + right_wanted)
    order = np.argsort(key, kind="stable")
    begun = np.flatnonzero(begins(wanted))  # rows that follow each other mostly want the same
    sought = wanted[begun]
    place = np.minimum(np.searchsorted(key[order], sought), len(order) - 1)
    row = order[place]
    row[key[row] != sought] = -1
    return np.repeat(row, np.diff(begun, append=len(wanted)))


class Counted(NamedTuple):
    """Catches with a rate of the surface that they lie on, in order of their rows."""

    catch: Ints  #: row of Catches
    row: Ints  #: row of Dressed
    dressing: Ints
    rate_kg_m2: Floats


def counted_on(dressed: Ints, dressing: Ints, rate_kg_m2: Floats, counts: Bools) -> Counted:
    """Those of the catches (n,) that ``counts``; ``dressed`` is the row of Dressed of each."""
    catch = np.flatnonzero(counts)
    return Counted(catch, dressed[catch], dressing[catch], rate_kg_m2[catch])
