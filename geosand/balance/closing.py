"""What would have to be true for a balance to close: one input changed at a time."""

from __future__ import annotations

import numpy as np

from geosand.columns import Bools, Floats, Ints, distinct, ratio, take
from geosand.effects import category
from geosand.estimates import Estimates
from geosand.site.sand_tables import Loads, Moistures
from geosand.site.tables import Site
from geosand.tuples import NamedTuple

AREA_SOURCES = ("vertices", "edge", "edge bias")
CATCH_SOURCES = ("sampling", "tray size", "catch efficiency", "bulk density", "edge taper")
UNIT_SOURCES = ("bags", "label")
NEWTON_STEPS = 20
NEAR_ENOUGH = 1e-8  # of a water content: the last step


class Closing(NamedTuple):
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
) -> list[list[Closing]]:
    """For each dressing in ``fill`` the inputs that alone would close it, likeliest first.

    The change of each input is exact, not linearised; ``sigmas`` divides it by that input's own
    standard uncertainty. Inputs that can not do it (a water content below 0, less sand brought back
    than nothing) are left out. One dressing can not prove which of them is wrong.
    """
    out: list[list[Closing]] = [[] for _ in range(len(spread))]
    rows = np.flatnonzero(fill)
    loads: Loads = take(site.loads, fill[site.loads.dressing])
    group, size = np.searchsorted(rows, loads.dressing), len(rows)
    spread, on_surfaces = spread.rows(rows), on_surfaces.rows(rows)
    mass, landed = spread.value, on_surfaces.value
    water = 1 + site.moistures.ratio[loads.moisture]
    gross = np.bincount(group, loads.count * loads.unit_mass_kg / water, size)
    back = np.bincount(group, loads.returned_kg / water, size)
    scale, returned = ratio(mass, landed) - 1, ratio(mass - landed, back)
    apart = ~loads.by_volume & ~_as_in_catches(site, rows, group, loads)
    shift, u_shift = _moisture_closing(site.moistures, loads, group, landed, apart)
    columns = {
        "catches": (scale, ratio(_u_of(on_surfaces, CATCH_SOURCES), landed)),
        "total area": (scale, ratio(_u_of(on_surfaces, AREA_SOURCES), landed)),
        "unit mass": (ratio(landed - mass, gross), ratio(_u_of(spread, UNIT_SOURCES), gross)),
        "moisture": (shift, u_shift),
        "returned sand": (np.where(returned >= -1, returned, np.nan), np.zeros(size)),
    }
    for name, (change, u) in columns.items():
        for k in np.flatnonzero(np.isfinite(change)).tolist():
            out[rows[k]].append(_closing(name, change[k], u[k]))
    for k in rows.tolist():
        out[k].sort(key=lambda one: np.inf if one.sigmas is None else abs(one.sigmas))
    return out


def _closing(name: str, change: float, u: float) -> Closing:
    sigmas = float(change / u) if u > 0 and np.isfinite(u) else None
    return Closing(input=name, change_percent=float(change) * 100, sigmas=sigmas)


def _as_in_catches(site: Site, rows: Ints, group: Ints, loads: Loads) -> Bools:
    """Loads whose water content weighed catches of the same dressing (of ``rows``) stand on, too.

    Of a mean of the loads' water contents its parts count. A dry volume needs no water content.
    """
    catches, contents = site.catches, len(site.moistures.ratio)
    used = catches.used & np.isfinite(catches.caught_kg) & (catches.moisture >= 0)
    used &= np.isin(catches.dressing, rows)
    dressing, moisture = np.searchsorted(rows, catches.dressing[used]), catches.moisture[used]
    keys = [dressing * contents + moisture]
    for row in distinct(moisture).tolist():
        of_mean = dressing[moisture == row] * contents
        keys += [of_mean + part for part, _ in site.moistures.mixtures.get(row, ())]
    return np.isin(group * contents + loads.moisture, np.concatenate(keys))


def _moisture_closing(
    moistures: Moistures, loads: Loads, group: Ints, landed: Floats, apart: Bools
) -> tuple[Floats, Floats]:
    """Shift of the loads' water contents that closes each dressing, and their u; nan where none.

    Only of the loads ``apart``, whose water content is not also that of the dressing's catches:
    there it falls out of the balance. A shift that makes any of them drier than dry is none.
    """
    u, driest = np.zeros(len(landed)), np.full(len(landed), np.inf)
    np.maximum.at(u, group[apart], moistures.u_ratio[loads.moisture[apart]])
    np.minimum.at(driest, group[apart], moistures.ratio[loads.moisture[apart]])
    driest = np.where(np.isfinite(driest), driest, 0.0)
    water = 1 + moistures.ratio[loads.moisture]
    return _moisture_shift(loads, water, group, landed, apart, driest), u


def _moisture_shift(
    loads: Loads, water: Floats, group: Ints, target: Floats, apart: Bools, driest: Floats
) -> Floats:
    """Change of water content (ratio) of the loads in ``apart`` that brings spread to ``target``.

    Solves Σ net/(1 + w + Δ) = target for each dressing by Newton's method. The sum is convex and
    falls, so that from Δ = −driest, where it is still too large, each step comes nearer and none
    goes past; where it is not too large there is no solution (nan).
    """
    size = len(target)
    net = loads.count * loads.unit_mass_kg - loads.returned_kg - loads.spilled_kg
    rest = target - np.bincount(group, np.where(apart, 0.0, net / water), size)
    weight = np.where(apart, net, 0.0)
    shift = -driest
    wet = np.maximum(water + shift[group], 1.0)  # those not in ``apart`` weigh nothing
    solvable = np.bincount(group, weight / wet, size) >= rest
    solvable &= np.bincount(group, weight, size) > 0
    open_ = solvable & (rest > 0)
    for _ in range(NEWTON_STEPS):
        if not open_.any():
            break
        wet = np.maximum(water + shift[group], 1.0)
        excess = np.bincount(group, weight / wet, size) - rest
        slope = np.bincount(group, weight / wet**2, size)
        step = np.where(open_, ratio(excess, slope, empty=0.0), 0.0)
        shift = shift + step
        # what a step leaves is about its square
        open_ &= np.abs(step) > NEAR_ENOUGH
    return np.where(solvable & (rest > 0), shift, np.nan)
