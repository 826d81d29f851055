"""Sites with a known truth, made pass by pass from outside the analysis model (seeded).

What is drawn, and once for what:

- a site: the tray's size, what trays catch, a bag's label, the sand's bulk density and water, how
  far the mown edge was mistaken in the whole survey, how much the rate falls towards the edge;
- a surface: a factor that stays all season, how far its own edge was mistaken, each vertex;
- a surface in a dressing: a factor of its own; a catch: a scatter factor; a load: its bags.

Factors are lognormal, the rate falls linearly over half a swath inside the edge: neither is what
the analysis supposes (normal effects, a flat rate with an edge source). The site is written as a
folder and read again, so that the whole line is on trial.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tests.sites import collection, surface, table, write_site

Floats = NDArray[np.float64]

LON, LAT = -30.0, 47.0
SWATH_M, TRAY_M = 4.0, (0.40, 0.25)
U = {
    "label": 0.01,
    "bag": 0.01,
    "tray": 0.005,
    "efficiency": 0.03,
    "density": 0.03 / 1.55,
    "moisture": 0.005,
    "edge": 0.10,
    "bias": 0.05,
    "vertex": 0.05,
    "position": 1.0,
}

CLAIM = "u_catch_efficiency_percent = {}"
TOML = f"""\
name = "Simulated"
season_start = 2026-03-01
season_end = 2026-11-30
boundary_accuracy_m = {U["vertex"]}
edge_accuracy_m = {U["edge"]}
edge_bias_m = {U["bias"]}
position_accuracy_m = {U["position"]}
collar_width_m = 0.9
surrounds_width_m = 4.0
tolerance_percent = 10
agreement_percent = 10

[sands.dried]
bulk_density_g_cm3 = 1.55
u_bulk_density_g_cm3 = 0.03
moisture_dry_basis_percent = 3.0
u_moisture_percent = {U["moisture"] * 100}

[catches]
u_tray_percent = {U["tray"] * 100}
catch_efficiency_percent = 100
{CLAIM.format(U["efficiency"] * 100)}

[targets_mm]
green = 5.0
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Truth:
    """What really happened at one site: S surfaces, D dressings."""

    rate_kg_m2: Floats  #: (D, S), mean over the surface
    depth_m: Floats  #: (D, S)
    area_m2: Floats  #: (S,)
    on_surfaces_kg: Floats  #: (D,)
    overthrow_kg: Floats  #: (D,)
    caught: NDArray[np.bool_]  #: (D, S): has catches in that dressing


def simulate(
    folder: Path,
    seed: int,
    *,
    surfaces: int,
    dressings: int,
    caught: int,
    catches_each: int,
    overthrow: float,
    claimed_u_efficiency: float = U["efficiency"],
    scatter: float = 0.10,
    persistent: float = 0.07,
    own: float = 0.04,
    same_surfaces: bool = True,
    one_near_the_edge: bool = False,
    most_fall: float = 0.3,
) -> Truth:
    """Write a site folder and return its truth.

    ``overthrow`` is the true overthrow over the sand on the surfaces; ``caught`` surfaces get
    ``catches_each`` catches, the ``same_surfaces`` in each dressing or drawn anew. The site claims
    ``claimed_u_efficiency`` for what its trays catch, whatever is true. ``one_near_the_edge``: of
    the first two trays of a surface one lies where the rate falls and one does not; it falls by up
    to ``most_fall`` at the edge.
    """
    rng = np.random.default_rng(seed)
    error = {name: rng.normal(0.0, u) for name, u in U.items()}
    fall = rng.uniform(0.0, most_fall)
    features, area, rings = _surfaces(rng, surfaces, error["bias"])
    shape = (dressings, surfaces)
    middle = (
        rng.uniform(0.8, 1.2, (dressings, 1))
        * np.exp(rng.normal(0.0, persistent, surfaces))
        * np.exp(rng.normal(0.0, own, shape))
    )
    grounds = [_ground(ring, fall) for ring in rings]
    rate = middle * np.array([factor.mean() for _, factor in grounds])
    on = (rate * area).sum(axis=1)
    lost = overthrow * on
    chosen = np.zeros(shape, dtype=bool)
    order = rng.permutation(surfaces)
    for d in range(dressings):
        mine = order[:caught] if same_surfaces else rng.permutation(surfaces)[:caught]
        chosen[d, mine] = True
    water = 0.03 + error["moisture"]
    catches = _catches(
        rng, chosen, catches_each, middle, grounds, scatter, error, water, one_near_the_edge
    )
    write_site(
        folder,
        toml=TOML.replace(
            CLAIM.format(U["efficiency"] * 100), CLAIM.format(claimed_u_efficiency * 100)
        ),
        surfaces=collection(features),
        dressings=_dressings(dressings),
        loads=_loads(rng, on + lost, error["label"], water),
        catches=catches,
    )
    return Truth(
        rate_kg_m2=rate,
        depth_m=rate / (1550.0 * (1 + error["density"])),
        area_m2=area,
        on_surfaces_kg=on,
        overthrow_kg=lost,
        caught=chosen,
    )


