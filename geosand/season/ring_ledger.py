"""Sand that built up beside the dressed surfaces: in their collars and surrounds."""

from __future__ import annotations

from functools import cached_property

import numpy as np

from geosand.balance.account import Balance
from geosand.balance.spread import NEW
from geosand.balance.throw_shape import U_SHARE
from geosand.columns import Bools, Floats, Ints, Late, Strings, columns
from geosand.estimates import Estimates
from geosand.rates.over_time import Links, deviations, sum_over_dressings
from geosand.rates.surface_rates import with_density
from geosand.tuples import NamedTuple

COLLAR, SURROUNDS = "collar", "surrounds"
SHAPE, SHARE = "throw shape", "throw share"
ANEW = NEW | {SHARE}


class _Thrown(NamedTuple):
    """What dressings threw into rings, one row a dressing and ring."""

    balance: Balance
    rows: Ints  #: of the dressed surfaces, those of the surrounds counted on after the collars
    ring: Ints  #: row of the ledger
    kg: Floats  #: of sand
    sand: Ints
    depth_per_kg: Floats  #: m per kg of sand


@columns
class RingLedger(Late):
    """One row a ring: of each dressed surface the collars first, then the surrounds."""

    ground: Ints  #: index of the surface in ``Site.ids``
    zone: Strings
    depth_m: Floats
    mass_kg: Floats
    thrown: _Thrown

    @cached_property
    def id(self) -> Strings:
        """``<surface>/collar`` or ``<surface>/surrounds``."""
        names = self.thrown.balance.site.ids[self.ground].astype(object)
        # np.char takes a millisecond to import
        return np.asarray(names + "/" + self.zone.astype(object), dtype=np.str_)

    @cached_property
    def depth(self) -> Estimates:
        """Depth (m) of each ring, with its sources."""
        balance, *_ = thrown = self.thrown
        group = np.tile(balance.group_of_row, 2)[thrown.rows]
        total = sum_over_dressings(
            _depths(thrown, group),
            group,
            links_of(balance),
            thrown.ring,
            len(self.ground),
            independent=ANEW,
        )
        return total.where_known(np.isfinite(self.depth_m))

    @property
    def u_depth_m(self) -> Floats:
        """Standard uncertainty of each depth."""
        return self.depth.u()


def ring_ledger(balance: Balance, counted: Bools) -> RingLedger:
    """Depth so far in the collar and surrounds of every dressed surface.

    From the dressings whose overthrow was measured; nan where none was. An overthrow, that of each
    part where the loads divide a dressing, that is not above zero leaves nothing there.
    """
    site, throw = balance.site, balance.throw
    size, dressed = len(site.ids), site.dressed
    area = np.concatenate([throw.collar_area_m2, throw.surrounds_area_m2])
    # the surrounds of an id come after the collars of all
    ground = site.surfaces.ground[dressed.surface]
    ring = np.concatenate([ground, ground + size])
    rows = np.flatnonzero(np.tile(counted, 2) & (area > 0))
    there = np.bincount(ring[rows], minlength=2 * size) > 0
    present, ring = np.flatnonzero(there), (np.cumsum(there) - 1)[ring[rows]]
    dressing = np.tile(dressed.dressing, 2)[rows]
    sand = site.dressings.sand[dressing]
    mass = np.concatenate([throw.collar_kg, throw.surrounds_kg])[rows]
    kg = np.where(np.isfinite(mass), mass, 0.0) * site.sands.sand_mass_fraction[sand]
    depth_per_kg = 1.0 / area[rows] / balance.rates.density.value[sand]
    measured = np.zeros(len(present), dtype=np.bool_)
    measured[ring[np.isfinite(balance.overthrow.value)[dressing]]] = True
    depth, mass = (np.bincount(ring, one, len(present)) for one in (kg * depth_per_kg, kg))
    return RingLedger(
        ground=present % max(size, 1),
        zone=np.where(present < size, COLLAR, SURROUNDS),
        depth_m=np.where(measured, depth, np.nan),
        mass_kg=np.where(measured, mass, np.nan),
        thrown=_Thrown(balance, rows, ring, kg, sand, depth_per_kg),
    )


def _depths(thrown: _Thrown, group: Ints) -> Estimates:
    """Depths (m) by dressing and ring, with the sources of overthrow, throw and bulk density.

    An error of the overthrow moves the reach too, so that it tells more of the surrounds than of
    the collar; what is the same error in the next dressing adds to it with its sign, and so does
    that of the throw's shape. One surface throws over more than another: a source of its own, new
    each time. With shares w of one overthrow, each off by its own δ, share i moves by
    wᵢ·(δᵢ − Σ w·δ), by wᵢ·√(1 − 2wᵢ + Σ w²) for one u of δ: by nothing where a surface was dressed
    alone.
    """
    balance, rows, sand = thrown.balance, thrown.rows, thrown.sand
    changes, of = balance.throw_changes, balance.group_of_row
    share, squares = changes.share, np.bincount(of, changes.share**2)
    apart = np.sqrt(np.maximum(1 - 2 * share + squares[of], 0.0))
    per_kg = balance.site.sands.sand_mass_fraction[sand] * thrown.depth_per_kg
    depth = with_sources(
        balance,
        thrown.kg * thrown.depth_per_kg,
        changes.by_overthrow.ravel()[rows] * per_kg,
        changes.by_shape_kg.ravel()[rows] * per_kg,
        (changes.by_share_kg * apart).ravel()[rows] * per_kg,
        group,
    )
    return with_density(depth, balance.rates.density, sand)


def links_of(balance: Balance) -> Links:
    """What the overthrows of groups have in common by the deviations of their own surfaces."""
    dressed, rates, group = balance.site.dressed, balance.rates, balance.group_of_row
    column = deviations(rates.rate, rates.in_mean, group, balance.areas.area_m2[dressed.surface])
    ground = balance.site.surfaces.ground[dressed.surface]
    return Links.of(column, group, ground, len(balance.dressing_of_group))


def with_sources(
    balance: Balance,
    value: Floats,
    by_overthrow: Floats,
    by_shape: Floats,
    by_share: Floats,
    group: Ints,
) -> Estimates:
    """What lies in rings, rows of a ``group`` each, with the sources of overthrow and throw.

    ``by_overthrow``: for each kg of the group's overthrow; ``by_share``: where a share is twice as
    large.
    """
    over = balance.group_overthrow
    effects = {SHAPE: by_shape, SHARE: U_SHARE * by_share}
    for source, effect in over.effects.items():
        effects[source] = by_overthrow * np.where(np.isfinite(effect), effect, 0.0)[group]
    freedom = {name: column[group] for name, column in over.degrees_of_freedom.items()}
    return Estimates(value=value, effects=effects, degrees_of_freedom=freedom)
