"""Which surface a catch is on, and how far outside the dressed edge it lies."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from geosand.areas.register import AreaRegister
from geosand.columns import Bools, Floats, Geometries, Ints, Strings, distinct, freeze
from geosand.errors import Fault, Finding, Refused
from geosand.rates.assignment_findings import disagreements, doubtful_tapes, lost, near_edges
from geosand.site.tables import Site

FAR_M = 60.0  #: beyond this a catch outside every dressed surface is told as lost


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Assignment:
    """Where each catch lies; one row a catch."""

    surface: Ints  #: row of Surfaces it lies on; -1 = on none
    dressed: Ints  #: row of Dressed whose rate it measures; -1 = it lies outside
    nearest: Ints  #: row of Dressed whose edge is nearest, for catches outside; -1 = none
    outside_m: Floats  #: distance outside the nearest dressed edge; nan for catches on it
    inside_m: Floats  #: distance inside the edge of its dressed surface; nan for others
    zone: Strings  #: "surface", "collar", "surrounds", "farther" or "elsewhere"
    findings: tuple[Finding, ...]

    def __post_init__(self) -> None:
        freeze(self)


def assign(site: Site, register: AreaRegister) -> Assignment:
    """Surface and zone of every catch: by declaration, position, or taped distance to the edge.

    A declared surface wins where the position lies within 2 × (position ⊕ boundary accuracy) of
    it; a distance taped to the edge overrides the position for the ring within the same allowance.
    Raises Refused with all used catches that lie farther from what they were declared on.
    """
    catches, surfaces = site.catches, site.surfaces
    x, y = register.plane.forward(catches.lon_degree, catches.lat_degree)
    points: Geometries = np.asarray(shapely.points(x, y), dtype=np.object_)
    by_position = _by_position(points, site, register)
    declared = _row_in_edition(catches.declared, site.dressings.edition[catches.dressing], site)
    boundary = surfaces.boundary_accuracy_m.max(initial=0.0)
    allowance = 2 * np.hypot(catches.position_accuracy_m, boundary)
    surface = _declared_wins(site, register, points, by_position, declared, allowance)
    dressed = _dressed_row(site, catches.dressing, surface)
    nearest, distance = _nearest_dressed(site, register, points, by_position)
    # a tape measures from the declared surface, else from the nearest dressed one
    taped = np.where(dressed >= 0, dressed, nearest)
    tape = catches.edge_distance_m
    near = (taped >= 0) & (distance <= allowance + np.maximum(np.nan_to_num(tape), 0.0))
    outward, inward = near & (tape > 0), near & (tape <= 0)
    dressed = np.where(inward, taped, np.where(outward, -1, dressed))
    surface = _taped_surface(site, surface, by_position, dressed, taped, inward, outward)
    nearest = np.where(outward, taped, nearest)
    distance = np.where(outward, tape, distance)
    inside = np.where(inward, -tape, _inside_distance(site, register, points, dressed))
    zone = _zones(site, by_position, dressed, nearest, distance, outward)
    findings = [
        *disagreements(site, by_position, declared),
        *doubtful_tapes(site, register, points, taped, near, allowance),
        *near_edges(site, register, points, surface, distance, allowance),
        *lost(site, dressed, surface, zone, distance, outward),
    ]
    return Assignment(
        surface=surface,
        dressed=dressed,
        nearest=np.where(dressed >= 0, -1, nearest),
        outside_m=np.where(dressed >= 0, np.nan, distance),
        inside_m=inside,
        zone=zone,
        findings=tuple(findings),
    )


def _taped_surface(
    site: Site,
    surface: Ints,
    by_position: Ints,
    dressed: Ints,
    taped: Ints,
    inward: Bools,
    outward: Bools,
) -> Ints:
    """Row of Surfaces under a catch, given what its tape says of the surface it was measured to."""
    if not len(site.dressed):
        return surface
    beside = site.dressed.surface[taped]
    surface = np.where(inward & (dressed >= 0), beside, surface)
    elsewhere = np.where(by_position == beside, -1, by_position)
    return np.where(outward, elsewhere, surface)


def _by_position(points: Geometries, site: Site, register: AreaRegister) -> Ints:
    """Row of the owned polygon under each point; the first in the table on a common edge."""
    edition = site.dressings.edition[site.catches.dressing]
    return surfaces_under(points, edition, register.owned_plane, site.surfaces.edition)


def surfaces_under(
    points: Geometries, edition: Ints, surfaces: Geometries, surface_edition: Ints
) -> Ints:
    """Row of ``surfaces`` that each point (n,) lies on, edges included; -1 for none.

    Only surfaces of the point's own ``edition`` count, the first of them on a common edge. Boxes
    are compared first; each polygon that is left is indexed once for all its points.
    """
    out = np.full(len(points), -1, dtype=np.int64)
    point, surface = shapely.STRtree(surfaces).query(points)
    same = np.flatnonzero(surface_edition[surface] == edition[point])
    same = same[np.argsort(surface[same], kind="stable")]  # one polygon's index after the other
    point, surface = point[same], surface[same]
    shapely.prepare(surfaces[distinct(surface)])
    x, y = shapely.get_x(points), shapely.get_y(points)
    on = shapely.intersects_xy(surfaces[surface], x[point], y[point])
    point, surface = point[on], surface[on]
    order = np.lexsort((-surface, point))
    out[point[order]] = surface[order]  # the smallest row is written last
    return out


def _row_in_edition(ground: Ints, edition: Ints, site: Site) -> Ints:
    """Row of Surfaces of an id in the edition of the catch's dressing; -1 where none."""
    editions = int(site.surfaces.edition.max(initial=0)) + 1
    table = np.full((editions, len(site.ids) + 1), -1, dtype=np.int64)
    table[site.surfaces.edition, site.surfaces.ground] = np.arange(len(site.surfaces))
    return table[edition, ground]  # ground -1 is the spare last column


