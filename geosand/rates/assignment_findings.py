"""What a reader should know of where the catches lie: doubtful, near an edge, beside the turf."""

from __future__ import annotations

import numpy as np
import shapely

from geosand.areas.register import AreaRegister
from geosand.columns import Bools, Floats, Geometries, Ints, Strings, distinct
from geosand.errors import Finding
from geosand.site.tables import Site


def _names(site: Site, rows: Ints) -> str:
    """Up to six catches by name, and how many more."""
    names = [str(site.catches.id[k]) for k in rows[:6]]
    more = f" and {len(rows) - 6} more" if len(rows) > 6 else ""
    return ", ".join(names) + more


def _of(site: Site, catch: int) -> str:
    """The dressing of a catch."""
    return str(site.dressings.id[site.catches.dressing[catch]])


def disagreements(site: Site, by_position: Ints, declared: Ints) -> list[Finding]:
    catches, ids = site.catches, site.surfaces.id
    wrong = catches.used & (declared >= 0) & (by_position != declared)
    findings = []
    for k in np.flatnonzero(wrong & np.isnan(catches.edge_distance_m)).tolist():
        lies = f"on '{ids[by_position[k]]}'" if by_position[k] >= 0 else "on no surface"
        text = (
            f"catch {catches.id[k]} is declared on '{ids[declared[k]]}' and lies {lies}, within its"
            " position's accuracy: the declaration holds"
        )
        findings.append(Finding(about=_of(site, k), text=text, topic="catch"))
    return findings


def doubtful_tapes(
    site: Site,
    register: AreaRegister,
    points: Geometries,
    taped: Ints,
    near: Bools,
    allowance: Floats,
) -> list[Finding]:
    """Distances to the edge that the catch's position contradicts."""
    catches = site.catches
    tape = catches.edge_distance_m
    has = catches.used & np.isfinite(tape)
    depth = np.full(len(points), np.nan)
    known = has & near
    shapes = register.owned_plane[site.dressed.surface[taped[known]]]
    gap = shapely.distance(points[known], shapely.boundary(shapes))
    # signed as the tape: positive outside
    depth[known] = np.where(shapely.intersects(shapes, points[known]), -gap, gap)
    findings = []
    for k in np.flatnonzero(has & ~near).tolist():
        text = (
            f"catch {catches.id[k]} was taped {abs(tape[k]):g} m from an edge, but lies near no"
            " surface of its dressing: its position is used"
        )
        findings.append(Finding(about=_of(site, k), text=text, topic="catch"))
    for k in np.flatnonzero(known & (np.abs(depth - tape) > allowance)).tolist():
        side = "inside" if depth[k] < 0 else "outside"
        text = (
            f"catch {catches.id[k]} lies {abs(depth[k]):.1f} m {side} the edge by its position and"
            f" was taped at {tape[k]:g} m: the tape is used"
        )
        findings.append(Finding(about=_of(site, k), text=text, topic="catch"))
    return findings


def near_edges(
    site: Site,
    register: AreaRegister,
    points: Geometries,
    surface: Ints,
    outside_m: Floats,
    allowance: Floats,
) -> list[Finding]:
    """Catches placed by position alone whose edge is nearer than the position is known."""
    catches = site.catches
    free = catches.used & (catches.declared < 0) & np.isnan(catches.edge_distance_m)
    on = free & (surface >= 0)
    gap = np.where(free, outside_m, np.nan)
    gap[on] = shapely.distance(points[on], shapely.boundary(register.owned_plane[surface[on]]))
    near = gap < allowance + catches.half_diagonal_m
    findings = []
    for dressing in distinct(catches.dressing[near]):
        rows = np.flatnonzero(near & (catches.dressing == dressing))
        one = len(rows) == 1
        text = (
            f"{len(rows)} {'catch' if one else 'catches'} without a declared surface"
            f" {'lies' if one else 'lie'} nearer to an edge than"
            f" {'its' if one else 'their'} position is known ({_names(site, rows)}): name"
            f" {'its' if one else 'their'} surface"
        )
        findings.append(Finding(about=str(site.dressings.id[dressing]), text=text, topic="catch"))
    return findings


def lost(
    site: Site,
    dressed: Ints,
    surface: Ints,
    zone: Strings,
    distance: Floats,
    taped: Bools,
) -> list[Finding]:
    """Catches on none of the dressed surfaces: on the ring, or where nothing was spread."""
    catches = site.catches
    findings = []
    for k in np.flatnonzero(catches.used & (dressed < 0) & ~taped).tolist():
        lies = f"on '{site.surfaces.id[surface[k]]}'" if surface[k] >= 0 else "on no drawn surface"
        text = f"catch {catches.id[k]} lies {lies}"
        text += ", which was not dressed" if surface[k] >= 0 else ""
        if np.isfinite(distance[k]):
            text += f", {distance[k]:.1f} m outside the nearest dressed edge"
        text += ": it counts as sand thrown over" if zone[k] != "elsewhere" else ": it is not used"
        findings.append(Finding(about=_of(site, k), text=text, topic="catch"))
    return findings
