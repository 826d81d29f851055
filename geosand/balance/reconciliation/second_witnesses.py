"""Second witnesses of a balance in the catches: other measurements of what it says.

- Catches in collar and surrounds: the overthrow that they caught, and what of the balance's
  overthrow stays unaccounted.
- The sand's bulk density as stated against catches with a mass and a volume.

Sand weighed again or counted in the yard is a witness of the loads: :mod:`geosand.balance.stock`.
:mod:`geosand.balance.reconciliation.reconcile` puts all of them together.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geosand.balance.account import Balance
from geosand.balance.throw_fit import ThrowFit, throw_fit
from geosand.columns import Floats, Ints, columns, ratio
from geosand.estimates import Estimates
from geosand.rates.catch_rates import measured_densities
from geosand.site.tables import Site

CAUGHT = "ring catches"


@dataclass(frozen=True, slots=True, kw_only=True)
class Unaccounted:
    """One row a group of Balance; nan where it has no ring catches."""

    catches: Ints
    caught: Estimates  #: kg, overthrow by the ring catches alone
    unaccounted: Estimates  #: kg, overthrow of the balance less what was caught


@columns
class DensityWitness:
    """Bulk density of each sand, stated and measured, kg/m³; nan where one of them is not known."""

    stated: Floats
    u_stated: Floats
    measured: Floats
    u_measured: Floats
    sigmas: Floats  #: measured less stated, over the u of the difference


def unaccounted(balance: Balance, fit: ThrowFit | None = None) -> Unaccounted:
    """Overthrow that ring catches caught, and what of the balance's stays unaccounted.

    Caught = strip width by the catches · Σ rate·perimeter. The strip is a ratio of two catches, so
    that catch efficiency and tray size enter caught as they enter the rates, and the sum of both
    with their signs.
    """
    fit = throw_fit(balance) if fit is None else fit
    strip = fit.from_catches.strip_width_m
    perimeter = balance.areas.perimeter_m[balance.site.dressed.surface]
    groups = len(fit.dressing)
    edge = balance.rates.rate.scaled(perimeter).group_sum(balance.group_of_row, groups)
    noise = fit.from_catches.u_strip_width_m * fit.edge_kg
    caught = edge.scaled(strip).with_effects({CAUGHT: noise}, per_row={CAUGHT})
    rest = fit.overthrow.minus(caught)
    return Unaccounted(catches=fit.catches, caught=caught, unaccounted=rest)


def density_witness(site: Site) -> DensityWitness:
    """Stated bulk density of each sand against that by its readings of mass and volume."""
    stated, u_stated = site.sands.bulk_density_kg_m3, site.sands.u_bulk_density_kg_m3
    mean, u = measured_densities(site)
    return DensityWitness(
        stated=stated.copy(),
        u_stated=np.where(np.isnan(stated), np.nan, u_stated),
        measured=mean,
        u_measured=u,
        sigmas=ratio(mean - stated, np.hypot(u, u_stated)),
    )
