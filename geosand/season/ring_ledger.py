"""Sand that built up beside the dressed surfaces: in their collars and surrounds."""

from __future__ import annotations

import numpy as np

from geosand.areas.register import AreaRegister
from geosand.balance.account import Balance
from geosand.balance.spread import NEW
from geosand.balance.throw_shape import U_SHARE
from geosand.columns import Bools, Floats, Ints, Strings, columns
from geosand.estimates import Estimates
from geosand.rates.over_time import Links, deviations, sum_over_dressings
from geosand.rates.surface_rates import Rates
from geosand.site.tables import Site

COLLAR, SURROUNDS = "collar", "surrounds"
SHAPE, SHARE = "throw shape", "throw share"
ANEW = NEW | {SHARE}


@columns
class RingLedger:
    """One row a ring: of each dressed surface the collars first, then the surrounds."""

    id: Strings  #: ``<surface>/collar`` or ``<surface>/surrounds``
    ground: Ints  #: index of the surface in ``Site.ids``
    zone: Strings
    depth: Estimates  #: m, with its sources
    mass_kg: Floats

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
    throw's shape. One surface throws over more than another: a source of its own, new each time.
    With shares w of one overthrow, each off by its own δ, share i moves by wᵢ·(δᵢ − Σ w·δ), by
    wᵢ·√(1 − 2wᵢ + Σ w²) for one u of δ: by nothing where a surface was dressed alone.
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
    changes = balance.throw_changes
    share, squares = changes.share, np.bincount(balance.group_of_row, changes.share**2)
    apart = np.sqrt(np.maximum(1 - 2 * share + squares[balance.group_of_row], 0.0))
    per_kg = site.sands.sand_mass_fraction[sand] * depth_per_kg
    depth = _with_density(
        rates,
        with_sources(
            balance,
            kg * depth_per_kg,
            changes.by_overthrow.ravel()[rows] * per_kg,
            changes.by_shape_kg.ravel()[rows] * per_kg,
            changes.by_share_kg.ravel()[rows] * per_kg * np.tile(apart, 2)[rows],
            group,
        ),
        sand,
    )
    measured = np.zeros(len(present), dtype=np.bool_)
    measured[ring[np.isfinite(balance.overthrow.value)[dressing]]] = True
    outer = (present >= size).astype(np.int64)
    total = sum_over_dressings(
        depth, group, links_of(site, register, rates, balance), ring, len(present), independent=ANEW
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


def links_of(site: Site, register: AreaRegister, rates: Rates, balance: Balance) -> Links:
    """What the overthrows of groups have in common by the deviations of their own surfaces."""
    group, area = balance.group_of_row, register.area_m2[site.dressed.surface]
    column = deviations(rates.rate, rates.in_mean, group, area)
    ground = site.surfaces.ground[site.dressed.surface]
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


def _with_density(rates: Rates, depth: Estimates, sand: Ints) -> Estimates:
    """Depths (m) of a ``sand`` each with the sources of its bulk density."""
    density = rates.density
    return depth.with_effects(
        {
            source: -depth.value * (effect / density.value)[sand]
            for source, effect in density.effects.items()
        }
    )
