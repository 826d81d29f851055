"""The area register of a site: drawn and owned ground of every surface, with its errors."""

from __future__ import annotations

import numpy as np
import shapely

from geosand.areas.common_edges import own_edges_m, shared_edges
from geosand.areas.crowds import refuse_crowds
from geosand.areas.ellipsoid import ellipsoid_areas_m2, perimeters_m, vertex_spread_m2
from geosand.areas.ground import ground_factor
from geosand.areas.ownership import cut_ground, precedence_ranks
from geosand.areas.plane import Plane, Planes
from geosand.areas.rings import Rings, polygons_of, rings_of
from geosand.areas.thinning import thinned
from geosand.areas.uncertainty import AreaErrors
from geosand.columns import Floats, Geometries, Ints, columns
from geosand.errors import Finding
from geosand.site.tables import Surfaces

OVERLAP_M2 = 0.5  #: drawn and owned areas closer than this are not worth a finding


@columns
class AreaRegister:
    """One row a surface and edition, as in Surfaces."""

    owned: Geometries  #: lon/lat: drawn polygon less what surfaces on top of it own
    owned_plane: Geometries  #: the same in metres of the plane of its site
    laid_plane: Geometries  #: owned_plane, rings of very many corners thinned: to lay rings beside
    drawn_m2: Floats  #: ellipsoid area of the polygon as drawn
    owned_m2: Floats  #: ellipsoid area of the owned ground
    ground_factor: Floats  #: (1 + h/R)² · √(1 + slope²)
    area_m2: Floats  #: ground area of the owned ground: the one used everywhere
    u_area_m2: Floats  #: of the ground area
    perimeter_m: Floats  #: of the owned ground, holes included
    errors: AreaErrors
    planes: Planes  #: one row a site
    findings: tuple[Finding, ...]

    @property
    def plane(self) -> Plane:
        """The plane of the only site; ValueError where there are more."""
        return self.planes.only()


def area_register(surfaces: Surfaces, of_surface: Ints | None = None) -> AreaRegister:
    """Areas of all surfaces of all editions, with their uncertainty by source.

    ``of_surface`` says which site each is of, where several are laid end to end. Raises Refused
    where too many surfaces of one survey lie on each other.
    """
    refuse_crowds(shapely.bounds(surfaces.geometry), surfaces.edition, "surfaces.geojson")
    of = np.zeros(len(surfaces), dtype=np.int64) if of_surface is None else of_surface
    planes = Planes.around(surfaces.geometry, of)
    rings = rings_of(surfaces.geometry)
    drawn = ellipsoid_areas_m2(rings)
    rank = precedence_ranks(surfaces.kind, drawn, surfaces.edition)
    owned, on_ellipsoid = _owned(surfaces, drawn, rank, rings)
    factor = ground_factor(surfaces.elevation_m, surfaces.slope)
    outlines = rings_of(owned)
    perimeter = perimeters_m(outlines)
    u_vertices = vertex_spread_m2(outlines, surfaces.boundary_accuracy_m)
    on_plane = planes.rings_to_plane(outlines, of, in_place=True)
    owned_plane = polygons_of(on_plane)
    shared = shared_edges(owned_plane, rank, surfaces.edition, rings=on_plane)
    errors = AreaErrors(
        u_vertices_m2=u_vertices,
        own_edge_m=own_edges_m(perimeter, shared),
        edge_accuracy_m=surfaces.edge_accuracy_m,
        edge_bias_m=surfaces.edge_bias_m,
        edition=surfaces.edition,
        shared=shared,
    )
    return AreaRegister(
        owned=owned,
        owned_plane=owned_plane,
        laid_plane=thinned(owned_plane, on_plane),
        drawn_m2=drawn,
        owned_m2=on_ellipsoid,
        ground_factor=factor,
        area_m2=on_ellipsoid * factor,
        u_area_m2=errors.u_area_m2() * factor,
        perimeter_m=perimeter,
        errors=errors,
        planes=planes,
        findings=_overlaps(surfaces, of, drawn * factor, on_ellipsoid * factor, owned),
    )


def _owned(
    surfaces: Surfaces, drawn_m2: Floats, rank: Ints, rings: Rings
) -> tuple[Geometries, Floats]:
    """The ground that each surface (S,) owns and its ellipsoid area; ``rings`` are as drawn."""
    cut, *left = cut_ground(surfaces.geometry, rank, surfaces.edition, rings)
    owned, on_ellipsoid = surfaces.geometry.copy(), drawn_m2.copy()
    owned[cut], on_ellipsoid[cut] = left
    return owned, on_ellipsoid


def _overlaps(
    surfaces: Surfaces, of: Ints, drawn: Floats, owned_m2: Floats, owned: Geometries
) -> tuple[Finding, ...]:
    """Surfaces in force that own less than was drawn, both as ground areas (S,)."""
    newest = np.zeros(int(of.max(initial=-1)) + 1, dtype=np.int64)
    np.maximum.at(newest, of, surfaces.edition)
    in_force = surfaces.edition == newest[of]
    covered = np.flatnonzero((drawn - owned_m2 > OVERLAP_M2) & in_force)
    columns = (surfaces.id, of, drawn, owned_m2)
    findings = []
    for about, member, all_of_it, left, none_left in zip(
        *(column[covered].tolist() for column in columns),
        shapely.is_empty(owned[covered]).tolist(),
        strict=True,
    ):
        text = f"drawn {all_of_it:.1f} m², owns {left:.1f} m²: surfaces lie on top of it"
        if none_left:
            text = f"owns no ground: other surfaces lie on all of it ({all_of_it:.1f} m² drawn)"
        findings.append(Finding(about=about, text=text, topic="area", member=member))
    return tuple(findings)
