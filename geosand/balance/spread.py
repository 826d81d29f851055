"""All dry product that left the spreader: loads to mass, with bags, labels and moisture."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from geosand.columns import Floats, Ints, distinct
from geosand.estimates import Estimates
from geosand.site.tables import Loads, Moistures, Site

BAGS = "bags"


def load_masses(loads: Loads, moistures: Moistures) -> Estimates:
    """Dry mass (kg) of each load: (count · unit mass − returned − spilled)/(1 + w).

    Sources: ``bags`` (independent, √count · u), the label shared by all units of a kind, and the
    water content, shared with everything else that it was used for.
    """
    ratio = moistures.ratio[loads.moisture]
    gross = loads.count * loads.unit_mass_kg
    back = loads.returned_kg + loads.spilled_kg
    dry = (gross - back) / (1 + ratio)
    effects: dict[str, Floats] = {
        BAGS: np.sqrt(loads.count) * loads.u_unit_mass_kg / (1 + ratio),
    }
    for label in dict.fromkeys(loads.label.tolist()):
        mine = loads.label == label
        effects[label] = np.where(mine, gross * loads.u_label / (1 + ratio), 0.0)
    # a load by volume states its dry mass: only what came back carries water
    moist = np.where(loads.by_volume, -back / (1 + ratio), dry)
    for k in distinct(loads.moisture):
        relative = moistures.u_ratio[k] / (1 + moistures.ratio[k])
        effects[str(moistures.label[k])] = np.where(loads.moisture == k, -moist * relative, 0.0)
    return Estimates(value=dry, effects=effects, per_row=frozenset({BAGS}))


def spread_of(masses: Estimates, group: Ints, groups: int) -> Estimates:
    """Dry product spread (kg) by group of loads; nan where a group has no load."""
    total = masses.group_sum(group, groups)
    loads = np.bincount(group, minlength=groups)
    return Estimates(
        value=np.where(loads > 0, total.value, np.nan),
        effects=total.effects,
        per_row=total.per_row,
        degrees_of_freedom=total.degrees_of_freedom,
    )


def load_groups(site: Site, masses: Estimates) -> tuple[Ints, Ints, Estimates]:
    """Groups of dressed rows that share an overthrow: a dressing, or what its loads name.

    A dressing is divided only where every load names its surfaces and every surface of it is named;
    loads with a surface in common belong to one group.
    """
    row_group = np.zeros(len(site.dressed), dtype=np.int64)
    load_group = np.zeros(len(site.loads), dtype=np.int64)
    dressing_of_group: list[int] = []
    for dressing in range(len(site.dressings)):
        loads = np.flatnonzero(site.loads.dressing == dressing)
        rows = np.flatnonzero(site.dressed.dressing == dressing)
        ground = site.surfaces.ground[site.dressed.surface[rows]]
        named = site.loads.group[loads]
        everywhere = frozenset(ground.tolist())
        of_load = [site.group_surfaces[k] if k >= 0 else everywhere for k in named.tolist()]
        parts = _joined(of_load)
        if frozenset().union(*parts) != everywhere:
            parts = [everywhere]
        for part in parts:
            row_group[rows[np.isin(ground, list(part))]] = len(dressing_of_group)
            mine = [not part.isdisjoint(one) for one in of_load]
            load_group[loads[np.array(mine, dtype=np.bool_)]] = len(dressing_of_group)
            dressing_of_group.append(dressing)
    groups = len(dressing_of_group)
    return (
        row_group,
        np.array(dressing_of_group, dtype=np.int64),
        spread_of(masses, load_group, groups),
    )


def _joined(sets: Sequence[frozenset[int]]) -> list[frozenset[int]]:
    """Sets with a member in common joined, until all are disjoint."""
    parts: list[frozenset[int]] = []
    for one in sets:
        meeting = [part for part in parts if part & one]
        parts = [part for part in parts if not part & one] + [one.union(*meeting)]
    return parts
