"""The equations that all dressings of a season must fulfil together, with every source once.

For dressing d of spreader k, with W = Σ rate·perimeter and the spreader's strip width s unknown,

    balance   spread − on surfaces − (s + ηd)·W = 0
    rings     strip by the ring catches·W − (s + ηd)·W = 0
    weighed   count·unit mass − mass of the load on the weighbridge = 0
    stock     taken out + closing stock − opening stock − bought = 0
    density   measured − stated bulk density of a sand = 0

ηd is how the strip of this dressing differs from the spreader's mean. A unit mass, catch
efficiency, tray size, edge or bulk density is one figure with one error in all of them: that is
what tells a constant fault from a one-off.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from geosand.areas.register import AreaRegister
from geosand.balance.account import Balance, mass_on_surfaces
from geosand.balance.second_witnesses import DensityWitness, density_witness
from geosand.balance.spread import BAGS
from geosand.balance.stock import StockWitness
from geosand.balance.throw_fit import U_SHAPE, ThrowFit, throw_fit
from geosand.columns import Bools, Floats, Ints, Strings, ratio
from geosand.estimates import Estimates
from geosand.rates.surface_rates import CATCHES, MEAN, MEAN_SURFACES, SURFACE, Rates
from geosand.site.sand_tables import WeighedLoads
from geosand.site.tables import Site

OVERTHROW = "overthrow"
SHAPE = "throw shape"  #: error that the strips by ring catches of one spreader share
Columns = dict[str, Floats]


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """All that a season's equations are made of; b measured dressings."""

    site: Site
    dressing: Ints  #: (b,) rows of Dressings with an overthrow
    spreaders: Strings  #: (k,) "" = not named
    spreader: Ints  #: (b,) row of ``spreaders``
    spread: Estimates  #: (b,) kg
    on_surfaces: Estimates  #: (b,) kg
    edge_kg: Floats  #: (b,) W
    spread_errors: Mapping[str, Floats]  #: (b,) kg of each single error
    on_errors: Mapping[str, Floats]
    edge_errors: Mapping[str, Floats]
    ring: Ints  #: rows of ``dressing`` with ring catches
    ring_strip_m: Floats
    u_ring_strip_m: Floats  #: from its catches alone; the shape of the throw is shared
    weighed: WeighedLoads
    stock: StockWitness | None
    density: DensityWitness
    density_sand: Ints  #: sands with a stated and a measured bulk density

    @property
    def overthrow_kg(self) -> Floats:
        """Overthrow as stated (b,)."""
        difference: Floats = self.spread.value - self.on_surfaces.value
        return difference

    def stack(
        self,
        *,
        balance: Floats | float = 0.0,
        ring: Floats | float = 0.0,
        weighed: Floats | float = 0.0,
        stock: Floats | float = 0.0,
        density: Floats | float = 0.0,
    ) -> Floats:
        """One column over all equations from its part in each kind of them."""
        stocks = 0 if self.stock is None else len(self.stock.sand)
        sizes = (len(self.dressing), len(self.ring), len(self.weighed.load), stocks)
        parts = (balance, ring, weighed, stock, density)
        column: Floats = np.concatenate(
            [
                np.broadcast_to(np.asarray(part, dtype=np.float64), (size,))
                for part, size in zip(parts, (*sizes, len(self.density_sand)), strict=True)
            ]
        )
        return column


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """Adjusted figures about which the equations are linear.

    s·W is a product of two unknown figures, and so is count · unit mass. Taken as stated, the
    errors of the catches would be in the factor of s, and the day's own throw in the factor of the
    unit mass, and with them in what the equations leave open: an input would seem to explain it
    that has nothing to do with it (errors in variables). Adjusted figures are uncorrelated with
    what is left open, as far as the uncertainties are right (Gauss and Markov).
    """

    strip_m: Floats  #: (k,) strip width of each spreader
    between_m: Floats  #: (k,) standard deviation of the strip from dressing to dressing
    edge_kg: Floats  #: (b,) W
    on_kg: Floats  #: (b,) on surfaces

    def landed_kg(self, spreader: Ints) -> Floats:
        """On and beside the surfaces of each dressing (b,)."""
        total: Floats = self.on_kg + self.strip_m[spreader] * self.edge_kg
        return total

    def agreed(self, evidence: Evidence) -> Floats:
        """What landed over what was spread as stated (b,): scales what acts on the spread.

        1 where all that was taken out came back: errors of the loads are there as stated.
        """
        return ratio(self.landed_kg(evidence.spreader), evidence.spread.value, empty=1.0)

    def found(self, evidence: Evidence) -> Floats:
        """What landed over what landed as stated (b,): scales what acts on the catches."""
        at = self.strip_m[evidence.spreader]
        stated = evidence.on_surfaces.value + at * evidence.edge_kg
        return ratio(self.landed_kg(evidence.spreader), stated)


