"""How far apart WGS 84 puts the same ground that two surveys give in datums known to each other.

Each survey comes to WGS 84 by a shift of its own, good to some metres, which may be none at all; a
direct shift between the two datums is often known to centimetres. What the way over WGS 84 leaves
of it shows up as if all ground had moved.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from geosand.areas.edge_shifts import Offset
from geosand.formats.boundaries.drawn import LON_LAT

SMALLEST_M = 0.05  #: a smaller one is not worth a word
_RADIUS_M = 6_371_000.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Gap:
    """Where unmoved ground lies in the new survey, from where it lies in the old one."""

    east_m: float
    north_m: float
    accuracy_m: float  #: of the direct shift
    old_datum: str
    new_datum: str


def datum_gap(old_crs: str, new_crs: str, lon: float, lat: float) -> Gap | None:
    """The gap at a place, given in lon/lat as the old survey puts it.

    ``old_crs`` and ``new_crs`` are codes or WKT, "" for lon/lat in WGS 84. None where there is no
    gap of 5 cm, where no direct shift is known that is good to half of it, or where a datum does
    not move with the ground, so that the gap depends on the day (ITRF, realisations of WGS 84).
    """
    if old_crs == new_crs or not (old_crs and new_crs):
        return None
    from pyproj import CRS, Transformer
    from pyproj.exceptions import CRSError, ProjError
    from pyproj.network import set_network_enabled  # type: ignore[attr-defined]

    set_network_enabled(False)  # as on import, which did without grids from elsewhere
    try:
        old, new = CRS.from_user_input(old_crs), CRS.from_user_input(new_crs)
        if _drifts(old) or _drifts(new):
            return None
        direct = Transformer.from_crs(old, new, always_xy=True)
        x, y = Transformer.from_crs(LON_LAT, old, always_xy=True).transform(lon, lat, errcheck=True)
        there = direct.transform(x, y, errcheck=True)
        seen = Transformer.from_crs(new, LON_LAT, always_xy=True).transform(*there, errcheck=True)
        accuracy = _accuracy_m(direct)
    except (CRSError, ProjError):
        return None
    east = math.radians((seen[0] - lon + 180) % 360 - 180) * _RADIUS_M * math.cos(math.radians(lat))
    north = math.radians(seen[1] - lat) * _RADIUS_M
    if not 0 <= accuracy <= math.hypot(east, north) / 2 >= SMALLEST_M / 2:
        return None
    return Gap(
        east_m=east,
        north_m=north,
        accuracy_m=accuracy,
        old_datum=_datum_name(old),
        new_datum=_datum_name(new),
    )


def explains(gap: Gap, offset: Offset) -> bool:
    """Whether a gap is what a common offset of surfaces is, as far as both are known."""
    left = math.hypot(offset.east_m - gap.east_m, offset.north_m - gap.north_m)
    return left <= max(SMALLEST_M, 3 * math.hypot(offset.u_m, gap.accuracy_m))


def gap_words(gap: Gap, old: str = "the survey in force", new: str = "this one") -> str:
    """The gap between two surveys as they are called, and what it changes."""
    return (
        f"{old} came in {gap.old_datum}, {new} in {gap.new_datum}: ground that did not move lies"
        f" {apart_words(gap.east_m, gap.north_m)} in {new}. So far the datums differ (known to"
        f" {gap.accuracy_m:g} m), and their shifts to WGS 84 leave that in. Places against catches"
        " and against the other survey change by it, areas do not"
    )


def apart_words(east_m: float, north_m: float) -> str:
    """A distance by its two parts."""
    return (
        f"{abs(east_m):.2f} m {'east' if east_m > 0 else 'west'}"
        f" and {abs(north_m):.2f} m {'north' if north_m > 0 else 'south'}"
    )


def _drifts(crs: Any) -> bool:
    """Whether ground moves against the datum of a CRS, year by year."""
    geodetic = crs.geodetic_crs
    datum = geodetic.to_json_dict().get("datum", {}) if geodetic is not None else {}
    return str(datum.get("type", "")).startswith("Dynamic")


def _accuracy_m(transformer: Any) -> float:
    """Accuracy that the register states for the operation just used; -1 where it states none."""
    from pyproj.exceptions import ProjError

    try:
        return float(transformer.get_last_used_operation().accuracy)
    except ProjError:  # there was only one
        return float(transformer.accuracy)


def _datum_name(crs: Any) -> str:
    """Short name of a datum: that of the CRS in degrees on it."""
    geodetic = crs.geodetic_crs
    return str(geodetic.name) if geodetic is not None else str(crs.name)
