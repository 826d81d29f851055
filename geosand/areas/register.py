"""The area register of a site: drawn and owned ground of every surface, with its errors."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from geosand.areas.ellipsoid import ellipsoid_areas_m2, perimeters_m, vertex_spread_m2
from geosand.areas.ground import ground_factor
from geosand.areas.ownership import own_edges_m, owned_geometries, shared_edges
from geosand.areas.plane import Plane
from geosand.areas.rings import rings_of
from geosand.areas.uncertainty import AreaErrors
from geosand.columns import Floats, Geometries, freeze
from geosand.errors import Finding
from geosand.site.tables import Surfaces

OVERLAP_M2 = 0.5  #: drawn and owned areas closer than this are not worth a finding


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class AreaRegister:
    """One row a surface and edition, as in Surfaces."""

    owned: Geometries  #: lon/lat: drawn polygon less what surfaces on top of it own
    owned_plane: Geometries  #: the same in metres of ``plane``
    drawn_m2: Floats  #: ellipsoid area of the polygon as drawn
    owned_m2: Floats  #: ellipsoid area of the owned ground
    ground_factor: Floats  #: (1 + h/R)² · √(1 + slope²)
    area_m2: Floats  #: ground area of the owned ground: the one used everywhere
    u_area_m2: Floats
    perimeter_m: Floats  #: of the owned ground, holes included
    errors: AreaErrors
    plane: Plane
    findings: tuple[Finding, ...]

    def __post_init__(self) -> None:
        freeze(self)


def area_register(surfaces: Surfaces) -> AreaRegister:
    """Areas of all surfaces of all editions, with their uncertainty by source."""
    plane = Plane.around(surfaces.geometry)
    drawn = ellipsoid_areas_m2(surfaces.geometry)
    owned = owned_geometries(surfaces.geometry, surfaces.kind, surfaces.edition, drawn)
    owned_plane = plane.to_plane(owned)
    factor = ground_factor(surfaces.elevation_m, surfaces.slope)
    same = np.array([a is b for a, b in zip(owned, surfaces.geometry, strict=True)], dtype=bool)
    on_ellipsoid = drawn.copy()
    on_ellipsoid[~same] = ellipsoid_areas_m2(owned[~same])
    outlines = rings_of(owned)
    perimeter = perimeters_m(outlines)
    shared = shared_edges(owned_plane, surfaces.kind, surfaces.edition)
    errors = AreaErrors(
        u_vertices_m2=vertex_spread_m2(outlines, surfaces.boundary_accuracy_m),
        own_edge_m=own_edges_m(perimeter, shared),
        edge_accuracy_m=surfaces.edge_accuracy_m,
        edge_bias_m=surfaces.edge_bias_m,
        edition=surfaces.edition,
        shared=shared,
    )
    return AreaRegister(
        owned=owned,
        owned_plane=owned_plane,
        drawn_m2=drawn,
        owned_m2=on_ellipsoid,
        ground_factor=factor,
        area_m2=on_ellipsoid * factor,
        u_area_m2=errors.u_area_m2(),
        perimeter_m=perimeter,
        errors=errors,
        plane=plane,
        findings=_overlaps(surfaces, drawn * factor, on_ellipsoid * factor, owned),
    )


def _overlaps(
    surfaces: Surfaces, drawn: Floats, owned_m2: Floats, owned: Geometries
) -> tuple[Finding, ...]:
    """Surfaces in force that own less than was drawn, both as ground areas (S,)."""
    in_force = surfaces.edition == surfaces.edition.max(initial=0)
    covered = np.flatnonzero((drawn - owned_m2 > OVERLAP_M2) & in_force)
    findings = []
    for row in covered:
        text = f"drawn {drawn[row]:.1f} m², owns {owned_m2[row]:.1f} m²: surfaces lie on top of it"
        if shapely.is_empty(owned[row]):
            text = f"owns no ground: other surfaces lie on all of it ({drawn[row]:.1f} m² drawn)"
        findings.append(Finding(about=str(surfaces.id[row]), text=text, topic="area"))
    return tuple(findings)