def _declared_wins(
    site: Site,
    register: AreaRegister,
    points: Geometries,
    by_position: Ints,
    declared: Ints,
    allowance: Floats,
) -> Ints:
    catches, has = site.catches, declared >= 0
    away = np.zeros(len(points))
    apart = has & (by_position != declared)
    away[apart] = shapely.distance(points[apart], register.owned_plane[declared[apart]])
    # a tape outside the edge says that the catch is near the surface, not on it
    allowed = allowance + np.nan_to_num(np.maximum(catches.edge_distance_m, 0.0))
    faults = []
    for k in np.flatnonzero(catches.used & has & ~(away <= allowed)).tolist():
        name, where = catches.id[k], site.surfaces.id[declared[k]]
        found = (
            f"catch '{name}' of {site.dressings.id[catches.dressing[k]]} is declared on '{where}'"
        )
        if np.isnan(away[k]):
            found += ", which owns no ground: other surfaces lie on all of it"
            faults.append(_fault(site, k, found, "", "declare the surface on top, or redraw them"))
            continue
        found += f" but lies {away[k]:.1f} m from it"
        rule = f"at most {allowed[k]:.1f} m (2 × its position's and the boundary's accuracy)"
        faults.append(_fault(site, k, found, rule, "correct the surface or the position"))
    for k in np.flatnonzero(catches.used & (catches.declared >= 0) & ~has).tolist():
        found = f"'{site.ids[catches.declared[k]]}' is no surface in the boundaries of that date"
        faults.append(_fault(site, k, found, "", "name a surface of that boundary survey"))
    if faults:
        raise Refused(faults)
    return np.where(has, declared, by_position)


def _fault(site: Site, catch: int, found: str, allowed: str, remedy: str) -> Fault:
    return Fault(
        file=site.catches_file,
        row=str(site.catches.place[catch]),
        column="surface",
        found=found,
        allowed=allowed,
        remedy=remedy,
    )


def _dressed_row(site: Site, dressing: Ints, surface: Ints) -> Ints:
    """Row of Dressed of (dressing, surface); -1 where that surface was not dressed."""
    table = np.full((len(site.dressings) + 1, len(site.surfaces) + 1), -1, dtype=np.int64)
    table[site.dressed.dressing, site.dressed.surface] = np.arange(len(site.dressed))
    return table[dressing, surface]


def _nearest_dressed(
    site: Site,
    register: AreaRegister,
    points: Geometries,
    by_position: Ints,
) -> tuple[Ints, Floats]:
    """Nearest dressed surface of the catch's own dressing and its distance (0 inside)."""
    nearest = _dressed_row(site, site.catches.dressing, by_position)
    distance = np.where(nearest >= 0, 0.0, np.nan)
    outside = nearest < 0
    for dressing in distinct(site.catches.dressing[outside]):
        rows = np.flatnonzero(site.dressed.dressing == dressing)
        mine = np.flatnonzero(outside & (site.catches.dressing == dressing))
        shapes = register.owned_plane[site.dressed.surface[rows]]
        kept = ~shapely.is_empty(shapes)
        if kept.any():
            found, gap = shapely.STRtree(shapes[kept]).query_nearest(
                points[mine], return_distance=True, all_matches=False
            )
            nearest[mine[found[0]]] = rows[kept][found[1]]
            distance[mine[found[0]]] = gap
    return nearest, distance


def _inside_distance(
    site: Site,
    register: AreaRegister,
    points: Geometries,
    dressed: Ints,
) -> Floats:
    out = np.full(len(points), np.nan)
    on = dressed >= 0
    surface = site.dressed.surface[dressed[on]]
    outlines = np.full(len(site.surfaces), None, dtype=object)
    needed = distinct(surface)
    outlines[needed] = shapely.boundary(register.owned_plane[needed])
    out[on] = shapely.distance(points[on], outlines[surface])
    return out


def _zones(
    site: Site,
    under: Ints,
    dressed: Ints,
    nearest: Ints,
    distance: Floats,
    taped: Bools,
) -> Strings:
    """Zone of each catch. A drawn collar counts as the collar of the surface it is around."""
    surfaces, settings = site.surfaces, site.settings
    # -1, beside no dressed surface, reads the last row: its distance is nan and it lies elsewhere
    owner = site.dressed.surface[nearest] if len(site.dressed) else nearest
    drawn = (surfaces.kind == "collar") & (surfaces.around >= 0)
    on_drawn = (under >= 0) & drawn[under] & (surfaces.around[under] == surfaces.ground[owner])
    has_drawn = _with_drawn_collar(site, drawn)[owner]
    ring_kind = np.isin(surfaces.kind[owner], ["collar", "surround"])
    width = np.where(ring_kind, 0.0, settings.collar_width_m)
    collar = np.where(has_drawn & ~taped, on_drawn, distance <= width)
    zone = np.select(
        [
            dressed >= 0,
            collar & (distance <= FAR_M),
            distance <= width + settings.surrounds_width_m,
            distance <= FAR_M,
        ],
        ["surface", "collar", "surrounds", "farther"],
        "elsewhere",
    )
    return zone.astype(np.str_)


def _with_drawn_collar(site: Site, drawn: Bools) -> Bools:
    """Which surfaces have a collar drawn around them in their own edition."""
    surfaces, grounds = site.surfaces, len(site.ids)
    key = surfaces.edition * grounds
    return np.isin(key + surfaces.ground, (key + surfaces.around)[drawn])
