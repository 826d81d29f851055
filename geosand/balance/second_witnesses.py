"""Second witnesses of a balance: other measurements of what it says.

- Catches in collar and surrounds against the throw-off that the balance supposes, the overthrow
  that they caught, and what of the balance's overthrow stays unaccounted.
- The sand's bulk density as stated against catches with a mass and a volume.
- Sand bought less sand taken out less sand counted in stock: not accounted for over the season.
  This is material balance accounting: (beginning inventory + receipts) − (removals + ending
  inventory) = material unaccounted for (US AEC Regulatory Guide 5.33, June 1974, equation 2), its
  variance with the covariances of what is shared (J. L. Jaech, Journal of the Institute of Nuclear
  Materials Management 1(2), p. 14); significant above twice its standard deviation (Jaech, the
  same journal, 2(4)). Positive = missing.

Sand that is weighed again is a witness of its bags; :mod:`geosand.balance.reconciliation` puts all
of them together.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geosand.areas.register import AreaRegister
from geosand.balance.account import Balance
from geosand.balance.spread import BAGS
from geosand.balance.throw_fit import ThrowFit, ring_catches, throw_fit
from geosand.columns import Bools, Dates, Floats, Ints, Strings, freeze, ratio
from geosand.errors import Finding
from geosand.estimates import Estimates
from geosand.rates.surface_rates import Rates
from geosand.site.tables import Site

SIGNIFICANT = 2.0  #: sigmas from which a witness speaks against a figure (Jaech, above)
U_DELIVERY = 0.005  #: relative, of one ticket where nothing is said (common practice)
U_COUNT = 0.03  #: relative, of a stock count where nothing is said (common practice)
CAUGHT = "ring catches"


@dataclass(frozen=True, slots=True, kw_only=True)
class RingWitness:
    """Catches beside the dressed surfaces, one row a catch."""

    catch: Ints  #: row of Catches
    group: Ints  #: row of the groups of Balance
    zone: Strings
    outside_m: Floats
    rate_kg_m2: Floats
    predicted_kg_m2: Floats  #: rate·(1 − x/L) at the balance's reach; nan: no overthrow, no reach
    sigmas: Floats  #: caught less predicted, over the scatter of a catch; nan as above

    def __post_init__(self) -> None:
        freeze(self)


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
    readings: Ints
    sigmas: Floats  #: measured less stated, over the u of the difference

    def __post_init__(self) -> None:
        freeze(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class StockCounts:
    """Sand counted in the yard, one row a count."""

    date: Dates
    mass_kg: Floats  #: as it lies there
    u_mass_kg: Floats  #: nan: 3 %
    sand: Ints

    def __post_init__(self) -> None:
        freeze(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class WeighedLoads:
    """Loads of bags or hoppers that were also weighed as a whole, one row a weighing."""

    load: Ints  #: row of Loads
    mass_kg: Floats  #: as weighed: all its units with their water, before any came back
    u_mass_kg: Floats

    def __post_init__(self) -> None:
        freeze(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class StockWitness:
    """One row a sand with a closing count: from its opening count, or from nothing, to it."""

    sand: Ints
    opened: Dates  #: day of the opening count; NaT: taken as an empty yard
    closed: Dates
    bought: Estimates  #: kg
    taken: Estimates  #: kg, loads less what came back
    missing: Estimates  #: kg; opening + bought − taken − closing
    loads: Bools  #: (sands with a count, loads): the loads between the counts
    findings: tuple[Finding, ...]


def ring_witness(site: Site, rates: Rates, balance: Balance) -> RingWitness:
    """What each ring catch caught beside what the balance's throw-off predicts for its place."""
    row, group = ring_catches(site, rates, balance)
    where, dressing = rates.assignment, site.catches.dressing[row]
    x, reach = where.outside_m[row], balance.throw.reach_m[group]
    rate = rates.rate.value[where.nearest[row]]
    predicted = np.where(reach > 0, rate * np.maximum(0.0, 1 - ratio(x, reach)), np.nan)
    caught = rates.each.rate_kg_m2[row]
    own = ratio(rates.model.sigma_e, rates.model.mu, empty=0.0)[dressing]
    slope = np.where(x < reach, ratio(rate, reach), 0.0)
    taped = np.isfinite(site.catches.edge_distance_m[row])
    u_x = np.where(taped, 0.1, site.catches.position_accuracy_m[row])
    u = np.sqrt((own * predicted) ** 2 + (0.03 * rate) ** 2 + (slope * u_x) ** 2)
    return RingWitness(
        catch=row,
        group=group,
        zone=where.zone[row],
        outside_m=x,
        rate_kg_m2=caught,
        predicted_kg_m2=predicted,
        sigmas=ratio(caught - predicted, u),
    )


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
        kg, u = rest.value[g], rest.u()[g]
        what = (
            f"{kg:.0f} ± {u:.0f} kg of its overthrow are not in the rings' catches: sand lost"
            " elsewhere, or a figure of the balance is off"
            if kg > 0
            else f"the rings' catches hold {-kg:.0f} ± {u:.0f} kg more than the balance's overthrow"
        )
        findings.append(Finding(about=name, text=what, topic="balance"))
    return Unaccounted(
        catches=fit.catches, caught=caught, unaccounted=rest, findings=tuple(findings)
    )


