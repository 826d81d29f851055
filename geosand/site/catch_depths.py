"""Catches that hold more sand than any dressing lays: a mass or a tray in another unit."""

from __future__ import annotations

import numpy as np

from geosand.columns import Bools, Floats, Ints, ratio
from geosand.site.reading import Reader

#: No single dressing lays as much (common practice): heavy ones are a few millimetres deep.
DEEPEST_M = 0.1
POURED_KG_M3 = 1560.0  #: dry, poured sand; only tells what a mass means as a depth


def check_depths(
    reader: Reader,
    first: Ints,
    columns: tuple[Floats, Floats],
    pools: list[Ints],
    area: Floats,
    used: Bools,
) -> None:
    """A fault for each catch in use (m,) whose mass (kg) or volume (m³) is absurd for its tray.

    The trays of a pool are judged together, at the first of them; ``area`` is in m².
    """
    for values, pool, bases, density in zip(
        columns, pools, (("gross", "tray"), ("volume", "tray")), (POURED_KG_M3, 1.0), strict=True
    ):
        member, starts = _members(pool)
        sand = np.bincount(member, np.where(used, np.nan_to_num(values), 0.0), len(first))
        ground = np.bincount(member, np.where(used, np.nan_to_num(area), 0.0), len(first))
        depth = ratio(sand, ground, empty=0.0) / density
        for k in np.flatnonzero(starts & (depth > DEEPEST_M)).tolist():
            row = int(first[k])
            if row not in reader.faulty:
                _fault(reader, row, bases, depth[k], ground[k], by_mass=density > 1)


def _members(pool: Ints) -> tuple[Ints, Bools]:
    """For each catch the number of the first with the same reading, and whether it is that one."""
    own = np.arange(len(pool), dtype=np.int64)
    start = np.full(int(pool.max(initial=-1)) + 1, len(pool), dtype=np.int64)
    np.minimum.at(start, pool[pool >= 0], own[pool >= 0])
    member = own.copy()
    member[pool >= 0] = start[pool[pool >= 0]]
    return member, member == own


def _fault(
    reader: Reader, row: int, bases: tuple[str, str], depth: float, area: float, *, by_mass: bool
) -> None:
    column, tray = (_column(reader, base) for base in bases)
    means = " (poured at 1.56 g/cm³)" if by_mass else ""
    reader.fault(
        row,
        column,
        f"sand {depth * 1000:,.0f} mm deep{means} on {area * 1e4:,.0f} cm² can not be right",
        allowed=f"at most {DEEPEST_M * 1000:g} mm",
        remedy=f"check the units in the names of the columns ({column}, {tray}) and the numbers;"
        " a spoiled catch gets a reject_reason",
    )


def _column(reader: Reader, base: str) -> str:
    """The column that was read for ``base``, as it is called in the file."""
    names = (n for n in reader.table.columns if n.startswith(f"{base}_") and n in reader.read)
    return next((n for n in names if reader.has(n).any()), f"{base}_…")
