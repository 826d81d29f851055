"""Rows that follow each other round an outline, a dozen at a time, and which dozens come near.

Lines and outlines are so compared in blocks of neighbours, those alone whose boxes meet.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from geosand.balance.ring_strips import ragged
from geosand.columns import Bools, Floats, Ints

_BLOCK = 12  #: rows of a block
_AT_ONCE = 256  #: pairs of blocks; few enough to stay in a processor's own memory


class Blocks(NamedTuple):
    """Blocks of rows, those of each owner by themselves."""

    rows: Ints  #: (b, 12)
    known: Bools  #: (b, 12); False for rows that only fill up an owner's last block
    of_owner: Ints  #: first block of each owner, and the end
    low: Floats  #: (b, 2) corners of their boxes
    high: Floats


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
        low=low[rows.T].min(axis=0),
        high=high[rows.T].max(axis=0),
    )


def near_blocks(
    left: Blocks, right: Blocks, pairs: tuple[Ints, Ints]
) -> Iterator[tuple[Ints, Ints]]:
    """Blocks of pairs of owners whose boxes meet, some at a time; sorted as the pairs are."""
    one, other = pairs
    here, there = np.diff(left.of_owner), np.diff(right.of_owner)
    pair, block = ragged(left.of_owner[one], here[one])
    which, near = ragged(right.of_owner[other][pair], there[other][pair])
    block = block[which]
    meet = left.high[block] >= right.low[near]
    meet &= left.low[block] <= right.high[near]
    met = np.flatnonzero(meet[:, 0] & meet[:, 1])
    block, near = block[met], near[met]
    for k in range(0, len(met), _AT_ONCE):
        yield block[k : k + _AT_ONCE], near[k : k + _AT_ONCE]
