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
from itertools import combinations
from typing import NamedTuple

import numpy as np

from geosand.columns import Bools, Floats, Ints, Runs
from geosand.distributions import coverage_factor

COVERAGE = 0.95


class Interval(NamedTuple):
    """Bounds of a coverage interval, columns of the table's length."""

    low: Floats
    high: Floats
    degrees_of_freedom: Floats


def category(source: str) -> str:
    """The part of a source's name before the colon."""
    return source.partition(":")[0]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Estimates:
    """Values (n,) with the signed effect (n,) of each source, in the values' unit."""

    value: Floats
    effects: Mapping[str, Floats] = field(default_factory=dict)
    per_row: frozenset[str] = frozenset()
    degrees_of_freedom: Mapping[str, Floats] = field(default_factory=dict)  #: by category

    def __len__(self) -> int:
        return len(self.value)

    def u(self) -> Floats:
        """Standard uncertainty of each row (n,): root of the sum of squared effects."""
        return np.sqrt(_total(self._variances(), len(self.value)))

    def by_category(self) -> dict[str, Floats]:
        """Standard uncertainty of each row by category of source, largest first."""
        parts = self._variances()
        parts = dict(sorted(parts.items(), key=lambda item: -float(np.nansum(item[1]))))
        return {name: np.sqrt(variance) for name, variance in parts.items()}

    def _variances(self, only: str | None = None) -> dict[str, Floats]:
        """Variance of each row by category, or of the one named.

        The sources are taken by their names, so that the last digit of a row does not depend on
        which other rows, with sources of their own, the table holds.
        """
        variances: dict[str, Floats] = {}
        room = np.empty(len(self.value))
        for source in sorted(self.effects):
            name = category(source)
            if only is None or name == only:
                effect = self.effects[source]
                if name in variances:
                    variances[name] += np.multiply(effect, effect, out=room)
                else:
                    variances[name] = effect * effect
        return variances

    def shares(self) -> dict[str, Floats]:
        """Shares of the variance by category, each row summing to 1 (0 where u is 0)."""
        variance = self.u() ** 2
        safe = np.where(variance > 0, variance, 1.0)
        return {name: part**2 / safe for name, part in self.by_category().items()}

    def scaled(self, factor: Floats | float) -> Estimates:
        """The table times an exact factor, one a row or one for all."""
        return Estimates(
            value=self.value * factor,
            effects={k: v * factor for k, v in self.effects.items()},
            per_row=self.per_row,
            degrees_of_freedom=self.degrees_of_freedom,
        )

    def with_effects(
        self,
        effects: Mapping[str, Floats],
        *,
        per_row: Collection[str] = (),
        degrees_of_freedom: Mapping[str, Floats] | None = None,
    ) -> Estimates:
        """The table with further effects; one of a source already there adds to it, signed."""
        merged = dict(self.effects)
        for source, effect in effects.items():
            merged[source] = merged[source] + effect if source in merged else effect
        return Estimates(
            value=self.value,
            effects=merged,
            per_row=self.per_row | frozenset(per_row),
            degrees_of_freedom={**self.degrees_of_freedom, **(degrees_of_freedom or {})},
        )

    def plus(self, other: Estimates, *, sign: float = 1.0) -> Estimates:
        """Row by row ``self + sign * other``; a source in both is the same realisation."""
        effects = dict(self.effects)
        for source, column in other.effects.items():
            effect = -column if sign == -1 else sign * column
            effects[source] = effects[source] + effect if source in effects else effect
        return Estimates(
            value=self.value + sign * other.value,
            effects=effects,
            per_row=self.per_row | other.per_row,
            degrees_of_freedom={**self.degrees_of_freedom, **other.degrees_of_freedom},
        )

    def minus(self, other: Estimates) -> Estimates:
        """Row by row ``self - other``; a source in both cancels as far as it is the same."""
        return self.plus(other, sign=-1.0)

    def group_sum(
        self,
        group: Ints | Runs,
        groups: int,
        *,
        independent: Collection[str] | None = None,
        weight: Floats | None = None,
    ) -> Estimates:
        """Sums of rows by ``group`` (n,), values 0..groups-1, as a table of ``groups`` rows.

        ``independent`` names the sources (or categories) that differ from row to row of a group;
        left out: those of ``per_row``. All others are one realisation and add with their signs.
        ``weight`` (n,): the rows are first multiplied by it, as by ``scaled``. ``Runs`` of a group
        column are quicker where rows of a group stand together.
        """
        separate = self.per_row if independent is None else frozenset(independent)
        effects: dict[str, Floats] = {}
        room = np.empty(len(self.value))  # one for all columns: memory is slower than sums
        for source, column in self.effects.items():
            effect = column if weight is None else np.multiply(column, weight, out=room)
            if source in separate or category(source) in separate:
                square = np.multiply(effect, effect, out=room)
                effects[source] = np.sqrt(_sums(group, square, groups))
            else:
                effects[source] = _sums(group, effect, groups)
        value = self.value if weight is None else np.multiply(self.value, weight, out=room)
        return Estimates(
            value=_sums(group, value, groups),
            effects=effects,
            per_row=self.per_row,
            degrees_of_freedom={
                name: self._group_freedom(name, group, groups, weight)
                for name in self.degrees_of_freedom
            },
        )

    def _group_freedom(
        self, name: str, group: Ints | Runs, groups: int, factor: Floats | None
    ) -> Floats:
        """Variance-weighted harmonic mean of a category's degrees of freedom (never optimistic)."""
        column = self.degrees_of_freedom[name]
        weight = self._variances(name).get(name)
        if weight is None:
            weight = np.ones(len(self.value))
        elif factor is not None:
            weight *= factor * factor
        if not _all_known(weight):
            weight = np.where(np.isfinite(weight) & (weight > 0), weight, 1e-300)
        if _all_known(column):
            per = 1.0 / column
        else:
            per = np.where(np.isfinite(column), 1.0 / np.where(column > 0, column, 1.0), 0.0)
        per *= weight
        top, bottom = _sums(group, weight, groups), _sums(group, per, groups)
        freedom: Floats = np.divide(top, bottom, out=np.full(groups, np.inf), where=bottom > 0)
        return freedom

    def interval(self, *, coverage: float = COVERAGE, floor: float | None = None) -> Interval:
        """Coverage interval by Student's t with Welch-Satterthwaite degrees of freedom (GUM G.4).

        A category of many degrees of freedom added to one of few raises the effective ones, so that
        t·u alone could fall although u rises. The half-width is therefore never less than that of
        any choice of the categories with few degrees of freedom, with or without all the others:
        an added source never narrows an interval. ``floor`` clips both bounds.
        """
        parts, nothing = self._variances(), np.zeros(len(self.value))
        few = {k: v for k, v in self.degrees_of_freedom.items() if k in parts}
        many = _total({k: v for k, v in parts.items() if k not in few}, len(self.value))
        # uᵢ⁴/νᵢ
        lost = {k: parts[k] ** 2 / np.where(np.isfinite(v), v, np.inf) for k, v in few.items()}
        choices = _choices(tuple(few))
        cases = [(names, others) for others in (many, nothing) for names in choices]
        variance = np.array([sum((parts[k] for k in names), start) for names, start in cases])
        bottom = np.array([sum((lost[k] for k in names), nothing) for names in choices] * 2)
        freedom = _effective(variance, bottom)
        half = np.fmax.reduce(coverage_factor(coverage, freedom) * np.sqrt(variance))
        half = np.where(np.isfinite(variance[0]), half, np.nan)
        low, high = self.value - half, self.value + half
        if floor is not None:
            low, high = np.maximum(low, floor), np.maximum(high, floor)
        return Interval(low, high, freedom[0])

    def where_known(self, known: Bools) -> Estimates:
        """The table with nan in all columns of the rows that are not ``known``."""
        if known.all():
            return self
        return Estimates(
            value=np.where(known, self.value, np.nan),
            effects={k: np.where(known, v, np.nan) for k, v in self.effects.items()},
            per_row=self.per_row,
            degrees_of_freedom=self.degrees_of_freedom,
        )

    def rows(self, rows: Ints | slice | Floats) -> Estimates:
        """The same table with only ``rows`` of every column."""
        return Estimates(
            value=self.value[rows],
            effects={k: v[rows] for k, v in self.effects.items()},
            per_row=self.per_row,
            degrees_of_freedom={k: v[rows] for k, v in self.degrees_of_freedom.items()},
        )