def evidence(
    site: Site,
    register: AreaRegister,
    rates: Rates,
    balance: Balance,
    *,
    fit: ThrowFit | None = None,
    weighed: WeighedLoads | None = None,
    stock: StockWitness | None = None,
) -> Evidence:
    """Collect the season's evidence; dressings without an overthrow are left out."""
    size, dressed = len(site.dressings), site.dressed
    fit = throw_fit(site, register, rates, balance) if fit is None else fit
    perimeter = register.perimeter_m[dressed.surface]
    around = rates.rate.scaled(perimeter).group_sum(dressed.dressing, size)
    known = np.isfinite(balance.overthrow.value) & (np.nan_to_num(around.value) > 0)
    rows = np.flatnonzero(known)
    names, spreader = np.unique(site.dressings.spreader[rows], return_inverse=True)
    on = mass_on_surfaces(site, register, rates, dressed.dressing, size)
    area = register.area_m2[dressed.surface]
    ring, strip, u_strip = _rings(fit, rows, size)
    density = density_witness(site, rates)
    return Evidence(
        site=site,
        dressing=rows,
        spreaders=names,
        spreader=spreader,
        spread=balance.spread.rows(rows),
        on_surfaces=on.rows(rows),
        edge_kg=around.value[rows],
        spread_errors=_load_errors(site, balance.spread, rows),
        on_errors=_surface_errors(site, rates, on, area, rows),
        edge_errors=_surface_errors(site, rates, around, perimeter, rows),
        ring=ring,
        ring_strip_m=strip,
        u_ring_strip_m=u_strip,
        weighed=site.weighed if weighed is None else weighed,
        stock=stock,
        density=density,
        density_sand=np.flatnonzero(np.isfinite(density.sigmas)),
    )


def _rings(fit: ThrowFit, rows: Ints, dressings: int) -> tuple[Ints, Floats, Floats]:
    """Strip by ring catches of each dressing all of whose groups have them (weighted by W)."""
    strip = fit.from_catches.strip_width_m
    u = np.sqrt(np.maximum(fit.from_catches.u_strip_width_m**2 - (U_SHAPE * strip) ** 2, 0.0))
    weight = np.bincount(fit.dressing, fit.edge_kg, dressings)
    mean = ratio(np.bincount(fit.dressing, fit.edge_kg * strip, dressings), weight)
    spread = ratio(np.sqrt(np.bincount(fit.dressing, (fit.edge_kg * u) ** 2, dressings)), weight)
    ring = np.flatnonzero(np.isfinite(mean[rows]) & np.isfinite(spread[rows]))
    return ring, mean[rows][ring], spread[rows][ring]


def _load_errors(site: Site, spread: Estimates, rows: Ints) -> Columns:
    """Errors of the spread: each load's bags by themselves, labels and moistures shared."""
    loads, columns = site.loads, {}
    dry = 1 + site.moistures.ratio[loads.moisture]
    bags = np.sqrt(loads.count) * loads.u_unit_mass_kg / dry
    for k, name in enumerate(loads.id.tolist()):
        mine = rows == loads.dressing[k]
        if mine.any():
            columns[f"{BAGS}: {name}"] = np.where(mine, bags[k], 0.0)
    columns.update({k: v[rows] for k, v in spread.effects.items() if k != BAGS})
    return columns


def _surface_errors(
    site: Site, rates: Rates, table: Estimates, extent: Floats, rows: Ints
) -> Columns:
    """Errors of Σ rate·extent: each surface's own deviation once, its catches anew each time.

    The error of a dressing's mean from which surfaces were caught on is the same in the next one
    as far as these are the same: correlation |C ∩ D|/√(|C|·|D|) of sets C and D of surfaces.
    """
    dressed, size = site.dressed, len(site.dressings)
    ground, ids = site.surfaces.ground[dressed.surface], len(site.ids)
    own = np.zeros((size, ids))
    if SURFACE in rates.rate.effects:
        np.add.at(
            own, (dressed.dressing, ground), np.nan_to_num(rates.rate.effects[SURFACE]) * extent
        )
    caught = np.zeros((size, ids))
    caught[dressed.dressing[rates.own], ground[rates.own]] = 1.0
    caught = caught * ratio(1.0, np.sqrt(caught.sum(axis=1)), empty=0.0)[:, None]
    mean = np.nan_to_num(table.effects.get(MEAN_SURFACES, np.zeros(size)))[:, None] * caught
    columns: Columns = {}
    for key, matrix in ((SURFACE, own[rows]), (MEAN_SURFACES, mean[rows])):
        for k in np.flatnonzero(np.any(matrix != 0, axis=0)).tolist():
            columns[f"{key}: {site.ids[k]}"] = matrix[:, k]
    for key, effect in table.effects.items():
        if key in (CATCHES, MEAN):
            single = np.diag(effect[rows])
            names = site.dressings.id[rows].tolist()
            columns.update({f"{key}: {n}": c for n, c in zip(names, single, strict=True)})
        elif key not in (SURFACE, MEAN_SURFACES):
            columns[key] = effect[rows]
    return columns


