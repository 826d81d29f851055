"""Seasons with a known truth for the tests of the balance's witnesses (seeded).

Six or more dressings of a few square greens in the open sea. A truth is drawn for each surface,
dressing, tray, bag and edge, then written as a site folder and read again. What a tray beside the
edge catches falls linearly to the reach; the strip a spreader throws varies from day to day.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from geosand.areas.register import AreaRegister, area_register
from geosand.balance.account import Balance, site_balance
from geosand.formats.site_folder import read_site
from geosand.rates.surface_rates import Rates, site_rates
from geosand.site.sand_tables import WeighedLoads
from geosand.site.tables import Site
from tests.sites import LAT, LON, collection, square, surface, table, write_site

SIDE_M, TRAY_M2 = 24.0, 0.1
METRE = 8.98e-6  # degrees of latitude


@dataclass(frozen=True)
class Plan:
    """What is done and what is wrong in a season."""

    dressings: int = 6
    greens: int = 4
    catches: int = 4  # on each green
    bags: tuple[float, ...] = (25.0,)  # kinds of bags by their label, in turn
    bag_error: float = 0.0  # of the last kind: what they hold more than said
    u_label: float = 0.01
    u_efficiency: float = 0.03
    efficiency: float | None = None  # true over stated; None: drawn
    edge_bias: float = 0.05
    strip_m: float = 0.8
    strip_scatter: float = 0.15
    ring_trays: int = 0  # beside each green, in each dressing
    missing: dict[int, float] = field(default_factory=dict)  # kg spread and not recorded
    lost: dict[int, float] = field(default_factory=dict)  # kg that fell neither on nor beside


@dataclass(frozen=True)
class Season:
    """A season as read, worked out."""

    site: Site
    areas: AreaRegister
    rates: Rates
    balance: Balance
    held_kg: np.ndarray  # by load: what its bags truly held
    strip_m: np.ndarray  # by dressing

    def weighed(self, loads: list[int], u: float = 0.002, seed: int = 0) -> WeighedLoads:
        """Those loads on a weighbridge."""
        rng = np.random.default_rng(seed + 9000)
        mass = self.held_kg[loads]
        return WeighedLoads(
            load=np.array(loads),
            mass_kg=mass * (1 + rng.normal(0, u, len(loads))),
            u_mass_kg=u * mass,
        )


def toml(plan: Plan) -> str:
    """Settings whose stated uncertainties are those that are drawn from."""
    return f"""\
