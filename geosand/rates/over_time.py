"""What of the sampling errors of a dressing stays with its surfaces, and what is new in the next.

The error of Σ Aᵢ·rateᵢ over surfaces of one dressing is, with aᵢ = Aᵢ·(1 − wᵢ) and T = Σ aᵢ in the
terms of ``geosand.rates.random_effects``, Σⱼ (T·gⱼ − aⱼ)·bⱼ + Σⱼ (T·gⱼ + Aⱼ·wⱼ)·ēⱼ. Its variance is
Σ aⱼ²·σb² + Σ (Aⱼ·wⱼ)²·σe²/nⱼ + T²·var μ, of which σb²·(T²·Σ gⱼ² − 2T·Σ gⱼaⱼ + Σ aⱼ²) is the same
error in each dressing: surfaces keep their deviations. Of a surface with the only catches nothing
stays, as they measure it each time.

Where trays move, dressings miss different deviations: their errors add up by the scalar products
of their columns cⱼ = T·gⱼ − aⱼ, which is less than linearly. How much of a deviation lasts is not
known: with a share ρ of it the variance of a sum is ρ·Σⱼ (Σ cⱼ)² + (1 − ρ)·Σⱼ Σ cⱼ², the inner sums
over dressings. The larger of the two is taken, so that no ρ makes it too small.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import replace

import numpy as np

from geosand.areas.uncertainty import Sums
from geosand.columns import Floats, Ints, Runs, ratio
from geosand.estimates import Estimates
from geosand.tuples import NamedTuple

SURFACE, CATCHES, MEAN = "sampling: surface", "sampling: catches", "sampling: mean"
NEW_EACH_TIME = frozenset({CATCHES})  #: not the same error in the next dressing
_FARTHEST = 100  #: dressings apart: beyond, two are taken to err alike, which is never too little


def sum_over_surfaces(
    rate: Estimates, in_mean: Floats, dressing: Ints, weight: Floats, group: Runs
) -> Estimates:
    """Σ weight · rate by ``group`` of rows of one dressing each; what stays and what is new apart.

    Rows (n,) are dressed surfaces: the ``dressing`` of each, and ``in_mean`` its g.
    """
    table = rate.group_sum(group, group.size, weight=weight)
    own = rate.effects[SURFACE] * weight
    total, mixed = group.sums(own), group.sums(own * in_mean)
    square = group.sums(in_mean * in_mean)
    of_group = dressing.take(group.first_rows())
    squares = np.bincount(of_group, square.take(group.present)).astype(np.float64)
    square = group.of_all(squares.take(of_group), np.nan)
    stays = table.effects[SURFACE] ** 2 + total * (total * square - 2 * mixed)
    return _divided(table, np.sqrt(np.maximum(stays, 0.0)))


def surfaces_alone(table: Estimates, in_mean: Floats, dressing: Ints) -> Estimates:
    """A table of dressed surfaces, each by itself; what stays and what is new apart.

    Its rows are not to be added up over a dressing: what they share is no longer told.
    """
    share = 1 - 2 * in_mean + _squares(in_mean, dressing)
    return _divided(table, table.effects[SURFACE] * np.sqrt(np.maximum(share, 0.0)))


def deviations(rate: Estimates, in_mean: Floats, dressing: Ints, weight: Floats) -> Floats:
    """c (n,): what one u of a surface's own deviation does to Σ weight · rate of its dressing."""
    own = np.nan_to_num(rate.effects[SURFACE] * weight)
    return np.bincount(dressing, own)[dressing] * in_mean - own


def stays_of_totals(deviation: Floats, surface: Ints, group: Runs, of_row: Ints) -> Floats:
    """What stays (groups,) of sums over dressings of all their rows (n,), as one u.

    ``deviation`` as of :func:`deviations`; ``group`` are the runs of ``of_row``.
    """
    lasting = Sums.of(of_row, surface, deviation, group).root_of_squares()
    return np.maximum(lasting, np.sqrt(group.sums(deviation * deviation)))


