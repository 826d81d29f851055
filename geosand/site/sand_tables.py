"""The tables of the sand itself: what it is, how moist, and what was bought, taken and counted."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import field

import numpy as np

from geosand.columns import Bools, Dates, Floats, Ints, Sized, Strings, columns


@columns
class Sands:
    """Sands (or mixes) of a site."""

    name: Strings
    bulk_density_kg_m3: Floats  #: dry, poured, untapped; nan = to be measured from catches
    u_bulk_density_kg_m3: Floats
    moisture: Ints  #: row of Moistures; -1 = stated by each load
    sand_mass_fraction: Floats

    def called(self, row: int) -> str:
        """What findings call a sand: by its name, where it has one of its own."""
        return "sand" if self.name[row] in ("", "sand") else f"sand {self.name[row]}"


@columns
class Moistures:
    """Water contents, dry basis: kg of water per kg of dry product; one row a measurement."""

    label: Strings  #: names the source, for example ``"moisture: washed"``
    ratio: Floats
    u_ratio: Floats
    #: A row that is the mean of others: their rows and weights. It has no source of its own.
    mixtures: Mapping[int, Sequence[tuple[int, float]]] = field(default_factory=dict)

    def by_source(self) -> dict[str, Floats]:
        """The effect (n,) of each source on the ratio of every row, 0 where it has none.

        A row has one source, its own; a mixture has those of its parts.
        """
        mixed = np.zeros(len(self.ratio), dtype=np.bool_)
        mixed[list(self.mixtures)] = True
        effects: dict[str, Floats] = {}
        for name in dict.fromkeys(self.label[~mixed].tolist()):
            effects[name] = np.where((self.label == name) & ~mixed, self.u_ratio, 0.0)
        for row, parts in self.mixtures.items():
            for part, weight in parts:
                effects[str(self.label[part])][row] += weight * self.u_ratio[part]
        return effects


@columns
class Loads(Sized):
    """Sand taken out for a dressing, one row a load; masses as weighed (with their water)."""

    id: Strings
    dressing: Ints
    count: Floats
    unit_mass_kg: Floats  #: as weighed; by volume: dry mass × (1 + moisture)
    by_volume: Bools  #: dry mass per loose volume was given: moisture does not enter
    u_unit_mass_kg: Floats  #: unit to unit, independent
    u_label: Floats  #: relative, shared by all units of this mass and sand
    label: Strings  #: names the shared source
    moisture: Ints  #: row of Moistures
    returned_kg: Floats
    spilled_kg: Floats
    group: Ints  #: loads of one dressing that went to the same surfaces; -1 = all of the dressing
    ticket: Strings


@columns
class WeighedLoads:
    """Loads that were also put on a scale as a whole, one row a weighing."""

    load: Ints  #: row of Loads
    mass_kg: Floats  #: as weighed: all its units with their water, before any came back
    u_mass_kg: Floats


@columns
class Deliveries:
    """Sand bought, one row a ticket."""

    date: Dates
    mass_kg: Floats
    u_mass_kg: Floats
    sand: Ints
    ticket: Strings


@columns
class StockCounts(Sized):
    """Sand counted in the yard, one row a count."""

    date: Dates
    mass_kg: Floats  #: as it lies there, with its water
    u_mass_kg: Floats
    sand: Ints
