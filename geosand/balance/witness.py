"""A second way to the intervals: draws instead of first-order sums (Monte Carlo, seeded).

JCGM 101:2008, Propagation of distributions using a Monte Carlo method: values are drawn for every
input, the measurement model is worked out for each draw, and the intervals are read off the results
(its clauses 5 and 7). The model keeps what the first order leaves out: division by 1 + w, by tray
size, catch efficiency and bulk density, products with the areas. The sampling part is drawn from
the scaled t distribution of its degrees of freedom (6.4.9.7 there), all else from the normal one.

Each source is one row of draws, common to all figures of a site. Figures that are divided by the
same things are then sums of the same few columns: matrix products.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from geosand.areas.register import AreaRegister
from geosand.balance.account import Balance
from geosand.balance.alike import Alike
from geosand.balance.draws import Drawn, normal_draws, read_off, student_draws
from geosand.balance.spread import BAGS
from geosand.columns import Floats, Ints, freeze, ratio
from geosand.estimates import Estimates, Interval, category
from geosand.rates.surface_rates import Rates
from geosand.site.tables import Site

DRAWS = 10_000
#: a rate is divided by these: an input above its estimate makes it smaller, and not linearly
DIVIDING = ("tray size", "catch efficiency", "moisture")
LEAST_DIVISOR = 0.05  # no input falls to a twentieth of its estimate
_DIGITS = 12  # of relative effects and degrees of freedom, within which they are the same


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
    rate = _Linear.of_sums(rates.rate, rates.rate, np.ones(len(dressed)), np.arange(len(dressed)))
    weight = areas.area_m2[dressed.surface]
    mass = _Linear.of_sums(rates.rate, balance.on_surfaces, weight, dressed.dressing)
    shares = _area_shares(site, areas, rates, mass.value)
    table = _drawn(site, rates, (rate, mass), shares, draws=draws, seed=seed, student=student)
    on = np.full((size, draws), np.nan)
    for one in mass.alike(table, np.ones((1, draws)), np.zeros(size, dtype=np.int64)):
        on[one.rows] = one.values()
    share = table.times(shares)
    share += 1
    on *= share
    over = _spread(site, table)
    over -= on
    sand = site.dressings.sand[dressed.dressing]
    depths = rate.alike(table, 1 / _density(rates.density, table), sand)
    return Witness(
        draws=draws,
        seed=seed,
        on_surfaces=_beside(_known(on), balance.on_surfaces, balance.on_interval, floor=0.0),
        overthrow=_beside(_known(over), balance.overthrow, balance.interval),
        depth=_beside(
            [(one.rows, one.read_off()) for one in depths],
            rates.depth,
            rates.depth.interval(floor=0.0),
            floor=0.0,
        ),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Draws:
    """Draws (R,) of each source of a site, in units of its u."""

    normal: Mapping[str, Floats]
    student: Mapping[tuple[str, float], Floats]  # by category and degrees of freedom
    draws: int

    def times(self, effects: Mapping[str, Floats]) -> Floats:
        """Σ effect · source (n, R): one matrix product."""
        stacked = np.stack([self.normal[name] for name in effects])
        product: Floats = np.stack(list(effects.values()), axis=1) @ stacked
        return product

    def sampling(self, name: str, freedom: float) -> Floats:
        """A category of these degrees of freedom; normal where they are many or not asked for."""
        return self.student.get((name, freedom), self.normal[name])


def _drawn(
    site: Site,
    rates: Rates,
    figures: Sequence[_Linear],
    areas: Collection[str],
    *,
    draws: int,
    seed: int,
    student: bool,
) -> _Draws:
    """Draws of all sources of a site; ``areas`` names those of its areas.

    The t of all degrees of freedom of a category are the same draws, each at its own quantile: no
    figure has two of them.
    """
    few = list(rates.rate.degrees_of_freedom)
    names = [name for name in rates.rate.effects if category(name) not in few]
    names += site.moistures.label[site.loads.moisture].tolist()
    names += [*few, *rates.density.effects, *site.loads.label.tolist(), BAGS, *areas]
    names = list(dict.fromkeys(names))
    normal = dict(zip(names, normal_draws(seed, draws, len(names)), strict=True))
    found: dict[tuple[str, float], Floats] = {}
    for name in few if student else ():
        freedom = np.unique(np.concatenate([one.freedom[name] for one in figures]))
        freedom = freedom[np.isfinite(freedom)]
        columns = student_draws(normal[name], freedom) if len(freedom) else ()
        found |= {(name, nu): row for nu, row in zip(freedom.tolist(), columns, strict=True)}
    return _Draws(normal=normal, student=found, draws=draws)


def _freedom(table: Estimates, name: str) -> Floats:
    """Degrees of freedom (n,) of a category, infinite where there are none to tell."""
    column = table.degrees_of_freedom[name]
    return np.where(np.isfinite(column), column, np.inf).round(_DIGITS)


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

    def alike(self, table: _Draws, factors: Floats, which: Ints) -> Iterator[Alike]:
        """Draws of (value + sampling) · Π of the shared sources' factors · factors[which].

        In one piece those figures that are divided by the same things and have the same degrees of
        freedom; none of figures without a value.
        """
        dividing = [name for name in self.relative if category(name) in DIVIDING]
        steps = [self.relative[name].round(_DIGITS) for name in dividing]
        keys = np.stack([which, *steps, *self.freedom.values()], axis=1)
        relative = np.stack([self.value, *self.relative.values(), *self.sampling.values()])
        known = np.flatnonzero(np.isfinite(relative).all(axis=0))
        known = known[np.lexsort(keys[known].T[::-1])]
        new = (keys[known[1:]] != keys[known[:-1]]).any(axis=1)
        shared: dict[tuple[float, ...], Floats] = {}
        for rows in np.split(known, np.flatnonzero(new) + 1) if len(known) else ():
            key = keys[rows[0]].tolist()
            divided, freedom = tuple(key[: 1 + len(dividing)]), key[1 + len(dividing) :]
            if divided not in shared:
                divisor = np.ones(table.draws)
                for name, step in zip(dividing, divided[1:], strict=True):
                    divisor *= np.maximum(1 - step * table.normal[name], LEAST_DIVISOR)
                shared[divided] = factors[int(divided[0])] / divisor
            yield self._sum(
                rows, table, shared[divided], dict(zip(self.freedom, freedom, strict=True))
            )

    def _sum(
        self, rows: Ints, table: _Draws, factor: Floats, freedom: Mapping[str, float]
    ) -> Alike:
        """Figures that share a factor: their other sources as weights of columns."""
        weights, columns = [self.value[rows]], [factor]
        for name, u in self.sampling.items():
            weights.append(u[rows])
            columns.append(factor * table.sampling(name, freedom[name]))
        for name, effect in self.relative.items():
            if category(name) not in DIVIDING and effect[rows].any():
                weights += [weight * effect[rows] for weight in weights]
                columns += [column * table.normal[name] for column in columns]
        return Alike(rows=rows, weights=np.stack(weights, axis=1), columns=np.stack(columns))


def _area_shares(site: Site, areas: AreaRegister, rates: Rates, mass: Floats) -> dict[str, Floats]:
    """Relative effects (D,) of the areas' sources on each dressing's mass on surfaces."""
    surface = site.dressed.surface
    weight = np.zeros((len(mass), len(site.surfaces)))
    value = np.nan_to_num(rates.rate.value) * areas.ground_factor[surface]
    np.add.at(weight, (site.dressed.dressing, surface), value)
    errors = areas.errors.effects(weight)
    return {name: ratio(effect, mass) for name, effect in errors.items()}


def _spread(site: Site, table: _Draws) -> Floats:
    """Draws (D, R) of Σ (count · unit mass − returned − spilled)/(1 + w); nan without loads."""
    loads, size = site.loads, len(site.dressings)
    water, gross = site.moistures.ratio[loads.moisture], loads.count * loads.unit_mass_kg
    bags = loads.count * (loads.u_unit_mass_kg / (1 + water)) ** 2
    back = loads.returned_kg + loads.spilled_kg
    weights, columns = [np.sqrt(np.bincount(loads.dressing, bags, size))], [table.normal[BAGS]]

    def add(column: Floats, mass: Floats) -> None:
        weights.append(np.bincount(loads.dressing, mass, size).astype(np.float64))
        columns.append(column)

    # a load by volume states its dry mass: only what came back carries water
    stated = np.where(loads.by_volume, gross / (1 + water), 0.0)
    carried = np.where(loads.by_volume, 0.0, gross)
    add(np.ones(table.draws), stated)
    for label in dict.fromkeys(loads.label[loads.by_volume].tolist()):
        add(table.normal[label], np.where(loads.label == label, stated * loads.u_label, 0.0))
    for k in np.unique(loads.moisture).tolist():
        mine = loads.moisture == k
        step = site.moistures.u_ratio[k] * table.normal[str(site.moistures.label[k])]
        dry = 1 / np.maximum(1 + site.moistures.ratio[k] + step, LEAST_DIVISOR)
        add(dry, np.where(mine, carried - back, 0.0))
        for label in dict.fromkeys(loads.label[mine & ~loads.by_volume].tolist()):
            units = np.where(mine & (loads.label == label), carried * loads.u_label, 0.0)
            add(dry * table.normal[label], units)
    spread: Floats = np.stack(weights, axis=1) @ np.stack(columns)
    spread[np.bincount(loads.dressing, minlength=size) == 0] = np.nan
    return spread


def _density(density: Estimates, table: _Draws) -> Floats:
    """Draws (sands, R) of the bulk density of each sand."""
    drawn = density.value[:, None] + table.times(density.effects)
    return np.maximum(drawn, LEAST_DIVISOR * density.value[:, None])


def _known(values: Floats) -> list[tuple[Ints, Drawn]]:
    """What is read off the draws (n, R) of the figures that were measured."""
    rows = np.flatnonzero(np.isfinite(values[:, 0]))
    if not len(rows):
        return []
    return [(rows, read_off(values if len(rows) == len(values) else values[rows]))]


def _beside(
    found: Sequence[tuple[Ints, Drawn]],
    analytic: Estimates,
    interval: Interval,
    *,
    floor: float | None = None,
) -> Witnessed:
    """What was read off the draws of some rows at a time; nan for the others."""
    columns = np.full((4, len(analytic)), np.nan)
    for rows, drawn in found:
        columns[:, rows] = drawn
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
