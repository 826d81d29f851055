"""The data block of the page: a view turned into short lists of numbers and texts."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable
from typing import Any

import numpy as np
import shapely

from geosand.mapping.classes import balanced_breaks, rising_breaks
from geosand.mapping.shapes import PER_DEGREE, ground, pack
from geosand.mapping.view import SEASON, MapPeriod, MapView, PeriodSurface
from geosand.mapping.words import (
    KIND_COLOURS,
    LEGENDS,
    OTHER_KIND,
    SCALES,
    THEMES,
    UNITS,
    plain,
    short,
)

#: Order of one surface's figures in a period; the script reads them by these names.
SURFACE_FIGURES = (
    "depth_m",
    "low_m",
    "high_m",
    "target_so_far_m",
    "shortfall_m",
    "state",
    "probability",
    "basis",
    "catches",
    "rate_kg_m2",
    "mass_kg",
    "mass_low_kg",
    "mass_high_kg",
)
BASES = (None, "own catches", "other surfaces")
Breaks = dict[str, dict[str, list[float]]]


def script_json(data: Any) -> str:
    """JSON that can stand inside a script element; a NaN raises ValueError."""
    text = json.dumps(data, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    for sign in "<>&\u2028\u2029":
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return text


def page_data(view: MapView) -> dict[str, Any]:
    """Everything the script needs, ready for :func:`script_json`."""
    shown = [surface.geometry for surface in view.surfaces]
    land = ground(shown)
    packed = pack([*shown, *(ring.geometry for ring in view.rings), land])
    count = len(view.surfaces)
    number = {surface.id: index for index, surface in enumerate(view.surfaces)}
    states = sorted({s.state for p in view.periods for s in p.surfaces.values() if s.state})
    dressings = [period.key for period in view.periods]
    origin = np.array(packed.origin)
    return {
        "origin": packed.origin,
        "pool": packed.pool,
        "ground": packed.shapes[-1],
        "start": view.units,
        "units": UNITS,
        "themes": THEMES,
        "legends": LEGENDS,
        "scales": SCALES,
        "kinds": {k: KIND_COLOURS.get(k, OTHER_KIND) for k in kinds_of(view)},
        "states": [plain(state) for state in states],
        "bases": BASES,
        "figures": SURFACE_FIGURES,
        "surfaces": [
            [
                plain(surface.id),
                plain(surface.name),
                plain(surface.kind),
                packed.shapes[index],
                short(surface.area_m2),
                short(surface.u_area_m2),
                short(surface.target_m),
                label_point(surface.geometry, origin),
            ]
            for index, surface in enumerate(view.surfaces)
        ],
        "rings": [
            [number.get(ring.surface, -1), ring.zone, packed.shapes[count + index]]
            for index, ring in enumerate(view.rings)
        ],
        "periods": [period_data(view, period, states) for period in view.periods],
        "catches": [
            [
                plain(catch.id),
                dressings.index(catch.dressing) if catch.dressing in dressings else -1,
                *whole_degrees(catch.lon, catch.lat, origin),
                number.get(catch.surface, -1) if catch.surface is not None else -1,
                short(catch.depth_m),
                short(catch.rate_kg_m2),
                int(catch.used),
                plain(catch.note),
            ]
            for catch in view.catches
        ],
        "passes": [
            [
                number.get(driven.surface, -1),
                short(driven.heading_degree),
                [
                    [whole_degrees(lon, lat, origin) for lon, lat in line.coords]
                    for line in driven.lines.geoms
                ],
            ]
            for driven in view.passes
        ],
        "background": view.background,
    }


def kinds_of(view: MapView) -> list[str]:
    """The kinds that occur, in the order of the known ones, then the others by name."""
    known = list(KIND_COLOURS)
    found = {plain(surface.kind) for surface in view.surfaces}
    return sorted(found, key=lambda k: (known.index(k) if k in known else len(known), k))


def whole_degrees(lon: float, lat: float, origin: Any) -> list[int]:
    """A position in 1e-7 degree from the origin."""
    whole = np.rint(np.array([lon, lat]) * PER_DEGREE).astype(np.int64) - origin
    return [int(whole[0]), int(whole[1])]


def label_point(geometry: Any, origin: Any) -> list[int] | None:
    """A point that surely lies on the surface: its centroid if that is on it."""
    if geometry.is_empty:
        return None
    point = geometry.centroid
    if not shapely.intersects(geometry, point):
        point = shapely.point_on_surface(geometry)
    return whole_degrees(point.x, point.y, origin)


def period_data(view: MapView, period: MapPeriod, states: list[str]) -> dict[str, Any]:
    """One period: rows of figures by surface and ring in the order of the view, and its classes."""
    rings = [period.rings.get(ring.id) for ring in view.rings]
    return {
        "key": plain(period.key),
        "label": plain(period.label),
        "surfaces": [
            _figures(period.surfaces.get(surface.id), states) for surface in view.surfaces
        ],
        "rings": [ring and [short(ring[0]), short(ring[1])] for ring in rings],
        "doubt": bool(period.balance and period.balance.not_told_from_zero),
        "breaks": period_breaks(view, period),
    }


def _figures(surface: PeriodSurface | None, states: list[str]) -> list[Any] | None:
    if surface is None:
        return None
    values = {name: getattr(surface, name) for name in SURFACE_FIGURES}
    values["state"] = states.index(surface.state) if surface.state else None
    values["basis"] = BASES.index(surface.basis)
    row = [v if isinstance(v, int) else short(v) for v in values.values()]
    while row and row[-1] is None:
        row.pop()
    return row


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
    shortfalls = _given(surface.shortfall_m for surface in surfaces)
    thrown = _given(ring[0] for peer in peers for ring in peer.rings.values())
    breaks: Breaks = {theme: {} for theme in SCALES}
    for system, units in UNITS.items():
        factor, _, decimals = units["depth"]
        for theme, values in (("depth", depths), ("overthrow", thrown)):
            breaks[theme][system] = rising_breaks(
                [value * factor for value in values],
                decimals=decimals,
                from_zero=theme == "overthrow",
            )
        breaks["shortfall"][system] = balanced_breaks(
            [value * factor for value in shortfalls], decimals=decimals
        )
    return breaks


def _given(values: Iterable[float | None]) -> list[float]:
    return [value for value in values if value is not None and math.isfinite(value)]
