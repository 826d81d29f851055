"""What a reader should know of where the catches lie: doubtful, near an edge, beside the turf."""

from __future__ import annotations

import numpy as np
import shapely

from geosand.columns import Bools, Floats, Geometries, Ints, Strings
from geosand.errors import Finding, listed
from geosand.rates.about_dressings import Teller, by_group
from geosand.rates.edge_distance import edge_distances
from geosand.rates.insides import Depths
from geosand.site.tables import Site


def disagreements(site: Site, by_position: Ints, declared: Ints) -> list[Finding]:
    """Catches that lie elsewhere than they are declared, as near as their positions are known."""
    catches, ids, about = site.catches, site.surfaces.id, Teller(site, "catch")
    wrong = catches.used & (declared >= 0) & (by_position != declared)
    wrong &= np.isnan(catches.edge_distance_m)
    findings = []
    for dressing, rows in by_group(np.flatnonzero(wrong), catches.dressing):
        names, said = catches.id[rows].tolist(), ids[declared[rows]].tolist()
        lie = [f"on '{ids[m]}'" if m >= 0 else "on no surface" for m in by_position[rows].tolist()]
        text = (
            f"catch {names[0]} is declared on '{said[0]}' and lies {lie[0]}, within its position's"
            " accuracy: the declaration holds"
        )
        if len(rows) > 1:
            each = zip(names, said, lie, strict=True)
            told = [f"{name} ('{where}', lies {place})" for name, where, place in each]
            text = (
                f"{len(rows)} catches are declared on one surface and lie elsewhere, within their"
                f" positions' accuracy: {listed(told)}: the declarations hold"
            )
        findings.append(about.finding(dressing, text))
    return findings


def doubtful_tapes(
    site: Site,
    owned: Geometries,
    x: Floats,
    y: Floats,
    taped: Ints,
    near: Bools,
    allowance: Floats,
) -> list[Finding]:
    """Distances to the edge that the catch's position contradicts."""
    catches, about = site.catches, Teller(site, "catch")
    tape = catches.edge_distance_m
    has = catches.used & np.isfinite(tape)
    findings: list[Finding] = []
    for k in np.flatnonzero(has & ~near).tolist():
        text = (
            f"catch {catches.id[k]} was taped {abs(tape[k]):g} m from an edge, but lies near no"
            " surface of its dressing: its position is used"
        )
        findings.append(about.finding(catches.dressing[k], text))
    known = np.flatnonzero(has & near)
    beside = site.dressed.surface[taped[known]]
    gap = edge_distances(x[known], y[known], owned, beside)
    # signed as the tape: positive outside
    depth = np.where(shapely.intersects_xy(owned[beside], x[known], y[known]), -gap, gap)
    for place in np.flatnonzero(np.abs(depth - tape[known]) > allowance[known]).tolist():
        k, deep = known[place], depth[place]
        side = "inside" if deep < 0 else "outside"
        text = (
            f"catch {catches.id[k]} lies {abs(deep):.1f} m {side} the edge by its position and"
            f" was taped at {tape[k]:g} m: the tape is used"
        )
        findings.append(about.finding(catches.dressing[k], text))
    return findings


def near_edges(
    site: Site,
    owned: Geometries,
    x: Floats,
    y: Floats,
    depths: Depths,
    surface: Ints,
    outside_m: Floats,
    allowance: Floats,
) -> list[Finding]:
    """Catches placed by position alone whose edge is nearer than the position is known."""
    catches, about = site.catches, Teller(site, "catch")
    free = catches.used & (catches.declared < 0) & np.isnan(catches.edge_distance_m)
    findings: list[Finding] = []
    known = allowance + catches.half_diagonal_m
    near = free & (surface < 0) & (outside_m < known)
    on = np.flatnonzero(free & (surface >= 0))
    below = np.nextafter(known[on], -np.inf)  # less than, not equal
    near[on], maybe = depths.of(on).within(below)
    on = on[maybe]
    near[on] = edge_distances(x[on], y[on], owned, surface[on]) < known[on]
    for dressing, rows in by_group(np.flatnonzero(near), catches.dressing):
        one = len(rows) == 1
        names = listed(catches.id[rows].tolist())
        text = (
            f"{len(rows)} {'catch' if one else 'catches'} without a declared surface"
            f" {'lies' if one else 'lie'} nearer to an edge than"
            f" {'its' if one else 'their'} position is known ({names}): name"
            f" {'its' if one else 'their'} surface"
        )
        findings.append(about.finding(dressing, text))
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
    catches, about = site.catches, Teller(site, "catch")
    findings = []
    for k in np.flatnonzero(catches.used & (dressed < 0) & ~taped).tolist():
        lies = f"on '{site.surfaces.id[surface[k]]}'" if surface[k] >= 0 else "on no drawn surface"
        text = f"catch {catches.id[k]} lies {lies}"
        text += ", which was not dressed" if surface[k] >= 0 else ""
        if np.isfinite(distance[k]):
            text += f", {distance[k]:.1f} m outside the nearest dressed edge"
        text += ": it counts as sand thrown over" if zone[k] != "elsewhere" else ": it is not used"
        findings.append(about.finding(catches.dressing[k], text))
    return findings
