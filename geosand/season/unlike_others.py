"""Surfaces that their own catches found unlike the others, and that were not caught every time.

A surface without catches in a dressing gets that dressing's mean, whatever it got in others. Where
it is always dressed heavier or lighter, its depth so far is then wrong by that in each of them.
"""

from __future__ import annotations

import numpy as np

from geosand.columns import Bools, Floats, Ints, frozen, ratio
from geosand.errors import Finding
from geosand.estimates import Estimates
from geosand.rates.surface_rates import Rates, planned_scale
from geosand.site.tables import Site
from geosand.units import figure

TOLD_U = 1.5  #: by how many u of a depth it must be off before anybody is told


@frozen
class UnlikeOthers:
    """One row a surface of the ledger."""

    times: Floats  #: what its own catches found, over what the others got; nan without any
    caught: Ints  #: dressings with catches of its own
    others: Ints  #: measured dressings without
    depth_m: Floats  #: if it always got that; nan where that lies within u of its depth so far
    told: Bools  #: True: it lies beyond ``TOLD_U`` of them


def unlike_others(
    site: Site, rates: Rates, counted: Bools, ground: Ints, depth: Estimates
) -> UnlikeOthers:
    """What ``depth`` so far (m, of the ids ``ground``) is if the surfaces' own deviations last.

    In 400 simulated seasons each of 9 or 18 greens, 3 to 12 dressings, 3 to 5 trays on each of 3 to
    9 greens that moved about, a green that got 60 % of the others' sand was told in 80 % of those
    in which it was both caught and missed, of 140 % in 53 %, of 80 or 120 % in 10 and 8 %; that
    figure was then the nearer one to the truth each time, for the last two in 97 and 92 %. Where
    none stood out, 3 % of the sites were told one (deviations of 8 % dealt anew), 5 % (6 % that
    last, 5 % anew) or 8 % (8 % that last, 13 % of sites with 18 greens). From one u on these were
    26, 33 and 42 %.
    """
    size, of_row = len(site.ids), site.surfaces.ground[site.dressed.surface]
    dressing = site.dressed.dressing
    usual = rates.model.mu[dressing] * planned_scale(site)
    measured = counted & (usual > 0)
    own, bare = np.flatnonzero(measured & rates.own), np.flatnonzero(measured & ~rates.own)
    caught = np.bincount(of_row[own], minlength=size)
    others = np.bincount(of_row[bare], minlength=size)
    found = np.bincount(of_row[own], rates.rate.value[own] / usual[own], size)
    times = ratio(found, caught)
    fraction = site.sands.sand_mass_fraction[site.dressings.sand[dressing[bare]]]
    estimated = np.bincount(of_row[bare], rates.depth.value[bare] * fraction, size)
    more = ((times - 1) * estimated)[ground]
    off = ratio(np.abs(more), depth.u())  # nan compares as False
    return UnlikeOthers(
        times=times[ground],
        caught=caught[ground],
        others=others[ground],
        depth_m=np.where(off > 1, depth.value + more, np.nan),
        told=off > TOLD_U,
    )


def unlike_findings(site: Site, row: Ints, depth: Estimates, unlike: UnlikeOthers) -> list[Finding]:
    """A finding for each surface whose depth so far that would change; ``row`` is of Surfaces."""
    return [
        Finding(
            about=str(site.surfaces.id[row[k]]),
            text=_in_words(float(depth.value[k]), unlike, k),
            topic="season",
            member=int(site.of_surface[row[k]]),
        )
        for k in np.flatnonzero(unlike.told).tolist()
    ]


def _in_words(depth_m: float, unlike: UnlikeOthers, k: int) -> str:
    """What row ``k`` of the ledger was found to get, and what that may mean for its depth."""
    caught, others = int(unlike.caught[k]), int(unlike.others[k])
    dressings = f"{caught} dressing{'' if caught == 1 else 's'}"
    rest = "the other one" if others == 1 else f"the {others} others"
    so_far, then = (figure(one, "depth", "metric") for one in (depth_m, unlike.depth_m[k]))
    return (
        f"its own catches, in {dressings}, found {100 * unlike.times[k]:.0f} % of what surfaces got"
        f" on the average; in {rest} that average counts for it. If it always gets that share it"
        f" has {then} so far, not {so_far}: lay a tray on it at each dressing"
    )
