"""Rows of catches that belong together: parts of one catch, trays of one pooled reading."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from geosand.columns import Floats, Ints, Strings
from geosand.site.cells import quoted
from geosand.site.reading import Reader

Rows = Mapping[str, np.ndarray[Any, np.dtype[Any]]]
#: Farther apart, two rows are two trays of one name, whatever their positions' accuracy: adding
#: them up would double a rate without a word, giving both the same position costs a minute.
APART_M = 1.0
METRES_PER_DEGREE = 111_195.0  # of a great circle of the mean sphere

#: What all parts of a catch must agree on, and what to call it.
_SHARED = {
    "area": "another tray",
    "declared": "another surface",
    "edge_distance": "another edge distance",
    "moisture": "another moisture",
    "pool": "another pool",
}


def catches_of_rows(dressing: Ints, ids: Strings) -> tuple[Ints, Ints]:
    """First row of each catch (m,), and for every row (n,) the number of its catch.

    Rows with the same catch and dressing are parts of one catch.
    """
    numbers: dict[tuple[int, str], int] = {}
    first: list[int] = []
    whole = np.zeros(len(ids), dtype=np.int64)
    for row, key in enumerate(zip(dressing.tolist(), ids.tolist(), strict=True)):
        if key not in numbers:
            numbers[key] = len(first)
            first.append(row)
        whole[row] = numbers[key]
    return np.array(first, dtype=np.int64), whole


def check_parts(reader: Reader, ids: Strings, first: Ints, whole: Ints, rows: Rows) -> None:
    """A fault for each further row of a catch that can not be a part of it."""
    start_of = first[whole]
    for row in np.flatnonzero(start_of != np.arange(len(whole))).tolist():
        start = int(start_of[row])
        if {row, start} & reader.faulty:
            continue
        found = _difference(row, start, rows)
        if found:
            reader.fault(
                row,
                "catch",
                f"{quoted(str(ids[row]))} is already in row {reader.table.rows[start]},"
                f" with {found}",
                remedy="rows with the same catch and dressing are parts of one catch and agree in"
                " all but their mass and volume; a catch of its own needs a name of its own",
            )


def _difference(row: int, start: int, rows: Rows) -> str:
    lon, lat = rows["lon"], rows["lat"]
    east = (lon[row] - lon[start]) * np.cos(np.radians(lat[row]))
    away = np.hypot(east, lat[row] - lat[start]) * METRES_PER_DEGREE
    if away > APART_M:
        return f"another place, {away:.1f} m from there"
    for name, words in _SHARED.items():
        one, other = rows[name][start], rows[name][row]
        if one != other and (one == one or other == other):  # noqa: PLR0124  (nan is not itself)
            return words
    if bool(rows["rejected"][row]) != bool(rows["rejected"][start]):
        return "a reject_reason in one of the two only"
    for name in ("mass", "volume"):
        if np.isfinite(rows[name][row]) != np.isfinite(rows[name][start]):
            return f"a {name} in one of the two only"
    return ""


def sum_parts(column: Floats, whole: Ints, count: int) -> Floats:
    """Sum of the known readings of each catch (count,); nan where none is known."""
    known = np.isfinite(column)
    total = np.bincount(whole[known], column[known], count)
    return np.where(np.bincount(whole[known], minlength=count) > 0, total, np.nan)


def pool_numbers(
    reader: Reader, column: Floats, first: Ints, dressing: Ints, pool: Strings, word: str
) -> Ints:
    """Number of the pool whose one reading a catch shares; -1 where it has its own."""
    out = np.full(len(first), -1, dtype=np.int64)
    members: dict[tuple[int, str], list[int]] = {}
    for k, key in enumerate(zip(dressing.tolist(), pool.tolist(), strict=True)):
        if key[1]:
            members.setdefault(key, []).append(k)
    for number, (key, trays) in enumerate(members.items()):
        filled = int(np.isfinite(column[trays]).sum())
        if filled == 1 and len(trays) > 1:
            out[trays] = number
        elif 1 < filled < len(trays):
            found = f"pool {quoted(key[1])} has {filled} readings of {word} for {len(trays)} trays"
            allowed = "one reading for all of them, or one for each"
            reader.fault(int(first[trays[0]]), "pool", found, allowed=allowed)
            reader.faulty.update(first[trays].tolist())
    return out


def check_pools(reader: Reader, first: Ints, dressing: Ints, rows: Rows) -> None:
    """Trays of one pool share their fate: sand in one bucket can not be told apart."""
    seen: dict[tuple[int, str], int] = {}
    for row in first[rows["pool"][first] != ""].tolist():
        key = (int(dressing[row]), str(rows["pool"][row]))
        start = seen.setdefault(key, row)
        if start == row or {row, start} & reader.faulty:
            continue
        where = f"than in row {reader.table.rows[start]} of the same pool"
        if bool(rows["rejected"][row]) != bool(rows["rejected"][start]):
            remedy = "reject all trays of a pool or none: their sand was weighed together"
            reader.fault(row, "reject_reason", f"another decision {where}", remedy=remedy)
