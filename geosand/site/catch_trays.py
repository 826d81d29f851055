"""Trays and cloths: their mouths, however the size is given, and what they weigh empty."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from geosand.columns import Bools, Floats, Ints, distinct
from geosand.site.raw_columns import first_come
from geosand.site.reading import Reader
from geosand.site.table_reader import SAME, UP, UP_READINGS

SMALL_TRAY_M2, LARGE_TRAY_M2 = 0.005, 4.0
LONGEST_TRAY_M = 5.0  #: cloths are smaller; common practice, no source
FEW = 5  #: a slip is in one tray of so many, not in more
TARE_SHARE = 0.05  #: of the sand in it, from which another tare would show in a rate
#: Of the sand in it, below which a tray may hide in how the sand scatters: half of it is 1.5 of the
#: standard deviations, 11 %, that are taken where nothing else is known (own choice).
LIGHT_TRAY = 1 / 3
TRAY = "tray_length_mm and tray_width_mm, or tray_diameter_mm, or tray_area_cm2"


def tray_sizes(reader: Reader) -> tuple[Floats, Floats]:
    """Mouth area (m²) and half diagonal (m) of each tray; nan and a fault where there is no one.

    Of a tray known by its area only, the half diagonal is that of a square.
    """
    length, width, diameter = (
        reader.quantity(f"tray_{name}", "m", above=0.0, maximum=LONGEST_TRAY_M, up=UP)
        for name in ("length", "width", "diameter")
    )
    given = reader.quantity("tray_area", "m2", above=0.0, maximum=LONGEST_TRAY_M**2, up=UP)
    sides = (length, width, diameter, given)
    if reader.size and len(reader.faulty) < reader.size and all(np.isnan(s).all() for s in sides):
        hint = reader.meant("tray_length_mm") or reader.meant("tray_area_cm2")
        reader.whole_fault(None, "there is no tray size", remedy=f"{hint}Add {TRAY}")
    ways = (length * width, np.pi / 4 * diameter**2, given)
    number: Any = sum(np.isfinite(way).view(np.int8) for way in ways)
    alone = np.isfinite(length) != np.isfinite(width)
    wrong = reader.sound((number != 1) | alone)
    hint = ""
    if (number[wrong] == 0).any():
        hint = reader.meant("tray_length_mm") or reader.meant("tray_width_mm")
    for row in wrong:
        twice = number[row] > 0
        found = "the tray's size is given twice" if twice else "no tray size"
        reader.fault(row, "tray_…", found, allowed=TRAY, remedy="" if twice else hint.strip())
    area = _only_one(number, ways)
    _tell_odd_sizes(reader, area)
    halves = (np.hypot(length, width) / 2, diameter / 2, np.sqrt(given / 2))
    return area, _only_one(number, halves)


def _only_one(number: Ints, ways: Sequence[Floats]) -> Floats:
    """The one of the figures that is known; nan where ``number`` says that not one is."""
    one = ways[0]
    for way in ways[1:]:
        if not (known := np.isfinite(one)).all():
            one = np.where(known, one, way)
    return one if (number == 1).all() else np.where(number == 1, one, np.nan)


def _tell_odd_sizes(reader: Reader, area: Floats) -> None:
    """A finding for each size so small or large that another unit may be meant."""
    rows_of: dict[tuple[int, str], list[int]] = {}
    for row in np.flatnonzero((area < SMALL_TRAY_M2) | (area > LARGE_TRAY_M2)).tolist():
        size = f"{area[row] * 1e4:.4g} cm²"
        rows_of.setdefault((int(reader.member[row]), size), []).append(row)
    for (member, size), rows in rows_of.items():
        text = f"a tray of {size} ({reader.places(np.array(rows))}): check its unit"
        reader.finding(text, "catch", member)


def net_masses(reader: Reader, area: Floats, pooled: Bools, dressing: Ints) -> Floats:
    """Gross less tare (kg) of each row, as weighed; nan where either is not said.

    ``area`` (m²) tells which trays are of one size, ``dressing`` (-1: of none) which were filled
    together. Of rows that are ``pooled`` the tare may be that of all trays of the pool: it is not
    held against others.
    """
    tare = reader.quantity("tare", "kg", minimum=0.0, maximum=1000, up=UP_READINGS)
    gross = reader.quantity("gross", "kg", minimum=0.0, maximum=1000, up=UP_READINGS)
    filled = np.where(gross > tare, gross, np.nan)  # empty trays weigh the same
    reader.tell_dragged(reader.column_read("gross"), filled, 0, SAME)
    bare = reader.sound(np.isfinite(gross) & np.isnan(tare))
    hint = reader.meant("tare_g") if len(bare) else ""
    for row in bare:
        found = "a gross mass without its tare"
        remedy = f"{hint}Weigh the empty tray; write 0 where the scale was set to zero with it"
        reader.fault(row, reader.column_read("tare"), found, remedy=remedy)
    for row in np.flatnonzero(gross < tare).tolist():
        found = f"the gross mass, {gross[row] * 1000:.4g} g, is below the tare,"
        found += f" {tare[row] * 1000:.4g} g"
        remedy = "check whether the two were swapped or a tray was mixed up"
        reader.fault(row, reader.column_read("gross"), found, remedy=remedy)
    net = gross - tare
    if np.fmax.reduce(tare, initial=0.0) > 2 * np.fmin.reduce(tare, initial=np.inf):
        _tell_odd_tares(reader, tare, np.where(pooled, np.nan, net), area, dressing)
    return net


def _tell_odd_tares(
    reader: Reader, tare: Floats, net: Floats, area: Floats, dressing: Ints
) -> None:
    """A finding for the few trays that weigh half or twice what others of their size do.

    And for trays of 0 g, few or many: a tare may have been forgotten for a whole dressing.
    """
    known = np.flatnonzero(np.isfinite(net) & np.isfinite(area))
    if np.max(tare[known], initial=0.0) <= 2 * np.min(tare[known], initial=np.inf):
        return
    size = np.round(area[known] * 1e7).astype(np.int64)
    _, kind = first_come((reader.member[known] << 32) + size)
    order = np.lexsort((tare[known], kind))
    number = np.bincount(kind)
    start = np.cumsum(number) - number
    usual = tare[known[order[start + number // 2]]][kind]
    odd = (tare[known] < usual / 2) | (tare[known] > usual * 2)
    odd &= np.abs(tare[known] - usual) > TARE_SHARE * net[known]
    forgotten = _forgotten(tare[known], net[known], kind, dressing[known])
    odd &= (tare[known] > 0) | forgotten
    few = np.bincount(kind[odd], minlength=len(number)) * FEW <= number
    _tell_no_tares(reader, known, tare[known], net[known], kind, forgotten & ~few[kind])
    for k in distinct(kind[odd & few[kind]]).tolist():
        mine = np.flatnonzero(odd & (kind == k))
        rows, grams = known[mine], tare[known[mine]] * 1000
        one = len(rows) == 1
        text = (
            f"{reader.places(rows)}: {'a tare' if one else 'tares'} of"
            f" {', '.join(f'{g:.4g}' for g in grams[:8].tolist())} g where"
            f" the other trays of this size have {usual[mine[0]] * 1000:.4g} g:"
            f" weigh {'it' if one else 'them'} empty once more"
        )
        reader.finding(text, "catch", int(reader.member[rows[0]]))


def _forgotten(tare: Floats, net: Floats, kind: Ints, dressing: Ints) -> Bools:
    """Rows of 0 g in which an empty tray may be weighed with the sand.

    Those of one dressing and ``kind`` hold by half an empty tray more in the middle than the ones
    with a tare: else the scale was set to zero with the tray. Without such ones nothing tells, nor
    where trays are so light that the sand scatters by more.
    """
    _, lot = first_come((dressing + 1) * (kind.max() + 1) + kind)
    with_tare, without = (
        _middles(net[mine], lot[mine], lot.max() + 1) for mine in (tare > 0, tare <= 0)
    )
    least = _least(tare, kind)[kind]
    told = least >= LIGHT_TRAY * with_tare[lot]
    zeroed: Bools = told & ((without - with_tare)[lot] <= least / 2)
    return (tare <= 0) & ~zeroed


def _middles(values: Floats, group: Ints, size: int) -> Floats:
    """The (upper) median of the values of each group (size,); nan where it has none."""
    count = np.bincount(group, minlength=size)
    ordered = np.append(values[np.lexsort((values, group))], np.nan)
    return np.where(count > 0, ordered[np.cumsum(count) - count + count // 2], np.nan)


def _least(tare: Floats, kind: Ints) -> Floats:
    """The lightest tray of each kind that weighs anything."""
    least = np.full(kind.max() + 1, np.inf)
    np.minimum.at(least, kind[tare > 0], tare[tare > 0])
    return least


def _tell_no_tares(
    reader: Reader, known: Ints, tare: Floats, net: Floats, kind: Ints, asked: Bools
) -> None:
    """A finding where many trays weigh 0 g and others of their ``kind`` do not (``asked``).

    All of them must hold what an empty one weighs, or more: else the scale was set to zero.
    """
    least = _least(tare, kind)
    none = (tare <= 0) & asked
    zeroed = np.bincount(kind[none & (net < least[kind])], minlength=len(least)) > 0
    for k in distinct(kind[none & ~zeroed[kind]]).tolist():
        rows = known[none & (kind == k)]
        text = (
            f"{reader.places(rows)}: tares of 0 g where other trays of this size have"
            f" {least[k] * 1000:.4g} g: was the scale set to zero with the empty tray?"
        )
        reader.finding(text, "catch", int(reader.member[rows[0]]))
