"""What moves sand between the zones beside an edge: the overthrow's error, and the throw's shape.

How much lies beyond a distance x from the edge hangs on the reach L, of which the mass m thrown is
a multiple: beside a straight edge m·(1 − x/L)² if the rate falls in a straight line to L, and
m·exp(−2x/L) if it falls from the same rate without end. In simulated dressings, laid pass by pass,
belts were off the straight line by 0.4 of the difference of the two and tapering swaths by 1.4
(medians). Twice the difference is taken as the standard uncertainty from the shape of the throw,
which holds 96 % of collars and surrounds within 2 u (own choice; no published source).

An overthrow is not below zero, so that one which comes out there may yet be some: what is known of
it is a normal distribution cut off at zero (Royal Society of Chemistry, Analytical Methods
Committee: Measurement uncertainty evaluation for a non-negative measurand, Accreditation and
Quality Assurance 2008, doi 10.1007/s00769-007-0339-5). Its root mean square about zero is taken as
the u of what lies beside such an edge (own choice).
"""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np

from geosand.areas.register import AreaRegister
from geosand.balance.rings import ThrowOff
from geosand.columns import Floats, Ints, ratio
from geosand.distributions import normal_probability
from geosand.estimates import Estimates
from geosand.rates.surface_rates import Rates
from geosand.site.tables import Site

U_SHAPE = 2.0  #: differences of the two shapes
COVERED = 2.0  #: u either way in limits of 95 %
LEAST_SIGMAS = -8.0  #: what lies farther below zero tells no more


class Changes(NamedTuple):
    """What moves sand between zones; (2, n): collars and surrounds by dressed row."""

    by_overthrow: Floats  #: kg there for each kg of its group's overthrow
    by_shape_kg: Floats  #: for one standard uncertainty of the shape
    share: Floats  #: (n,) of its group's overthrow


def changes_of(
    site: Site, register: AreaRegister, rates: Rates, lost: Estimates, group: Ints, throw: ThrowOff
) -> Changes:
    """By the overthrow at its limits (JCGM 100, 5.1.3 note 2) and both shapes at one u more.

    ``lost``: kg by group, ``group`` that of each dressed row.
    """
    over, u = np.nan_to_num(lost.value), np.nan_to_num(lost.u())
    up = u * above_zero(ratio(over, u, empty=0.0))
    over, u, up = over[group], u[group], up[group]
    there = np.maximum(over, 0.0)
    perimeter = register.perimeter_m[site.dressed.surface]
    edge = np.nan_to_num(rates.rate.value) * perimeter
    share, reach_per_kg = _shares(throw, group, over, edge)
    area = np.cumsum(np.stack((throw.collar_area_m2, throw.surrounds_area_m2)), axis=0)
    # as wide as a band of that area round a convex outline
    width = ratio(2 * area, perimeter + np.sqrt(perimeter**2 + 4 * np.pi * area), empty=0.0)
    low, high, more = np.maximum(over - COVERED * u, 0.0), there + COVERED * up, there + up

    def endless(kg: Floats) -> Floats:
        return kg * np.exp(-2 * ratio(width, kg * reach_per_kg, empty=np.inf))

    beyond = ratio(endless(high) - endless(low), high - low, empty=0.0)
    straight = np.clip(1 - ratio(width, more * reach_per_kg, empty=np.inf), 0.0, None) ** 2
    moved = U_SHAPE * (endless(more) - more * straight)
    known = ratio(up, u, empty=0.0)
    return Changes(
        by_overthrow=share * known * np.stack((1 - beyond[0], beyond[0] - beyond[1])),
        by_shape_kg=share * np.stack((-moved[0], moved[0] - moved[1])),
        share=share,
    )


def above_zero(sigmas: Floats) -> Floats:
    """Factor on the u of an overthrow of so many u, as none is below zero: 1 where it is above.

    Of x, normal about z with a standard deviation of 1 and cut off at zero, the mean square is
    1 + z² + z·φ(z)/Φ(z): ∫₀^∞ x·(x − z)·φ(x − z) dx = Φ(z) by parts, and the mean is z + φ(z)/Φ(z).
    """
    z = np.clip(sigmas, LEAST_SIGMAS, 0.0)
    factor, below = np.ones(len(z)), z < 0
    z = z[below]
    density = np.exp(-z * z / 2) / np.sqrt(2 * np.pi)
    factor[below] = np.sqrt(1 + z * z + z * density / normal_probability(z))
    return factor


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
