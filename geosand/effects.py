"""Sources of uncertainty by name: the effect of each, and where those of two tables meet.

A source is named ``"category"`` or ``"category: which one"``.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import lru_cache

import numpy as np

from geosand.columns import Floats


def category(source: str) -> str:
    """The part of a source's name before the colon."""
    return source.partition(":")[0]


class Effects(Mapping[str, Floats]):
    """The signed effect (n,) of each source, rows of one table that is worked on at once."""

    __slots__ = ("sources", "table", "value")

    def __init__(self, sources: tuple[str, ...], table: Floats) -> None:
        self.sources = sources
        self.table = table  #: (1 + sources, n): the values, then the effect of each source
        self.value: Floats = table[0]

    @classmethod
    def laid(cls, value: Floats, effects: Mapping[str, Floats]) -> Effects:
        """Columns of any kind as rows of one table."""
        table = np.empty((1 + len(effects), len(value)))
        table[0] = value
        for row, effect in enumerate(effects.values(), 1):
            table[row] = effect
        return cls(tuple(effects), table)

    def __getitem__(self, source: str) -> Floats:
        if source not in self.sources:
            raise KeyError(source)
        effect: Floats = self.table[1 + self.sources.index(source)]
        return effect

    def __iter__(self) -> Iterator[str]:
        return iter(self.sources)

    def __len__(self) -> int:
        return len(self.sources)


@lru_cache(maxsize=256)
def places_by_category(sources: tuple[str, ...]) -> list[tuple[str, list[int]]]:
    """Each category, by name, with the places of its sources, by name too."""
    places: dict[str, list[int]] = {}
    for source in sorted(sources):
        places.setdefault(category(source), []).append(sources.index(source))
    return sorted(places.items())


@lru_cache(maxsize=256)
def rows_named(sources: tuple[str, ...], names: frozenset[str]) -> list[int]:
    """Rows of a table of the sources that are named, or whose category is."""
    return [k for k, one in enumerate(sources, 1) if one in names or category(one) in names]


@lru_cache(maxsize=256)
def together(
    left: tuple[str, ...], right: tuple[str, ...]
) -> tuple[tuple[str, ...], list[tuple[int, int]], list[int]]:
    """The sources of two tables, those of both as pairs of places, and what only ``right`` has."""
    both = [(left.index(source), k) for k, source in enumerate(right) if source in left]
    new = [k for k, source in enumerate(right) if source not in left]
    return (*left, *[right[k] for k in new]), both, new
