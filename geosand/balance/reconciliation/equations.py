"""The equations that all dressings of a season must fulfil together, with every source once.

For dressing d of spreader k, with W = Σ rate·perimeter and the spreader's strip width s unknown,

    balance   spread − on surfaces − (s + ηd)·W = 0
    rings     strip by the ring catches·W − (s + ηd)·W = 0
    weighed   count·unit mass − mass of the load on the weighbridge = 0
    stock     taken out + closing stock − opening stock − bought = 0
    density   measured − stated bulk density of a sand = 0

ηd is how the strip of this dressing differs from the spreader's mean.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geosand.balance.reconciliation.evidence import Columns, Evidence
from geosand.balance.spread import BAGS, water_as_weighed
from geosand.balance.throw_fit import U_SHAPE
from geosand.columns import Bools, Floats, Ints, ratio
from geosand.site.tables import Site

OVERTHROW = "overthrow"
SHAPE = "throw shape"  #: error that the strips by ring catches of one spreader share


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
        return self.on_kg + self.strip_m[spreader] * self.edge_kg

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
    _add_witnesses(one, point, columns)
    return residual, design, {k: v for k, v in columns.items() if np.any(v != 0)}


def balance_effect(one: Evidence, point: Point, source: str) -> Floats:
    """Effect (b,) of one error on the balances, at the adjusted figures; 0 of one not there."""
    nothing = np.zeros(len(one.dressing))
    at = point.strip_m[one.spreader]
    on = one.on_errors.get(source, nothing) + at * one.edge_errors.get(source, nothing)
    spread = one.spread_errors.get(source, nothing)
    return point.agreed(one) * spread - point.found(one) * on


def _gross(site: Site) -> Floats:
    return site.loads.count * site.loads.unit_mass_kg


def _add_witnesses(one: Evidence, point: Point, columns: Columns) -> None:
    """Errors of rings, weighings, stock and densities, shared with the balances where they are."""
    site, loads = one.site, one.site.loads

    def add(name: str, column: Floats) -> None:
        columns[name] = columns[name] + column if name in columns else column

    edge_kg = point.edge_kg
    # of the adjusted strip: that of the catches has errors of its own, which would tell the shape's
    strip = point.strip_m[one.spreader[one.ring]] * edge_kg[one.ring]
    for k, name in enumerate(one.spreaders.tolist()):
        mine = one.spreader[one.ring] == k
        add(f"{SHAPE}: {name}", one.stack(ring=np.where(mine, U_SHAPE * strip, 0.0)))
    for row, k in enumerate(one.ring.tolist()):
        noise = one.single("ring", row, one.u_ring_strip_m[row] * edge_kg[k])
        add(f"ring catches: {site.dressings.id[one.dressing[k]]}", noise)
    for source, water in water_as_weighed(loads, site.moistures).items():
        add(source, one.stack(weighed=water[one.weighed.load]))
    bags = np.sqrt(loads.count) * loads.u_unit_mass_kg
    labels = _gross(site) * loads.u_label
    for row, k in enumerate(one.weighed.load.tolist()):
        add(str(loads.label[k]), one.single("weighed", row, labels[k]))
        add(f"{BAGS}: {loads.id[k]}", one.single("weighed", row, bags[k]))
        scale = one.single("weighed", row, -one.weighed.u_mass_kg[row])
        add(f"weighing: {loads.id[k]}", scale)
    if one.stock is not None:
        names = site.sands.name[one.stock.sand].tolist()
        for source, effect in one.stock.missing.effects.items():
            if source in columns:
                add(source, one.stack(stock=-effect))
            elif source != BAGS:
                for row, name in enumerate(names):
                    add(f"{source}: {name}", one.single("stock", row, -effect[row]))
        for k in np.flatnonzero(one.stock.loads.any(axis=0)).tolist():
            add(f"{BAGS}: {loads.id[k]}", one.stack(stock=one.stock.loads[:, k] * bags[k]))
    for row, k in enumerate(one.density_sand.tolist()):
        name, density = str(site.sands.name[k]), one.density
        add(f"bulk density: {name}", one.single("density", row, -density.u_stated[k]))
        add(f"measured density: {name}", one.single("density", row, density.u_measured[k]))
