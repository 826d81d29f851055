"""Areas that somebody claims, held against the computed ones."""

from __future__ import annotations

import numpy as np

from geosand.columns import Floats, Strings, columns, ratio

#: Units that the number of a claim may have been in, in m².
MISTAKEN_UNITS = {
    "square metres": 1.0,
    "square feet": 0.3048**2,
    "square yards": 0.9144**2,
    "ares": 100.0,
    "hectares": 10_000.0,
    "acres": 4046.8564224,  # 43 560 square international feet
}
_UNIT_TOLERANCE = 0.03  # no two factors are so near to each other


@columns
class ClaimChecks:
    """One row a claim: how far it is from the computed area."""

    difference_m2: Floats  #: claimed less computed
    difference: Floats  #: the same as a share of the computed area
    sigmas: Floats  #: the same in standard uncertainties of the computed area; nan without one
    tolerance: Floats  #: the share that was allowed
    verdict: Strings  #: "within" or "outside" the tolerance
    hint: Strings  #: the other figure that the claim agrees with, "" = none


def check_claims(
    claimed_m2: Floats,
    tolerance: Floats,
    area_m2: Floats,
    u_area_m2: Floats,
    others_m2: dict[str, Floats],
    unit_m2: float = 1.0,
) -> ClaimChecks:
    """Hold claims (C,) against computed areas (C,).

    ``tolerance`` is a share of the computed area, and a difference equal to it is within.
    ``others_m2`` are further figures of the same surfaces, such as the area as drawn; a claim
    outside its tolerance that lies within it of another figure, or within 3 % of the computed area
    in another unit than ``unit_m2``, that of the list, gets that as a hint. nan is no figure.

    >>> one = np.array([100.0])
    >>> check_claims(one * 1.03, one * 2e-4, one, one, {}).verdict.tolist()
    ['outside']
    """
    difference = claimed_m2 - area_m2
    share = ratio(difference, area_m2, np.inf)
    within = np.abs(share) <= tolerance * (1 + 1e-12)
    hint = np.full(len(claimed_m2), "", dtype="<U80")
    for name, other in others_m2.items():
        near = np.abs(ratio(claimed_m2 - other, other, np.inf)) <= tolerance
        hint[near & ~within & (hint == "")] = f"it agrees with the {name}"
    for unit, size_m2 in MISTAKEN_UNITS.items():
        near = np.abs(ratio(claimed_m2 / unit_m2 * size_m2, area_m2, np.inf) - 1) < _UNIT_TOLERANCE
        near &= abs(size_m2 / unit_m2 - 1) > _UNIT_TOLERANCE
        hint[near & ~within & (hint == "")] = f"the number looks like {unit}"
    near = np.abs(1000 * ratio(claimed_m2, area_m2, np.inf) - 1) < _UNIT_TOLERANCE
    point = "the number looks like thousands: its point was read as a decimal mark"
    hint[near & ~within & (hint == "")] = point
    return ClaimChecks(
        difference_m2=difference,
        difference=share,
        sigmas=ratio(difference, u_area_m2),
        tolerance=tolerance,
        verdict=np.where(within, "within", "outside"),
        hint=hint,
    )
