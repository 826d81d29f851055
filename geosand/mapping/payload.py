"""The data block of the page: a view turned into short lists of numbers and texts."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Sequence
from typing import Any

import numpy as np

from geosand.columns import Ints
from geosand.mapping.breaks import period_breaks
from geosand.mapping.encoding import STEPS, encode_column, whole_steps
from geosand.mapping.shapes import PER_DEGREE, Shape, ground, pack, poles_of
from geosand.mapping.view import (
    SEASON,
    SYSTEMS,
    MapBalance,
    MapCatch,
    MapPeriod,
    MapView,
    PeriodSurface,
    said,
)
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

#: Order of one surface's figures in a period, and the quantity in whose steps each is written. The
#: script reads them by these names.
SURFACE_FIGURES: dict[str, str | None] = {
    "depth_m": "depth",
    "low_m": "depth",
    "high_m": "depth",
    "basis": None,
    "catches": None,
    "mass_kg": "mass",
    "mass_low_kg": "mass",
    "mass_high_kg": "mass",
    "thrown_kg": "mass",
    "in_holes_m": "depth",
    "target_so_far_m": "depth",
    "shortfall_m": "depth",
    "state": None,
    "probability": "share",
}
#: Order of the figures of a period's balance, and their quantities.
BALANCE_FIGURES = {
    "spread_kg": "mass",
    "u_spread_kg": "mass",
    "on_surfaces_kg": "mass",
    "on_surfaces_low_kg": "mass",
    "on_surfaces_high_kg": "mass",
    "overthrow_kg": "mass",
    "overthrow_low_kg": "mass",
    "overthrow_high_kg": "mass",
    "fraction": "share",
    "strip_width_m": "length",
    "reach_m": "length",
    "collar_kg": "mass",
    "surrounds_kg": "mass",
    "farther_kg": "mass",
}
CELL_STEP_M = 1e-6  #: in which depths of cells are held
BASES = (None, "own catches", "other surfaces")


def script_json(data: Any) -> str:
    """JSON that can stand inside a script element; a NaN raises ValueError."""
    text = json.dumps(data, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    for sign in "<>&\u2028\u2029":
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return text


def page_data(view: MapView) -> dict[str, Any]:
    """Everything the script needs, ready for :func:`script_json`."""
    shown = [surface.geometry for surface in view.surfaces]
    packed = pack([*shown, ground(shown)], [ring.geometry for ring in view.rings])
    count = len(view.surfaces)
    states, breaks = states_of(view), {}
    for period in view.periods:  # all dressings share theirs
        if (kept := _breaks_of(period)) not in breaks:
            breaks[kept] = period_breaks(view, period)
    return {
        "origin": packed.origin,
        "pool": packed.pool,
        "ground": packed.shapes[count],
        "start": view.units,
        "units": UNITS,
        "themes": THEMES,
        "legends": LEGENDS,
        "scales": SCALES,
        "kinds": {k: KIND_COLOURS.get(k, OTHER_KIND) for k in kinds_of(view)},
        "states": [plain(state) for state in states],
        "bases": BASES,
        "figures": SURFACE_FIGURES,
        "account": BALANCE_FIGURES,
        "steps": {**STEPS, "cell": CELL_STEP_M},
        "surfaces": _surfaces(view, packed.shapes[:count], np.array(packed.origin)),
        "rings": _rings(view, packed.shapes[count + 1 :]),
        "periods": [period_data(view, period, states) for period in view.periods],
        "breaks": breaks,
        "catches": _catches(view, np.array(packed.origin)),
        "fields": _fields(view, np.array(packed.origin)),
        "passes": _passes(view, np.array(packed.origin)),
        "background": view.background,
        "inputs": {plain(name): digest for name, digest in view.inputs.items()},
        "made_with": dict(view.made_with),
    }


def _breaks_of(period: MapPeriod) -> str:
    """Which classes a period has: those of the season, or those that all dressings share."""
    return SEASON if period.key == SEASON else "dressing"


def states_of(view: MapView) -> list[str]:
    """The states that occur, by name."""
    return sorted({s.state for p in view.periods for s in p.surfaces.values() if s.state})


def _surfaces(view: MapView, shapes: list[Shape], origin: Ints) -> dict[str, Any]:
    """Columns of the surfaces, in the order of the view."""
    geometries = [surface.geometry for surface in view.surfaces]
    poles, radii = poles_of(geometries)
    places = np.rint(poles * PER_DEGREE).astype(np.int64) - origin
    kinds = kinds_of(view)
    return {
        "id": [plain(surface.id) for surface in view.surfaces],
        "name": [plain(surface.name) for surface in view.surfaces],
        "kind": encode_column([kinds.index(plain(surface.kind)) for surface in view.surfaces]),
        "shape": shapes,
        "area": _steps((surface.area_m2 for surface in view.surfaces), "area"),
        "u_area": _steps((surface.u_area_m2 for surface in view.surfaces), "area"),
        "target": _steps((surface.target_m for surface in view.surfaces), "depth"),
        "x": encode_column(places[:, 0].tolist()),
        "y": encode_column(places[:, 1].tolist()),
        "radius_dm": encode_column(np.rint(10 * radii).astype(np.int64).tolist()),
    }


def _steps(values: Iterable[float | None], quantity: str) -> str:
    """A column of figures as the page holds them."""
    return encode_column(whole_steps([*values], quantity))


def _numbers(view: MapView) -> dict[str, int]:
    return {surface.id: index for index, surface in enumerate(view.surfaces)}


def _rings(view: MapView, shapes: list[Shape]) -> list[list[Any]]:
    number = _numbers(view)
    return [
        [number.get(ring.surface, -1), ring.zone, shapes[index]]
        for index, ring in enumerate(view.rings)
    ]


def _catches(view: MapView, origin: Ints) -> dict[str, Any]:
    """Columns of the catches, and by their number what is said of those set aside or noted."""
    number = _numbers(view)
    dressings = {period.key: index for index, period in reversed(list(enumerate(view.periods)))}

    def column(of: Callable[[MapCatch], int]) -> str:
        return encode_column([of(catch) for catch in view.catches])

    places = np.array([(catch.lon, catch.lat) for catch in view.catches]).reshape(-1, 2)
    whole = np.rint(places * PER_DEGREE).astype(np.int64) - origin
    return {
        "id": [plain(catch.id) for catch in view.catches],
        "period": column(lambda catch: dressings.get(catch.dressing, -1)),
        "x": encode_column(whole[:, 0].tolist()),
        "y": encode_column(whole[:, 1].tolist()),
        "surface": column(lambda catch: number.get(catch.surface or "", -1)),
        "depth": _steps((catch.depth_m for catch in view.catches), "depth"),
        "rate": _steps((catch.rate_kg_m2 for catch in view.catches), "rate"),
        "residual": _steps((catch.residual for catch in view.catches), "share"),
        "remarks": [
            [index, int(catch.used), plain(catch.note)]
            for index, catch in enumerate(view.catches)
            if catch.note or not catch.used
        ],
    }


def _fields(view: MapView, origin: Ints) -> list[list[Any]]:
    """Grids of cells: period, surface, side, corners, cells across, depths and their u."""
    number = _numbers(view)
    dressings = {period.key: index for index, period in enumerate(view.periods)}
    return [
        [
            dressings[field.dressing],
            number[field.surface],
            field.cell_m,
            *whole_degrees(field.west, field.south, origin),
            *whole_degrees(field.east, field.north, origin),
            field.width,
            encode_column(whole_steps(field.depth_m, "depth", CELL_STEP_M)),
            encode_column(whole_steps(field.u_depth_m, "depth", CELL_STEP_M)),
        ]
        for field in view.fields
        if field.dressing in dressings and field.surface in number
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


def period_data(view: MapView, period: MapPeriod, states: list[str]) -> dict[str, Any]:
    """One period: its balance, and figures by column of the surfaces and rings that have some."""
    rings = [
        (index, *period.rings[ring.id])
        for index, ring in enumerate(view.rings)
        if ring.id in period.rings
    ]
    dressed = [k for k, surface in enumerate(view.surfaces) if surface.id in period.surfaces]
    return {
        "key": plain(period.key),
        "label": plain(period.label),
        "headline": [plain(said(period.headline, system)) for system in SYSTEMS],
        "dressed": encode_column(dressed),
        "surfaces": _figures([period.surfaces[view.surfaces[k].id] for k in dressed], states),
        "rings": [
            encode_column([index for index, _, _ in rings]),
            _steps((depth for _, depth, _ in rings), "depth"),
            _steps((mass for _, _, mass in rings), "mass"),
        ],
        "thrown": short(period.thrown_kg),
        **_balance(period.balance),
    }


def _balance(balance: MapBalance | None) -> dict[str, Any]:
    """The balance of a period in one text; nothing where there is none."""
    if balance is None:
        return {}
    steps = [
        whole_steps([getattr(balance, name)], quantity)[0]
        for name, quantity in BALANCE_FIGURES.items()
    ]
    told = {"verdict": plain(balance.verdict or ""), "doubt": balance.not_told_from_zero}
    return {"balance": encode_column(steps)} | {key: value for key, value in told.items() if value}


def _figures(surfaces: Sequence[PeriodSurface], states: list[str]) -> list[str]:
    """Columns of the surfaces' figures."""
    found: dict[str, list[int | None]] = {
        "state": [states.index(now.state) if now.state else None for now in surfaces],
        "basis": [BASES.index(now.basis) or None for now in surfaces],
        "catches": [now.catches for now in surfaces],
    }
    for name, quantity in SURFACE_FIGURES.items():
        if quantity:
            found[name] = whole_steps([getattr(now, name) for now in surfaces], quantity)
    return [encode_column(found[name]) for name in SURFACE_FIGURES]