def _surfaces(
    rng: np.random.Generator, count: int, bias_m: float
) -> tuple[list[Any], Floats, list[Floats]]:
    """Features as surveyed, true areas, and the true outlines (metres about each centre)."""
    features, areas, rings = [], [], []
    angle = np.linspace(0.0, 2 * np.pi, 60, endpoint=False)
    for k in range(count):
        radius = rng.uniform(10.5, 15.0) * (
            1 + 0.12 * np.cos(2 * (angle - rng.uniform(0, 7))) + 0.05 * np.cos(3 * angle)
        )
        true = np.stack([radius * np.cos(angle), radius * np.sin(angle)], axis=1)
        shift = bias_m + rng.normal(0.0, U["edge"])
        drawn = true + shift * _normals(true) + rng.normal(0.0, U["vertex"], true.shape)
        features.append(surface(f"g{k + 1}", "green", _polygon(drawn, k)))
        areas.append(_area(true))
        rings.append(true)
    return features, np.array(areas), rings


def _area(ring: Floats) -> float:
    x, y = ring.T
    return float(np.abs((x * np.roll(y, -1) - np.roll(x, -1) * y).sum()) / 2)


def _normals(ring: Floats) -> Floats:
    """Outward unit normals at the vertices of a counter-clockwise ring."""
    along = np.roll(ring, -1, axis=0) - np.roll(ring, 1, axis=0)
    out = np.stack([along[:, 1], -along[:, 0]], axis=1)
    normals: Floats = out / np.hypot(*out.T)[:, None]
    return normals


