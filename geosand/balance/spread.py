"""All dry product that left the spreader: loads to mass, with bags, labels and moisture."""

from __future__ import annotations

import numpy as np

from geosand.columns import Floats, Ints
from geosand.estimates import Estimates
from geosand.site.tables import Loads, Moistures

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
    for k in np.unique(loads.moisture):
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
