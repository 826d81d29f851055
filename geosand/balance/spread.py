"""All dry product that left the spreader: loads to mass, with bags, labels and moisture."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from geosand.columns import Floats, Ints, Runs
from geosand.estimates import Estimates
from geosand.rates.over_time import CATCHES
from geosand.site.sand_tables import Loads, Moistures
from geosand.site.tables import Site

BAGS = "bags"
NEW = frozenset({CATCHES, BAGS})  #: not the same error in the next dressing


def load_masses(loads: Loads, moistures: Moistures) -> Estimates:
    """Dry mass (kg) of each load: (count · unit mass − returned − spilled)/(1 + w).

    Sources: ``bags`` (independent, √count · u), the label shared by all units of a kind, and the
    water content, shared with everything else that it was used for.
    """
    water = 1 + moistures.ratio.take(loads.moisture)
    gross = loads.count * loads.unit_mass_kg / water
    back = (loads.returned_kg + loads.spilled_kg) / water
    dry = gross - back
    effects: dict[str, Floats] = {BAGS: np.sqrt(loads.count) * loads.u_unit_mass_kg / water}
    of_label = gross * loads.u_label
    if len(loads) and np.count_nonzero(loads.label == loads.label[0]) == len(loads):
        effects[str(loads.label[0])] = of_label
    else:
        for label in dict.fromkeys(loads.label.tolist()):
            effects[label] = np.where(loads.label == label, of_label, 0.0)
    # a load by volume states its dry mass: only what came back carries water
    moist = back - gross
    if np.count_nonzero(loads.by_volume):
        moist = np.where(loads.by_volume, back, moist)
    moist /= water
    for label, u_ratio in moistures.by_source().items():
        of_water = u_ratio.take(loads.moisture)
        if np.count_nonzero(of_water):
            effects[label] = moist * of_water
    return Estimates(value=dry, effects=effects, per_row=frozenset({BAGS}))


def water_as_weighed(loads: Loads, moistures: Moistures) -> dict[str, Floats]:
    """Effect (kg) of each water content on the mass of each load as it would be weighed.

    Only loads by volume have one, as their dry mass is stated: count · unit mass/(1 + w) per w.
    """
    if not np.count_nonzero(loads.by_volume):
        return {}
    dry = loads.count * loads.unit_mass_kg / (1 + moistures.ratio.take(loads.moisture))
    dry = np.where(loads.by_volume, dry, 0.0)
    return {label: dry * u.take(loads.moisture) for label, u in moistures.by_source().items()}


def spread_of(masses: Estimates, group: Ints, groups: int) -> Estimates:
    """Dry product spread (kg) by group of loads; nan where a group has no load."""
    runs = Runs(group, groups)
    total = masses.group_sum(runs, groups)
    if len(runs.present) == groups:
        return total
    value = np.full(groups, np.nan)
    value[runs.present] = total.value[runs.present]
    return Estimates(value=value, effects=total.effects, per_row=total.per_row)


def load_groups(site: Site, masses: Estimates) -> tuple[Ints, Ints, Estimates]:
    """Groups of dressed rows that share an overthrow: a dressing, or what its loads name.

    A dressing is divided only where every load names its surfaces and every surface of it is named;
    loads with a surface in common belong to one group.
    """
    loads, dressed, size = site.loads, site.dressed, len(site.dressings)
    count = np.ones(size, dtype=np.int64)
    divided = _divided(site, _maybe_divided(loads, size))
    for dressing, parts in divided.items():
        count[dressing] = len(parts)
    first = np.cumsum(count) - count
    row_group, load_group = first[dressed.dressing], first[loads.dressing]
    for dressing, parts in divided.items():
        for k, (rows, mine) in enumerate(parts, start=int(first[dressing])):
            row_group[rows], load_group[mine] = k, k
    dressing_of_group = np.repeat(np.arange(size), count)
    return row_group, dressing_of_group, spread_of(masses, load_group, len(dressing_of_group))


def _maybe_divided(loads: Loads, size: int) -> Ints:
    """Dressings all of whose loads name surfaces, and not all the same."""
    unnamed, differ = np.zeros(size, dtype=np.bool_), np.zeros(size, dtype=np.bool_)
    last = np.full(size, -1)
    last[loads.dressing] = loads.group
    unnamed[loads.dressing[loads.group < 0]] = True
    differ[loads.dressing[loads.group != last[loads.dressing]]] = True
    return np.flatnonzero(differ & ~unnamed)


def _divided(site: Site, dressings: Ints) -> dict[int, list[tuple[Ints, Ints]]]:
    """Rows of Dressed and of Loads of each part of the ``dressings`` that are divided."""
    ground = site.surfaces.ground[site.dressed.surface]
    rows = _rows_of_each(site.dressed.dressing, dressings)
    loads = _rows_of_each(site.loads.dressing, dressings)
    out: dict[int, list[tuple[Ints, Ints]]] = {}
    for dressing, mine, its in zip(dressings.tolist(), rows, loads, strict=True):
        named = [site.group_surfaces[k] for k in site.loads.group[its].tolist()]
        parts = _joined(named)
        if frozenset().union(*parts) == frozenset(ground[mine].tolist()):
            out[dressing] = [
                (
                    mine[np.isin(ground[mine], list(part))],
                    its[np.array([one <= part for one in named])],
                )
                for part in parts
            ]
    return out


def _rows_of_each(column: Ints, values: Ints) -> list[Ints]:
    """Where ``column`` holds each of the values."""
    order = np.argsort(column, kind="stable")
    ends = np.searchsorted(column[order], np.stack([values, values + 1]))
    return [order[begin:end] for begin, end in ends.T.tolist()]


def _joined(sets: Sequence[frozenset[int]]) -> list[frozenset[int]]:
    """Sets with a member in common joined, until all are disjoint."""
    parts: list[frozenset[int]] = []
    for one in sets:
        meeting = [part for part in parts if part & one]
        parts = [part for part in parts if not part & one] + [one.union(*meeting)]
    return parts