def equations(evidence: Evidence, point: Point) -> tuple[Floats, Floats, Columns]:
    """r (m,), A (m, k) and the error columns (m,) by name, linear about ``point``."""
    site, one = evidence.site, evidence
    at, edge = point.strip_m[one.spreader], point.edge_kg
    swing = -point.between_m[one.spreader] * edge
    residual = one.stack(
        balance=one.overthrow_kg + at * (edge - one.edge_kg),
        ring=one.ring_strip_m * edge[one.ring],
        weighed=_gross(site)[one.weighed.load] - one.weighed.mass_kg,
        stock=0.0 if one.stock is None else -one.stock.missing.value,
        density=one.density.measured[one.density_sand] - one.density.stated[one.density_sand],
    )
    mine = one.spreader == np.arange(len(one.spreaders))[:, None]
    held = np.where(mine, edge, 0.0)
    design = np.stack([one.stack(balance=w, ring=w[one.ring]) for w in held], axis=1)
    columns: Columns = {}
    names = [*one.spread_errors, *one.on_errors]
    for name in dict.fromkeys(names):
        columns[name] = one.stack(balance=balance_effect(one, point, name))
    for row, d in enumerate(one.dressing.tolist()):
        here: Bools = np.arange(len(one.dressing)) == row
        column = np.where(here, swing, 0.0)
        columns[f"{OVERTHROW}: {site.dressings.id[d]}"] = one.stack(
            balance=column, ring=column[one.ring]
        )
    _add_witnesses(one, edge, columns)
    return residual, design, {k: v for k, v in columns.items() if np.any(v != 0)}


def balance_effect(one: Evidence, point: Point, source: str) -> Floats:
    """Effect (b,) of one error on the balances, at the adjusted figures; 0 of one not there."""
    nothing = np.zeros(len(one.dressing))
    at = point.strip_m[one.spreader]
    on = one.on_errors.get(source, nothing) + at * one.edge_errors.get(source, nothing)
    spread = one.spread_errors.get(source, nothing)
    effect: Floats = point.agreed(one) * spread - point.found(one) * on
    return effect


def _gross(site: Site) -> Floats:
    gross: Floats = site.loads.count * site.loads.unit_mass_kg
    return gross


def _add_witnesses(one: Evidence, edge_kg: Floats, columns: Columns) -> None:
    """Errors of rings, weighings, stock and densities, shared with the balances where they are."""
    site, loads = one.site, one.site.loads

    def add(name: str, column: Floats) -> None:
        columns[name] = columns[name] + column if name in columns else column

    strip = one.ring_strip_m * edge_kg[one.ring]
    for k, name in enumerate(one.spreaders.tolist()):
        mine = one.spreader[one.ring] == k
        add(f"{SHAPE}: {name}", one.stack(ring=np.where(mine, U_SHAPE * strip, 0.0)))
    for row, k in enumerate(one.ring.tolist()):
        noise = np.where(np.arange(len(one.ring)) == row, one.u_ring_strip_m * edge_kg[k], 0.0)
        add(f"ring catches: {site.dressings.id[one.dressing[k]]}", one.stack(ring=noise))
    bags = np.sqrt(loads.count) * loads.u_unit_mass_kg
    labels = _gross(site) * loads.u_label
    for row, k in enumerate(one.weighed.load.tolist()):
        here = np.arange(len(one.weighed.load)) == row
        add(str(loads.label[k]), one.stack(weighed=np.where(here, labels[k], 0.0)))
        add(f"{BAGS}: {loads.id[k]}", one.stack(weighed=np.where(here, bags[k], 0.0)))
        add(
            f"weighing: {loads.id[k]}",
            one.stack(weighed=np.where(here, -one.weighed.u_mass_kg[row], 0.0)),
        )
    if one.stock is not None:
        for source, effect in one.stock.missing.effects.items():
            if source == BAGS:
                continue
            shared = source in columns
            names = site.sands.name[one.stock.sand].tolist()
            for row, name in enumerate(names if not shared else [""]):
                here = np.arange(len(names)) == row if not shared else np.ones(len(names), bool)
                key = source if shared else f"{source}: {name}"
                add(key, one.stack(stock=np.where(here, -effect, 0.0)))
        for k in np.flatnonzero(one.stock.loads.any(axis=0)).tolist():
            add(f"{BAGS}: {loads.id[k]}", one.stack(stock=one.stock.loads[:, k] * bags[k]))
    for row, k in enumerate(one.density_sand.tolist()):
        here = np.arange(len(one.density_sand)) == row
        stated, measured = one.density.u_stated[k], one.density.u_measured[k]
        name = str(site.sands.name[k])
        add(f"bulk density: {name}", one.stack(density=np.where(here, -stated, 0.0)))
        add(f"measured density: {name}", one.stack(density=np.where(here, measured, 0.0)))
