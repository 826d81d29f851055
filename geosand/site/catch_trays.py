"""The mouths of trays and cloths, however their size is given."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from geosand.columns import Floats, Ints
from geosand.errors import Finding
from geosand.site.reading import Reader

SMALL_TRAY_M2, LARGE_TRAY_M2 = 0.005, 4.0
LONGEST_TRAY_M = 5.0  #: cloths are smaller; common practice, no source
TRAY = "tray_length_mm and tray_width_mm, or tray_diameter_mm, or tray_area_cm2"


def tray_sizes(reader: Reader) -> tuple[Floats, Floats]:
    """Mouth area (m²) and half diagonal (m) of each tray; nan and a fault where there is no one.

    Of a tray known by its area only, the half diagonal is that of a square.
    """
    length, width, diameter = (
        reader.quantity(f"tray_{name}", "m", above=0.0, maximum=LONGEST_TRAY_M)
        for name in ("length", "width", "diameter")
    )
    given = reader.quantity("tray_area", "m2", above=0.0, maximum=LONGEST_TRAY_M**2)
    sides = (length, width, diameter, given)
    if reader.size and len(reader.faulty) < reader.size and all(np.isnan(s).all() for s in sides):
        hint = reader.meant("tray_length_mm") or reader.meant("tray_area_cm2")
        reader.whole_fault(None, "there is no tray size", remedy=f"{hint}Add {TRAY}")
    ways = (length * width, np.pi / 4 * diameter**2, given)
    number = np.sum([np.isfinite(way) for way in ways], axis=0)
    alone = np.isfinite(length) != np.isfinite(width)
    for row in np.flatnonzero((number != 1) | alone).tolist():
        if row not in reader.faulty:
            found = "no tray size" if number[row] == 0 else "the tray's size is given twice"
            reader.fault(row, "tray_…", found, allowed=TRAY)
    area = _only_one(number, ways)
    _odd_trays(reader, area)
    halves = (np.hypot(length, width) / 2, diameter / 2, np.sqrt(given / 2))
    return area, _only_one(number, halves)


def _only_one(number: Ints, ways: Sequence[Floats]) -> Floats:
    """The one of the figures that is known; nan where ``number`` says that not one is."""
    one = ways[0]
    for way in ways[1:]:
        one = np.where(np.isfinite(one), one, way)
    return np.where(number == 1, one, np.nan)


def _odd_trays(reader: Reader, area: Floats) -> None:
    odd = np.flatnonzero((area < SMALL_TRAY_M2) | (area > LARGE_TRAY_M2)).tolist()
    places: dict[tuple[int, str], list[str]] = {}
    for row in odd:
        size = f"{area[row] * 1e4:.4g} cm²"
        places.setdefault((int(reader.member[row]), size), []).append(str(reader.table.rows[row]))
    for (member, size), mine in places.items():
        more = f" and {len(mine) - 8} more" if len(mine) > 8 else ""
        text = f"a tray of {size} (row {', '.join(mine[:8])}{more}): check its unit"
        reader.findings.append(
            Finding(about=reader.table.file, text=text, topic="catch", member=member)
        )
