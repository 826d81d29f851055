"""Tables of estimates: a value per row and one signed effect per source of uncertainty.

The effect of a source on a row is what the row's value would change if that source were one
standard uncertainty above its best estimate (GUM, JCGM 100:2008, 5.1.3: ``c_i u(x_i)``). A source
is one realisation for all rows (tray size, bulk density) unless it is named in ``per_row``, where
each row has its own (scatter of the catches). Weighted sums then follow GUM 5.2: effects of one
realisation add with their signs, effects of many add in quadrature. A source is named
``"category"`` or ``"category: which one"``; budgets are by category.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from typing import cast

import numpy as np

from geosand.columns import Bools, Floats, Ints, Runs
from geosand.effects import Effects, places_by_category, rows_named, together
from geosand.half_width import half_width
from geosand.tuples import NamedTuple

COVERAGE = 0.95
_AT_ONCE = 1 << 15  #: values of a long table that are weighted at a time: a cache holds them


class Interval(NamedTuple):
    """Bounds of a coverage interval, columns of the table's length."""

    low: Floats
    high: Floats
    degrees_of_freedom: Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)  # a run makes thousands
class Estimates:
    """Values (n,) with the signed effect (n,) of each source, in the values' unit.

    >>> rate = Estimates(value=np.array([0.5]), effects={"tray size": np.array([0.01])})
    >>> twice = rate.scaled(2.0)
    >>> twice.value.tolist(), {source: effect.tolist() for source, effect in twice.effects.items()}
    ([1.0], {'tray size': [0.02]})
    """

    value: Floats  #: best estimate of each row
    effects: Mapping[str, Floats] = field(default_factory=dict)
    per_row: frozenset[str] = frozenset()
    degrees_of_freedom: Mapping[str, Floats] = field(default_factory=dict)  #: by category

    def __post_init__(self) -> None:
        """Values and effects are rows of one table, so that each step works on all at once."""
        if isinstance(self.effects, Effects) and self.effects.value is self.value:
            return
        laid = Effects.laid(self.value, self.effects)
        object.__setattr__(self, "value", laid.value)  # frozen
        object.__setattr__(self, "effects", laid)

    def __len__(self) -> int:
        return len(self.value)

    @property
    def sources(self) -> tuple[str, ...]:
        """The names of the sources."""
        return cast(Effects, self.effects).sources

    @property
    def table(self) -> Floats:
        """The values, then the effect of each source (1 + sources, n)."""
        return cast(Effects, self.effects).table

    def u(self) -> Floats:
        """Standard uncertainty of each row (n,): root of the sum of squared effects."""
        return np.sqrt(_total(self._variances(), len(self)))

    def known_u(self) -> Floats:
        """The same, nan where the value is."""
        return np.where(np.isfinite(self.value), self.u(), np.nan)

    def by_category(self) -> dict[str, Floats]:
        """Standard uncertainty of each row by category of source, largest first."""
        parts = self._variances()
        parts = dict(sorted(parts.items(), key=lambda item: -float(np.nansum(item[1]))))
        return {name: np.sqrt(variance) for name, variance in parts.items()}

    def _variances(self) -> dict[str, Floats]:
        """Variance of each row by category, in the order of their names.

        The sources are taken by their names, so that the last digit of a row does not depend on
        which other rows, with sources of their own, the table holds.
        """
        squares = self.table[1:] * self.table[1:]
        variances: dict[str, Floats] = {}
        for name, (first, *others) in places_by_category(self.sources):
            variance = squares[first]
            for row in others:
                variance += squares[row]
            variances[name] = variance
        return variances

    def shares(self) -> dict[str, Floats]:
        """Shares of the variance by category, each row summing to 1 (0 where u is 0)."""
        variance = self.u() ** 2
        safe = np.where(variance > 0, variance, 1.0)
        return {name: part**2 / safe for name, part in self.by_category().items()}

    def scaled(self, factor: Floats | float) -> Estimates:
        """The table times an exact factor, one a row or one for all."""
        return self._with(table=self.table * factor)

    def with_effects(
        self,
        effects: Mapping[str, Floats],
        *,
        per_row: Collection[str] = (),
        degrees_of_freedom: Mapping[str, Floats] | None = None,
    ) -> Estimates:
        """The table with further effects; one of a source already there adds to it, signed."""
        sources, both, new = together(self.sources, tuple(effects))
        table, columns = self._roomy(len(new)), list(effects.values())
        for mine, its in both:
            table[1 + mine] += columns[its]
        for row, its in enumerate(new, len(self.table)):
            table[row] = columns[its]
        return _made(
            sources,
            table,
            self.per_row.union(per_row),
            {**self.degrees_of_freedom, **(degrees_of_freedom or {})},
        )

    def plus(self, other: Estimates) -> Estimates:
        """Row by row ``self + other``; a source in both is the same realisation."""
        return self._combined(other, np.add)

    def minus(self, other: Estimates) -> Estimates:
        """Row by row ``self - other``; a source in both cancels as far as it is the same."""
        return self._combined(other, np.subtract)

    def _combined(self, other: Estimates, combine: np.ufunc) -> Estimates:
        """Row by row ``combine`` of both; of a source that one of them lacks it takes 0."""
        sources, both, new = together(self.sources, other.sources)
        table, its_table = self._roomy(len(new)), other.table[1:]
        combine(0.0, its_table.take(new, axis=0), out=table[len(self.table) :])
        combine(table[0], other.table[0], out=table[0])
        for mine, its in both:
            combine(table[1 + mine], its_table[its], out=table[1 + mine])
        return _made(
            sources,
            table,
            self.per_row | other.per_row,
            {**self.degrees_of_freedom, **other.degrees_of_freedom},
        )

    def _roomy(self, more: int) -> Floats:
        """The table with room for some more rows, which hold nothing yet."""
        table = np.empty((len(self.table) + more, len(self)))
        table[: len(self.table)] = self.table
        return table

    def group_sum(
        self,
        group: Ints | Runs,
        groups: int,
        *,
        independent: Collection[str] | None = None,
        weight: Floats | float = 1.0,
    ) -> Estimates:
        """Sums of rows by ``group`` (n,), values 0..groups-1, as a table of ``groups`` rows.

        ``independent`` names the sources (or categories) that differ from row to row of a group;
        left out: those of ``per_row``. All others are one realisation and add with their signs.
        ``weight`` (n,): the rows are first multiplied by it, as by ``scaled``. ``Runs`` of a group
        column serve several tables.
        """
        runs = group if isinstance(group, Runs) else Runs(group, groups)
        names = self.per_row if independent is None else frozenset(independent)
        separate = rows_named(self.sources, names)
        sums = np.empty((len(self.table), runs.size))
        at_once = max(1, _AT_ONCE // (1 + len(self)))
        for first in range(0, len(sums), at_once):
            terms = self.table[first : first + at_once] * weight
            for row in separate:
                if first <= row < first + at_once:
                    terms[row - first] *= terms[row - first]
            sums[first : first + at_once] = runs.sums(terms)
        for row in separate:
            np.sqrt(sums[row], out=sums[row])
        freedom = {name: self._freedom(name, runs, weight) for name in self.degrees_of_freedom}
        return self._with(table=sums, degrees_of_freedom=freedom)

    def _freedom(self, name: str, runs: Runs, weight: Floats | float) -> Floats:
        """Degrees of freedom of a category in each group's sum: what all rows of a group have.

        Where they differ, their mean.
        """
        first, differing = runs.firsts(self.degrees_of_freedom[name])
        freedom: Floats = np.fmin(first, np.inf)  # nan is what has no estimate
        if len(differing):
            freedom[differing] = self._mean_freedom(name, runs, weight)[differing]
        return freedom

    def _mean_freedom(self, name: str, runs: Runs, factor: Floats | float) -> Floats:
        """Variance-weighted harmonic mean of a category's degrees of freedom (never optimistic)."""
        column = self.degrees_of_freedom[name]
        weight = self._variances().get(name)
        if weight is None:
            weight = np.ones(len(self))
        else:
            weight *= factor * factor
        if not _all_known(weight):
            weight = np.where(np.isfinite(weight) & (weight > 0), weight, 1e-300)
        if _all_known(column):
            per = 1.0 / column
        else:
            per = np.where(np.isfinite(column), 1.0 / np.where(column > 0, column, 1.0), 0.0)
        per *= weight
        top, bottom = runs.sums(np.array([weight, per]))
        freedom: Floats = np.divide(top, bottom, out=np.full(runs.size, np.inf), where=bottom > 0)
        return freedom

    def interval(self, *, coverage: float = COVERAGE, floor: float | None = None) -> Interval:
        """Coverage interval by Student's t (GUM G.4); an added source never narrows it.

        ``floor`` clips both bounds.
        """
        parts = self._variances()
        few = {name: parts.pop(name) for name in self.degrees_of_freedom if name in parts}
        many = _total(parts, len(self))
        half, freedom = half_width(many, few, self.degrees_of_freedom, coverage)
        low, high = self.value - half, self.value + half
        if floor is not None:
            low, high = np.maximum(low, floor), np.maximum(high, floor)
        return Interval(low, high, freedom)

    def where_known(self, known: Bools) -> Estimates:
        """The table with nan in all columns of the rows that are not ``known``."""
        if known.all():
            return self
        return self._with(table=np.where(known, self.table, np.nan))

    def rows(self, rows: Ints | slice | Floats) -> Estimates:
        """The same table with only ``rows`` of every column."""
        freedom = {k: v[rows] for k, v in self.degrees_of_freedom.items()}
        return self._with(table=self.table[:, rows], degrees_of_freedom=freedom)

    def _with(
        self, *, table: Floats, degrees_of_freedom: Mapping[str, Floats] | None = None
    ) -> Estimates:
        """Another table of the same sources."""
        if degrees_of_freedom is None:
            degrees_of_freedom = self.degrees_of_freedom
        return _made(self.sources, table, self.per_row, degrees_of_freedom)


def _made(
    sources: tuple[str, ...],
    table: Floats,
    per_row: frozenset[str],
    degrees_of_freedom: Mapping[str, Floats],
) -> Estimates:
    """Estimates of a table that is there already."""
    effects = Effects(sources, table)
    return Estimates(
        value=effects.value,
        effects=effects,
        per_row=per_row,
        degrees_of_freedom=degrees_of_freedom,
    )


def _all_known(column: Floats) -> bool:
    """Whether all are above 0 and finite; nan, which both extremes take over, is neither."""
    least, most = np.minimum.reduce(column, initial=1.0), np.maximum.reduce(column, initial=1.0)
    return bool(least > 0 and most < np.inf)


def _total(variances: Mapping[str, Floats], rows: int) -> Floats:
    """Sum of the columns, zeros where there is none."""
    total = np.zeros(rows)
    for variance in variances.values():
        total += variance
    return total


def product(left: Estimates, right: Estimates) -> Estimates:
    """Row by row ``left * right`` to first order (GUM 5.1.2); a shared source adds, signed."""
    return left.scaled(right.value).with_effects(
        right.scaled(left.value).effects,
        per_row=right.per_row,
        degrees_of_freedom=right.degrees_of_freedom,
    )
