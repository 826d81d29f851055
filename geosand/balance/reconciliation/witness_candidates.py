"""Further witnesses of a season as inputs that can be off: scale, rings, stock, volumes."""

from __future__ import annotations

import numpy as np

from geosand.balance.reconciliation.candidate import Candidate, Found
from geosand.balance.reconciliation.equations import Point
from geosand.balance.reconciliation.evidence import Evidence
from geosand.columns import Floats, ratio


def _wet(one: Evidence) -> Floats:
    """Mass as weighed of 1 kg of dry product of each load."""
    return 1 + one.site.moistures.ratio[one.site.loads.moisture]


def _only_load(one: Evidence, dressing: int) -> int:
    """Row of Loads of the single load of a dressing; -1 where there are several."""
    rows = np.flatnonzero(one.site.loads.dressing == dressing)
    return int(rows[0]) if len(rows) == 1 else -1


def on_scale(one: Evidence, dressing: int) -> Floats:
    """What 1 kg more of dry product in a dressing's only load adds to each weighing."""
    load = _only_load(one, dressing)
    return np.where(one.weighed.load == load, _wet(one)[load], 0.0)


def from_yard(one: Evidence, dressing: int) -> Floats | float:
    """What 1 kg more of dry product in a dressing's loads takes from each counted stock."""
    if one.stock is None:
        return 0.0
    mine = one.stock.loads & (one.site.loads.dressing == dressing)
    return ratio((mine * _wet(one)).sum(axis=1), mine.sum(axis=1), empty=0.0)


def witnesses(one: Evidence, point: Point) -> Found:
    """Weighings, weighed loads, ring catches, stock and volumes."""
    yield from _weighings(one)
    yield from _ring_catches(one, point)
    if one.stock is not None:
        for row, k in enumerate(one.stock.sand.tolist()):
            yield Candidate(
                f"sand not accounted for: {one.site.sands.name[k]}",
                one.single("stock", row),
                unit="kg",
                stated=0.0,
                within=(-np.inf, np.inf),
                persists=False,
            )
    for row, k in enumerate(one.density_sand.tolist()):
        name, measured = str(one.site.sands.name[k]), float(one.density.measured[k])
        yield Candidate(
            f"volumes of the catches: {name}",
            one.single("density", row),
            unit="kg/m³",
            stated=measured,
            within=(-measured / 2, measured),
            errors={f"measured density: {name}": float(one.density.u_measured[k])},
        )


def _weighings(one: Evidence) -> Found:
    """The scale, and what lay on it: the load, where it is not all of its dressing anyway."""
    loads, dry = one.site.loads, _wet(one)
    for row, k in enumerate(one.weighed.load.tolist()):
        name, stated = str(loads.id[k]), float(loads.count[k] * loads.unit_mass_kg[k])
        mass = float(one.weighed.mass_kg[row])
        yield Candidate(
            f"weighing of {name}",
            one.single("weighed", row, -1.0),
            unit="kg",
            stated=mass,
            within=(-mass, mass),
            persists=False,
            errors={f"weighing: {name}": float(one.weighed.u_mass_kg[row])},
        )
        if _only_load(one, int(loads.dressing[k])) >= 0 and loads.dressing[k] in one.dressing:
            continue
        yield Candidate(
            f"load {name}",
            one.stack(
                balance=np.where(one.dressing == loads.dressing[k], 1 / dry[k], 0.0),
                weighed=np.arange(len(one.weighed.load)) == row,
                stock=0.0 if one.stock is None else np.where(one.stock.loads[:, k], 1.0, 0.0),
            ),
            unit="kg",
            stated=stated,
            within=(-stated, stated),
            persists=False,
        )


def _ring_catches(one: Evidence, point: Point) -> Found:
    """Strips by the ring catches of each dressing, m."""
    for row, k in enumerate(one.ring.tolist()):
        name, kg = str(one.site.dressings.id[one.dressing[k]]), float(point.edge_kg[k])
        yield Candidate(
            f"ring catches of {name}",
            one.single("ring", row, kg),
            unit="m of strip",
            stated=float(one.ring_strip_m[row]),
            within=(-float(one.ring_strip_m[row]), 10.0),
            persists=False,
            errors={f"ring catches: {name}": float(one.u_ring_strip_m[row])},
        )
