"""Areas of the boundaries in force: as rows, by kind, summed with joint errors of neighbours."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from geosand.areas.ownership import precedence_ranks
from geosand.areas.register import AreaRegister
from geosand.columns import Floats
from geosand.planning.route import natural
from geosand.reports.documents import Document, columns_of, rows_of
from geosand.site.tables import Site


def area_rows(site: Site, areas: AreaRegister) -> list[Document]:
    """Ground areas of the boundaries in force, keys as in ``areas --json``."""
    rows = site.in_force()
    return rows_of(
        {
            **columns_of(site.surfaces, "id", "name", "kind", rows=rows),
            **columns_of(areas, "area_m2", "u_area_m2", "perimeter_m", rows=rows),
            "drawn_area_m2": (areas.drawn_m2 * areas.ground_factor)[rows],
        }
    )


TOTALS_NOTE = (
    "u of a total is not the sum of the surfaces' u: an edge that two of them share leaves their"
    " sum alone, errors of single edges partly cancel, and the survey's bias adds up in full."
)


def by_kind(rows: Sequence[Document]) -> Iterable[tuple[str, list[Document]]]:
    """Rows of each kind, greens first as on the map, in the natural order of their ids."""
    kinds = list(dict.fromkeys(row["kind"] for row in rows))
    ranks = precedence_ranks(np.array(kinds, dtype=np.str_), np.zeros(len(kinds)))
    for k in np.argsort(ranks):
        mine = [row for row in rows if row["kind"] == kinds[k]]
        yield kinds[k], sorted(mine, key=lambda row: natural(row["id"]))


def area_totals(site: Site, register: AreaRegister, grid_m2: Floats) -> list[Document]:
    """Sum of ground area by kind and of all, each with its own u from the joint errors."""
    rows = site.in_force()
    kinds = list(dict.fromkeys(site.surfaces.kind[rows].tolist()))
    members = [site.surfaces.kind[rows] == kind for kind in kinds]
    members.append(np.ones(len(rows), dtype=np.bool_))
    coefficients = np.zeros((len(members), len(site.surfaces)))
    coefficients[:, rows] = np.array(members) * register.ground_factor[rows]
    effects = register.errors.effects(coefficients)
    u = np.sqrt(sum(effect**2 for effect in effects.values()))
    return rows_of(
        {
            "kind": [*kinds, "all"],
            "surfaces": np.sum(members, axis=1),
            "area_m2": np.array([register.area_m2[rows][member].sum() for member in members]),
            "u_area_m2": u,
            "grid_area_m2": np.array([grid_m2[member].sum() for member in members]),
        }
    )
