"""Sand that built up beside the dressed surfaces: in their collars and surrounds."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geosand.balance.account import Balance
from geosand.balance.spread import BAGS
from geosand.columns import Bools, Floats, Ints, Strings, freeze
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
    throw, size, dressed = balance.throw, len(site.ids), site.dressed
    area = np.concatenate([throw.collar_area_m2, throw.surrounds_area_m2])
    mass = np.concatenate([throw.collar_kg, throw.surrounds_kg])
    # the surrounds of an id come after the collars of all
    ground = site.surfaces.ground[dressed.surface]
    ring = np.concatenate([ground, ground + size])
    rows = np.flatnonzero(np.tile(counted, 2) & (area > 0))
    present = np.flatnonzero(np.bincount(ring[rows], minlength=2 * size))
    ring = np.searchsorted(present, ring[rows])
    dressing = np.tile(dressed.dressing, 2)[rows]
    sand = site.dressings.sand[dressing]
    mass = mass[rows]
    kg = np.where(np.isfinite(mass), mass, 0.0) * site.sands.sand_mass_fraction[sand]
    depth = _with_sources(
        rates, balance, kg / area[rows] / rates.density.value[sand], dressing, sand
    )
    measured = np.zeros(len(present), dtype=np.bool_)
    measured[ring[np.isfinite(balance.overthrow.value)[dressing]]] = True
    outer = (present >= size).astype(np.int64)
    total = depth.group_sum(ring, len(present), independent=NEW).where_known(measured)
    names = site.ids[present % max(size, 1)].astype(object)
    suffixes = np.array([f"/{COLLAR}", f"/{SURROUNDS}"], dtype=object)
    return RingLedger(
        id=(names + suffixes[outer]).astype(np.str_),  # np.char takes a millisecond to import
        ground=present % max(size, 1),
        zone=np.array([COLLAR, SURROUNDS])[outer],
        depth=total,
        mass_kg=np.where(measured, np.bincount(ring, kg, len(present)), np.nan),
    )


def _with_sources(
    rates: Rates, balance: Balance, depth_m: Floats, dressing: Ints, sand: Ints
) -> Estimates:
    """Depths (m), rows of a dressing each, with the overthrow's sources and the density's."""
    over, density = balance.overthrow, rates.density
    value = over.value
    # where no overthrow was measured, there is no depth either
    per = np.divide(1.0, value, out=np.zeros(len(value)), where=np.isfinite(value) & (value != 0))
    share, effects = depth_m * per[dressing], {}
    for source, effect in over.effects.items():
        effects[source] = share * np.where(np.isfinite(effect), effect, 0.0)[dressing]
    table = Estimates(value=depth_m, effects=effects)
    return table.with_effects(
        {
            source: -depth_m * (effect / density.value)[sand]
            for source, effect in density.effects.items()
        }
    )
