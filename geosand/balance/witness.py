"""A second way to the intervals: draws instead of first-order sums (Monte Carlo, seeded).

JCGM 101:2008, Propagation of distributions using a Monte Carlo method: values are drawn for every
input, the measurement model is worked out for each draw, and the intervals are read off the results
(its clauses 5 and 7). The model keeps what the first order leaves out: division by 1 + w, by tray
size, catch efficiency and bulk density, products with the areas. The sampling part is drawn from
the scaled t distribution of its degrees of freedom (6.4.9.7 there), all else from the normal one.

Each source is a column of draws, common to all figures of a site, so that the figures of a site
are a matrix product.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from geosand.areas.register import AreaRegister
from geosand.balance.account import Balance
from geosand.balance.draws import (
    Draws,
    Key,
    Shape,
    normal_shape,
    standard_draws,
    student_shape,
    symmetric_interval,
)
from geosand.balance.spread import BAGS
from geosand.columns import Bools, Floats, Ints, freeze, ratio
from geosand.estimates import Estimates, Interval, category
from geosand.rates.surface_rates import Rates
from geosand.site.tables import Loads, Site

DRAWS = 10_000
#: a rate is divided by these: an input above its estimate makes it smaller, and not linearly
DIVIDING = ("tray size", "catch efficiency", "moisture")
LEAST_DIVISOR = 0.05  # no input falls to a twentieth of its estimate


@dataclass(frozen=True, slots=True, kw_only=True)
class Witnessed:
    """Figures from draws beside the analytic ones; equally long columns, nan where not measured."""

    mean: Floats
    u: Floats  #: standard deviation of the draws; of few degrees of freedom more than the scale u
    low: Floats
    high: Floats
    analytic: Floats
    analytic_u: Floats
    analytic_low: Floats
    analytic_high: Floats

    def __post_init__(self) -> None:
        freeze(self)

    def difference(self) -> Floats:
        """The farther of the two bounds from the analytic one, over half the analytic width.

        JCGM 101:2008, 8.2, compares the same two distances with a numerical tolerance.
        """
        apart = np.fmax(
            np.abs(self.low - self.analytic_low), np.abs(self.high - self.analytic_high)
        )
        half = (self.analytic_high - self.analytic_low) / 2
        far: Floats = ratio(apart, half)
        return far


@dataclass(frozen=True, slots=True, kw_only=True)
class Witness:
    """The witness of one site's balance."""

    draws: int
    seed: int
    on_surfaces: Witnessed  #: kg, one row a dressing
    overthrow: Witnessed  #: kg, one row a dressing
    depth: Witnessed  #: m, one row a dressed surface


def monte_carlo(
    site: Site,
    areas: AreaRegister,
    rates: Rates,
    balance: Balance,
    *,
    draws: int = DRAWS,
    seed: int,
    student: bool = True,
) -> Witness:
    """Intervals of on surfaces, overthrow and depths from draws, beside the analytic ones.

    ``student`` False draws the sampling part from the normal distribution: u is then to agree with
    the first order, as far as the model is linear. Second-order products between the sampling of
    single surfaces and their single areas are kept for each dressing's sums only.
    """
    dressed, size = site.dressed, len(site.dressings)
    on_table = balance.on_surfaces
    rate = _Linear.of_sums(rates.rate, rates.rate, np.ones(len(dressed)), np.arange(len(dressed)))
    mass = _Linear.of_sums(rates.rate, on_table, areas.area_m2[dressed.surface], dressed.dressing)
    shares = _area_shares(site, areas, rates, mass.value)
    shapes = _shapes(site, rates, (rates.rate, on_table), shares, student=student)
    drawn = standard_draws(np.random.default_rng(seed), draws, list(shapes.values()))
    table = Draws(columns=dict(zip(shapes, drawn.T, strict=True)), draws=draws)
    on = mass.drawn(table) * (1 + table.times(shares))
    spread = _spread(site.loads, site, table, size)
    depth = rate.drawn(table) / _density(site, rates.density, table)
    return Witness(
        draws=draws,
        seed=seed,
        on_surfaces=_beside(on, balance.on_surfaces, balance.on_interval, floor=0.0),
        overthrow=_beside(spread - on, balance.overthrow, balance.interval),
        depth=_beside(depth, rates.depth, rates.depth.interval(floor=0.0), floor=0.0),
    )


def _shapes(
    site: Site, rates: Rates, tables: Sequence[Estimates], areas: Collection[str], *, student: bool
) -> dict[Key, Shape]:
    """The distribution of each source of a site, in units of its u.

    A category of few degrees of freedom has one column for each of them that occurs.
    """
    few = rates.rate.degrees_of_freedom
    names = [name for name in rates.rate.effects if category(name) not in few]
    used = np.unique(site.loads.moisture)
    names += [str(label) for label in site.moistures.label[used].tolist()]
    names += [*rates.density.effects, *site.loads.label.tolist(), BAGS, *areas]
    shapes: dict[Key, Shape] = {(name, np.inf): normal_shape for name in names}
    for table in tables:
        for name in few:
            for freedom in np.unique(_freedom(table, name)).tolist():
                known = student and np.isfinite(freedom)
                shapes[name, freedom] = student_shape(freedom) if known else normal_shape
    return shapes


