"""Which surface a catch is on, and how far outside the dressed edge it lies."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from geosand.areas.register import AreaRegister
from geosand.columns import Floats, Ints, Strings, freeze
from geosand.errors import Fault, Finding, Refused
from geosand.site.tables import Site

FAR_M = 60.0  #: beyond this a catch outside every dressed surface is told as lost


@dataclass(frozen=True, slots=True, kw_only=True)
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
    it; raises Refused with all catches that lie farther off.
    """
    catches, surfaces = site.catches, site.surfaces
    x, y = register.plane.forward(catches.lon_degree, catches.lat_degree)
    points = shapely.points(x, y)
    edition = site.dressings.edition[catches.dressing]
    by_position = _by_position(points, edition, site, register)
    declared = _row_in_edition(catches.declared, edition, site)
    boundary = surfaces.boundary_accuracy_m.max(initial=0.0)
    allowance = 2 * np.hypot(catches.position_accuracy_m, boundary)
    surface = _declared_wins(site, register, points, by_position, declared, allowance)
    dressed = _dressed_row(site, catches.dressing, surface)
    nearest, distance = _nearest_dressed(site, register, points)
    taped = catches.edge_distance_m
    outside_by_tape, inside_by_tape = taped > 0, taped <= 0
    own_tape = np.where(dressed >= 0, dressed, nearest)
    dressed = np.where(inside_by_tape, own_tape, np.where(outside_by_tape, -1, dressed))
    nearest = np.where(outside_by_tape, own_tape, nearest)
    distance = np.where(outside_by_tape, taped, distance)
    inside = _inside_distance(site, register, points, dressed)
    inside = np.where(inside_by_tape, -taped, inside)
    zone = _zones(site, register, points, dressed, nearest, distance, outside_by_tape)
    findings = [
        *_disagreements(site, by_position, declared),
        *_near_edges(site, register, points, surface, declared, allowance),
        *_lost(site, dressed, surface, zone, distance),
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


def _by_position(
    points: np.ndarray,
    edition: Ints,
    site: Site,
    register: AreaRegister,  # type: ignore[type-arg]
) -> Ints:
    """Row of the owned polygon under each point; the first in the table on a common edge."""
    out = np.full(len(points), -1, dtype=np.int64)
    if len(points) == 0:
        return out
    tree = shapely.STRtree(register.owned_plane)
    catch, surface = tree.query(points, predicate="intersects")
    same = site.surfaces.edition[surface] == edition[catch]
    catch, surface = catch[same][::-1], surface[same][::-1]
    order = np.lexsort((-surface, catch))
    out[catch[order]] = surface[order]  # the smallest row is written last
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
    points: np.ndarray,  # type: ignore[type-arg]
    by_position: Ints,
    declared: Ints,
    allowance: Floats,
) -> Ints:
    has = declared >= 0
    away = np.zeros(len(points))
    away[has] = shapely.distance(points[has], register.owned_plane[declared[has]])
    away = np.where(np.isnan(away), np.inf, away)
    # a tape outside the edge says that the catch is near the surface, not on it
    allowance = allowance + np.nan_to_num(np.maximum(site.catches.edge_distance_m, 0.0))
    faults = [
        Fault(
            file="catches",
            row=int(site.catches.row[k]),
            column="surface",
            found=f"catch '{site.catches.id[k]}' of {site.dressings.id[site.catches.dressing[k]]} is"
            f" declared on '{site.surfaces.id[declared[k]]}' but lies {away[k]:.1f} m from it",
            allowed=f"at most {allowance[k]:.1f} m (2 × its position's and the boundary's accuracy)",
            remedy="correct the surface or the position",
        )
        for k in np.flatnonzero(has & (away > allowance))
    ]
    faults += [
        Fault(
            file="catches",
            row=int(site.catches.row[k]),
            column="surface",
            found=f"'{site.ids[site.catches.declared[k]]}' is no surface in the boundaries of that date",
        )
        for k in np.flatnonzero((site.catches.declared >= 0) & ~has)
    ]
    if faults:
        raise Refused(faults)
    return np.where(has, declared, by_position)


def _dressed_row(site: Site, dressing: Ints, surface: Ints) -> Ints:
    """Row of Dressed of (dressing, surface); -1 where that surface was not dressed."""
    table = np.full((len(site.dressings) + 1, len(site.surfaces) + 1), -1, dtype=np.int64)
    table[site.dressed.dressing, site.dressed.surface] = np.arange(len(site.dressed))
    return table[dressing, surface]


