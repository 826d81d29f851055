"""Between which limits the five colours of each view change, in both systems of units."""

from __future__ import annotations

import math
from collections.abc import Iterable

from geosand.mapping.view import SEASON, MapPeriod, MapView
from geosand.mapping.words import SCALES, UNITS
from geosand.reports.classes import balanced_breaks, rising_breaks

#: View -> system of units -> limits.
Breaks = dict[str, dict[str, list[float]]]


def period_breaks(view: MapView, period: MapPeriod) -> Breaks:
    """Class limits for each view and unit system.

    All dressings share theirs, so that a colour means the same depth in each of them.
    """
    if period.key == SEASON:
        peers = [period]
    else:
        peers = [other for other in view.periods if other.key != SEASON]
    surfaces = [surface for peer in peers for surface in peer.surfaces.values()]
    depths = _given(surface.depth_m for surface in surfaces)
    if period.key != SEASON:  # cells have the same colours
        depths += _given(depth for field in view.fields for depth in field.depth_m.tolist())
    shortfalls = _given(surface.shortfall_m for surface in surfaces)
    thrown = _given(ring[0] for peer in peers for ring in peer.rings.values())
    # Shares mean the same on every day, so the catches have one set of classes.
    residuals = _given(c.residual and 100 * c.residual for c in view.catches if c.used)
    breaks: Breaks = {theme: {} for theme in SCALES}
    for system, units in UNITS.items():
        factor, _, decimals = units["depth"]
        for theme, values in (("depth", depths), ("overthrow", thrown)):
            breaks[theme][system] = rising_breaks(
                # nothing spread yet is no range to cut in five
                [value * factor for value in values if any(values)],
                decimals=decimals,
                from_zero=theme == "overthrow",
            )
        breaks["shortfall"][system] = balanced_breaks(
            [value * factor for value in shortfalls], decimals=decimals
        )
        breaks["catches"][system] = balanced_breaks(residuals, decimals=0)
    return breaks


def _given(values: Iterable[float | None]) -> list[float]:
    return [value for value in values if value is not None and math.isfinite(value)]
