"""The data block of the page: a view turned into short lists of numbers and texts."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable
from typing import Any

import numpy as np

from geosand.columns import Ints
from geosand.mapping.shapes import PER_DEGREE, Shape, ground, pack, poles_of
from geosand.mapping.view import SEASON, MapPeriod, MapView, PeriodSurface
from geosand.mapping.words import (
    KIND_COLOURS,
    LEGENDS,
    OTHER_KIND,
    SCALES,
    STEPS,
    THEMES,
    UNITS,
    plain,
    short,
    steps_of,
)
from geosand.reports.classes import balanced_breaks, rising_breaks

#: Order of one surface's figures in a period, those that are often missing last, and the quantity
#: in whose steps they are written; the script reads them by these names.
SURFACE_FIGURES = {
    "depth_m": "depth",
    "low_m": "depth",
    "high_m": "depth",
    "basis": None,
    "catches": None,
    "mass_kg": "mass",
    "mass_low_kg": "mass",
    "mass_high_kg": "mass",
    "thrown_kg": "mass",
    "target_so_far_m": "depth",
    "shortfall_m": "depth",
    "state": None,
    "probability": "share",
}
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
    packed = pack([*shown, *(ring.geometry for ring in view.rings), ground(shown)])
    count = len(view.surfaces)
    states, breaks = states_of(view), {}
    for period in view.periods:  # all dressings share theirs
        if (season := period.key == SEASON) not in breaks:
            breaks[season] = period_breaks(view, period)
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
        "steps": STEPS,
        "surfaces": _surfaces(view, packed.shapes[:count], np.array(packed.origin)),
        "rings": _rings(view, packed.shapes[count:-1]),
        "periods": [period_data(view, p, states, breaks[p.key == SEASON]) for p in view.periods],
        "catches": _catches(view, np.array(packed.origin)),
        "passes": _passes(view, np.array(packed.origin)),
        "background": view.background,
        "inputs": {plain(name): digest for name, digest in view.inputs.items()},
        "made_with": dict(view.made_with),
    }


def states_of(view: MapView) -> list[str]:
    """The states that occur, by name."""
    return sorted({s.state for p in view.periods for s in p.surfaces.values() if s.state})


def _surfaces(view: MapView, shapes: list[Shape], origin: Ints) -> list[list[Any]]:
    poles, radii = poles_of([surface.geometry for surface in view.surfaces])
    return [
        [
            plain(surface.id),
            plain(surface.name),
            plain(surface.kind),
            shapes[index],
            short(surface.area_m2),
            short(surface.u_area_m2),
            short(surface.target_m),
            None
            if surface.geometry.is_empty
            else whole_degrees(poles[index, 0], poles[index, 1], origin),
            round(float(radii[index]), 1),
        ]
        for index, surface in enumerate(view.surfaces)
    ]


def _numbers(view: MapView) -> dict[str, int]:
    return {surface.id: index for index, surface in enumerate(view.surfaces)}


def _rings(view: MapView, shapes: list[Shape]) -> list[list[Any]]:
    number = _numbers(view)
    return [
        [number.get(ring.surface, -1), ring.zone, shapes[index]]
        for index, ring in enumerate(view.rings)
    ]


def _catches(view: MapView, origin: Ints) -> list[list[Any]]:
    number = _numbers(view)
    dressings = {period.key: index for index, period in reversed(list(enumerate(view.periods)))}
    return [
        [
            plain(catch.id),
            dressings.get(catch.dressing, -1),
            *whole_degrees(catch.lon, catch.lat, origin),
            number.get(catch.surface, -1) if catch.surface is not None else -1,
            steps_of(catch.depth_m, "depth"),
            steps_of(catch.rate_kg_m2, "rate"),
            steps_of(catch.residual, "share"),
            # most catches were used and have no note: nothing is written for them
            *([int(catch.used), plain(catch.note)] if catch.note or not catch.used else ()),
        ]
        for catch in view.catches
    ]


def _passes(view: MapView, origin: Ints) -> list[list[Any]]:
    number = _numbers(view)
    return [
        [
            number.get(driven.surface, -1),
            short(driven.heading_degree),
            [
                [whole_degrees(lon, lat, origin) for lon, lat in line.coords]
                for line in driven.lines.geoms
            ],
        ]
        for driven in view.passes
    ]


def kinds_of(view: MapView) -> list[str]:
    """The kinds that occur, in the order of the known ones, then the others by name."""
    known = list(KIND_COLOURS)
    found = {plain(surface.kind) for surface in view.surfaces}
    return sorted(found, key=lambda k: (known.index(k) if k in known else len(known), k))


def whole_degrees(lon: float, lat: float, origin: Ints) -> list[int]:
    """A position in 1e-7 degree from the origin."""
    whole = np.rint(np.array([lon, lat]) * PER_DEGREE).astype(np.int64) - origin
    return [int(whole[0]), int(whole[1])]


def period_data(
    view: MapView, period: MapPeriod, states: list[str], breaks: Breaks
) -> dict[str, Any]:
    """One period: rows of figures by surface and ring in the order of the view, and its classes."""
    rings = [period.rings.get(ring.id) for ring in view.rings]
    return {
        "key": plain(period.key),
        "label": plain(period.label),
        "surfaces": [
            _figures(period.surfaces.get(surface.id), states) for surface in view.surfaces
        ],
        "rings": [
            ring and [steps_of(ring[0], "depth"), steps_of(ring[1], "mass")] for ring in rings
        ],
        "thrown": short(period.thrown_kg),
        "doubt": bool(period.balance and period.balance.not_told_from_zero),
        "breaks": breaks,
    }


def _figures(surface: PeriodSurface | None, states: list[str]) -> list[Any] | None:
    if surface is None:
        return None
    values: dict[str, int | None] = {
        name: steps_of(getattr(surface, name), quantity)
        for name, quantity in SURFACE_FIGURES.items()
        if quantity
    }
    values["state"] = states.index(surface.state) if surface.state else None
    values["basis"] = BASES.index(surface.basis)
    values["catches"] = surface.catches
    row = [values[name] for name in SURFACE_FIGURES]
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