def _freedom(table: Estimates, name: str) -> Floats:
    """Degrees of freedom (n,) of a category, infinite where there are none to tell."""
    column = table.degrees_of_freedom[name]
    return np.where(np.isfinite(column), column, np.inf)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Linear:
    """Figures (n,) whose sampling adds and whose shared sources multiply."""

    value: Floats
    sampling: Mapping[str, Floats]  # u by category of few degrees of freedom
    freedom: Mapping[str, Floats]
    relative: Mapping[str, Floats]  # signed effect over value, by shared source

    @classmethod
    def of_sums(cls, rate: Estimates, result: Estimates, weight: Floats, group: Ints) -> _Linear:
        """Σ weight · rate by group: shared effects add, those of single rows in quadrature.

        ``result`` is the table of the sums; of it only the degrees of freedom are taken.
        """
        groups = len(result)
        value = np.bincount(group, rate.value * weight, groups).astype(np.float64)
        variance: dict[str, Floats] = {}
        relative: dict[str, Floats] = {}
        for source, effect in rate.effects.items():
            part, name = effect * weight, category(source)
            linear = np.bincount(group, part, groups)
            if name not in rate.degrees_of_freedom:
                relative[source] = ratio(linear, value)
                continue
            single = source in rate.per_row or name in rate.per_row
            square = np.bincount(group, part**2, groups) if single else linear**2
            variance[name] = variance.get(name, np.zeros(groups)) + square
        return cls(
            value=value,
            sampling={name: np.sqrt(square) for name, square in variance.items()},
            freedom={name: _freedom(result, name) for name in variance},
            relative=relative,
        )

    def drawn(self, table: Draws) -> Floats:
        """Draws (R, n): (value + sampling) · Π of the shared sources' factors."""
        out = np.empty((table.draws, len(self.value)))
        for some, part in table.blocks():
            self._draw(part, out[some])
        return out

    def _draw(self, table: Draws, out: Floats) -> None:
        out[:] = self.value
        for name, u in self.sampling.items():
            out += table.of_freedom(name, self.freedom[name]) * u
        for source, effect in self.relative.items():
            step = np.outer(table.of(source), effect)
            if category(source) in DIVIDING:
                out /= np.maximum(1 - step, LEAST_DIVISOR)
            else:
                out *= 1 + step


def _area_shares(site: Site, areas: AreaRegister, rates: Rates, mass: Floats) -> dict[str, Floats]:
    """Relative effects (D,) of the areas' sources on each dressing's mass on surfaces."""
    surface = site.dressed.surface
    weight = np.zeros((len(mass), len(site.surfaces)))
    value = np.nan_to_num(rates.rate.value) * areas.ground_factor[surface]
    np.add.at(weight, (site.dressed.dressing, surface), value)
    errors = areas.errors.effects(weight)
    return {name: ratio(effect, mass) for name, effect in errors.items()}


def _spread(loads: Loads, site: Site, table: Draws, size: int) -> Floats:
    """Draws (R, D) of Σ (count · unit mass − returned − spilled)/(1 + w); nan without loads."""
    group, back = loads.dressing, loads.returned_kg + loads.spilled_kg
    water = site.moistures.ratio[loads.moisture]
    bags = loads.count * (loads.u_unit_mass_kg / (1 + water)) ** 2
    out = np.outer(table.of(BAGS), np.sqrt(np.bincount(group, bags, size)))
    for k in np.unique(loads.moisture).tolist():
        mine = loads.moisture == k
        step = site.moistures.u_ratio[k] * table.of(str(site.moistures.label[k]))
        wet = np.maximum(1 + site.moistures.ratio[k] + step, LEAST_DIVISOR)[:, None]
        out += _filled(loads, mine & ~loads.by_volume, table, size) / wet
        # a load by volume states its dry mass: only what came back carries water
        out += _filled(loads, mine & loads.by_volume, table, size) / (1 + site.moistures.ratio[k])
        out -= np.bincount(group, np.where(mine, back, 0.0), size) / wet
    out[:, np.bincount(group, minlength=size) == 0] = np.nan
    return out


def _filled(loads: Loads, some: Bools, table: Draws, size: int) -> Floats:
    """Draws (R, D), or one row of nothing, of what the units of ``some`` loads weighed."""
    if not some.any():
        return np.zeros((1, size))
    group, gross = loads.dressing[some], (loads.count * loads.unit_mass_kg)[some]
    label, effect = loads.label[some], gross * loads.u_label[some]
    labels: dict[str, Floats] = {
        name: np.bincount(group, np.where(label == name, effect, 0.0), size).astype(np.float64)
        for name in dict.fromkeys(label.tolist())
    }
    filled: Floats = np.bincount(group, gross, size) + table.times(labels)
    return filled


def _density(site: Site, density: Estimates, table: Draws) -> Floats:
    """Draws (R, rows) of the bulk density of each dressed row's sand."""
    sand = site.dressings.sand[site.dressed.dressing]
    drawn = density.value + table.times(density.effects)
    return np.maximum(drawn, LEAST_DIVISOR * density.value)[:, sand]


def _beside(
    values: Floats, analytic: Estimates, interval: Interval, *, floor: float | None = None
) -> Witnessed:
    """Mean, u and interval of the draws (R, n); nan for figures that were not measured."""
    known = np.isfinite(values[0])
    columns = np.full((4, values.shape[1]), np.nan)
    if known.any():
        some = values[:, known]
        low, high = symmetric_interval(some)
        columns[:, known] = [some.mean(axis=0), some.std(axis=0, ddof=1), low, high]
    mean, u, low, high = columns
    if floor is not None:
        low, high = np.maximum(low, floor), np.maximum(high, floor)
    return Witnessed(
        mean=mean.copy(),
        u=u.copy(),
        low=low.copy(),
        high=high.copy(),
        analytic=analytic.value.copy(),
        analytic_u=analytic.u(),
        analytic_low=interval.low.copy(),
        analytic_high=interval.high.copy(),
    )
