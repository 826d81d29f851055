"""Which surface a catch is on, and how far outside the dressed edge it lies."""

from __future__ import annotations

import numpy as np
import shapely

from geosand.areas.register import AreaRegister
from geosand.columns import (
    Bools,
    Floats,
    Geometries,
    Ints,
    Strings,
    columns,
    distinct,
)
from geosand.errors import Fault, Finding, Refused
from geosand.rates.assignment_findings import disagreements, doubtful_tapes, lost, near_edges
from geosand.rates.catch_rows import rows_of_pairs
from geosand.rates.edge_distance import edge_bands_m, nearest_dressed
from geosand.rates.ground_under import surfaces_under
from geosand.rates.insides import SPARE_M, Depths, Insides
from geosand.site.raw_columns import place_said
from geosand.site.tables import Site

FAR_M = 60.0  #: beyond this a catch outside every dressed surface is told as lost
_ZONES = np.array(["elsewhere", "surface", "collar", "surrounds", "farther"])


@columns
class Assignment:
    """Where each catch lies; one row a catch."""

    x_m: Floats  #: in the plane of its site
    y_m: Floats
    by_position: Ints  #: row of Surfaces under it, whatever was declared or taped; -1 = none
    surface: Ints  #: row of Surfaces it lies on; -1 = on none
    dressed: Ints  #: row of Dressed whose rate it measures; -1 = it lies outside
    nearest: Ints  #: row of Dressed whose edge is nearest, for catches outside; -1 = none
    outside_m: Floats  #: distance outside the nearest dressed edge; nan for catches on it
    taped_inside_m: Floats  #: distance inside the edge of its dressed surface; nan = not taped
    zone: Strings  #: "surface", "collar", "surrounds", "farther" or "elsewhere"
    depths: Depths  #: how deep in the surface under it each lies
    insides: Insides  #: of the dressed surfaces
    findings: tuple[Finding, ...]


def assign(site: Site, register: AreaRegister) -> Assignment:
    """Surface and zone of every catch: by declaration, position, or taped distance to the edge.

    A declared surface wins where the position lies within 2 × (position ⊕ boundary accuracy) of
    it; a distance taped to the edge overrides the position for the ring within the same allowance.
    Raises Refused with all used catches that lie farther from what they were declared on.
    """
    catches, owned = site.catches, register.owned_plane
    of_catch = site.of_dressing[catches.dressing]
    x, y = register.planes.forward(catches.lon_degree, catches.lat_degree, of_catch)
    edition = site.dressings.edition[catches.dressing]
    declared = _declared(site, edition)
    insides = Insides.of(owned, distinct(site.dressed.surface))
    allowance = 2 * np.hypot(catches.position_accuracy_m, _boundary_accuracies(site, of_catch))
    # deeper than the edge's band, or for a free catch than its place is known, is deep enough
    enough = np.where(declared < 0, allowance + catches.half_diagonal_m, 0.0)
    widest = np.zeros(len(site.dressings))
    np.maximum.at(widest, site.dressed.dressing, edge_bands_m(site))
    enough = np.maximum(enough, widest[catches.dressing]) + 2 * SPARE_M
    by_position, depths = _under(site, owned, insides, x, y, declared, enough)
    surface = _declared_wins(site, owned, x, y, by_position, declared, allowance)
    nearest, distance = nearest_dressed(site, owned, x, y, by_position)
    dressed = _on_dressed(site, surface, by_position, nearest)
    # a tape measures from the declared surface, else from the nearest dressed one
    taped = np.where(dressed >= 0, dressed, nearest)
    tape = catches.edge_distance_m
    near = (taped >= 0) & (distance <= allowance + np.maximum(np.nan_to_num(tape), 0.0))
    outward, inward = near & (tape > 0), near & (tape <= 0)
    dressed = np.where(inward, taped, np.where(outward, -1, dressed))
    surface = _taped_surface(site, surface, by_position, dressed, taped, inward, outward)
    nearest = np.where(outward, taped, nearest)
    distance = np.where(outward, tape, distance)
    zone = _zones(site, of_catch, by_position, dressed, nearest, distance, outward)
    findings = [
        *disagreements(site, by_position, declared),
        *doubtful_tapes(site, owned, x, y, taped, near, allowance),
        *near_edges(site, owned, x, y, depths, surface, distance, allowance),
        *lost(site, dressed, surface, zone, distance, outward),
    ]
    return Assignment(
        x_m=x,
        y_m=y,
        by_position=by_position,
        surface=surface,
        dressed=dressed,
        nearest=np.where(dressed >= 0, -1, nearest),
        outside_m=np.where(dressed >= 0, np.nan, distance),
        taped_inside_m=np.where(inward, -tape, np.nan),
        zone=zone,
        depths=depths,
        insides=insides,
        findings=tuple(findings),
    )


