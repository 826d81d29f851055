"""Sand that built up beside the dressed surfaces: in their collars and surrounds."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geosand.balance.account import Balance
from geosand.balance.spread import BAGS
from geosand.columns import Bools, Floats, Ints, Strings, freeze, ratio
from geosand.estimates import Estimates
from geosand.rates.surface_rates import NEW_EACH_TIME, Rates
from geosand.site.tables import Site

COLLAR, SURROUNDS = "collar", "surrounds"
NEW = frozenset({*NEW_EACH_TIME, BAGS})  #: not the same error in the next dressing


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class RingLedger:
    """One row a ring: of each dressed surface the collars first, then the surrounds."""

    id: Strings  #: ``<surface>/collar`` or ``<surface>/surrounds``
    ground: Ints  #: index of the surface in ``Site.ids``
    zone: Strings
    depth: Estimates  #: m, with its sources
    mass_kg: Floats

    def __post_init__(self) -> None:
        freeze(self)

    @property
    def depth_m(self) -> Floats:
        """Depth of each ring."""
        return self.depth.value

    @property
    def u_depth_m(self) -> Floats:
        """Standard uncertainty of each depth."""
        return self.depth.u()


def ring_ledger(site: Site, rates: Rates, balance: Balance, counted: Bools) -> RingLedger:
    """Depth so far in the collar and surrounds of every dressed surface.

    From the dressings whose overthrow was measured; nan where none was. An overthrow that is not
    above zero leaves nothing there. A ring's share of its dressing's overthrow is taken as known:
    an error of the overthrow is the same share of what lies in the ring, source by source, and what
    is the same error in the next dressing adds to it with its sign.
    """
    throw, size = balance.throw, len(site.ids)
    ground = site.surfaces.ground[site.dressed.surface]
    sand = site.dressings.sand[site.dressed.dressing]
    density, fraction = rates.density.value[sand], site.sands.sand_mass_fraction[sand]
    known = np.isfinite(balance.overthrow.value)[site.dressed.dressing]
    tables, names, grounds, zones, masses = [], [], [], [], []
    for zone, mass, area in (
        (COLLAR, throw.collar_kg, throw.collar_area_m2),
        (SURROUNDS, throw.surrounds_kg, throw.surrounds_area_m2),
    ):
        sandy = counted & (area > 0)
        kg = np.where(sandy, np.nan_to_num(mass), 0.0) * fraction
        depth = kg / np.where(area > 0, area, 1.0) / density
        each = _with_sources(site, rates, balance, depth)
        present = np.flatnonzero(np.bincount(ground[sandy], minlength=size) > 0)
        measured = np.bincount(ground[sandy & known], minlength=size)[present] > 0
        unknown = np.where(measured, 0.0, np.nan)
        total = each.group_sum(ground, size, independent=NEW).rows(present)
        tables.append(_plus(total, unknown))
        names += [f"{name}/{zone}" for name in site.ids[present].tolist()]
        grounds.append(present)
        zones += [zone] * len(present)
        masses.append(np.bincount(ground, kg, size)[present] + unknown)
    return RingLedger(
        id=np.array(names, dtype=np.str_),
        ground=np.concatenate(grounds).astype(np.int64),
        zone=np.array(zones, dtype=np.str_),
        depth=_end_to_end(*tables),
        mass_kg=np.concatenate(masses),
    )


def _with_sources(site: Site, rates: Rates, balance: Balance, depth_m: Floats) -> Estimates:
    """Depths (m) of each dressed row with the overthrow's sources and those of the density."""
    dressing = site.dressed.dressing
    sand = site.dressings.sand[dressing]
    over = balance.overthrow
    effects = {
        source: depth_m * np.nan_to_num(ratio(effect, over.value))[dressing]
        for source, effect in over.effects.items()
    }
    table = Estimates(value=depth_m, effects=effects)
    return table.with_effects(
        {
            source: -depth_m * (effect / rates.density.value)[sand]
            for source, effect in rates.density.effects.items()
        }
    )


def _plus(table: Estimates, nothing: Floats) -> Estimates:
    """The table with ``nothing`` (0, or nan for what is not known) added to its columns."""
    return Estimates(
        value=table.value + nothing,
        effects={source: effect + nothing for source, effect in table.effects.items()},
    )


def _end_to_end(one: Estimates, other: Estimates) -> Estimates:
    """Rows of two tables with the same sources, one after the other."""
    return Estimates(
        value=np.concatenate([one.value, other.value]),
        effects={
            source: np.concatenate([effect, other.effects[source]])
            for source, effect in one.effects.items()
        },
    )
