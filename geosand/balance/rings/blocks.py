"""Rows with boxes in blocks of neighbours, and pairs of blocks whose boxes meet."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from geosand.columns import Bools, Floats, Ints, ragged
from geosand.tuples import NamedTuple

_BLOCK = 12  #: rows of a block
_COMPARED = 50_000  #: pairs of blocks at once
_AT_ONCE = 256  #: pairs of blocks; few enough to stay in a processor's own memory


class Blocks(NamedTuple):
    """Blocks of rows, those of each owner by themselves."""

    rows: Ints  #: (b, 12)
    known: Bools  #: (b, 12); False for rows that only fill up an owner's last block
    of_owner: Ints  #: first block of each owner, and the end
    low: Floats  #: (b, 2) corners of their boxes
    high: Floats

    def around(self) -> tuple[Floats, Floats]:
        """Corners of the boxes round all blocks of each owner; of one without blocks none."""
        owners = len(self.of_owner) - 1
        owner = np.repeat(np.arange(owners), np.diff(self.of_owner))
        low, high = np.full((owners, 2), np.inf), np.full((owners, 2), -np.inf)
        np.minimum.at(low, owner, self.low)
        np.maximum.at(high, owner, self.high)
        return low, high


def blocks_of(low: Floats, high: Floats, owner: Ints, owners: int) -> Blocks:
    """Blocks of rows with boxes from ``low`` to ``high`` (n, 2), sorted by owner."""
    count = np.bincount(owner, minlength=owners)
    blocks = -(-count // _BLOCK)
    whose, place = ragged(np.zeros(owners, np.int64), blocks)
    first = (np.cumsum(count) - count)[whose] + place * _BLOCK
    rows = first[:, None] + np.arange(_BLOCK)
    known = rows < np.cumsum(count)[whose][:, None]
    rows = np.where(known, rows, first[:, None])
    return Blocks(
        rows=rows,
        known=known,
        of_owner=np.append(0, np.cumsum(blocks)),
        low=low.take(rows.T, axis=0).min(axis=0),
        high=high.take(rows.T, axis=0).max(axis=0),
    )


def near_blocks(
    left: Blocks, right: Blocks, pairs: tuple[Ints, Ints]
) -> Iterator[tuple[Ints, Ints]]:
    """Blocks of pairs of owners whose boxes meet, some at a time, in the order of the pairs."""
    (low, high), (from_, to) = left.around(), right.around()
    one, other = pairs
    meet = high.take(one, axis=0) >= from_.take(other, axis=0)
    meet &= low.take(one, axis=0) <= to.take(other, axis=0)
    met = np.flatnonzero(meet[:, 0] & meet[:, 1])
    one, other = one[met], other[met]
    pair, block = ragged(left.of_owner[one], np.diff(left.of_owner)[one])
    start, count = right.of_owner[other][pair], np.diff(right.of_owner)[other][pair]
    parts = np.flatnonzero(np.diff(np.cumsum(count) // _COMPARED)) + 1
    for some in np.split(np.arange(len(block)), parts):
        which, near = ragged(start[some], count[some])
        mine = block[some][which]
        meet = left.high.take(mine, axis=0) >= right.low.take(near, axis=0)
        meet &= left.low.take(mine, axis=0) <= right.high.take(near, axis=0)
        met = np.flatnonzero(meet[:, 0] & meet[:, 1])
        for k in range(0, len(met), _AT_ONCE):
            yield mine[met[k : k + _AT_ONCE]], near[met[k : k + _AT_ONCE]]