def _place(point: Floats, number: int) -> tuple[float, float]:
    """Longitude and latitude of a point (m) of surface ``number``; centres are 90 m apart."""
    a, e2, phi = 6378137.0, 0.0066943799901413165, math.radians(LAT)
    w2 = 1 - e2 * math.sin(phi) ** 2
    x, y = point[0] + 90.0 * (number % 6), point[1] + 90.0 * (number // 6)
    north = math.degrees(y / (a * (1 - e2) / w2**1.5))
    # the parallel shortens northward: by 1e-5 per 60 m at this latitude
    lat = math.radians(LAT + north)
    nu = a / math.sqrt(1 - e2 * math.sin(lat) ** 2)
    return LON + math.degrees(x / (nu * math.cos(lat))), LAT + north


def _polygon(ring: Floats, number: int) -> dict[str, object]:
    places = [list(_place(p, number)) for p in ring]
    return {"type": "Polygon", "coordinates": [[*places, places[0]]]}


def _inside_m(ring: Floats, points: Floats) -> Floats:
    """Distance to the outline of a star-shaped ring, negative outside (vertices are near)."""
    gap = np.hypot(points[:, None, 0] - ring[:, 0], points[:, None, 1] - ring[:, 1]).min(axis=1)
    angle = np.arctan2(points[:, 1], points[:, 0]) % (2 * np.pi)
    at = np.append(np.arctan2(ring[:, 1], ring[:, 0]) % (2 * np.pi), 2 * np.pi)
    radius = np.hypot(*ring.T)
    edge = np.interp(angle, at, np.append(radius, radius[0]))
    signed: Floats = np.where(np.hypot(*points.T) < edge, gap, -gap)
    return signed


def _ground(ring: Floats, fall: float) -> tuple[Floats, Floats]:
    """Points (m) on every square metre inside, and the rate there over that in the middle.

    The rate falls by ``fall`` over half a swath towards the edge. The surface's true mean is that
    of these points, and trays are laid on them.
    """
    side = np.arange(-18.5, 19.0, 1.0)
    points = np.stack(np.meshgrid(side, side), axis=-1).reshape(-1, 2)
    depth = _inside_m(ring, points)
    on = depth > 0
    return points[on], 1 - fall * np.clip(1 - depth[on] / (SWATH_M / 2), 0.0, 1.0)


def _dressings(count: int) -> str:
    rows = [
        {"dressing": f"D{d + 1}", "date": f"2026-{4 + d:02d}-10", "surfaces": "green"}
        | {"planned_depth_mm": 0.65, "swath_m": SWATH_M}
        for d in range(count)
    ]
    return table(rows)


def _loads(rng: np.random.Generator, dry_kg: Floats, label: float, water: float) -> str:
    """Bags of 25 kg by their label that held ``dry_kg`` and its water."""
    rows: list[dict[str, Any]] = []
    for d, mass in enumerate(dry_kg * (1 + water)):
        bags = mass / 25.0
        scatter = rng.normal(0.0, U["bag"] * 25.0 * np.sqrt(bags))
        count = (mass - scatter) / (25.0 * (1 + label))
        rows.append({"load": f"L{d + 1}", "dressing": f"D{d + 1}", "count": f"{count:.6f}"})
        rows[-1] |= {"unit_mass_kg": 25, "u_unit_mass_kg": 25 * U["bag"]}
        rows[-1] |= {"u_label_percent": 100 * U["label"]}
    return table(rows)


def _catches(
    rng: np.random.Generator,
    chosen: NDArray[np.bool_],
    each: int,
    middle: Floats,
    grounds: list[tuple[Floats, Floats]],
    scatter: float,
    error: dict[str, float],
    water: float,
    one_near_the_edge: bool,
) -> str:
    """Trays laid anywhere on the surface, weighed moist to 1 g on a balance."""
    rows: list[dict[str, Any]] = []
    tray = TRAY_M[0] * TRAY_M[1] * (1 + error["tray"]) * (1 + error["efficiency"])
    for d, s in zip(*np.nonzero(chosen), strict=True):
        points, factor = grounds[s]
        laid = rng.integers(0, len(points), each)
        if one_near_the_edge:
            falls = factor < 1
            laid[:2] = [rng.choice(np.flatnonzero(side)) for side in (falls, ~falls)][:each]
        points, rate = points[laid], middle[d, s] * factor[laid]
        # mean 1, so that the mean of the trays is the surface's
        rate = rate * np.exp(rng.normal(-(scatter**2) / 2, scatter, each))
        for k, (point, kg) in enumerate(zip(points, rate * tray * (1 + water), strict=True)):
            # a position off by more than twice its accuracy would be refused
            off = np.clip(rng.normal(0.0, U["position"], 2), -1.3, 1.3)
            lon, lat = _place(point + off, s)
            row: dict[str, Any] = {
                "catch": f"c{d}-{s}-{k}",
                "dressing": f"D{d + 1}",
                "lon": f"{lon:.8f}",
            }
            row |= {"lat": f"{lat:.8f}", "surface": f"g{s + 1}"}
            row |= {"tray_length_mm": 400, "tray_width_mm": 250, "tare_g": 50}
            rows.append(row | {"gross_g": round(50 + 1000 * kg)})
    return table(rows)
