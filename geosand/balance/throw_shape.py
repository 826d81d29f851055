"""What moves sand between the zones beside an edge: the overthrow's error, and the throw's shape.

How much lies beyond a distance x from the edge hangs on the reach L, of which the mass m thrown is
a multiple: beside a straight edge m·(1 − x/L)² if the rate falls in a straight line to L, and
m·exp(−2x/L) if it falls from the same rate without end. In simulated dressings, laid pass by pass,
belts were off the straight line by 0.4 of the difference of the two and tapering swaths by 1.4
(medians). Twice the difference is taken as the standard uncertainty from the shape of the throw,
which holds 96 % of collars and surrounds within 2 u (own choice; no published source).
"""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np

from geosand.areas.register import AreaRegister
from geosand.balance.rings import ThrowOff
from geosand.columns import Floats, Ints, ratio
from geosand.estimates import Estimates
from geosand.rates.surface_rates import Rates
from geosand.site.tables import Site

U_SHAPE = 2.0  #: differences of the two shapes
COVERED = 2.0  #: u of the shape either way in limits of 95 %


class Changes(NamedTuple):
    """What moves sand between zones; (2, n): collars and surrounds by dressed row."""

    by_overthrow: Floats  #: kg there for each kg of its group's overthrow
    by_shape_kg: Floats  #: for one standard uncertainty of the shape


def changes_of(
    site: Site, register: AreaRegister, rates: Rates, lost: Estimates, group: Ints, throw: ThrowOff
) -> Changes:
    """By the overthrow at its u less and more (JCGM 100, 5.1.3 note 2) and both shapes at more.

    ``lost``: kg by group, ``group`` that of each dressed row.
    """
    over, u = np.nan_to_num(lost.value)[group], np.nan_to_num(lost.u())[group]
    perimeter = register.perimeter_m[site.dressed.surface]
    edge = np.nan_to_num(rates.rate.value) * perimeter
    share, reach_per_kg = _shares(throw, group, over, edge)
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
    return Changes(
        by_overthrow=share * np.stack((whole - beyond[0], beyond[0] - beyond[1])),
        by_shape_kg=share * np.stack((-moved[0], moved[0] - moved[1])),
    )


def _shares(
    throw: ThrowOff, group: Ints, over_kg: Floats, edge_kg_m: Floats
) -> tuple[Floats, Floats]:
    """Each row's share of its group's overthrow, and the reach for each kg of it.

    As the rings say; where there are none, as beside a straight edge: 2/Σ(rate·perimeter).
    """
    edge = np.bincount(group, edge_kg_m, len(throw.reach_m))[group]
    thrown = throw.collar_kg + throw.surrounds_kg + throw.farther_kg
    reach = throw.reach_m[group]
    known = (over_kg > 0) & np.isfinite(reach) & np.isfinite(thrown)
    divisor = np.where(known, over_kg, edge)
    return (
        ratio(np.where(known, thrown, edge_kg_m), divisor, empty=0.0),
        ratio(np.where(known, reach, 2.0), divisor, empty=0.0),
    )


def with_shape(throw: ThrowOff, changes: Changes, group: Ints, most_kg: Floats) -> ThrowOff:
    """The least and most in the collars, with the throw's shape unsure beside the overthrow.

    Half-widths add in quadrature (JCGM 100, 5.1.2); ``most_kg``, the overthrow's upper limit by
    group, bounds what a collar holds.
    """
    moved = np.bincount(group, changes.by_shape_kg[0], len(most_kg))
    collar, shape = throw.group_collar_kg, COVERED * moved
    low = collar - np.hypot(collar - throw.collar_low_kg, shape)
    high = collar + np.hypot(throw.collar_high_kg - collar, shape)
    return replace(
        throw,
        collar_least_kg=np.maximum(low, 0.0),
        collar_most_kg=np.maximum(np.minimum(high, most_kg), collar),
    )