class Links(NamedTuple):
    """Scalar products of columns cⱼ of near dressings: [d, k] is that of d and d + k."""

    product: Floats

    @classmethod
    def of(cls, column: Floats, dressing: Ints, surface: Ints, dressings: int) -> Links:
        """Of the columns whose entries (n,) are in rows of a dressing and a surface (an id).

        Rows are in order of dressing.
        """
        kept = np.flatnonzero(column)
        kept = kept[np.argsort(surface[kept], kind="stable")]
        dressing, column = dressing[kept], column[kept]
        links = cls(np.zeros((dressings, 1 + min(_FARTHEST, max(dressings - 1, 0)))))
        links.product[:, 0] = np.bincount(dressing, column * column, dressings)
        every = links.product.reshape(-1)
        for one, other in _near(surface[kept], dressing):
            both = column.take(one) * column.take(other)
            np.add.at(every, links._places(dressing.take(one), dressing.take(other)), both)
        return links

    def between(self, one: Ints, other: Ints) -> Floats:
        """The products of dressings with later ones that are near."""
        return self.product.reshape(-1).take(self._places(one, other))

    def _places(self, one: Ints, other: Ints) -> Ints:
        places: Ints = one * (self.product.shape[1] - 1) + other
        return places


def _near(key: Ints, dressing: Ints) -> Iterator[tuple[Ints, Ints]]:
    """Pairs of rows of one key and near dressings, those 1, 2, … rows apart in turn.

    ``key``, then ``dressing``, ascend: what is too far from a row stays so farther on.
    """
    far = int(dressing.max(initial=0)) + _FARTHEST + 1
    day = np.append(key * far + dressing, np.iinfo(np.int64).max)
    one = np.arange(len(key))
    for step in range(1, len(key)):
        one = one[day.take(one + step) - day.take(one) <= _FARTHEST]
        if not len(one):
            break
        yield one, one + step


def sum_over_dressings(
    table: Estimates,
    dressing: Ints,
    links: Links,
    group: Ints,
    groups: int,
    *,
    offset: Floats | float = 0.0,
    weight: Floats | float = 1.0,
    independent: Collection[str] = NEW_EACH_TIME,
) -> Estimates:
    """Σ weight · table by ``group`` of rows (n,), in order of dressing, each once in a group.

    The scalar product of the errors of two rows is that of their dressings' ``links`` plus both
    their ``offset``.
    """
    total = table.group_sum(group, groups, independent=independent, weight=weight)
    order = np.argsort(group, kind="stable")
    stays = (table.effects[SURFACE] * weight)[order]
    own, day, key = (np.zeros(len(table)) + offset)[order], dressing[order], group[order]
    size = np.sqrt(np.maximum(links.product[day, 0] + 2 * own, 0.0))
    each, less = ratio(stays, size, empty=0.0), np.zeros(len(order))
    for one, other in _near(key, day):
        apart = size.take(one) * size.take(other) - own.take(one) - own.take(other)
        apart -= links.between(day.take(one), day.take(other))
        less[one] += each.take(one) * each.take(other) * apart
    lasting = total.effects[SURFACE] ** 2 - 2 * np.bincount(key, less, groups)
    anew = np.bincount(key, stays * stays, groups)
    stays = np.copysign(np.sqrt(np.maximum(lasting, anew)), total.effects[SURFACE])
    return replace(total, effects={**total.effects, SURFACE: stays})


def sum_of_surfaces(
    table: Estimates,
    in_mean: Floats,
    dressing: Ints,
    surface: Ints,
    rows: Ints,
    group: Ints,
    groups: int,
    *,
    weight: Floats | float = 1.0,
) -> Estimates:
    """Σ weight · table by ``group`` of some ``rows``, each group those of one surface.

    ``table`` is that of :func:`surfaces_alone`, (n,) rows of a ``dressing`` and a ``surface`` (its
    id); ``group`` and ``weight`` are those of the ``rows``. The error of a surface by itself has
    the column (1 − w)·(g − 1 where it is itself, g where it is another).
    """
    return sum_over_dressings(
        table.rows(rows),
        dressing[rows],
        Links.of(in_mean, dressing, surface, 1 + int(dressing.max(initial=-1))),
        group,
        groups,
        offset=0.5 - in_mean[rows],
        weight=weight,
    )


def _squares(in_mean: Floats, dressing: Ints) -> Floats:
    """Σ g² over the surfaces of the dressing of each row."""
    return np.bincount(dressing, in_mean**2)[dressing].astype(np.float64)


def _divided(table: Estimates, stays: Floats) -> Estimates:
    """The table with ``stays`` of its sampling u as what stays and the rest as what is new."""
    effects = dict(table.effects)
    square = effects[SURFACE] ** 2 + effects[CATCHES] ** 2 + effects.pop(MEAN) ** 2
    effects[SURFACE] = stays
    effects[CATCHES] = np.sqrt(np.maximum(square - stays**2, 0.0))
    return replace(table, effects=effects)
