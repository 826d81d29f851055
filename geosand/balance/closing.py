"""What would have to be true for a balance to close: one input changed at a time."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geosand.columns import Bools, Floats, Ints
from geosand.estimates import Estimates, category
from geosand.site.tables import Site

AREA_SOURCES = ("vertices", "edge", "edge bias")
CATCH_SOURCES = ("sampling", "tray size", "catch efficiency", "bulk density", "edge taper")
UNIT_SOURCES = ("bags", "label")
NEWTON_STEPS = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Closing:
    """One input that alone would bring the overthrow to zero."""

    input: str  #: catches, total area, unit mass, moisture or returned sand
    change_percent: float  #: relative; of moisture: points
    sigmas: float | None  #: the change in units of the input's own u; None where it has none


def _u_of(table: Estimates, names: tuple[str, ...]) -> Floats:
    """Standard uncertainty from some categories of source only (n,)."""
    square = np.zeros(len(table))
    for source, effect in table.effects.items():
        if category(source) in names:
            square = square + effect**2
    return np.sqrt(square)


def _moisture_shift(site: Site, group: Ints, target: Floats, apart: Bools) -> tuple[Floats, Floats]:
    """Change of water content (ratio) of the loads in ``apart`` that brings spread to ``target``.

    Solves Σ net/(1 + w + Δ) = target for each dressing by Newton's method; nan where it has none.
    Also the mass-weighted water content of those loads.
    """
    loads, size = site.loads, len(target)
    ratio = site.moistures.ratio[loads.moisture]
    weight = np.where(apart, (loads.count * loads.unit_mass_kg) - loads.returned_kg, 0.0)
    weight = np.maximum(weight - np.where(apart, loads.spilled_kg, 0.0), 0.0)
    fixed = np.where(apart, 0.0, loads.count * loads.unit_mass_kg - loads.returned_kg)
    rest = target - np.bincount(group, fixed / (1 + ratio), size)
    total = np.bincount(group, weight, size)
    mean = np.bincount(group, weight * ratio, size) / np.where(total > 0, total, np.nan)
    shift = np.zeros(size)
    with np.errstate(invalid="ignore", divide="ignore"):
        for _ in range(NEWTON_STEPS):
            water = np.maximum(1 + ratio + shift[group], 0.05)
            value = np.bincount(group, weight / water, size)
            slope = np.bincount(group, -weight / water**2, size)
            shift = shift - (value - rest) / np.where(slope < 0, slope, np.nan)
            shift = np.maximum(shift, -0.9)
    return np.where((total > 0) & (rest > 0), shift, np.nan), mean


def closings(
    site: Site,
    spread: Estimates,
    on_surfaces: Estimates,
    fill: Bools,
    load_dressing: Ints,
) -> list[list[Closing]]:
    """For each dressing in ``fill`` the inputs that alone would close it, likeliest first.

    The change of each input is exact, not linearised; ``sigmas`` divides it by that input's own
    standard uncertainty. Inputs that can not do it (a negative moisture, less sand brought back
    than nothing) are left out. One dressing can not prove which of them is wrong.
    """
    size = len(spread)
    mass, landed = spread.value, on_surfaces.value
    with np.errstate(invalid="ignore", divide="ignore"):
        scale = mass / landed - 1
        loads = site.loads
        water = site.moistures.ratio[loads.moisture]
        gross = np.bincount(load_dressing, loads.count * loads.unit_mass_kg / (1 + water), size)
        back = np.bincount(load_dressing, (loads.returned_kg) / (1 + water), size)
        unit = (landed - mass) / gross
        returned = (mass - landed) / back
        u_unit = _u_of(spread, UNIT_SOURCES) / gross
        u_area = _u_of(on_surfaces, AREA_SOURCES) / landed
        u_catch = _u_of(on_surfaces, CATCH_SOURCES) / landed
    shift, mean_water, u_shift = _moisture_closing(site, load_dressing, landed, size)
    out: list[list[Closing]] = []
    for k in range(size):
        found: list[Closing] = []
        if fill[k]:
            found = [
                _closing("catches", scale[k], u_catch[k]),
                _closing("total area", scale[k], u_area[k]),
                _closing("unit mass", unit[k], u_unit[k]),
            ]
            if np.isfinite(shift[k]) and mean_water[k] + shift[k] >= 0:
                found.append(_closing("moisture", shift[k], u_shift[k]))
            if back[k] > 0 and returned[k] >= -1:
                found.append(_closing("returned sand", returned[k], 0.0))
            found = [c for c in found if np.isfinite(c.change_percent)]
        out.append(sorted(found, key=lambda c: np.inf if c.sigmas is None else abs(c.sigmas)))
    return out


def _closing(name: str, change: float, u: float) -> Closing:
    sigmas = float(change / u) if u > 0 and np.isfinite(u) else None
    return Closing(input=name, change_percent=float(change) * 100, sigmas=sigmas)


def _moisture_closing(
    site: Site, load_dressing: Ints, landed: Floats, size: int
) -> tuple[Floats, Floats, Floats]:
    """Shift, mean and u of the loads' water contents that are not also those of the catches."""
    loads = site.loads
    pairs = set(zip(site.catches.dressing.tolist(), site.catches.moisture.tolist(), strict=True))
    keys = zip(load_dressing.tolist(), loads.moisture.tolist(), strict=True)
    apart = np.array([key not in pairs for key in keys], dtype=bool) & ~loads.by_volume
    shift, mean = _moisture_shift(site, load_dressing, landed, apart)
    u = site.moistures.u_ratio[loads.moisture]
    worst = np.zeros(size)
    np.maximum.at(worst, load_dressing[apart], u[apart])
    return shift, mean, worst
