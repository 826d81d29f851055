"""What moves sand between the zones beside an edge: the overthrow's error, and the throw's shape.

How much lies beyond a distance x from the edge hangs on the reach L, of which the mass m thrown is
a multiple: beside a straight edge m·(1 − x/L)² if the rate falls in a straight line to L, and
m·exp(−2x/L) if it falls from the same rate without end. A throw that ends at once, at L/2, leaves
m·(1 − 2x/L), which is 1 to 2.1 of the differences of those two to the other side. In simulated
dressings, laid pass by pass, belts were off the straight line by 0.4 differences and tapering
swaths by 1.4 (medians). One and a half is taken as the standard uncertainty from the shape of the
throw, which holds 97 % of collars and 95 % of surrounds within 2 u (own choice; no published
source).

What the overthrow's error, or one surface's throwing over more than another, does to a zone is the
difference of the straight fall at both limits, as the rings are laid: surrounds change by a larger
share than the overthrow, collars by a smaller one. The more is thrown the faster surrounds fill, so
that with the mean of both sides more of them than said lay above the upper limit (88 to 93 % held
of 125 dressings a setting, laid pass by pass; now 97 to 99): the slope towards the upper limit
counts where it is the steeper one. Both zones together may then move by more than the overthrow.

An overthrow is not below zero, so that one which comes out there may yet be some: what is known of
it is a normal distribution cut off at zero (Royal Society of Chemistry, Analytical Methods
Committee: Measurement uncertainty evaluation for a non-negative measurand, Accreditation and
Quality Assurance 2008, doi 10.1007/s00769-007-0339-5). Its root mean square about zero is taken as
the u of what lies beside such an edge (own choice).
"""

from __future__ import annotations

import numpy as np

from geosand.balance.rings.throw_off import ThrowOff
from geosand.columns import Floats, Ints, ratio
from geosand.distributions import normal_probability
from geosand.estimates import Estimates
from geosand.rates.surface_rates import Rates
from geosand.tuples import NamedTuple

U_SHAPE = 1.5  #: differences of the two shapes
#: Relative, of what one surface throws over beside rate · perimeter, other in each dressing: of
#: dressings laid pass by pass, of two kinds, 9 and 20 % (own choice, no published source).
U_SHARE = 0.2
COVERED = 2.0  #: u either way in limits of 95 %
LEAST_SIGMAS = -8.0  #: what lies farther below zero tells no more


class Changes(NamedTuple):
    """What moves sand between zones; (2, n): collars and surrounds by dressed row."""

    by_overthrow: Floats  #: kg there for each kg of its group's overthrow
    by_shape_kg: Floats  #: for one standard uncertainty of the shape
    by_share_kg: Floats  #: where the surface throws over twice as much
    share: Floats  #: (n,) of its group's overthrow


def changes_of(rates: Rates, lost: Estimates, group: Ints, throw: ThrowOff) -> Changes:
    """By the straight fall at the overthrow's limits (JCGM 100, 5.1.3 note 2), and both shapes at
    one u more.

    ``lost``: kg by group, ``group`` that of each dressed row.
    """
    over, u = np.nan_to_num(lost.value), np.nan_to_num(lost.u())
    up = u * above_zero(ratio(over, u, empty=0.0))
    over, u, up = over[group], u[group], up[group]
    there = np.maximum(over, 0.0)
    perimeter = throw.perimeter_m
    edge = np.nan_to_num(rates.rate.value) * perimeter
    share, reach_per_kg = _shares(throw, group, over, edge)
    area = np.cumsum(np.stack((throw.collar_area_m2, throw.surrounds_area_m2)), axis=0)
    # as wide as a band of that area round a convex outline
    width = ratio(2 * area, perimeter + np.sqrt(perimeter**2 + 4 * np.pi * area), empty=0.0)
    low, high, more = np.maximum(over - COVERED * u, 0.0), there + COVERED * up, there + up

    def endless(kg: Floats) -> Floats:
        return kg * np.exp(-2 * ratio(width, kg * reach_per_kg, empty=np.inf))

    def straight(kg: Floats) -> Floats:
        rest = np.maximum(1 - ratio(width, kg * reach_per_kg, empty=np.inf), 0.0)
        return kg * rest * rest

    beyond = ratio(straight(high) - straight(low), high - low, empty=0.0)
    above = ratio(straight(high) - straight(there), high - there, empty=0.0)
    filling = np.maximum(beyond[0] - beyond[1], above[0] - above[1])
    zones = share * np.stack((1 - beyond[0], filling))
    moved = U_SHAPE * (endless(more) - straight(more))
    return Changes(
        by_overthrow=zones * ratio(up, u, empty=0.0),
        by_shape_kg=share * np.stack((-moved[0], moved[0] - moved[1])),
        by_share_kg=zones * there,
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