def density_witness(site: Site, rates: Rates) -> DensityWitness:
    """Stated bulk density of each sand against the mean of its readings of mass and volume.

    u of the mean: scatter/√n from three readings up, at least 1 % of the mean, as pouring and
    reading a volume err alike in all; 3 % below (common practice, no published source).
    """
    sands, each = site.sands, rates.each
    both = each.counts_mass & each.counts_volume & (each.volume_depth_m > 0)
    sand = site.dressings.sand[site.catches.dressing][both]
    size = len(sands.name)
    density = ratio(each.mass_rate_kg_m2, each.volume_depth_m)[both]
    n = np.bincount(sand, minlength=size)
    mean = ratio(np.bincount(sand, density, size), n)
    squares = np.bincount(sand, (density - mean[sand]) ** 2, size)
    scatter = np.sqrt(ratio(squares, n * np.maximum(n - 1, 1), empty=0.0))
    u = np.where(n < 3, 0.03 * mean, np.maximum(scatter, 0.01 * mean))
    stated, u_stated = sands.bulk_density_kg_m3, sands.u_bulk_density_kg_m3
    return DensityWitness(
        stated=stated.copy(),
        u_stated=np.where(np.isnan(stated), np.nan, u_stated),
        measured=mean,
        u_measured=u,
        readings=n,
        sigmas=ratio(mean - stated, np.hypot(u, u_stated)),
    )


def stock_witness(site: Site, counts: StockCounts) -> StockWitness:
    """Sand not accounted for between the first and the last count of each sand.

    With a single count the yard is taken as empty when the first ticket came. A delivery or a load
    on the day of a count is taken as before it. All masses as weighed, with their water: what dries
    or is rained on in the yard is part of what is missing. Bags err together (label), tickets each
    for themselves.
    """
    sand = np.unique(counts.sand)
    empty = np.datetime64("NaT", "D")
    order = np.lexsort((counts.date, counts.sand))
    first = np.array([order[counts.sand[order] == s][0] for s in sand], dtype=np.int64)
    last = np.array([order[counts.sand[order] == s][-1] for s in sand], dtype=np.int64)
    opened = np.where(first == last, empty, counts.date[first])
    closed = counts.date[last]
    bought = _bought(site, sand, opened, closed)
    taken, loads = _taken(site, sand, opened, closed)
    u = np.where(np.isnan(counts.u_mass_kg), U_COUNT * counts.mass_kg, counts.u_mass_kg)
    start = np.where(first == last, 0.0, counts.mass_kg[first])
    stock = Estimates(
        value=start - counts.mass_kg[last],
        effects={
            "opening count": np.where(first == last, 0.0, u[first]),
            "closing count": -u[last],
        },
        per_row=frozenset({"opening count", "closing count"}),
    )
    missing = stock.plus(bought).minus(taken)
    return StockWitness(
        sand=sand,
        opened=opened,
        closed=closed,
        bought=bought,
        taken=taken,
        missing=missing,
        loads=loads,
        findings=tuple(_stock_findings(site, sand, missing)),
    )


def _between(date: Dates, opened: Dates, closed: Dates) -> Bools:
    """(k, n): after the opening count, if any, and not after the closing one."""
    late = np.isnat(opened)[:, None] | (date > opened[:, None])
    inside: Bools = late & (date <= closed[:, None])
    return inside


def _bought(site: Site, sand: Ints, opened: Dates, closed: Dates) -> Estimates:
    tickets = site.deliveries
    mine = (tickets.sand == sand[:, None]) & _between(tickets.date, opened, closed)
    u = U_DELIVERY * np.sqrt((mine * tickets.mass_kg**2).sum(axis=1))
    value = (mine * tickets.mass_kg).sum(axis=1)
    return Estimates(value=value, effects={"tickets": u}, per_row=frozenset({"tickets"}))


def _taken(site: Site, sand: Ints, opened: Dates, closed: Dates) -> tuple[Estimates, Bools]:
    loads = site.loads
    date = site.dressings.date[loads.dressing]
    mine = (site.dressings.sand[loads.dressing] == sand[:, None]) & _between(date, opened, closed)
    gross = loads.count * loads.unit_mass_kg
    effects = {
        str(label): (mine * np.where(loads.label == label, gross * loads.u_label, 0.0)).sum(axis=1)
        for label in np.unique(loads.label)
    }
    effects[BAGS] = np.sqrt((mine * loads.count * loads.u_unit_mass_kg**2).sum(axis=1))
    value = (mine * (gross - loads.returned_kg)).sum(axis=1)
    return Estimates(value=value, effects=effects, per_row=frozenset({BAGS})), mine


def _stock_findings(site: Site, sand: Ints, missing: Estimates) -> list[Finding]:
    findings = []
    u = missing.u()
    for k in np.flatnonzero(np.abs(missing.value) > SIGNIFICANT * u).tolist():
        kg, name = missing.value[k], str(site.sands.name[sand[k]])
        text = (
            f"{kg:.0f} ± {u[k]:.0f} kg were bought and are neither in the loads nor in stock:"
            " a load without a record, heavier bags than said, or sand used otherwise"
            if kg > 0
            else f"{-kg:.0f} ± {u[k]:.0f} kg more were taken out or counted than were bought: a"
            " delivery without a ticket, or lighter bags than said"
        )
        findings.append(Finding(about=f"sand {name}".strip(), text=text, topic="balance"))
    return findings
