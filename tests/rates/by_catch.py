"""Surface rates of catches that name their dressing and surface, as the tests write them."""

from __future__ import annotations

import numpy as np

from geosand.columns import Floats, Ints
from geosand.rates.catch_rows import rows_of_pairs
from geosand.rates.random_effects import SurfaceRates, rates_of_rows
from geosand.rates.variance_components import Prior


def surface_rates(
    *,
    y: Floats,
    group: Ints,
    surface: Ints,
    spreader: Ints,
    dressed_group: Ints,
    dressed_surface: Ints,
    **prior: float,
) -> SurfaceRates:
    """``y``, ``group`` and ``surface`` have a row a catch, the dressed ones a row a surface."""
    row = rows_of_pairs(dressed_group, dressed_surface, group, surface)
    return rates_of_rows(y, row, spreader, dressed_group, Prior(**prior))


def rates_of(dressings, dressed=None, spreader=None, **options):
    """Surface rates of dressings given as {surface: catches}; ``dressed`` adds other surfaces."""
    dressed = dressed or [sorted(d) for d in dressings]
    rows = [(g, s, y) for g, d in enumerate(dressings) for s, c in d.items() for y in c]
    return surface_rates(
        y=np.array([r[2] for r in rows], float),
        group=np.array([r[0] for r in rows], int),
        surface=np.array([r[1] for r in rows], int),
        spreader=np.array([-1] * len(dressings) if spreader is None else spreader, int),
        dressed_group=np.repeat(np.arange(len(dressed)), [len(d) for d in dressed]),
        dressed_surface=np.array([s for d in dressed for s in d], int),
        **options,
    )
