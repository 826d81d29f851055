"""What a season's balances are reconciled from: figures, witnesses, and every error by itself.

A unit mass, catch efficiency, tray size, edge or bulk density is one figure with one error in all
dressings: that is what tells a constant fault from a one-off. Strip widths, which nobody measured,
start from what they usually are.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from geosand.balance.account import Balance
from geosand.balance.reconciliation.second_witnesses import DensityWitness, density_witness
from geosand.balance.spread import BAGS, NEW, load_masses
from geosand.balance.stock import StockWitness
from geosand.balance.strip_widths import SCATTER, SCATTER_FREEDOM
from geosand.balance.throw_fit import U_SHAPE, ThrowFit, throw_fit
from geosand.columns import Floats, Ints, Runs, Strings, ratio
from geosand.estimates import Estimates
from geosand.rates.over_time import CATCHES, SURFACE, deviations, sum_over_surfaces
from geosand.rates.surface_rates import Rates
from geosand.site.sand_tables import WeighedLoads
from geosand.site.tables import Site

Columns = dict[str, Floats]
LEAST_FREEDOM = 2  #: that kinds of bags must leave for the scatter to be taken within them


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
    freedom: Mapping[str, float]  #: of the u of single errors, where it was estimated from few
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
        return self.spread.value - self.on_surfaces.value

    @property
    def sizes(self) -> dict[str, int]:
        """How many equations there are of each kind, in their order."""
        return {
            "balance": len(self.dressing),
            "ring": len(self.ring),
            "weighed": len(self.weighed.load),
            "stock": 0 if self.stock is None else len(self.stock.sand),
            "density": len(self.density_sand),
        }

    def stack(self, **parts: Floats | float) -> Floats:
        """One column over all equations from its part in each kind of them, 0 in others."""
        sizes = self.sizes
        every = dict.fromkeys(sizes, 0.0) | parts
        return np.concatenate(
            [np.broadcast_to(np.asarray(p, np.float64), sizes[kind]) for kind, p in every.items()]
        )

    def single(self, kind: str, row: int, value: float = 1.0) -> Floats:
        """A column over all equations that is ``value`` in one of a kind and else 0."""
        return self.stack(**{kind: value * (np.arange(self.sizes[kind]) == row)})


def evidence(
    balance: Balance, *, fit: ThrowFit | None = None, stock: StockWitness | None = None
) -> Evidence:
    """Collect the season's evidence; dressings without an overthrow are left out."""
    site, register, rates = balance.site, balance.areas, balance.rates
    size, dressed = len(site.dressings), site.dressed
    fit = throw_fit(balance) if fit is None else fit
    perimeter = register.perimeter_m[dressed.surface]
    runs = Runs(dressed.dressing, size)
    around = sum_over_surfaces(rates.rate, rates.in_mean, dressed.dressing, perimeter, runs)
    known = np.isfinite(balance.overthrow.value) & (np.nan_to_num(around.value) > 0)
    rows = np.flatnonzero(known)
    names, spreader = np.unique(site.dressings.spreader[rows], return_inverse=True)
    area = register.area_m2[dressed.surface]
    ring, strip, u_strip = _rings(fit, rows, size)
    density = density_witness(site)
    return Evidence(
        site=site,
        dressing=rows,
        spreaders=names,
        spreader=spreader,
        spread=balance.spread.rows(rows),
        on_surfaces=balance.on_surfaces.rows(rows),
        edge_kg=around.value[rows],
        spread_errors=_load_errors(site, balance.spread, rows),
        on_errors=_surface_errors(site, rates, balance.on_surfaces, area, rows),
        edge_errors=_surface_errors(site, rates, around, perimeter, rows),
        freedom=_freedom(site, rates, rows),
        ring=ring,
        ring_strip_m=strip,
        u_ring_strip_m=u_strip,
        weighed=site.weighed,
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
    bags = load_masses(loads, site.moistures).effects[BAGS]
    for k, name in enumerate(loads.id.tolist()):
        mine = rows == loads.dressing[k]
        if mine.any():
            columns[f"{BAGS}: {name}"] = np.where(mine, bags[k], 0.0)
    columns.update({k: v[rows] for k, v in spread.effects.items() if k != BAGS})
    return columns


def _freedom(site: Site, rates: Rates, rows: Ints) -> dict[str, float]:
    """Degrees of freedom of the scatter of each dressing's catches, and of that of the surfaces.

    Surfaces have the fewest that sampling has in any dressing.
    """
    names, catches = site.dressings.id[rows].tolist(), rates.model.freedom_e[rows].tolist()
    fewest = float(rates.model.degrees_of_freedom[rows].min(initial=np.inf))
    return {f"{CATCHES}: {name}": freedom for name, freedom in zip(names, catches, strict=True)} | {
        f"{SURFACE}: {name}": fewest for name in site.ids
    }


def _surface_errors(
    site: Site, rates: Rates, table: Estimates, extent: Floats, rows: Ints
) -> Columns:
    """Errors of Σ rate·extent: each surface's own deviation once, the catches anew each time.

    A deviation lowers its surface's rate and raises the dressing's mean as far as it is caught on:
    see :mod:`geosand.rates.over_time`.
    """
    dressed, size = site.dressed, len(site.dressings)
    moved = deviations(rates.rate, rates.in_mean, dressed.dressing, extent)
    matrix = np.zeros((size, len(site.ids)))
    np.add.at(matrix, (dressed.dressing, site.surfaces.ground[dressed.surface]), moved)
    columns: Columns = {}
    for k in np.flatnonzero(np.any(matrix[rows] != 0, axis=0)).tolist():
        columns[f"{SURFACE}: {site.ids[k]}"] = matrix[rows, k]
    for key, effect in table.effects.items():
        if key == CATCHES:
            single = np.diag(effect[rows])
            names = site.dressings.id[rows].tolist()
            columns.update({f"{key}: {n}": c for n, c in zip(names, single, strict=True)})
        elif key != SURFACE:
            columns[key] = effect[rows]
    return columns


def usual_strips(evidence: Evidence) -> tuple[Floats, Floats]:
    """Median strip width (k,) m of each spreader, and its standard deviation between dressings, m.

    With m the median, √((2·(0.25·m)² + Σ(s − m)² − (n − 1)·v)/(2 + n − 1)), v being what catches
    and bags make of it (mean), as their errors have places of their own. From 4 dressings up
    without the one farthest off, and without overthrows below zero by more than 2 u, which no strip
    can have. Neither follows one faulty dressing, so that it does not hide itself. Where kinds of
    bags come back often enough, the scatter is about the median of the dressings of each set of
    kinds, so that a kind that is off does not hide itself either.
    """
    each = ratio(evidence.overthrow_kg, evidence.edge_kg)
    overthrow = evidence.spread.minus(evidence.on_surfaces)
    can_be = evidence.overthrow_kg > -2 * overthrow.u()
    new = sum((v**2 for k, v in overthrow.effects.items() if k in NEW), np.zeros(len(each)))
    noise = ratio(new, evidence.edge_kg**2)
    kinds = _kinds_of_bags(evidence)
    median, between = np.zeros((2, len(evidence.spreaders)))
    for k in range(len(median)):
        mine = (evidence.spreader == k) & can_be
        if not mine.any():
            continue
        median[k] = max(float(np.median(each[mine])), 0.0)
        square, freedom = _scatter(each[mine], kinds[mine], median[k])
        prior = SCATTER_FREEDOM * (SCATTER * median[k]) ** 2
        square = max(square - freedom * float(noise[mine].mean()), 0.0)
        between[k] = np.sqrt((prior + square) / (SCATTER_FREEDOM + freedom))
    return median, np.minimum(between, median)


def _kinds_of_bags(evidence: Evidence) -> Ints:
    """A number (b,) for the kinds of bags of each dressing, the same for the same kinds."""
    loads = evidence.site.loads
    sets = [frozenset(loads.label[loads.dressing == d].tolist()) for d in evidence.dressing]
    return np.array([sets.index(one) for one in sets], dtype=np.int64)


def _scatter(each: Floats, kinds: Ints, median: float) -> tuple[float, int]:
    """Sum of squares of strips about those of their own kinds of bags, and its degrees of freedom.

    About the median of all where the kinds leave less than two degrees of freedom. From 4 strips
    up without the one farthest off.
    """
    centre, groups = np.full(len(each), median), 1
    different = sorted(set(kinds.tolist()))
    if len(each) - len(different) >= LEAST_FREEDOM:
        groups = len(different)
        for kind in different if groups > 1 else ():
            centre[kinds == kind] = np.median(each[kinds == kind])
    square = np.sort((each - centre) ** 2)
    square = square[:-1] if len(square) >= 4 else square
    return float(square.sum()), max(len(square) - groups, 0)
