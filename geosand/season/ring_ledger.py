"""Sand that built up beside the dressed surfaces: in their collars and surrounds.

How much lies beyond a distance x from the edge hangs on the reach L, of which the mass m thrown is
a multiple: beside a straight edge m·(1 − x/L)² if the rate falls in a straight line to L, and
m·exp(−2x/L) if it falls from the same rate without end. In simulated dressings, laid pass by pass,
belts were off the straight line by 0.4 of the difference of the two and tapering swaths by 1.4
(medians). Twice the difference is taken as the standard uncertainty from the shape of the throw,
which holds 96 % of collars and surrounds within 2 u (own choice; no published source).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from geosand.areas.register import AreaRegister
from geosand.balance.account import Balance
from geosand.balance.spread import BAGS
from geosand.columns import Bools, Floats, Ints, Strings, freeze, frozen, ratio
from geosand.estimates import Estimates
from geosand.rates.over_time import NEW_EACH_TIME, Links, deviations, sum_over_dressings
from geosand.rates.surface_rates import Rates
from geosand.site.tables import Site

COLLAR, SURROUNDS = "collar", "surrounds"
U_SHAPE = 2.0  #: differences of the two shapes
SHAPE = "throw shape"
NEW = frozenset({*NEW_EACH_TIME, BAGS})  #: not the same error in the next dressing


@frozen
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


def ring_ledger(
    site: Site, register: AreaRegister, rates: Rates, balance: Balance, counted: Bools
) -> RingLedger:
    """Depth so far in the collar and surrounds of every dressed surface.

    From the dressings whose overthrow was measured; nan where none was. An overthrow, that of each
    part where the loads divide a dressing, that is not above zero leaves nothing there. An error of
    the overthrow moves the reach too, so that it tells more of the surrounds than of the collar;
    what is the same error in the next dressing adds to it with its sign, and so does that of the
    throw's shape.
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
    dressing, group = (np.tile(of, 2)[rows] for of in (dressed.dressing, balance.group_of_row))
    sand = site.dressings.sand[dressing]
    mass = mass[rows]
    kg = np.where(np.isfinite(mass), mass, 0.0) * site.sands.sand_mass_fraction[sand]
    depth_per_kg = 1.0 / area[rows] / rates.density.value[sand]
    changes = _changes(site, register, rates, balance)
    per_kg = site.sands.sand_mass_fraction[sand] * depth_per_kg
    depth = _with_sources(
        rates,
        balance,
        kg * depth_per_kg,
        changes.by_overthrow.ravel()[rows] * per_kg,
        changes.by_shape_kg.ravel()[rows] * per_kg,
        group,
        sand,
    )
    measured = np.zeros(len(present), dtype=np.bool_)
    measured[ring[np.isfinite(balance.overthrow.value)[dressing]]] = True
    outer = (present >= size).astype(np.int64)
    total = sum_over_dressings(
        depth, group, _links(site, register, rates, balance), ring, len(present), independent=NEW
    ).where_known(measured)
    names = site.ids[present % max(size, 1)].astype(object)
    suffixes = np.array([f"/{COLLAR}", f"/{SURROUNDS}"], dtype=object)
    return RingLedger(
        id=(names + suffixes[outer]).astype(np.str_),  # np.char takes a millisecond to import
        ground=present % max(size, 1),
        zone=np.array([COLLAR, SURROUNDS])[outer],
        depth=total,
        mass_kg=np.where(measured, np.bincount(ring, kg, len(present)), np.nan),
    )


def _links(site: Site, register: AreaRegister, rates: Rates, balance: Balance) -> Links:
    """What the overthrows of groups have in common by the deviations of their own surfaces."""
    group, area = balance.group_of_row, register.area_m2[site.dressed.surface]
    column = deviations(rates.rate, rates.in_mean, group, area)
    ground = site.surfaces.ground[site.dressed.surface]
    return Links.of(column, group, ground, len(balance.dressing_of_group))


class _Changes(NamedTuple):
    """What moves sand between zones; (2, n): collars and surrounds by dressed row."""

    by_overthrow: Floats  #: kg there for each kg of its group's overthrow
    by_shape_kg: Floats  #: for one standard uncertainty of the shape


def _changes(site: Site, register: AreaRegister, rates: Rates, balance: Balance) -> _Changes:
    """By the overthrow at its u less and more (JCGM 100, 5.1.3 note 2) and both shapes at more."""
    lost, group = balance.group_overthrow, balance.group_of_row
    over, u = np.nan_to_num(lost.value)[group], np.nan_to_num(lost.u())[group]
    perimeter = register.perimeter_m[site.dressed.surface]
    edge = np.nan_to_num(rates.rate.value) * perimeter
    share, reach_per_kg = _shares(balance, over, edge)
    throw = balance.throw
    area = np.cumsum(np.stack((throw.collar_area_m2, throw.surrounds_area_m2)), axis=0)
    # as wide as a band of that area round a convex outline
    width = ratio(2 * area, perimeter + np.sqrt(perimeter**2 + 4 * np.pi * area), empty=0.0)
    low, high = np.maximum(over - u, 0.0), np.maximum(over + u, 0.0)
    from_ = ratio(width, low * reach_per_kg, empty=np.inf)
    to = ratio(width, high * reach_per_kg, empty=np.inf)
    endless = high * np.exp(-2 * to)
    beyond = ratio(endless - low * np.exp(-2 * from_), 2 * u, empty=0.0)
    moved = U_SHAPE * (endless - high * np.clip(1 - to, 0.0, None) ** 2)
    # an overthrow clearly below zero is none
    whole = np.clip(ratio(high, u, empty=0.0), 0.0, 1.0)
    return _Changes(
        by_overthrow=share * np.stack((whole - beyond[0], beyond[0] - beyond[1])),
        by_shape_kg=share * np.stack((-moved[0], moved[0] - moved[1])),
    )


def _shares(balance: Balance, over_kg: Floats, edge_kg_m: Floats) -> tuple[Floats, Floats]:
    """Each row's share of its group's overthrow, and the reach for each kg of it.

    As the rings say; where there are none, as beside a straight edge: 2/Σ(rate·perimeter).
    """
    throw, group = balance.throw, balance.group_of_row
    edge = np.bincount(group, edge_kg_m, len(throw.reach_m))[group]
    thrown = throw.collar_kg + throw.surrounds_kg + throw.farther_kg
    reach = throw.reach_m[group]
    known = (over_kg > 0) & np.isfinite(reach) & np.isfinite(thrown)
    divisor = np.where(known, over_kg, edge)
    return (
        ratio(np.where(known, thrown, edge_kg_m), divisor, empty=0.0),
        ratio(np.where(known, reach, 2.0), divisor, empty=0.0),
    )


def _with_sources(
    rates: Rates,
    balance: Balance,
    depth_m: Floats,
    by_overthrow: Floats,
    by_shape_m: Floats,
    group: Ints,
    sand: Ints,
) -> Estimates:
    """Depths (m), rows of a group each, with the sources of overthrow, shape and density.

    ``by_overthrow``: m for each kg of the group's overthrow.
    """
    over, density = balance.group_overthrow, rates.density
    effects = {SHAPE: by_shape_m}
    for source, effect in over.effects.items():
        effects[source] = by_overthrow * np.where(np.isfinite(effect), effect, 0.0)[group]
    for source, effect in density.effects.items():
        by_density = -depth_m * (effect / density.value)[sand]
        effects[source] = effects[source] + by_density if source in effects else by_density
    return Estimates(value=depth_m, effects=effects)