def _under(
    site: Site,
    owned: Geometries,
    insides: Insides,
    x: Floats,
    y: Floats,
    declared: Ints,
    enough_m: Floats,
) -> tuple[Ints, Depths]:
    """Row of Surfaces under each catch (n,), and how deep in it it lies.

    Most lie surely inside what they were declared on.
    """
    depths = insides.depths(x, y, declared, enough_m)
    by_position = np.where(depths.least_m > SPARE_M, declared, -1)
    rest = np.flatnonzero(by_position < 0)
    if len(rest):
        edition = site.dressings.edition[site.catches.dressing[rest]]
        by_position[rest] = surfaces_under(
            x[rest], y[rest], edition, owned, site.surfaces.edition, declared[rest]
        )
        found = insides.depths(x[rest], y[rest], by_position[rest], enough_m[rest])
        depths.least_m[rest], depths.most_m[rest] = found
    return by_position, depths


def _declared(site: Site, edition: Ints) -> Ints:
    """Row of Surfaces of the declared id in the edition (n,) of the catch's dressing; -1: none."""
    surfaces = site.surfaces
    return rows_of_pairs(surfaces.edition, surfaces.ground, edition, site.catches.declared)


def _boundary_accuracies(site: Site, of_catch: Ints) -> Floats:
    """The largest boundary accuracy of the site of each catch (n,)."""
    of_surface = site.of_surface
    largest = np.zeros(1 + max(of_surface.max(initial=0), of_catch.max(initial=0)))
    np.maximum.at(largest, of_surface, site.surfaces.boundary_accuracy_m)
    return largest[of_catch]


def _on_dressed(site: Site, surface: Ints, by_position: Ints, nearest: Ints) -> Ints:
    """Row of Dressed of (dressing, surface) of each catch; -1 where that was not dressed.

    Where the surface is the one under the position, that row, if there is one, is the nearest.
    """
    rows = site.dressed
    on = np.where(rows.surface[nearest] == surface, nearest, -1)
    other = np.flatnonzero((surface != by_position) & (on < 0))
    dressing = site.catches.dressing[other]
    on[other] = rows_of_pairs(rows.dressing, rows.surface, dressing, surface[other])
    return on


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
    beside = site.dressed.surface[taped]
    surface = np.where(inward & (dressed >= 0), beside, surface)
    elsewhere = np.where(by_position == beside, -1, by_position)
    return np.where(outward, elsewhere, surface)


def _declared_wins(
    site: Site,
    owned: Geometries,
    x: Floats,
    y: Floats,
    by_position: Ints,
    declared: Ints,
    allowance: Floats,
) -> Ints:
    catches, has = site.catches, declared >= 0
    away = np.zeros(len(x))
    apart = np.flatnonzero(has & (by_position != declared))
    if len(apart):
        away[apart] = shapely.distance(shapely.points(x[apart], y[apart]), owned[declared[apart]])
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
        row=place_said(int(site.catches.place[catch])),
        column="surface",
        found=found,
        allowed=allowed,
        remedy=remedy,
    )


def _zones(
    site: Site,
    of_catch: Ints,
    under: Ints,
    dressed: Ints,
    nearest: Ints,
    distance: Floats,
    taped: Bools,
) -> Strings:
    """Zone of each catch. A drawn collar counts as the collar of the surface it is around."""
    surfaces, members, zone = site.surfaces, site.members, np.ones(len(dressed), dtype=np.int64)
    out = np.flatnonzero(dressed < 0)
    if not len(out):
        return _ZONES[zone]
    under, distance, taped, of = under[out], distance[out], taped[out], of_catch[out]
    # -1, beside no dressed surface, reads the last row: its distance is nan and it lies elsewhere
    owner = site.dressed.surface[nearest[out]] if len(site.dressed) else nearest[out]
    is_collar = surfaces.kind == "collar"
    drawn = is_collar & (surfaces.around >= 0)
    on_drawn = (under >= 0) & drawn[under] & (surfaces.around[under] == surfaces.ground[owner])
    has_drawn = _with_drawn_collar(site, drawn)[owner]
    ring_kind = is_collar | (surfaces.kind == "surround")
    width = np.where(ring_kind[owner], 0.0, members.collar_width_m[of])
    collar = np.where(has_drawn & ~taped, on_drawn, distance <= width)
    outside = np.where(distance <= FAR_M, 4, 0)
    outside[distance <= width + members.surrounds_width_m[of]] = 3
    outside[collar & (distance <= FAR_M)] = 2
    zone[out] = outside
    return _ZONES[zone]


def _with_drawn_collar(site: Site, drawn: Bools) -> Bools:
    """Which surfaces have a collar drawn around them in their own edition."""
    surfaces, grounds = site.surfaces, len(site.ids)
    key = surfaces.edition * grounds
    return np.isin(key + surfaces.ground, (key + surfaces.around)[drawn])
