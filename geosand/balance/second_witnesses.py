"""Second witnesses of a balance in the catches: other measurements of what it says.

- Catches in collar and surrounds: the overthrow that they caught, and what of the balance's
  overthrow stays unaccounted.
- The sand's bulk density as stated against catches with a mass and a volume.

Sand weighed again or counted in the yard is a witness of the loads: :mod:`geosand.balance.stock`.
:mod:`geosand.balance.reconciliation` puts all of them together.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geosand.areas.register import AreaRegister
from geosand.balance.account import Balance
from geosand.balance.stock import SIGNIFICANT
from geosand.balance.throw_fit import ThrowFit, throw_fit
from geosand.columns import Floats, Ints, freeze, ratio
from geosand.errors import Finding
from geosand.estimates import Estimates
from geosand.rates.catch_rates import measured_densities
from geosand.rates.surface_rates import Rates
from geosand.site.tables import Site
from geosand.units import figure

CAUGHT = "ring catches"


@dataclass(frozen=True, slots=True, kw_only=True)
class Unaccounted:
    """One row a group of Balance; nan where it has no ring catches."""

    catches: Ints
    caught: Estimates  #: kg, overthrow by the ring catches alone
    unaccounted: Estimates  #: kg, overthrow of the balance less what was caught
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class DensityWitness:
    """Bulk density of each sand, stated and measured, kg/m³; nan where one of them is not known."""

    stated: Floats
    u_stated: Floats
    measured: Floats
    u_measured: Floats
    sigmas: Floats  #: measured less stated, over the u of the difference

    def __post_init__(self) -> None:
        freeze(self)


def unaccounted(
    site: Site,
    register: AreaRegister,
    rates: Rates,
    balance: Balance,
    fit: ThrowFit | None = None,
) -> Unaccounted:
    """Overthrow that ring catches caught, and what of the balance's stays unaccounted.

    Caught = strip width by the catches · Σ rate·perimeter. The strip is a ratio of two catches, so
    that catch efficiency and tray size enter caught as they enter the rates, and the sum of both
    with their signs.
    """
    fit = throw_fit(site, register, rates, balance) if fit is None else fit
    strip = fit.from_catches.strip_width_m
    perimeter = register.perimeter_m[site.dressed.surface]
    groups = len(fit.dressing)
    edge = rates.rate.scaled(perimeter).group_sum(balance.group_of_row, groups)
    noise = fit.from_catches.u_strip_width_m * fit.edge_kg
    caught = edge.scaled(strip).with_effects({CAUGHT: noise}, per_row={CAUGHT})
    rest = fit.overthrow.minus(caught)
    findings = []
    for g in np.flatnonzero(np.abs(rest.value) > SIGNIFICANT * rest.u()).tolist():
        name = str(site.dressings.id[fit.dressing[g]])
        mass = figure(abs(rest.value[g]), "mass", site.units, u=rest.u()[g])
        what = (
            f"{mass} of its overthrow are not in the rings' catches: sand lost"
            " elsewhere, or a figure of the balance is off"
            if rest.value[g] > 0
            else f"the rings' catches hold {mass} more than the balance's overthrow"
        )
        findings.append(Finding(about=name, text=what, topic="balance"))
    return Unaccounted(
        catches=fit.catches, caught=caught, unaccounted=rest, findings=tuple(findings)
    )


def density_witness(site: Site) -> DensityWitness:
    """Stated bulk density of each sand against that by its readings of mass and volume."""
    stated, u_stated = site.sands.bulk_density_kg_m3, site.sands.u_bulk_density_kg_m3
    _, mean, u = measured_densities(site)
    return DensityWitness(
        stated=stated.copy(),
        u_stated=np.where(np.isnan(stated), np.nan, u_stated),
        measured=mean,
        u_measured=u,
        sigmas=ratio(mean - stated, np.hypot(u, u_stated)),
    )
