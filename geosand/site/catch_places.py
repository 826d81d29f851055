"""Where catches lie: positions in degrees, whether they are too coarse, and copied ones."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from geosand.columns import Floats, Ints
from geosand.errors import Finding
from geosand.site.reading import Reader

METRES_PER_DEGREE = 111_195.0  # of a great circle of the mean sphere
FEWEST = 3  #: catches whose positions all end at the same decimal by chance: one in a million


def positions(reader: Reader) -> tuple[Floats, Floats]:
    """Longitude and latitude in degrees; a fault where there is none."""
    if reader.size and not {"lon", "lat"} <= set(reader.table.columns):
        hint = reader.meant("longitude") or reader.meant("x")
        remedy = f"{hint}Add lon and lat, in degrees"
        reader.whole_fault(None, "there are no columns lon and lat", remedy=remedy)
    lon, lat = reader.number("lon"), reader.number("lat")
    missing = ~(np.isfinite(lon) & np.isfinite(lat))
    for row in np.flatnonzero(missing).tolist():
        if row not in reader.faulty:
            found = "the catch has no position"
            reader.fault(row, "lon, lat", found, remedy="give lon and lat")
    for row in np.flatnonzero(~missing & ((np.abs(lon) > 180) | (np.abs(lat) > 90))).tolist():
        reader.fault(
            row,
            "lon, lat",
            f"{lon[row]:g}, {lat[row]:g} is no longitude and latitude in degrees",
            allowed="lon ±180, lat ±90",
            remedy="look for the two swapped, or metres in place of degrees",
        )
    return lon, lat


def tell_coarse(reader: Reader, lon: Floats, lat: Floats, accuracy_m: Floats) -> None:
    """A finding where the positions of a site are rounded more coarsely than they are accurate."""
    told = np.zeros(reader.members, dtype=np.bool_)
    known = np.isfinite(lon) & np.isfinite(lat)
    number = np.bincount(reader.member[known], minlength=reader.members)
    for decimals in (2, 3, 4, 5):
        step_m = METRES_PER_DEGREE / 10**decimals
        coarse = _whole(lon * 10**decimals) & _whole(lat * 10**decimals)
        # of a rounded figure u is its step over the root of 12 (GUM, 4.3.7)
        coarse &= step_m / np.sqrt(12) > accuracy_m
        all_of_it = np.bincount(reader.member[known & coarse], minlength=reader.members) == number
        new = all_of_it & (number >= FEWEST) & ~told
        told |= new
        text = (
            f"all positions end at decimal {decimals} of a degree, steps of {step_m:.0f} m: give 6"
        )
        reader.tell(known & new[reader.member], text, "catch")


def _whole(values: Floats) -> Any:
    return np.abs(values - np.round(values)) < 1e-6


def tell_same_place(
    reader: Reader, rows: Mapping[str, np.ndarray[Any, np.dtype[Any]]], dressing: Ints, of: Ints
) -> None:
    """A finding for catches (rows ``of``) of a dressing that all have one position.

    Where a surface is declared and the edge was taped, the position decides nothing.
    """
    of = of[
        (dressing[of] >= 0) & ((rows["declared"][of] < 0) | np.isnan(rows["edge_distance"][of]))
    ]
    lon, lat = rows["lon"][of], rows["lat"][of]
    order = np.lexsort((of, lat, lon, dressing[of]))
    key = np.stack([dressing[of], lon, lat])[:, order]
    begun = np.append(True, (key[:, 1:] != key[:, :-1]).any(axis=0))  # nan is never the same
    start = np.flatnonzero(begun)
    end = np.append(start[1:], len(of))
    for k in np.flatnonzero(end - start > 1).tolist():
        mine = of[order[start[k] : end[k]]]
        names = ", ".join(rows["id"][mine[:8]].tolist()) + (", …" if len(mine) > 8 else "")
        text = f"catches {names} have the very same position: was it copied?"
        member = int(reader.member[mine[0]])
        finding = Finding(about=reader.table.file, text=text, topic="catch", member=member)
        reader.findings.append(finding)
