"""Areas of the boundaries in force as rows, without the checks that ``geosand areas`` makes."""

from __future__ import annotations

from geosand.areas.register import AreaRegister
from geosand.reports.documents import Document, number
from geosand.site.tables import Site


def area_rows(site: Site, areas: AreaRegister) -> list[Document]:
    """Ground areas of the boundaries in force, keys as in ``areas --json``."""
    return [
        {
            "id": str(site.surfaces.id[row]),
            "name": str(site.surfaces.name[row]),
            "kind": str(site.surfaces.kind[row]),
            "area_m2": number(areas.area_m2[row]),
            "u_area_m2": number(areas.u_area_m2[row]),
            "perimeter_m": number(areas.perimeter_m[row]),
            "drawn_area_m2": number(areas.drawn_m2[row] * areas.ground_factor[row]),
        }
        for row in site.in_force()
    ]
