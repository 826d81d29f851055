"""Where catches lie: positions in degrees, those too coarse or copied, and those far off."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from geosand.columns import Bools, Floats, Ints, Runs, beginning_alike, begins
from geosand.errors import Faults
from geosand.site.cells import quoted
from geosand.site.outlines import Outlines
from geosand.site.raw_columns import place_said
from geosand.site.reading import Reader
from geosand.site.tables import Catches

METRES_PER_DEGREE = 111_195.0  # of a great circle of the mean sphere
FARTHEST_DEGREE = 0.1  #: of a catch from all surfaces; about 10 km
_MIX = (np.uint64(0x9E3779B97F4A7C15), np.uint64(0xC2B2AE3D27D4EB4F))  #: odd, of many bits
FEWEST = 3  #: catches whose positions all end at the same decimal by chance: one in a million


def positions(reader: Reader) -> tuple[Floats, Floats]:
    """Longitude and latitude in degrees; a fault where there is none."""
    if reader.size and not {"lon", "lat"} <= set(reader.table.columns):
        hint = reader.meant("longitude") or reader.meant("x")
        remedy = f"{hint}Add lon and lat, in degrees"
        reader.whole_fault(None, "there are no columns lon and lat", remedy=remedy)
    lon, lat = reader.number("lon"), reader.number("lat")
    missing = ~(np.isfinite(lon) & np.isfinite(lat))
    for row in reader.sound(missing):
        reader.fault(row, "lon, lat", "the catch has no position", remedy="give lon and lat")
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
    rows = np.flatnonzero(known)
    first = rows[begins(reader.member[rows])]
    for decimals in (2, 3, 4, 5):
        step_m = METRES_PER_DEGREE / 10**decimals
        # of a rounded figure u is its step over the root of 12 (GUM, 4.3.7)
        doubted = step_m / np.sqrt(12) > accuracy_m
        if not (doubted[first] & _end_at(decimals, lon[first], lat[first])).any():
            continue
        coarse = known & doubted & _end_at(decimals, lon, lat)
        number, coarse_ones = (
            np.bincount(reader.member[some], minlength=reader.members) for some in (known, coarse)
        )
        new = (coarse_ones == number) & (number >= FEWEST) & ~told
        told |= new
        text = (
            f"all positions end at decimal {decimals} of a degree, steps of {step_m:.0f} m: give 6"
        )
        reader.tell(known & new[reader.member], text, "catch")


def _end_at(decimals: int, lon: Floats, lat: Floats) -> Bools:
    """True for places (n,) of which no decimals follow."""
    with np.errstate(over="ignore", invalid="ignore"):  # of lat 1e308, which is refused
        steps = np.stack([lon, lat]) * 10**decimals
        whole: Bools = (np.abs(steps - np.round(steps)) < 1e-6).all(axis=0)
    return whole


def tell_same_place(
    reader: Reader, rows: Mapping[str, np.ndarray[Any, np.dtype[Any]]], dressing: Ints, of: Ints
) -> None:
    """A finding for catches (rows ``of``) of a dressing that all have one position.

    Where a surface is declared and the edge was taped, the position decides nothing.
    """
    met = _met_twice(rows["lon"], rows["lat"], dressing)
    if not met.any():
        return
    counts = met & (dressing >= 0) & ((rows["declared"] < 0) | np.isnan(rows["edge_distance"]))
    of = of[counts[of]]
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
        reader.finding(text, "catch", int(reader.member[mine[0]]))


def _met_twice(lon: Floats, lat: Floats, dressing: Ints) -> Bools:
    """Rows (n,) that may be alike, all that are among them: their numbers mixed to one are alike.

    Sorting one column takes a fifth of the time of sorting rows, and hardly any row is left.
    """
    mixed = dressing.astype(np.uint64)
    for column, factor in zip((lon, lat), _MIX, strict=True):
        mixed = mixed * factor + (column + 0.0).view(np.uint64)  # -0.0 is 0.0
    in_order = np.sort(mixed.take(beginning_alike(mixed)))
    twice = in_order[1:][in_order[1:] == in_order[:-1]]
    if not len(twice):
        return np.zeros(len(mixed), dtype=np.bool_)
    return np.asarray(twice.take(np.searchsorted(twice, mixed), mode="clip") == mixed)


def beside_surfaces(
    catches: Catches,
    of_dressing: Ints,
    outlines: Outlines,
    of_surface: Ints,
    file: str,
    faults: Faults,
) -> Catches:
    """The catches on the surfaces' side of the antimeridian; a fault for those far from all.

    ``of_dressing`` and ``of_surface`` (that of ``outlines``) are the sites of both; ``file`` has
    the catches.
    """
    known = np.flatnonzero(outlines.solid)
    if not len(catches) or not len(known):
        return catches
    bounds = outlines.bounds[known]
    start = np.flatnonzero(np.diff(of_surface[known], prepend=-1))
    box = np.full((4, int(of_dressing.max()) + 1), np.nan)
    here = of_surface[known[start]]
    kept = here < box.shape[1]
    for side, extreme in enumerate((np.minimum, np.minimum, np.maximum, np.maximum)):
        box[side, here[kept]] = extreme.reduceat(bounds[:, side], start)[kept]
    of_catch = of_dressing.take(catches.dressing)
    if _all_near(box, Runs(of_catch, box.shape[1]), catches.lon_degree, catches.lat_degree):
        return catches
    west, south, east, north = box.take(of_catch, axis=1)
    turn = np.round((catches.lon_degree - (west + east) / 2) / 360) * 360
    lon = np.where(np.isfinite(turn), catches.lon_degree - turn, catches.lon_degree)
    outside: Floats = np.maximum.reduce(
        [west - lon, lon - east, south - catches.lat_degree, catches.lat_degree - north]
    )
    on_globe = (np.abs(catches.lon_degree) <= 180) & (np.abs(catches.lat_degree) <= 90)
    for k in np.flatnonzero((outside > FARTHEST_DEGREE) & on_globe).tolist():
        box_of = west[k], south[k], east[k], north[k]
        other_sign = _with_another_sign(catches.lon_degree[k], catches.lat_degree[k], box_of)
        remedy = "look for longitude and latitude swapped, here or in the surfaces"
        if other_sign:
            remedy = "degrees west and south are negative: look at the signs"
        faults.add(
            file,
            f"catch {quoted(str(catches.id[k]))} at {catches.lon_degree[k]:g},"
            f" {catches.lat_degree[k]:g} lies {outside[k]:.3g}° from all surfaces",
            row=place_said(int(catches.place[k])),
            column="lon, lat",
            remedy=remedy,
            member=int(of_dressing[catches.dressing[k]]),
        )
    return replace(catches, lon_degree=lon)


def _all_near(box: Floats, runs: Runs, lon: Floats, lat: Floats) -> bool:
    """Whether by their outermost places no site (columns of ``box``) has a catch far from it."""
    west, south, east, north = box[:, runs.present]
    (left, right), (low, high) = (
        (least[runs.present], most[runs.present])
        for least, most in (runs.extremes(lon), runs.extremes(lat))
    )
    away = np.maximum.reduce([west - left, right - east, south - low, high - north])
    return bool((away <= FARTHEST_DEGREE).all() and (east - west < 180).all())


def _with_another_sign(lon: float, lat: float, box: tuple[float, ...]) -> bool:
    """Whether a far place would lie by the surfaces' box with a sign forgotten, or one too many."""
    west, south, east, north = box
    return any(
        max(west - x, x - east, south - y, y - north) < FARTHEST_DEGREE
        for x, y in ((-lon, lat), (lon, -lat), (-lon, -lat))
    )
