"""One workload of the benchmarks and the ways it is done."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

Way = Callable[[int], Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One workload: geosand's way, others with how much they are scaled and what is aimed at."""

    what: str
    size: str
    mine: Way
    others: tuple[tuple[str, Way, float, float | None], ...]  #: words, way, scale, aim
    limit: tuple[str, Way, float] | None = None
    difference: str = ""
    agree: bool = True  #: whether both find the same, as far as they can; else something is broken