def _nearest_dressed(
    site: Site,
    register: AreaRegister,
    points: np.ndarray,  # type: ignore[type-arg]
) -> tuple[Ints, Floats]:
    """Nearest dressed surface of the catch's own dressing and its distance (0 inside)."""
    nearest = np.full(len(points), -1, dtype=np.int64)
    distance = np.full(len(points), np.nan)
    for dressing in np.unique(site.catches.dressing):
        rows = np.flatnonzero(site.dressed.dressing == dressing)
        mine = np.flatnonzero(site.catches.dressing == dressing)
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
    points: np.ndarray,
    dressed: Ints,  # type: ignore[type-arg]
) -> Floats:
    out = np.full(len(points), np.nan)
    on = dressed >= 0
    shapes = register.owned_plane[site.dressed.surface[dressed[on]]]
    out[on] = shapely.distance(points[on], shapely.boundary(shapes))
    return out


def _zones(
    site: Site,
    register: AreaRegister,
    points: np.ndarray,  # type: ignore[type-arg]
    dressed: Ints,
    nearest: Ints,
    distance: Floats,
    taped: np.ndarray,  # type: ignore[type-arg]
) -> Strings:
    """Zone of each catch. A drawn collar counts as the collar of the surface it is around."""
    surfaces = site.surfaces
    owner = (
        np.where(nearest >= 0, site.dressed.surface[nearest], 0) if len(site.dressed) else nearest
    )
    width = np.full(len(points), site.settings.collar_width_m)
    drawn = np.isin(surfaces.kind, ["collar"]) & (surfaces.around >= 0)
    under = _by_position(points, site.dressings.edition[site.catches.dressing], site, register)
    on_drawn = (under >= 0) & drawn[under] & (surfaces.around[under] == surfaces.ground[owner])
    has_drawn = np.isin(surfaces.ground[owner], surfaces.around[drawn])
    if len(surfaces):
        width = np.where(np.isin(surfaces.kind[owner], ["collar", "surround"]), 0.0, width)
    collar = np.where(has_drawn & ~taped, on_drawn, distance <= width)
    surrounds = distance <= width + site.settings.surrounds_width_m
    zone = np.select(
        [dressed >= 0, collar, surrounds, distance <= FAR_M],
        ["surface", "collar", "surrounds", "farther"],
        "elsewhere",
    )
    return zone.astype(np.str_)


def _names(site: Site, rows: Ints) -> str:
    """Up to six catches by name, and how many more."""
    names = [str(site.catches.id[k]) for k in rows[:6]]
    more = f" and {len(rows) - 6} more" if len(rows) > 6 else ""
    return ", ".join(names) + more


def _disagreements(site: Site, by_position: Ints, declared: Ints) -> list[Finding]:
    findings = []
    for k in np.flatnonzero((declared >= 0) & (by_position != declared)):
        lies = (
            f"on '{site.surfaces.id[by_position[k]]}'" if by_position[k] >= 0 else "on no surface"
        )
        text = (
            f"catch {site.catches.id[k]} is declared on '{site.surfaces.id[declared[k]]}' and lies"
        )
        where = str(site.dressings.id[site.catches.dressing[k]])
        if np.isnan(site.catches.edge_distance_m[k]):
            text += f" {lies}, within its position's accuracy: the declaration holds"
            findings.append(Finding(about=where, text=text, topic="catch"))
    return findings


def _near_edges(
    site: Site,
    register: AreaRegister,
    points: np.ndarray,  # type: ignore[type-arg]
    surface: Ints,
    declared: Ints,
    allowance: Floats,
) -> list[Finding]:
    """Catches placed by position alone whose edge is nearer than the position is known."""
    free = (declared < 0) & (surface >= 0) & np.isnan(site.catches.edge_distance_m)
    gap = np.full(len(points), np.inf)
    gap[free] = shapely.distance(
        points[free], shapely.boundary(register.owned_plane[surface[free]])
    )
    near = gap < allowance + site.catches.half_diagonal_m
    findings = []
    for dressing in np.unique(site.catches.dressing[near]):
        rows = np.flatnonzero(near & (site.catches.dressing == dressing))
        text = (
            f"{len(rows)} catches without a declared surface lie nearer to an edge than their position"
            f" is known ({_names(site, rows)}): name their surface"
        )
        findings.append(Finding(about=str(site.dressings.id[dressing]), text=text, topic="catch"))
    return findings


def _lost(
    site: Site, dressed: Ints, surface: Ints, zone: Strings, distance: Floats
) -> list[Finding]:
    """Catches on none of the dressed surfaces: on the ring, or where nothing was spread."""
    findings = []
    out = (dressed < 0) & np.isnan(site.catches.edge_distance_m)
    for k in np.flatnonzero(out):
        lies = f"on '{site.surfaces.id[surface[k]]}'" if surface[k] >= 0 else "on no drawn surface"
        text = f"catch {site.catches.id[k]} lies {lies}, which was not dressed"
        if np.isfinite(distance[k]):
            text += f", {distance[k]:.1f} m outside the nearest dressed edge"
        where = str(site.dressings.id[site.catches.dressing[k]])
        text += ": it counts as sand thrown over" if zone[k] != "elsewhere" else ": it is not used"
        findings.append(Finding(about=where, text=text, topic="catch"))
    return findings
