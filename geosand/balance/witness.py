"""A second way to the intervals: draws instead of first-order sums (Monte Carlo, seeded).

JCGM 101:2008, Propagation of distributions using a Monte Carlo method: values are drawn for every
input, the measurement model is worked out for each draw, and the intervals are read off the results
(its clauses 5 and 7). The model keeps what the first order leaves out: division by 1 + w, by tray
size, catch efficiency and bulk density, products with the areas. The sampling part is drawn from
the scaled t distribution of its degrees of freedom (6.4.9.7 there), all else from the normal one.

Each source is one row of draws, common to all figures of a site. Figures that are divided by the
same things are then sums of the same few columns: matrix products. Draws of masses are in single
precision, whose rounding (1e-7 of a mass) is a thousandth and less of what is left to chance.

Many sites laid end to end are worked out in one call, and each gets what it gets alone: sources of
one category have the same draws in all of them, and depths that are divided by the same things are
read off together.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geosand.areas.register import AreaRegister
from geosand.balance.account import Balance
from geosand.balance.alike import Alike
from geosand.balance.drawn_sources import DrawnSources, DrawnSpread, Factored
from geosand.balance.draws import Drawn, Singles, read_off, single_product
from geosand.balance.spread import BAGS
from geosand.columns import Floats, ratio
from geosand.effects import category
from geosand.rates.surface_rates import Rates
from geosand.site.tables import Site

DRAWS = 10_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Witness:
    """The witness of one site's balance."""

    draws: int
    seed: int
    on_surfaces: Drawn  #: kg, one row a dressing
    overthrow: Drawn  #: kg, one row a dressing
    depth: Drawn  #: m, one row a dressed surface


def monte_carlo(
    balance: Balance, *, draws: int = DRAWS, seed: int, student: bool = True
) -> Witness:
    """Intervals of on surfaces, overthrow and depths from draws; nan where not measured.

    Of one site or of many laid end to end. ``student`` False draws the sampling part from the
    normal distribution: u is then to agree with the first order, as far as the model is linear.
    Second-order products between the sampling of single surfaces and their single areas are kept
    for each dressing's sums only.
    """
    site, areas, rates = balance.site, balance.areas, balance.rates
    dressed, density, each = site.dressed, rates.density, np.arange(len(site.dressed))
    sand = site.dressings.sand[dressed.dressing]
    depth = Factored.of_sums(rates.rate, rates.rate, 1 / density.value[sand], each)
    area = areas.area_m2[dressed.surface]
    mass = Factored.of_sums(rates.rate, balance.on_surfaces, area, dressed.dressing)
    shares = _area_shares(site, areas, rates, mass.value)
    freedom = {k: np.concatenate([depth.freedom[k], mass.freedom[k]]) for k in mass.freedom}
    table = DrawnSources.of(
        [*_names(site, rates), *shares],
        {name: column if student else column[:0] for name, column in freedom.items()},
        draws=draws,
        seed=seed,
    )
    on_surfaces, overthrow = _masses(site, table, mass, shares)
    depths = np.full((4, len(dressed)), np.nan)
    effects = sorted(density.effects.items())  # by name, as in a stack
    relative = {name: (effect / density.value)[sand] for name, effect in effects}
    for one in depth.alike(table, np.zeros(len(dressed), dtype=np.int64), relative):
        depths[:, one.rows] = one.read_off()
    return Witness(
        draws=draws,
        seed=seed,
        on_surfaces=_not_below_zero(on_surfaces),
        overthrow=Drawn(*overthrow),
        depth=_not_below_zero(depths),
    )


def _names(site: Site, rates: Rates) -> list[str]:
    """Sources of rates, loads and bulk densities, of all that a site has, also of those unused."""
    few = rates.rate.degrees_of_freedom
    return [
        *(name for name in rates.rate.effects if category(name) not in few),
        *site.moistures.label.tolist(),
        *site.loads.label.tolist(),
        *rates.density.effects,
        BAGS,
    ]


def _area_shares(site: Site, areas: AreaRegister, rates: Rates, mass: Floats) -> dict[str, Floats]:
    """Relative effects (D,) of the areas' sources on each dressing's mass on surfaces."""
    group, surface = site.dressed.dressing, site.dressed.surface
    value = np.nan_to_num(rates.rate.value) * areas.ground_factor[surface]
    errors = areas.errors.effects_of(group, surface, value, len(mass))
    return {name: ratio(effect, mass) for name, effect in errors.items()}


def _masses(
    site: Site, table: DrawnSources, mass: Factored, shares: dict[str, Floats]
) -> tuple[Floats, Floats]:
    """What is read off the draws of on surfaces and of the overthrow, each (4, D).

    Site by site: the draws of a few dressings are all that a processor's own memory holds.
    """
    of, spread = site.of_dressing, DrawnSpread.of(site)
    pieces: dict[int, list[Alike]] = {}
    for one in mass.alike(table, of, {}):
        pieces.setdefault(int(of[one.rows[0]]), []).append(one)
    bounds = np.searchsorted(of, np.arange(int(of.max(initial=-1)) + 2))
    found = np.full((4, 2, len(of)), np.nan)
    room = np.empty(2 * int(np.diff(bounds).max(initial=0)) * table.draws, dtype=np.float32)
    for member in np.unique(of).tolist():
        first, end = bounds[member : member + 2].tolist()
        masses = room[: 2 * (end - first) * table.draws].reshape(2, end - first, -1)
        on, over = masses
        on.fill(np.nan)
        for one in pieces.get(member, ()):
            on[one.rows - first] = single_product(one.weights, one.columns)
        weights = np.stack([share[first:end] for share in shares.values()], axis=1)
        share = single_product(weights, np.stack([table.normal[name] for name in shares]), over)
        share += 1
        on *= share
        spread.draw(table, first, over)
        over -= on
        found[:, :, first:end] = _known(masses.reshape(-1, table.draws)).reshape(4, 2, -1)
    return found[:, 0], found[:, 1]


def _known(values: Singles) -> Floats:
    """What is read off the draws (n, R) of the figures that were measured (4, n); else nan."""
    columns = np.full((4, len(values)), np.nan)
    rows = np.flatnonzero(np.isfinite(values[:, 0]))
    if len(rows):
        columns[:, rows] = read_off(values if len(rows) == len(values) else values[rows])
    return columns


def _not_below_zero(found: Floats) -> Drawn:
    """What was read off the draws (4, n), with the limits of what is not below zero."""
    mean, u, low, high = found
    return Drawn(mean, u, np.maximum(low, 0.0), np.maximum(high, 0.0))
