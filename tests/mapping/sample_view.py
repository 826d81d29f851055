"""A made-up site for the map's tests: 60 surfaces, 36 rings, seven periods, 200 catches; seeded.

No number here is a measurement of anything.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import shapely

from geosand.mapping.view import (
    MapBalance,
    MapCatch,
    MapPeriod,
    MapRing,
    MapSurface,
    MapView,
    PeriodSurface,
)

WEST, SOUTH = -2.2143, 51.7312
METRES = np.array([111_195 * np.cos(np.radians(SOUTH)), 111_195])


def _degrees(shape):
    return shapely.transform(shape, lambda points: points / METRES + [WEST, SOUTH])


def _smooth(rng, x, y, area, stretch):
    """A rounded outline of 64 corners about (x, y), in metres."""
    angle = np.linspace(0, 2 * np.pi, 64, endpoint=False)
    radius = np.ones(64)
    for wave in (2, 3, 5):
        radius += rng.uniform(0.02, 0.16 / wave) * np.cos(wave * angle + rng.uniform(0, 6.3))
    radius *= np.sqrt(area / np.pi)
    turn = rng.uniform(0, np.pi)
    east, north = radius * np.cos(angle) * stretch, radius * np.sin(angle) / stretch
    points = np.column_stack(
        (
            x + east * np.cos(turn) - north * np.sin(turn),
            y + east * np.sin(turn) + north * np.cos(turn),
        )
    )
    return shapely.Polygon(points)


def _outlines(rng, copy=0):
    """Eighteen holes on a bent grid: green, front tee, back tee; six more surfaces."""
    shapes = []
    shift = np.array([1_000 * (copy % 5), 1_000 * (copy // 5)])
    tag = (f"{copy}-", f" of {copy}") if copy else ("", "")
    for hole in range(18):
        column, row = hole % 6, hole // 6
        x, y = 130 * column + rng.uniform(-18, 18), 250 * row + rng.uniform(-25, 25)
        green = _smooth(rng, x, y, rng.uniform(380, 680), rng.uniform(1.0, 1.25))
        shapes.append((f"{hole + 1}", f"Green {hole + 1}", "green", green))
        for side, far in (("front", 95), ("back", 135)):
            tee = _smooth(rng, x + rng.uniform(-22, 22), y + far, rng.uniform(110, 240), 1.5)
            shapes.append((f"T{hole + 1}{side[0]}", f"Tee {hole + 1} {side}", "tee", tee))
    extra = [
        ("P", "Practice green", "green", 820, 60, 900),
        ("L", "Clubhouse lawn", "lawn", 830, 160, 700),
        ("B3", "Bunker 3 left", "bunker", 300, -25, 90),
        ("B8", "Bunker 8 front", "bunker", 165, 228, 120),
        ("W", "Long pond", "water", 470, 120, 2100),
        ("F", "Nursery", "fairway", 830, 300, 3000),
    ]
    shapes += [(i, n, k, _smooth(rng, x, y, a, 1.3)) for i, n, k, x, y, a in extra]
    return [
        (tag[0] + i, n + tag[1], k, shapely.transform(shape, lambda points: points + shift))
        for i, n, k, shape in shapes
    ]


@cache
def sample_view(*, copies: int = 1, dressings: int = 6) -> MapView:
    """The made-up view, the same each time; ``copies`` of its land side by side."""
    rng = np.random.default_rng(20260403)
    outlines = [shape for copy in range(copies) for shape in _outlines(rng, copy)]
    targets = {"green": 0.009, "tee": 0.006, "lawn": 0.004}
    surfaces = tuple(
        MapSurface(
            id=id,
            name=name,
            kind=kind,
            geometry=_degrees(shape),
            area_m2=shape.area,
            u_area_m2=0.03 * shape.area,
            target_m=targets.get(kind),
        )
        for id, name, kind, shape in outlines
    )
    rings = []
    for id, _, kind, shape in outlines:
        if kind == "green" and id != "P":
            collar = shape.buffer(0.9).simplify(0.02)
            for zone, ring in (
                ("collar", shapely.Polygon(collar.exterior, [shape.exterior])),
                ("surrounds", shapely.Polygon(shape.buffer(4.9).exterior, [collar.exterior])),
            ):
                rings.append(
                    MapRing(id=f"{id}/{zone}", surface=id, zone=zone, geometry=_degrees(ring))
                )
    dressed = [surface for surface in surfaces if surface.kind in targets]
    periods = [_dressing(rng, number, dressed, rings) for number in range(1, dressings + 1)]
    catches = _catches(rng, periods, dressed, 100 * copies * dressings // 3)
    season = _season(periods, dressed, rings)
    return MapView(
        title="Fallow Down",
        subtitle="Sand on greens and tees, 1 March to 20 September 2026",
        as_of="20 September 2026",
        surfaces=surfaces,
        rings=tuple(rings),
        periods=(season, *periods),
        catches=catches,
        first=(
            {
                "metric": "7: under-dressed, 2.1 mm short of the target so far (98 % likely).",
                "us": "7: under-dressed, 0.083 in short of the target so far (98 % likely).",
            },
            "Tee 12 back: under-dressed; it was left out of two dressings.",
            "Dressing d4: the catches claim 6 % more sand than was spread.",
            "Practice green: never had a catch; all its figures are estimated.",
        ),
        findings=(
            "d5: not measured, no catch was laid.",
            {
                "metric": "3: a catch lies within 0.4 m of the edge.",
                "us": "3: a catch lies within 0.4 m (1.3 ft) of the edge.",
            },
            "Bulk density 1.55 g/cm³ is taken as stated, u 0.03 g/cm³.",
        ),
    )


DATES = ("3 April", "1 May", "29 May", "3 July", "31 July", "4 September", "2 October")


def _dressing(rng, number, dressed, rings):
    key = f"d{number}"
    label = f"{DATES[(number - 1) % len(DATES)]} 2026 · {key}"
    if number == 5:
        loads_only = MapBalance(spread_kg=15_200, u_spread_kg=160, verdict="not measured")
        blank = {s.id: PeriodSurface(state="not measured") for s in dressed}
        return MapPeriod(
            key=key,
            label=label,
            headline="15.2 t spread; no catch was laid, so nothing says where it went.",
            balance=loads_only,
            surfaces=blank,
        )
    figures, on_surfaces = {}, 0.0
    for index, surface in enumerate(dressed):
        if surface.kind == "tee" and (number % 2 or surface.id == "T12b"):
            continue
        factor = 0.68 if surface.id == "7" else 1.0
        depth = factor * rng.normal(0.00105, 0.0001) * (1 if surface.kind == "green" else 0.8)
        own = surface.id != "P" and index % 5 != 3
        half = depth * (0.08 if own else 0.17)
        mass = depth * 1550 * surface.area_m2
        on_surfaces += mass
        thrown = 0.07 * mass if number != 4 and surface.kind == "green" else None
        figures[surface.id] = PeriodSurface(
            thrown_kg=thrown,
            depth_m=depth,
            low_m=depth - half,
            high_m=depth + half,
            basis="own catches" if own else "other surfaces",
            catches=int(rng.integers(2, 5)) if own else 0,
            mass_kg=mass,
            mass_low_kg=mass * (1 - half / depth),
            mass_high_kg=mass * (1 + half / depth),
        )
    share = -0.06 if number == 4 else 0.02 if number == 3 else 0.07
    spread = on_surfaces / (1 - share)
    over, u = spread - on_surfaces, 0.018 * spread
    rings_now = {}
    if over > 0:
        for ring in rings:
            if ring.surface in figures:
                depth = figures[ring.surface].depth_m * (0.55 if ring.zone == "collar" else 0.12)
                area = shapely.transform(ring.geometry, lambda p: p * METRES).area
                rings_now[ring.id] = (depth, depth * 1550 * area)
    words = {True: "overthrow", False: "does not close"}[over > 0]
    verdict = "closed" if number == 3 else words
    balance = MapBalance(
        spread_kg=spread,
        u_spread_kg=0.011 * spread,
        on_surfaces_kg=on_surfaces,
        on_surfaces_low_kg=0.972 * on_surfaces,
        on_surfaces_high_kg=1.028 * on_surfaces,
        overthrow_kg=over,
        overthrow_low_kg=over - 2 * u,
        overthrow_high_kg=over + 2 * u,
        fraction=share,
        verdict=verdict,
        strip_width_m=0.41 if over > 0 else None,
        reach_m=0.85 if over > 0 else None,
        collar_kg=0.6 * over if over > 0 else None,
        surrounds_kg=0.3 * over if over > 0 else None,
        farther_kg=0.1 * over if over > 0 else None,
        not_told_from_zero=number == 3,
    )
    pound = 0.45359237
    text = (
        {
            "metric": f"Of {spread:,.0f} kg spread, {on_surfaces:,.0f} kg landed on the surfaces.",
            "us": f"Of {spread / pound:,.0f} lb spread, {on_surfaces / pound:,.0f} lb landed.",
        }
        if over > 0
        else "The catches claim more sand than was spread: something measured is wrong."
    )
    return MapPeriod(
        key=key,
        label=label,
        headline=text,
        balance=balance,
        thrown_kg=over if over > 0 else None,
        surfaces=figures,
        rings=rings_now,
    )


def _season(periods, dressed, rings):
    figures = {}
    for surface in dressed:
        parts = [p.surfaces[surface.id] for p in periods if surface.id in p.surfaces]
        parts = [part for part in parts if part.depth_m is not None]
        depth = sum(part.depth_m for part in parts)
        target = surface.target_m * 0.56 if surface.kind == "green" else 0.0025
        target *= len(periods) / 6
        short = target - depth
        state = "on target"
        if short > 0.1 * target:
            state = "under-dressed"
        elif short < -0.1 * target:
            state = "over-dressed"
        own = any(part.catches for part in parts)
        mass = sum(part.mass_kg for part in parts)
        figures[surface.id] = PeriodSurface(
            depth_m=depth,
            low_m=0.94 * depth,
            high_m=1.06 * depth,
            target_so_far_m=target,
            shortfall_m=short,
            state=state,
            probability=0.998 if abs(short) > 0.15 * target else 0.71,
            basis="own catches" if own else "other surfaces",
            catches=sum(part.catches for part in parts),
            mass_kg=mass,
            mass_low_kg=0.95 * mass,
            mass_high_kg=1.05 * mass,
            thrown_kg=sum(part.thrown_kg or 0 for part in parts) or None,
        )
    thrown = {
        ring.id: tuple(
            sum(p.rings[ring.id][k] for p in periods if ring.id in p.rings) for k in (0, 1)
        )
        for ring in rings
    }
    measured = [p.balance for p in periods if p.balance.on_surfaces_kg is not None]
    spread = sum(b.spread_kg for b in measured)
    on_surfaces = sum(b.on_surfaces_kg for b in measured)
    over = spread - on_surfaces
    balance = MapBalance(
        spread_kg=spread,
        u_spread_kg=0.01 * spread,
        on_surfaces_kg=on_surfaces,
        on_surfaces_low_kg=0.975 * on_surfaces,
        on_surfaces_high_kg=1.025 * on_surfaces,
        overthrow_kg=over,
        overthrow_low_kg=over - 0.03 * spread,
        overthrow_high_kg=over + 0.03 * spread,
        fraction=over / spread,
        verdict="overthrow",
        strip_width_m=0.33,
        collar_kg=0.6 * over,
        surrounds_kg=0.3 * over,
        farther_kg=0.1 * over,
    )
    return MapPeriod(
        key="season",
        label="Whole season",
        headline="Five of six dressings were measured. Two surfaces have clearly had too little.",
        balance=balance,
        thrown_kg=sum(p.thrown_kg or 0 for p in periods),
        surfaces=figures,
        rings=thrown,
    )


def _catches(rng, periods, dressed, count):
    catches = []
    measured = [p for p in periods if p.key != "d5"]
    while len(catches) < count:
        period = measured[len(catches) % len(measured)]
        own = [s for s in dressed if getattr(period.surfaces.get(s.id), "catches", 0)]
        surface = own[int(rng.integers(len(own)))]
        centre = surface.geometry.centroid
        lon, lat = np.array([centre.x, centre.y]) + rng.uniform(-6, 6, 2) / METRES
        residual = rng.normal(0, 0.08)
        depth = period.surfaces[surface.id].depth_m * (1 + residual)
        used = len(catches) % 40 != 7
        catches.append(
            MapCatch(
                id=f"c{len(catches) + 1}",
                dressing=period.key,
                lon=float(lon),
                lat=float(lat),
                surface=surface.id,
                depth_m=depth,
                rate_kg_m2=1550 * depth,
                residual=residual,
                used=used,
                note="" if used else "Tray was tipped over.",
            )
        )
    return tuple(catches)


def few(view: MapView, kept: tuple[str, ...]) -> MapView:
    """The view with some of its surfaces only, by id."""
    periods = tuple(
        replace(
            period,
            surfaces={k: v for k, v in period.surfaces.items() if k in kept},
            rings={k: v for k, v in period.rings.items() if k.split("/")[0] in kept},
        )
        for period in view.periods
    )
    return replace(
        view,
        surfaces=tuple(surface for surface in view.surfaces if surface.id in kept),
        rings=tuple(ring for ring in view.rings if ring.surface in kept),
        periods=periods,
        catches=tuple(caught for caught in view.catches if caught.surface in kept),
    )


def named(view: MapView, names: list[str]) -> MapView:
    """The view with its first surfaces renamed."""
    renamed = [replace(s, name=n) for s, n in zip(view.surfaces, names, strict=False)]
    return replace(view, surfaces=(*renamed, *view.surfaces[len(names) :]))
