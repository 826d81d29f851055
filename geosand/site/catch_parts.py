"""Rows of catches that belong together: parts of one catch, trays of one pooled reading."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from geosand.columns import Floats, Ints
from geosand.site.catch_places import METRES_PER_DEGREE
from geosand.site.cells import quoted
from geosand.site.raw_columns import Texts, alike, first_come
from geosand.site.reading import Reader
from geosand.tuples import NamedTuple

Rows = Mapping[str, np.ndarray[Any, np.dtype[Any]]]
#: Farther apart, two rows are two trays of one name, whatever their positions' accuracy: adding
#: them up would double a rate without a word, giving both the same position costs a minute.
APART_M = 1.0

#: What all parts of a catch must agree on, and what to call it.
_SHARED = {
    "area": "another tray",
    "declared": "another surface",
    "edge_distance": "another edge distance",
    "moisture": "another moisture",
    "pool": "another pool",
}


def check_parts(reader: Reader, ids: Texts, first: Ints, whole: Ints, rows: Rows) -> None:
    """A fault for each further row of a catch that can not be a part of it."""
    if len(first) == len(whole):
        return
    starts = first[whole]
    further = np.flatnonzero(starts != np.arange(len(whole)))
    start = starts[further]
    for k in np.flatnonzero(_differs(further, start, rows)).tolist():
        row, begun = int(further[k]), int(start[k])
        if not {row, begun} & reader.faulty:
            reader.fault(
                row,
                "catch",
                f"{quoted(ids.words[ids.code[row]])} is already in"
                f" {reader.place(begun)}, with {_difference(row, begun, rows)}",
                remedy="rows with the same catch and dressing are parts of one catch and agree in"
                " all but their mass and volume; a catch of its own needs a name of its own",
            )
    _entered_twice(reader, ids, further, start, rows)


def _entered_twice(reader: Reader, ids: Texts, further: Ints, start: Ints, rows: Rows) -> None:
    """A fault for a row that says what the first of its catch says: its sand would count twice."""
    again = (rows["mass"][further] == rows["mass"][start]) | (
        rows["volume"][further] == rows["volume"][start]
    )
    again &= ~rows["rejected"][further]
    further, start = further[again], start[again]
    for column in reader.table.columns.values():
        same = alike(column, further, start)
        further, start = further[same], start[same]
    for row, begun in zip(further.tolist(), start.tolist(), strict=True):
        if row not in reader.faulty:
            name = quoted(ids.words[ids.code[row]])
            found = f"{name} is in {reader.place(begun)} with the same readings"
            remedy = "delete it if it was entered twice; of a second part that weighs the same say"
            reader.fault(row, "catch", found, remedy=f"{remedy} so in its note")


def _away_m(row: Any, start: Any, rows: Rows) -> Any:
    """How far rows lie from others, in metres; one of each or as many."""
    lon, lat = rows["lon"], rows["lat"]
    east = (lon[row] - lon[start]) * np.cos(np.radians(lat[row]))
    return np.hypot(east, lat[row] - lat[start]) * METRES_PER_DEGREE


def _differs(row: Any, start: Any, rows: Rows) -> Any:
    """True where two rows can not be parts of one catch."""
    different = _away_m(row, start, rows) > APART_M
    for name in _SHARED:
        different = different | _other(row, start, rows[name])
    different = different | (rows["rejected"][row] != rows["rejected"][start])
    for name in ("mass", "volume"):
        different = different | (np.isfinite(rows[name][row]) != np.isfinite(rows[name][start]))
    return different


def _other(row: Any, start: Any, column: Any) -> Any:
    """True where two rows say another thing; nan is nan."""
    one, other = column[start], column[row]
    return (one != other) & ((one == one) | (other == other))  # noqa: PLR0124


def _difference(row: int, start: int, rows: Rows) -> str:
    """What keeps two rows from being parts of one catch, in words."""
    away = _away_m(row, start, rows)
    if away > APART_M:
        return f"another place, {away:.1f} m from there"
    for name, words in _SHARED.items():
        if _other(row, start, rows[name]):
            return words
    if bool(rows["rejected"][row]) != bool(rows["rejected"][start]):
        return "a reject_reason in one of the two only"
    mass = np.isfinite(rows["mass"][row]) != np.isfinite(rows["mass"][start])
    return f"a {'mass' if mass else 'volume'} in one of the two only"


def sum_parts(column: Floats, whole: Ints, count: int) -> Floats:
    """Sum of the known readings of each catch (count,); nan where none is known."""
    if count == len(whole):
        return column
    known = np.isfinite(column)
    total = np.bincount(whole[known], column[known], count)
    return np.where(np.bincount(whole[known], minlength=count) > 0, total, np.nan)


class Pools(NamedTuple):
    """Catches of one dressing that name the same pool, in order of their first trays."""

    tray: Ints  #: number of the catch, one row a catch in a pool
    pool: Ints  #: number of its pool
    first: Ints  #: the first tray of each pool
    member: Ints  #: the site of each pool
    name: Sequence[str]

    @classmethod
    def of(cls, dressing: Ints, pool: Texts, member: Ints) -> Pools:
        """``pool`` names that of each catch (m,), "" for none."""
        tray = np.flatnonzero(pool.matching(bool))
        first, number = first_come((dressing[tray] + 1) * len(pool.words) + pool.code[tray])
        names = [pool.words[k] for k in pool.code[tray[first]].tolist()]
        return cls(
            tray=tray, pool=number, first=tray[first], member=member[tray[first]], name=names
        )


def pool_numbers(reader: Reader, column: Floats, first: Ints, pools: Pools, word: str) -> Ints:
    """Number of the pool whose one reading a catch shares; -1 where it has its own."""
    out = np.full(len(first), -1, dtype=np.int64)
    size = np.bincount(pools.pool, minlength=len(pools.first))
    filled = np.bincount(
        pools.pool, np.isfinite(column[pools.tray]), minlength=len(pools.first)
    ).astype(np.int64)
    shared = ((filled == 1) & (size > 1))[pools.pool]
    out[pools.tray[shared]] = pools.pool[shared]
    for k in np.flatnonzero((filled > 1) & (filled < size)).tolist():
        row = int(first[pools.first[k]])
        name = quoted(pools.name[k])
        found = f"pool {name} has {filled[k]} readings of {word} for {size[k]} trays"
        allowed = "one reading for all of them, or one for each"
        reader.fault(row, "pool", found, allowed=allowed)
        reader.faulty.update(first[pools.tray[pools.pool == k]].tolist())
    return out


def check_pools(reader: Reader, first: Ints, pools: Pools, rows: Rows) -> None:
    """Trays of one pool share their fate: sand in one bucket can not be told apart."""
    rejected = rows["rejected"][first]
    start = pools.first[pools.pool]
    for k in np.flatnonzero(rejected[pools.tray] != rejected[start]).tolist():
        row, begun = int(first[pools.tray[k]]), int(first[start[k]])
        if not {row, begun} & reader.faulty:
            where = f"than in {reader.place(begun)} of the same pool"
            remedy = "reject all trays of a pool or none: their sand was weighed together"
            reader.fault(row, "reject_reason", f"another decision {where}", remedy=remedy)
