"""Tables of estimates: a value per row and one signed effect per source of uncertainty.

The effect of a source on a row is what the row's value would change if that source were one
standard uncertainty above its best estimate (GUM, JCGM 100:2008, 5.1.3: ``c_i u(x_i)``). A source
is one realisation for all rows (tray size, bulk density) unless it is named in ``per_row``, where
each row has its own (scatter of the catches). Weighted sums then follow GUM 5.2: effects of one
realisation add with their signs, effects of many add in quadrature. A source is named
``"category"`` or ``"category: which one"``; budgets are by category.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field
from itertools import chain, combinations
from typing import NamedTuple

import numpy as np

from geosand.columns import Floats, Ints
from geosand.distributions import student_quantile

COVERAGE = 0.95


class Interval(NamedTuple):
    """Bounds of a coverage interval, columns of the table's length."""

    low: Floats
    high: Floats
    degrees_of_freedom: Floats


def category(source: str) -> str:
    """The part of a source's name before the colon."""
    return source.split(":", 1)[0]


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
        total = np.zeros(len(self.value))
        for effect in self.effects.values():
            total = total + effect**2
        return np.sqrt(total)

    def by_category(self) -> dict[str, Floats]:
        """Standard uncertainty of each row by category of source, largest first."""
        parts = self._parts()
        return dict(sorted(parts.items(), key=lambda item: -float(np.nansum(item[1] ** 2))))

    def _parts(self) -> dict[str, Floats]:
        """Standard uncertainty of each row by category, in the order of the sources."""
        squares: dict[str, Floats] = {}
        for source, effect in self.effects.items():
            name = category(source)
            square = effect**2
            squares[name] = squares[name] + square if name in squares else square
        return {name: np.sqrt(square) for name, square in squares.items()}

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
        table = Estimates(
            value=self.value + sign * other.value,
            effects=self.effects,
            per_row=self.per_row,
            degrees_of_freedom=self.degrees_of_freedom,
        )
        return table.with_effects(
            {k: sign * v for k, v in other.effects.items()},
            per_row=other.per_row,
            degrees_of_freedom=other.degrees_of_freedom,
        )

    def minus(self, other: Estimates) -> Estimates:
        """Row by row ``self - other``; a source in both cancels as far as it is the same."""
        return self.plus(other, sign=-1.0)

    def group_sum(
        self, group: Ints, groups: int, *, independent: Collection[str] | None = None
    ) -> Estimates:
        """Sums of rows by ``group`` (n,), values 0..groups-1, as a table of ``groups`` rows.

        ``independent`` names the sources (or categories) that differ from row to row of a group;
        left out: those of ``per_row``. All others are one realisation and add with their signs.
        """
        separate = self.per_row if independent is None else frozenset(independent)
        effects: dict[str, Floats] = {}
        freedom: dict[str, Floats] = {}
        for source, effect in self.effects.items():
            if source in separate or category(source) in separate:
                effects[source] = np.sqrt(_sums(group, effect**2, groups))
            else:
                effects[source] = _sums(group, effect, groups)
        for name, column in self.degrees_of_freedom.items():
            freedom[name] = self._group_freedom(name, column, group, groups)
        return Estimates(
            value=_sums(group, self.value, groups),
            effects=effects,
            per_row=self.per_row,
            degrees_of_freedom=freedom,
        )

    def _group_freedom(self, name: str, column: Floats, group: Ints, groups: int) -> Floats:
        """Variance-weighted harmonic mean of a category's degrees of freedom (never optimistic)."""
        weight = self._parts().get(name, np.ones(len(self.value))) ** 2
        weight = np.where(np.isfinite(weight) & (weight > 0), weight, 1e-300)
        per = np.where(np.isfinite(column), 1.0 / np.where(column > 0, column, 1.0), 0.0)
        top, bottom = _sums(group, weight, groups), _sums(group, weight * per, groups)
        freedom: Floats = np.divide(top, bottom, out=np.full(groups, np.inf), where=bottom > 0)
        return freedom

    def interval(self, *, coverage: float = COVERAGE, floor: float | None = None) -> Interval:
        """Coverage interval by Student's t with Welch-Satterthwaite degrees of freedom (GUM G.4).

        A category of many degrees of freedom added to one of few raises the effective ones, so that
        t·u alone could fall although u rises. The half-width is therefore never less than that of
        any choice of the categories with few degrees of freedom, with or without all the others:
        an added source never narrows an interval. ``floor`` clips both bounds.
        """
        parts = self._parts()
        few = {k: v for k, v in self.degrees_of_freedom.items() if k in parts}
        none = np.zeros(len(self.value))
        many = none
        for name, part in parts.items():
            if name not in few:
                many = many + part**2
        cases = [_effective(parts, few, tuple(few), many)]  # all of them
        cases += [_effective(parts, few, names, none) for names in _choices(tuple(few))]
        cases += [_effective(parts, few, names, many) for names in _choices(tuple(few))][:-1]
        u, freedoms = (np.stack(columns) for columns in zip(*cases, strict=True))
        half = np.fmax.reduce(student_quantile(0.5 + coverage / 2, freedoms) * u)
        half, freedom = np.where(np.isfinite(self.u()), half, np.nan), freedoms[0]
        low, high = self.value - half, self.value + half
        if floor is not None:
            low, high = np.maximum(low, floor), np.maximum(high, floor)
        return Interval(low, high, freedom)

    def rows(self, rows: Ints | slice | Floats) -> Estimates:
        """The same table with only ``rows`` of every column."""
        return Estimates(
            value=self.value[rows],
            effects={k: v[rows] for k, v in self.effects.items()},
            per_row=self.per_row,
            degrees_of_freedom={k: v[rows] for k, v in self.degrees_of_freedom.items()},
        )


def _sums(group: Ints, column: Floats, groups: int) -> Floats:
    return np.bincount(group, column, groups).astype(np.float64, copy=False)


def _choices(names: tuple[str, ...]) -> Iterator[tuple[str, ...]]:
    """All choices of at least one of a few names, that of all of them last."""
    return chain.from_iterable(combinations(names, k) for k in range(1, len(names) + 1))


def _effective(
    parts: Mapping[str, Floats], few: Mapping[str, Floats], names: tuple[str, ...], others: Floats
) -> tuple[Floats, Floats]:
    """u of the categories ``names`` with ``others`` (variance, ν = ∞), and the effective ν.

    ν = u⁴ / Σ uᵢ⁴/νᵢ (Welch-Satterthwaite; GUM, JCGM 100:2008, equation G.2b), at least 1.
    """
    variance, bottom = others, np.zeros(len(others))
    for name in names:
        variance = variance + parts[name] ** 2
        finite = np.where(np.isfinite(few[name]), few[name], np.inf)
        bottom = bottom + parts[name] ** 4 / finite
    freedom = np.divide(variance**2, bottom, out=np.full(len(others), np.inf), where=bottom > 0)
    freedom = np.where(np.isnan(variance), np.nan, np.maximum(freedom, 1.0))
    return np.sqrt(variance), freedom


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
