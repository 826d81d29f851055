"""What several tables of a portfolio need of the results, and how figures are rounded in them.

Every figure is rounded to nine digits, so that a table does not depend on which sites were worked
out together.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from geosand.columns import Bools, Floats, Ints, Strings, ratio
from geosand.results import Results
from geosand.season.totals import sums_of_dressings

MILLIMETRE = 1000.0
DIGITS = 9
POWERS = np.array([float(f"1e{k}") for k in range(301)])
BOUNDS = ("west", "south", "east", "north")  #: of each polygon, for the files' metadata only

Table = dict[str, Any]  #: columns of NumPy or Arrow


@dataclass(frozen=True, slots=True, kw_only=True)
class Head:
    """What the tables say of each site beside its figures; one entry a site."""

    keys: Strings  #: folder, or the value of the column ``site``
    names: Strings
    findings: Ints  #: how many
    sands: Strings  #: names of all sites' sands, row by row


@dataclass(frozen=True, slots=True, kw_only=True)
class Work:
    """What several of the tables need, worked out once."""

    results: Results
    head: Head
    of_surface: Ints  #: entry of ``head`` of each row of ``surfaces``
    of_dressing: Ints
    middle: Floats  #: longitude (beyond 180° it runs on) and latitude (sites, 2) of each's bounds
    counted: Bools  #: (dressings,) in the account
    measured: Ints  #: rows of the dressings that enter sums
    edge_kg_m: Floats  #: (dressings,)
    in_force: Ints  #: rows of ``surfaces``
    bounds: Floats  #: (in force, 4) of the ground that each of them owns

    @property
    def sites(self) -> int:
        return len(self.head.keys)


def work_of(results: Results, head: Head) -> Work:
    site, dressed, size = results.site, results.site.dressed, len(results.site.dressings)
    of_surface = site.of_surface
    # Σ rate · perimeter: the mass in a strip one metre wide at full rate
    edge = results.rates.rate.value * results.areas.perimeter_m[dressed.surface]
    counted = np.bincount(dressed.dressing, results.ledger.counted, size) > 0
    in_force = site.in_force()
    return Work(
        results=results,
        head=head,
        of_surface=of_surface,
        of_dressing=site.of_dressing,
        middle=_middles(results, of_surface, len(head.keys)),
        counted=counted,
        measured=np.flatnonzero(counted & np.isfinite(results.balance.overthrow.value)),
        edge_kg_m=np.bincount(dressed.dressing, edge, size).astype(np.float64),
        in_force=in_force,
        bounds=shapely.bounds(results.areas.owned[in_force]),
    )


def _middles(results: Results, of_surface: Ints, sites: int) -> Floats:
    bounds = shapely.bounds(results.site.surfaces.geometry)
    low, high = extremes(bounds[:, :2], bounds[:, 2:], of_surface, sites)
    return np.round((low + high) / 2, 6)


def middles(work: Work, owner: Ints) -> Table:
    """Longitude, within ±180°, and latitude of the middles of these sites."""
    lon, lat = work.middle[owner].T
    return {"lon": np.where(lon > 180, np.round(lon - 360, 6), lon), "lat": lat}


def extremes(low: Floats, high: Floats, owner: Ints, size: int) -> tuple[Floats, Floats]:
    """Least and largest (size, 2) of the rows of each owner; ∞ and -∞ where it has none."""
    least, most = np.full((2, size), np.inf), np.full((2, size), -np.inf)
    for axis in (0, 1):
        np.minimum.at(least[axis], owner, low[:, axis])
        np.maximum.at(most[axis], owner, high[:, axis])
    return least.T, most.T


def totals(work: Work, group: Ints, groups: int) -> Table:
    """Spread, landed and thrown over by group of the measured dressings.

    Sources that persist are kept together.
    """
    sums = sums_of_dressings(work.results.balance, work.measured, group, groups)
    spread, on, over = sums.values()
    some = np.bincount(group, minlength=groups) > 0
    bounds, u, edge = over.interval(), over.u(), work.edge_kg_m[work.measured]
    strip = np.bincount(group, edge, groups).astype(np.float64)
    columns = {
        "spread_kg": spread.value,
        "on_surfaces_kg": on.value,
        "overthrow_kg": over.value,
        "u_overthrow_kg": u,
        "overthrow_low_kg": bounds.low,
        "overthrow_high_kg": bounds.high,
        "fraction": ratio(over.value, spread.value),
        "u_fraction": ratio(u, spread.value),
        "edge_kg_m": strip,
        "strip_width_m": ratio(over.value, strip),
        "u_strip_width_m": ratio(u, strip),
    }
    return {name: np.where(some, column, np.nan) for name, column in columns.items()}


def rounded(column: Floats) -> Floats:
    """The column to nine significant digits.

    >>> rounded(np.array([1 / 3, 12345678912.0, 0.0, np.nan])).tolist()
    [0.333333333, 12345678900.0, 0.0, nan]
    """
    values = np.asarray(column, dtype=np.float64)
    usable = np.isfinite(values) & (values != 0)
    magnitude = np.floor(np.log10(np.abs(np.where(usable, values, 1.0))))
    power = np.clip(DIGITS - 1 - magnitude, -300, 300).astype(np.int64)
    # powers from a table: those that NumPy works out may be off in their last digit
    up, down = POWERS[np.maximum(power, 0)], POWERS[np.maximum(-power, 0)]
    return np.where(usable, np.rint(values * up / down) / up * down, values)


def all_rounded(table: Table) -> Table:
    """The table with all its figures rounded, in one go; bounds must hold what they are of."""
    figures = {n for n, c in table.items() if isinstance(c, np.ndarray) and c.dtype.kind == "f"}
    names = [name for name in table if name in figures and name not in BOUNDS]
    columns = rounded(np.stack([table[name] for name in names]))
    return table | dict(zip(names, columns, strict=True))
