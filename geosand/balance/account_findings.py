"""What a reader should know of a balance before trusting it."""

from __future__ import annotations

import numpy as np

from geosand.areas.register import AreaRegister
from geosand.balance.rings.throw_off import ThrowOff
from geosand.columns import Bools, Floats, Ints
from geosand.errors import Finding
from geosand.estimates import Estimates
from geosand.rates.about_dressings import Teller
from geosand.site.tables import Site
from geosand.units import figure

FAR_REACH_M = 5.0  #: a spreader does not throw farther (common practice)
HALF_AGAIN = 0.5  #: of the spread, claimed beyond it: as where a third had no sand
PARTLY = "; where only part of a surface was dressed, draw that part as a surface of its own"


def balance_findings(
    site: Site,
    spread: Estimates,
    overthrow: Estimates,
    rates_kg_m2: Floats,
    agreement: Floats,
    register: AreaRegister,
) -> list[Finding]:
    """What a reader should know of each dressing's balance.

    ``rates_kg_m2``: (2, dressings), by mass and by volume; ``agreement``: a row a dressing.
    """
    mass, bare = overthrow.value, _without_ground(site, register)
    unknown, below = np.isnan(spread.value), np.nan_to_num(mass) < 0
    # one of them nan: not more than the other
    apart = rates_kg_m2.max(axis=0) > rates_kg_m2.min(axis=0) * (1 + agreement)
    about, findings = Teller(site, "balance"), []
    for k in sorted({*np.flatnonzero(unknown | below | apart).tolist(), *bare}):
        texts = []
        if unknown[k]:
            texts.append("no loads are recorded: what was spread is not known")
        if below[k]:
            claim = figure(-mass[k], "mass", site.units)
            texts.append(
                f"the catches claim {claim} more sand than was spread; overthrow can not be the"
                " reason, and one dressing can not prove which figure is off"
                + (PARTLY if -mass[k] > HALF_AGAIN * spread.value[k] else "")
            )
        if apart[k]:
            texts.append(
                "the catches' mass and volume differ by more than the agreement: check the balance"
            )
        if k in bare:
            texts.append(
                f"{', '.join(bare[k])} owns no ground, as other surfaces lie on all of it:"
                " no sand is counted there"
            )
        findings += [about.finding(k, text) for text in texts]
    return findings


def _without_ground(site: Site, register: AreaRegister) -> dict[int, list[str]]:
    """Names of the surfaces of each dressing on which other surfaces lie wholly."""
    rows = np.flatnonzero(register.area_m2[site.dressed.surface] <= 0)
    names: dict[int, list[str]] = {}
    for dressing, surface in zip(
        site.dressed.dressing[rows].tolist(), site.dressed.surface[rows].tolist(), strict=True
    ):
        names.setdefault(dressing, []).append(str(site.surfaces.id[surface]))
    return names


def ring_findings(
    site: Site,
    told: Bools,
    lost: Estimates,
    throw: ThrowOff,
    dressing_of_group: Ints,
    group_of_row: Ints,
) -> list[Finding]:
    """Reaches that no spreader has, and overthrow that is not ``told`` from zero."""
    some, less = lost.value > 0, lost.value < 0
    parts = np.bincount(dressing_of_group, minlength=len(site.dressings))[dressing_of_group]
    nowhere, far = np.isnan(throw.group_farther_kg), throw.reach_m > FAR_REACH_M
    beyond, open_ = np.isnan(throw.reach_m), ~told[dressing_of_group]
    worth = (less & (parts > 1)) | (some & (nowhere | far | beyond | open_))
    findings: list[Finding] = []
    in_balance, in_rings = Teller(site, "balance"), Teller(site, "ring")
    for g in np.flatnonzero(worth).tolist():
        dressing = dressing_of_group[g]
        texts = []
        if less[g]:
            names = site.surfaces.id[site.dressed.surface[group_of_row == g]].tolist()
            texts.append(
                f"on {', '.join(names[:6])} the catches claim"
                f" {figure(-lost.value[g], 'mass', site.units)} more sand than its loads held:"
                " look at this part of the dressing by itself"
            )
        elif nowhere[g]:
            texts.append("the catches hold no sand: where the overthrow lies can not be told")
        elif beyond[g]:
            texts.append(
                "no reach within 200 m holds the overthrow: look for sand lost elsewhere, or a load"
                " or surface that is missing"
            )
        if some[g] and far[g]:
            texts.append(
                f"overthrow would reach {figure(throw.reach_m[g], 'length', site.units)} beyond"
                " the edge: more than a spreader throws, so look for sand lost elsewhere"
            )
        if some[g] and open_[g]:
            texts.append("the overthrow may be zero: where it lies is drawn dotted")
        about = in_balance if less[g] else in_rings
        findings += [about.finding(dressing, text) for text in texts]
    return list(dict.fromkeys(findings))
