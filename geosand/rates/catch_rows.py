"""Catches and the dressed surfaces that they lie on, as columns of indices."""

from __future__ import annotations

import numpy as np

from geosand.columns import Floats, Ints


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
    """The row of ``dressed_group`` that each catch lies on."""
    span = int(max(surface.max(initial=0), dressed_surface.max(initial=0))) + 1
    key = dressed_group * span + dressed_surface
    order = np.argsort(key, kind="stable")
    ordered = key[order]
    twice = np.flatnonzero(ordered[1:] == ordered[:-1])
    if twice.size:
        rows = _first(order[twice + 1])
        raise ValueError(f"dressed_surface: rows {rows} repeat a surface of the same dressing")
    wanted = group * span + surface
    place = np.searchsorted(ordered, wanted)
    found = place < len(ordered)
    found[found] = ordered[place[found]] == wanted[found]
    if not found.all():
        raise ValueError(
            f"surface: catches in rows {_first(np.flatnonzero(~found))} lie on surfaces that their "
            "dressing did not dress; leave them out or add the surface to the dressing"
        )
    return order[place]