name = "Season"
season_start = 2026-03-01
season_end = 2026-11-30
boundary_accuracy_m = 0.02
edge_accuracy_m = 0.03
edge_bias_m = {plan.edge_bias}
position_accuracy_m = 0.5
collar_width_m = 0.9
surrounds_width_m = 4.0
tolerance_percent = 10
agreement_percent = 10
[sands.dried]
bulk_density_g_cm3 = 1.55
u_bulk_density_g_cm3 = 0.03
kiln_dried = true
[catches]
u_tray_percent = 0.3
catch_efficiency_percent = 100
u_catch_efficiency_percent = {100 * plan.u_efficiency}
[targets_mm]
green = 5.0
"""


def season(folder: Path, plan: Plan, seed: int) -> Season:
    """Draw a season, write it, read it and work it out."""
    rng = np.random.default_rng(seed)
    stated = np.full(plan.greens, SIDE_M)
    bias = rng.normal(0, plan.edge_bias)
    side = stated + 2 * (bias + rng.normal(0, 0.03, plan.greens))  # true: the edge lies farther out
    own = np.exp(rng.normal(0, 0.05, plan.greens))
    rate = 0.8 * own * np.exp(rng.normal(0, 0.03, (plan.dressings, plan.greens)))
    strip = plan.strip_m * np.exp(rng.normal(0, plan.strip_scatter, plan.dressings))
    strip = strip if plan.strip_scatter else np.full(plan.dressings, plan.strip_m)
    drawn = rng.normal(0, plan.u_efficiency)
    keeps = (1 + drawn if plan.efficiency is None else plan.efficiency) * (1 + rng.normal(0, 0.003))
    # corners: the quarter circles of the throw, π·L²/3 with L near 2·strip
    reach = _reach(strip, side)
    on = rate * side**2
    thrown = rate * (4 * side * reach[:, None] / 2 + np.pi * reach[:, None] ** 2 / 3)
    spread = on.sum(axis=1) + thrown.sum(axis=1)
    spread = spread + np.array([plan.lost.get(d, 0.0) for d in range(plan.dressings)])
    loads, held = _loads(rng, plan, spread)
    catches = _catches(rng, plan, rate * keeps, reach, side)
    path = write_site(
        folder,
        toml=toml(plan),
        surfaces=collection(
            surface(f"g{k + 1}", "green", square(LON + 0.002 * k, LAT, SIDE_M))
            for k in range(plan.greens)
        ),
        dressings=table(
            [
                {"dressing": f"D{d + 1}", "date": f"2026-{3 + d // 2:02d}-{10 + 15 * (d % 2)}"}
                | {"surfaces": "green", "swath_m": 4}
                for d in range(plan.dressings)
            ]
        ),
        loads=table(loads),
        catches=table(catches),
    )
    site = read_site(path)
    areas = area_register(site.surfaces)
    rates = site_rates(site, areas)
    balance = site_balance(site, areas, rates)
    return Season(site=site, areas=areas, rates=rates, balance=balance, held_kg=held, strip_m=strip)


def _reach(strip: np.ndarray, side: np.ndarray) -> np.ndarray:
    """L with P·L/2 + π·L²/3 = strip·P for the mean green."""
    p = 4 * side.mean()
    return (-p / 2 + np.sqrt(p**2 / 4 + 4 * np.pi / 3 * strip * p)) / (2 * np.pi / 3)


def _loads(
    rng: np.random.Generator, plan: Plan, spread: np.ndarray
) -> tuple[list[dict[str, object]], np.ndarray]:
    rows, held = [], []
    errors = rng.normal(0, plan.u_label, len(plan.bags))
    for d, mass in enumerate(spread):
        kind = d % len(plan.bags)
        label = plan.bags[kind]
        last = kind == len(plan.bags) - 1
        true = label * (1 + (plan.bag_error if last and plan.bag_error else errors[kind]))
        recorded = mass - plan.missing.get(d, 0.0)
        count = recorded / true
        bags = rng.normal(0, 0.01 * label * np.sqrt(count))
        rows.append(
            {"load": f"L{d + 1}", "dressing": f"D{d + 1}", "count": f"{count - bags / true:.5f}"}
            | {"unit_mass_kg": label, "u_unit_mass_kg": 0.01 * label}
            | {"u_label_percent": 100 * plan.u_label}
        )
        held.append(recorded)
    return rows, np.array(held)


def _catches(
    rng: np.random.Generator, plan: Plan, rate: np.ndarray, reach: np.ndarray, side: np.ndarray
) -> list[dict[str, object]]:
    """Trays anywhere on the greens, and beside them at taped distances from the edge."""
    rows = []
    common = {"tray_area_cm2": 1e4 * TRAY_M2, "tare_g": 50}
    east = METRE / np.cos(np.radians(LAT))
    for d in range(plan.dressings):
        for g in range(plan.greens):
            for k in range(plan.catches):
                x, y = rng.uniform(-SIDE_M / 2 + 0.4, SIDE_M / 2 - 0.4, 2)
                if k == 0:
                    x = SIDE_M / 2 - 0.5  # one near the edge
                kg = rate[d, g] * TRAY_M2 * np.exp(rng.normal(-0.003, 0.08))
                rows.append(
                    {"catch": f"c{d}-{g}-{k}", "dressing": f"D{d + 1}", "surface": f"g{g + 1}"}
                    | {"lon": f"{LON + 0.002 * g + x * east:.8f}", "lat": f"{LAT + y * METRE:.8f}"}
                    | {"edge_distance_m": "", **common, "gross_g": f"{50 + 1000 * kg:.1f}"}
                )
            for k in range(plan.ring_trays):
                out = (0.3, 0.7, 1.1, 1.5)[k % 4]
                share = max(0.0, 1 - out / reach[d])
                kg = rate[d, g] * share * TRAY_M2 * np.exp(rng.normal(-0.003, 0.08))
                kg = max(kg + rng.normal(0, 0.02) * rate[d, g] * TRAY_M2, 0.0)
                x, y = SIDE_M / 2 + out, rng.uniform(-8, 8)
                rows.append(
                    {"catch": f"r{d}-{g}-{k}", "dressing": f"D{d + 1}", "surface": ""}
                    | {"lon": f"{LON + 0.002 * g + x * east:.8f}", "lat": f"{LAT + y * METRE:.8f}"}
                    | {"edge_distance_m": out, **common, "gross_g": f"{50 + 1000 * kg:.1f}"}
                )
    return rows
