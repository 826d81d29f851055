"""Draws of what was spread: Σ (count · unit mass − returned − spilled)/(1 + w) of each dressing."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np

from geosand.balance.drawn_sources import LEAST_DIVISOR, DrawnSources
from geosand.balance.draws import Singles, single_product
from geosand.balance.spread import BAGS
from geosand.columns import Bools, Floats, Ints, Strings, take
from geosand.site.tables import Site


class _Loads(NamedTuple):
    """A row a load, in the order of the dressings."""

    dressing: Ints
    moisture: Ints
    label: Strings
    by_volume: Bools
    bags: Floats  #: variance of the dry mass, kg²
    stated: Floats  #: dry mass of loads by volume; else 0
    carried: Floats  #: moist mass of the others; else 0
    back: Floats  #: moist mass that came back or was spilled
    u_label: Floats


class DrawnSpread(NamedTuple):
    """Loads of sites, and the water contents (W,) that they name with the effects of sources."""

    loads: _Loads
    water: Floats
    u_water: Mapping[str, Floats]

    @classmethod
    def of(cls, site: Site) -> DrawnSpread:
        """All loads of a site, or of many laid end to end."""
        loads, water = site.loads, site.moistures
        wet, gross = 1 + water.ratio[loads.moisture], loads.count * loads.unit_mass_kg
        columns = _Loads(
            dressing=loads.dressing,
            moisture=loads.moisture,
            label=loads.label,
            by_volume=loads.by_volume,
            bags=loads.count * (loads.u_unit_mass_kg / wet) ** 2,
            # a load by volume states its dry mass: only what came back carries water
            stated=np.where(loads.by_volume, gross / wet, 0.0),
            carried=np.where(loads.by_volume, 0.0, gross),
            back=loads.returned_kg + loads.spilled_kg,
            u_label=loads.u_label,
        )
        ordered: _Loads = take(columns, np.argsort(loads.dressing, kind="stable"))
        return cls(ordered, water.ratio, water.by_source())

    def draw(self, table: DrawnSources, first: int, out: Singles) -> None:
        """Draws into ``out`` (D, R), of dressings from number ``first`` on; nan without loads."""
        begin, end = np.searchsorted(self.loads.dressing, [first, first + len(out)])
        loads: _Loads = take(self.loads, slice(begin, end))
        dressing = loads.dressing - first
        weights = [np.sqrt(np.bincount(dressing, loads.bags, len(out)))]
        columns = [table.normal[BAGS]]

        def add(column: Floats, mass: Floats) -> None:
            weights.append(np.bincount(dressing, mass, len(out)).astype(np.float64))
            columns.append(column)

        def add_labels(column: Floats, mass: Floats, mine: Bools) -> None:
            for label in dict.fromkeys(loads.label[mine].tolist()):
                units = np.where(mine & (loads.label == label), mass * loads.u_label, 0.0)
                add(column * table.normal[label], units)

        if loads.by_volume.any():
            dry = np.ones(table.draws)
            add(dry, loads.stated)
            add_labels(dry, loads.stated, loads.by_volume)
        for k in dict.fromkeys(loads.moisture.tolist()):
            mine, dry = loads.moisture == k, self._dry(table, k)
            add(dry, np.where(mine, loads.carried - loads.back, 0.0))
            add_labels(dry, loads.carried, mine & ~loads.by_volume)
        single_product(np.stack(weights, axis=1), np.stack(columns), out)
        out[np.bincount(dressing, minlength=len(out)) == 0] = np.nan

    def _dry(self, table: DrawnSources, row: int) -> Floats:
        """Draws (R,) of 1/(1 + w) for a row of the water contents."""
        wet = np.full(table.draws, 1 + self.water[row])
        for name, effect in self.u_water.items():
            if effect[row] != 0:
                wet += effect[row] * table.normal[name]
        dry: Floats = 1 / np.maximum(wet, LEAST_DIVISOR, out=wet)
        return dry
