"""Surface rates of catches that name their dressing and surface, as the tests write them."""

from __future__ import annotations

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
