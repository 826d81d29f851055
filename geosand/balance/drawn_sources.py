"""Draws of the sources of sites, of what was spread, and of figures divided by some of them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from geosand.balance.alike import Alike
from geosand.balance.draws import Singles, normal_draws, single_product, student_draws
from geosand.balance.spread import BAGS
from geosand.columns import Bools, Floats, Ints, Strings, ratio, take
from geosand.effects import category
from geosand.estimates import Estimates
from geosand.site.tables import Site
from geosand.tuples import NamedTuple

#: a rate is divided by these: an input above its estimate makes it smaller, and not linearly
DIVIDING = ("tray size", "catch efficiency", "moisture")
LEAST_DIVISOR = 0.05  # no input falls to a twentieth of its estimate
#: categories in the order of the common draws; of the last ones a site may have several sources
_SEVERAL = ("moisture", "label", "bulk density")
_ORDER = ("sampling", *DIVIDING[:2], "edge taper", BAGS, "vertices", "edge", "edge bias", *_SEVERAL)
_DIGITS = 12  # of relative effects and degrees of freedom, within which they are the same


def numbered(names: Iterable[str]) -> dict[str, int]:
    """Which of the common draws each source has: by its category and its order among its like.

    So that a site has the same ones alone and laid end to end with others. Sources of further
    categories come last.

    >>> numbered(["label: b", "label: a", "bags"])
    {'bags': 4, 'label: a': 9, 'label: b': 12}
    """
    found: dict[str, int] = {}
    others = []
    like: dict[str, int] = {}
    for name in sorted(set(names)):
        kind = category(name)
        k = like[kind] = like.get(kind, -1) + 1
        if kind not in _ORDER or (k and kind not in _SEVERAL):
            others.append(name)
        else:
            found[name] = _ORDER.index(kind) + k * len(_SEVERAL)
    return found | {name: k for k, name in enumerate(others, max(found.values(), default=-1) + 1)}


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawnSources:
    """Draws (R,) of each source, in units of its u, common to all figures."""

    normal: Mapping[str, Floats]
    student: Mapping[tuple[str, float], Floats]  # by category and degrees of freedom
    draws: int

    @classmethod
    def of(
        cls, names: Iterable[str], freedom: Mapping[str, Floats], *, draws: int, seed: int
    ) -> DrawnSources:
        """Of these names and categories; of a category the degrees of freedom that are asked for.

        The t of all degrees of freedom of a category are the same draws, each at its own quantile:
        no figure has two of them.
        """
        number = numbered([*names, *freedom])
        table = normal_draws(seed, draws, max(number.values()) + 1)
        normal = {name: table[k] for name, k in number.items()}
        student: dict[tuple[str, float], Floats] = {}
        for name, asked in freedom.items():
            few = np.unique(asked[np.isfinite(asked)])
            drawn = student_draws(normal[name], few)
            student |= {(name, nu): row for nu, row in zip(few.tolist(), drawn, strict=True)}
        return cls(normal=normal, student=student, draws=draws)

    def sampling(self, name: str, freedom: float) -> Floats:
        """A category of these degrees of freedom; normal where they are many or not asked for."""
        return self.student.get((name, freedom), self.normal[name])

    def divisor(self, dividing: Mapping[str, float], together: Mapping[str, float]) -> Floats:
        """Π (1 − effect · source) over the one, times 1 + Σ effect · source over the other (R,)."""
        divisor = np.ones(self.draws)
        for name, effect in dividing.items():
            divisor *= np.maximum(1 - effect * self.normal[name], LEAST_DIVISOR)
        if together:
            last = np.ones(self.draws)
            for name, effect in together.items():
                last += effect * self.normal[name]
            divisor *= np.maximum(last, LEAST_DIVISOR, out=last)
        return divisor


@dataclass(frozen=True, slots=True, kw_only=True)
class Factored:
    """Figures (n,) whose sampling adds and whose shared sources multiply."""

    value: Floats
    sampling: Mapping[str, Floats]  # u by category of few degrees of freedom
    freedom: Mapping[str, Floats]
    relative: Mapping[str, Floats]  # signed effect over value, by shared source

    @classmethod
    def of_sums(cls, rate: Estimates, result: Estimates, weight: Floats, group: Ints) -> Factored:
        """Σ weight · rate by group: shared effects add, those of single rows in quadrature.

        ``result`` is the table of the sums; of it only the degrees of freedom are taken.
        """
        groups = len(result)
        value = np.bincount(group, rate.value * weight, groups).astype(np.float64)
        variance: dict[str, Floats] = {}
        relative: dict[str, Floats] = {}
        for source, effect in sorted(rate.effects.items()):
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

    def alike(
        self, table: DrawnSources, apart: Ints, density: Mapping[str, Floats]
    ) -> Iterator[Alike]:
        """Draws of (value + sampling) · Π of the shared sources' factors over the density's.

        In one piece those figures that are divided by the same things, have the same degrees of
        freedom and one number of ``apart`` (n,); none of figures without a value. ``density`` are
        relative effects (n,) by source.
        """
        dividing = {k: v for k, v in self.relative.items() if category(k) in DIVIDING}
        steps = [v.round(_DIGITS) for v in (*dividing.values(), *density.values())]
        known = np.isfinite(self.value)
        for column in (*self.relative.values(), *self.sampling.values()):
            known &= np.isfinite(column)
        rows = np.flatnonzero(known)
        keys = np.stack([apart, *steps, *self.freedom.values()])[:, rows]
        order = np.lexsort(keys[::-1])
        rows, keys = rows[order], keys[:, order]
        new = np.ones(len(rows), dtype=np.bool_)
        new[1:] = (keys[:, 1:] != keys[:, :-1]).any(axis=0)
        starts = np.flatnonzero(new)
        divisors: dict[tuple[float, ...], Floats] = {}
        for some, key in zip(np.split(rows, starts)[1:], keys.T[starts], strict=True):
            divided, freedom = tuple(key[1 : len(steps) + 1].tolist()), key[len(steps) + 1 :]
            if divided not in divisors:
                first = dict(zip(dividing, divided, strict=False))
                last = dict(zip(density, divided[len(dividing) :], strict=True))
                divisors[divided] = table.divisor(first, last)
            names = dict(zip(self.freedom, freedom.tolist(), strict=True))
            yield self._sum(some, table, 1 / divisors[divided], names)

    def _sum(
        self, rows: Ints, table: DrawnSources, factor: Floats, freedom: Mapping[str, float]
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


def _freedom(table: Estimates, name: str) -> Floats:
    """Degrees of freedom (n,) of a category, infinite where there are none to tell."""
    column = table.degrees_of_freedom[name]
    return np.where(np.isfinite(column), column, np.inf).round(_DIGITS)


class _Loads(NamedTuple):
    """A row a load, in the order of the dressings."""

    dressing: Ints
    moisture: Ints
    label: Strings
    by_volume: Bools
    bags: Floats  #: variance of the dry mass, kg²
    stated: Floats  #: dry mass of loads by volume; else 0
    carried: Floats  #: moist mass of the others; else 0
    back: Floats  #: moist mass that came back or was spilled
    u_label: Floats


class DrawnSpread(NamedTuple):
    """Loads of sites, and the water contents (W,) that they name with the effects of sources."""

    loads: _Loads
    water: Floats
    u_water: Mapping[str, Floats]

    @classmethod
    def of(cls, site: Site) -> DrawnSpread:
        """All loads of a site, or of many laid end to end."""
        loads, water = site.loads, site.moistures
        wet, gross = 1 + water.ratio[loads.moisture], loads.count * loads.unit_mass_kg
        columns = _Loads(
            dressing=loads.dressing,
            moisture=loads.moisture,
            label=loads.label,
            by_volume=loads.by_volume,
            bags=loads.count * (loads.u_unit_mass_kg / wet) ** 2,
            # a load by volume states its dry mass: only what came back carries water
            stated=np.where(loads.by_volume, gross / wet, 0.0),
            carried=np.where(loads.by_volume, 0.0, gross),
            back=loads.returned_kg + loads.spilled_kg,
            u_label=loads.u_label,
        )
        ordered: _Loads = take(columns, np.argsort(loads.dressing, kind="stable"))
        return cls(ordered, water.ratio, water.by_source())

    def draw(self, table: DrawnSources, first: int, out: Singles) -> None:
        """Draws into ``out`` (D, R), of dressings from number ``first`` on; nan without loads."""
        begin, end = np.searchsorted(self.loads.dressing, [first, first + len(out)])
        loads: _Loads = take(self.loads, slice(begin, end))
        dressing = loads.dressing - first
        weights = [np.sqrt(np.bincount(dressing, loads.bags, len(out)))]
        columns = [table.normal[BAGS]]

        def add(column: Floats, mass: Floats) -> None:
            weights.append(np.bincount(dressing, mass, len(out)).astype(np.float64))
            columns.append(column)

        def add_labels(column: Floats, mass: Floats, mine: Bools) -> None:
            for label in dict.fromkeys(loads.label[mine].tolist()):
                units = np.where(mine & (loads.label == label), mass * loads.u_label, 0.0)
                add(column * table.normal[label], units)

        if loads.by_volume.any():
            dry = np.ones(table.draws)
            add(dry, loads.stated)
            add_labels(dry, loads.stated, loads.by_volume)
        for k in dict.fromkeys(loads.moisture.tolist()):
            mine, dry = loads.moisture == k, self._dry(table, k)
            add(dry, np.where(mine, loads.carried - loads.back, 0.0))
            add_labels(dry, loads.carried, mine & ~loads.by_volume)
        single_product(np.stack(weights, axis=1), np.stack(columns), out)
        out[np.bincount(dressing, minlength=len(out)) == 0] = np.nan

    def _dry(self, table: DrawnSources, row: int) -> Floats:
        """Draws (R,) of 1/(1 + w) for a row of the water contents."""
        wet = np.full(table.draws, 1 + self.water[row])
        for name, effect in self.u_water.items():
            if effect[row] != 0:
                wet += effect[row] * table.normal[name]
        dry: Floats = 1 / np.maximum(wet, LEAST_DIVISOR, out=wet)
        return dry
