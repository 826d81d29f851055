"""What would have to be true for a balance to close: one input changed at a time."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geosand.columns import Bools, Floats, Ints, ratio
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


def closings(
    site: Site,
    spread: Estimates,
    on_surfaces: Estimates,
    fill: Bools,
    load_dressing: Ints,
) -> list[list[Closing]]:
    """For each dressing in ``fill`` the inputs that alone would close it, likeliest first.

    The change of each input is exact, not linearised; ``sigmas`` divides it by that input's own
    standard uncertainty. Inputs that can not do it (a water content below 0, less sand brought back
    than nothing) are left out. One dressing can not prove which of them is wrong.
    """
    size, loads = len(spread), site.loads
    mass, landed = spread.value, on_surfaces.value
    water = site.moistures.ratio[loads.moisture]
    gross = np.bincount(load_dressing, loads.count * loads.unit_mass_kg / (1 + water), size)
    back = np.bincount(load_dressing, loads.returned_kg / (1 + water), size)
    scale = ratio(mass, landed) - 1
    unit, u_unit = ratio(landed - mass, gross), ratio(_u_of(spread, UNIT_SOURCES), gross)
    u_area = ratio(_u_of(on_surfaces, AREA_SOURCES), landed)
    u_catch = ratio(_u_of(on_surfaces, CATCH_SOURCES), landed)
    returned = ratio(mass - landed, back)
    shift, u_shift = _moisture_closing(site, load_dressing, landed, size)
    out: list[list[Closing]] = []
    for k in range(size):
        found = [
            _closing("catches", scale[k], u_catch[k]),
            _closing("total area", scale[k], u_area[k]),
            _closing("unit mass", unit[k], u_unit[k]),
            _closing("moisture", shift[k], u_shift[k]),
        ]
        if returned[k] >= -1:
            found.append(_closing("returned sand", returned[k], 0.0))
        able = [c for c in found if np.isfinite(c.change_percent)] if fill[k] else []
        out.append(sorted(able, key=lambda c: np.inf if c.sigmas is None else abs(c.sigmas)))
    return out


def _closing(name: str, change: float, u: float) -> Closing:
    sigmas = float(change / u) if u > 0 and np.isfinite(u) else None
    return Closing(input=name, change_percent=float(change) * 100, sigmas=sigmas)


def _moisture_closing(
    site: Site, load_dressing: Ints, landed: Floats, size: int
) -> tuple[Floats, Floats]:
    """Shift of the loads' water contents that closes each dressing, and their u; nan where none.

    Only of loads whose water content is not also that of the dressing's catches: there it falls
    out of the balance. A shift that makes any of them drier than dry is none.
    """
    loads = site.loads
    contents = len(site.moistures.ratio)
    shared = np.isin(load_dressing * contents + loads.moisture, _of_catches(site, contents))
    apart = ~shared & ~loads.by_volume
    u, driest = np.zeros(size), np.full(size, np.inf)
    np.maximum.at(u, load_dressing[apart], site.moistures.u_ratio[loads.moisture[apart]])
    np.minimum.at(driest, load_dressing[apart], site.moistures.ratio[loads.moisture[apart]])
    driest = np.where(np.isfinite(driest), driest, 0.0)
    return _moisture_shift(site, load_dressing, landed, apart, driest), u


def _of_catches(site: Site, contents: int) -> Ints:
    """Dressing · contents + row of each water content that used catches of it stand on.

    Of a mean of the loads' water contents those of its parts.
    """
    used = site.catches.used
    dressing, moisture = site.catches.dressing[used], site.catches.moisture[used]
    keys = [dressing * contents + moisture]
    for row, parts in site.moistures.mixtures.items():
        of_mean = dressing[moisture == row] * contents
        keys += [of_mean + part for part, _ in parts]
    return np.concatenate(keys)


def _moisture_shift(
    site: Site, group: Ints, target: Floats, apart: Bools, driest: Floats
) -> Floats:
    """Change of water content (ratio) of the loads in ``apart`` that brings spread to ``target``.

    Solves Σ net/(1 + w + Δ) = target for each dressing by Newton's method. The sum is convex and
    falls, so that from Δ = −driest, where it is still too large, each step comes nearer and none
    goes past; where it is not too large there is no solution (nan).
    """
    loads, size = site.loads, len(target)
    water = 1 + site.moistures.ratio[loads.moisture]
    net = loads.count * loads.unit_mass_kg - loads.returned_kg - loads.spilled_kg
    rest = target - np.bincount(group, np.where(apart, 0.0, net / water), size)
    weight = np.where(apart, net, 0.0)
    shift = -driest
    wet = np.maximum(water + shift[group], 1.0)  # those not in ``apart`` weigh nothing
    solvable = np.bincount(group, weight / wet, size) >= rest
    solvable &= np.bincount(group, weight, size) > 0
    for _ in range(NEWTON_STEPS):
        wet = np.maximum(water + shift[group], 1.0)
        excess = np.bincount(group, weight / wet, size) - rest
        slope = np.bincount(group, weight / wet**2, size)
        shift = shift + np.where(solvable, ratio(excess, slope, empty=0.0), 0.0)
    return np.where(solvable & (rest > 0), shift, np.nan)
