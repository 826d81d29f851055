"""What a reader should know of a balance before trusting it."""

from __future__ import annotations

import numpy as np

from geosand.areas.register import AreaRegister
from geosand.balance.rings import ThrowOff
from geosand.columns import Bools, Floats, Ints
from geosand.errors import Finding
from geosand.estimates import Estimates
from geosand.site.tables import Site
from geosand.units import figure

FAR_REACH_M = 5.0  #: a spreader does not throw farther (common practice)


def balance_findings(
    site: Site,
    spread: Estimates,
    overthrow: Estimates,
    mass_rate_kg_m2: Floats,
    volume_rate_kg_m2: Floats,
    register: AreaRegister,
) -> list[Finding]:
    """What a reader should know of each dressing's balance."""
    findings = []
    bare = register.area_m2[site.dressed.surface] <= 0
    for k, name in enumerate(site.dressings.id.tolist()):
        texts = []
        mass = overthrow.value[k]
        if np.isnan(spread.value[k]):
            texts.append("no loads are recorded: what was spread is not known")
        if np.isfinite(mass) and mass < 0:
            texts.append(
                f"the catches claim {figure(-mass, 'mass', site.units)} more sand than was spread;"
                " overthrow can not be the reason, and one dressing can not prove which figure is"
                " off"
            )
        two = (mass_rate_kg_m2[k], volume_rate_kg_m2[k])
        if np.isfinite(two).all() and max(two) > min(two) * (1 + site.settings.agreement):
            texts.append(
                "the catches' mass and volume differ by more than the agreement: check the balance"
            )
        names = site.surfaces.id[site.dressed.surface[bare & (site.dressed.dressing == k)]]
        if len(names):
            texts.append(
                f"{', '.join(names.tolist())} owns no ground, as other surfaces lie on all of it:"
                " no sand is counted there"
            )
        findings += [Finding(about=name, text=text, topic="balance") for text in texts]
    return findings


def ring_findings(
    site: Site,
    told: Bools,
    lost: Estimates,
    throw: ThrowOff,
    dressing_of_group: Ints,
    group_of_row: Ints,
) -> list[Finding]:
    """Reaches that no spreader has, and overthrow that is not ``told`` from zero."""
    findings = []
    for g, dressing in enumerate(dressing_of_group.tolist()):
        about, reach = str(site.dressings.id[dressing]), throw.reach_m[g]
        texts = []
        if not lost.value[g] > 0:
            if len(np.flatnonzero(dressing_of_group == dressing)) > 1 and lost.value[g] < 0:
                names = site.surfaces.id[site.dressed.surface[group_of_row == g]].tolist()
                text = (
                    f"on {', '.join(names[:6])} the catches claim"
                    f" {figure(-lost.value[g], 'mass', site.units)} more sand than its loads held:"
                    " look at this part of the dressing by itself"
                )
                findings.append(Finding(about=about, text=text, topic="balance"))
            continue
        if np.isnan(throw.group_farther_kg[g]):
            texts.append("the catches hold no sand: where the overthrow lies can not be told")
        elif np.isnan(reach):
            texts.append(
                "no reach within 200 m holds the overthrow: look for sand lost elsewhere, or a load"
                " or surface that is missing"
            )
        if reach > FAR_REACH_M:
            texts.append(
                f"overthrow would reach {figure(reach, 'length', site.units)} beyond the edge: more"
                " than a spreader throws, so look for sand lost elsewhere"
            )
        if not told[dressing]:
            texts.append("its overthrow may be zero: where it lies is drawn dotted")
        findings += [Finding(about=about, text=text, topic="ring") for text in texts]
    return list(dict.fromkeys(findings))
