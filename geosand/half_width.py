"""Half-widths of coverage intervals whose sources have few degrees of freedom."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import combinations

import numpy as np

from geosand.columns import Floats
from geosand.distributions import coverage_factor


def half_width(
    many: Floats,
    few: Mapping[str, Floats],
    degrees_of_freedom: Mapping[str, Floats],
    coverage: float,
) -> tuple[Floats, Floats]:
    """Student's t times u (n,), and the effective degrees of freedom (n,) of all sources together.

    ``few``: variances (n,) of the categories that have ``degrees_of_freedom`` (n,); ``many``: that
    of all others together. A category of many degrees of freedom added to one of few raises the
    effective ones, so that t·u alone could fall although u rises. The half-width is therefore never
    less than that of any choice of the categories with few degrees of freedom, with or without all
    the others: an added source never narrows an interval.
    """
    # uᵢ⁴/νᵢ
    lost = {k: v * v / np.fmin(degrees_of_freedom[k], np.inf) for k, v in few.items()}
    choices = _choices(tuple(few))
    variance = np.zeros((2, len(choices), len(many)))  # with all the others, without them
    bottom = np.zeros(variance.shape[1:])
    for k, names in enumerate(choices):
        for name in names:
            variance[1, k] += few[name]
            bottom[k] += lost[name]
    np.add(variance[1], many, out=variance[0])
    freedom = _effective(variance, bottom)
    factor = coverage_factor(coverage, freedom)
    factor *= np.sqrt(variance)
    half: Floats = np.maximum.reduce(factor, axis=(0, 1))
    return half, freedom[0, 0]


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