def _all_known(column: Floats) -> bool:
    """Whether all are above 0 and finite; nan, which both extremes take over, is neither."""
    least, most = np.minimum.reduce(column, initial=1.0), np.maximum.reduce(column, initial=1.0)
    return bool(least > 0 and most < np.inf)


def _sums(group: Ints | Runs, column: Floats, groups: int) -> Floats:
    if isinstance(group, Runs):
        return group.sums(column)
    return np.bincount(group, column, groups).astype(np.float64, copy=False)


def _total(variances: Mapping[str, Floats], rows: int) -> Floats:
    """Sum of the columns, zeros where there is none."""
    total = np.zeros(rows)
    for name in sorted(variances):
        total += variances[name]
    return total


def _choices(names: tuple[str, ...]) -> list[tuple[str, ...]]:
    """All choices of at least one of a few names, that of all of them first."""
    ways = [some for k in range(len(names), 0, -1) for some in combinations(names, k)]
    return ways or [()]


def _effective(variance: Floats, bottom: Floats) -> Floats:
    """Degrees of freedom u⁴ / Σ uᵢ⁴/νᵢ, ``bottom`` being the sum, at least 1; nan without a u.

    Welch-Satterthwaite; GUM, JCGM 100:2008, equation G.2b.
    """
    most = variance + np.inf  # nan stays nan
    freedom = np.divide(variance * variance, bottom, out=most, where=bottom > 0)
    return np.maximum(freedom, 1.0)


def product(left: Estimates, right: Estimates) -> Estimates:
    """Row by row ``left * right`` to first order (GUM 5.1.2); a shared source adds, signed."""
    first = left.scaled(right.value)
    second = right.scaled(left.value)
    table = Estimates(
        value=left.value * right.value,
        effects=first.effects,
        per_row=left.per_row,
        degrees_of_freedom=left.degrees_of_freedom,
    )
    return table.with_effects(
        second.effects, per_row=right.per_row, degrees_of_freedom=right.degrees_of_freedom
    )
