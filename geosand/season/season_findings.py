"""Surfaces that have a target and were forgotten, or whose target so far can not be told."""

from __future__ import annotations

import numpy as np
import shapely

from geosand.columns import Bools, Dates, Ints
from geosand.errors import Finding, listed
from geosand.rates.about_dressings import Teller, by_group
from geosand.season.targets import programmes
from geosand.site.tables import Site

NAMED = 8  #: surfaces that a finding names one by one
#: Of the ground of two outlines together, what both have at least where they are one surface:
#: surveys of the same green differ by a tenth or so.
SAME_GROUND = 0.6


def first_there(site: Site, row: Ints, since: Dates) -> list[Finding]:
    """Those of ``row`` of Surfaces that a later survey brought in during the season.

    One that lies where a surface of an earlier survey lay is rather that one under another name.
    """
    day = since[site.surfaces.ground[row]]
    late = row[day > site.members.season_start[site.of_surface[row]]]
    if not len(late):
        return []
    before, findings = _there_before(site, late), []
    ids, new = site.surfaces.id, late[before < 0]
    for member, mine in by_group(new, site.of_surface):
        for date in np.unique(since[site.surfaces.ground[mine]]):
            of_day = mine[since[site.surfaces.ground[mine]] == date]
            names = listed(ids[of_day].tolist(), NAMED)
            text = f"new in the survey of {date}: the target so far counts from that day"
            findings.append(Finding(about=names, text=text, topic="season", member=member))
    for k in np.flatnonzero(before >= 0).tolist():
        old, date = ids[before[k]], since[site.surfaces.ground[late[k]]]
        text = (
            f"new in the survey of {date}, but it lies where {old} lay before: as another surface"
            f" it has none of that one's sand, and its target so far counts from that day. If it is"
            f" the same surface, write {old} as its id in surfaces.geojson and in later records"
        )
        member = int(site.of_surface[late[k]])
        findings.append(Finding(about=str(ids[late[k]]), text=text, topic="season", member=member))
    return findings


def _there_before(site: Site, late: Ints) -> Ints:
    """Row of the surface on whose ground each of ``late`` lies, whose id is no longer in force.

    The newest such row; -1 where there is none.
    """
    surfaces, found = site.surfaces, np.full(len(late), -1)
    gone = np.flatnonzero(~np.isin(surfaces.ground, surfaces.ground[site.in_force()]))
    shapes, others = surfaces.geometry[late], surfaces.geometry[gone]
    new, old = shapely.STRtree(others).query(shapes, predicate="intersects")
    here = site.of_surface[late[new]] == site.of_surface[gone[old]]
    new, old = new[here], old[here]
    one, other = shapes[new], others[old]
    both = shapely.area(shapely.intersection(one, other))
    same = both > SAME_GROUND * (shapely.area(one) + shapely.area(other) - both)
    np.maximum.at(found, new[same], gone[old[same]])  # oldest edition first
    return found


def never_dressed(site: Site, counted: Bools, row: Ints, never: Bools) -> list[Finding]:
    """Those of ``row`` of Surfaces that ``never`` had a dressing, where other surfaces had one."""
    under_way = np.zeros(len(site.members), dtype=np.bool_)
    under_way[site.of_dressing[site.dressed.dressing[counted]]] = True
    findings = []
    for member, mine in by_group(row[never], site.of_surface):
        if not under_way[member]:
            continue
        names = _with_whole_kinds(site, mine, row[site.of_surface[row] == member])
        about, text = names, "has a target and no dressing so far"
        if len(mine) > 1:
            about = f"{len(mine)} surfaces"
            text = f"have a target and no dressing so far: {names}"
        findings.append(Finding(about=about, text=text, topic="season", member=member))
    return findings


def _with_whole_kinds(site: Site, mine: Ints, every: Ints) -> str:
    """Names of rows of Surfaces; a kind's for those of it where ``mine`` are ``every`` one of it.

    So only where there are more than are named one by one.
    """
    ids, kind = site.surfaces.id[mine], site.surfaces.kind[mine]
    if len(mine) <= NAMED:
        return listed(ids.tolist(), NAMED)
    kinds, sizes = np.unique(kind, return_counts=True)
    of_kind = (site.surfaces.kind[every][:, None] == kinds).sum(axis=0)
    whole = (sizes == of_kind) & (sizes > 1)
    told = [f"{name} (all {size})" for name, size in zip(kinds[whole], sizes[whole], strict=True)]
    return listed([*told, *ids[~np.isin(kind, kinds[whole])].tolist()], NAMED)


def without_a_plan(site: Site, rows: Ints) -> list[Finding]:
    """Kinds of the ``rows`` of Surfaces whose target so far would come from planned depths.

    That is so without a season_end.
    """
    bare = rows[np.isfinite(site.surfaces.target_m[rows])]
    endless = np.isnat(site.members.season_end)
    text = (
        "no target so far can be told: give planned_depth_mm to its dressings, or a season_end in"
        " site.toml"
    )
    findings = []
    for member, mine in by_group(bare[endless[site.of_surface[bare]]], site.of_surface):
        names = listed(sorted(set(programmes(site, mine).tolist())))
        findings.append(Finding(about=names, text=text, topic="season", member=member))
    return findings


def partly_planned(site: Site, rows: Ints) -> list[Finding]:
    """Dressings that say no planned depth for a kind of ``rows`` of Dressed, where others do.

    That matters without a season_end: the target so far is then what was planned.
    """
    dressing, planned = site.dressed.dressing, site.dressed.planned_m
    rows = rows[np.isnat(site.members.season_end[site.of_dressing[dressing[rows]]])]
    bare = rows[np.isnan(planned[rows])]
    if not len(bare):
        return []
    names, kind = np.unique(programmes(site, site.dressed.surface), return_inverse=True)
    pair = dressing * len(names) + kind
    bare = bare[~np.isin(pair[bare], pair[np.isfinite(planned)])]
    about, findings = Teller(site, "season"), []
    for number, mine in by_group(bare, dressing):
        names = site.surfaces.id[site.dressed.surface[mine]].tolist()
        text = (
            f"has no planned_depth_mm on {listed(names)}: its sand is in their depth"
            " so far and nothing of it in their target so far, so that they look over-dressed"
        )
        findings.append(about.finding(number, text))
    return findings
