"""From raw tables to checked Sites: every fault of every file of a site in one refusal."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import field, replace
from typing import Any

import numpy as np

from geosand.columns import Dates, Ints, distinct, frozen
from geosand.errors import Faults, Finding
from geosand.site.apart import Tables, taken_apart
from geosand.site.catch_depths import tell_unlikely_depths
from geosand.site.catch_places import beside_surfaces
from geosand.site.cells import RawTable, nearest, quoted
from geosand.site.editions import RawEdition, days_in_order, in_order
from geosand.site.moisture_book import MoistureBook
from geosand.site.read_catches import read_catches
from geosand.site.read_deliveries import read_deliveries, tell_late_sand
from geosand.site.read_dressings import read_dressings
from geosand.site.read_loads import read_loads
from geosand.site.read_settings import SiteTexts, read_all_settings
from geosand.site.read_surfaces import TARGETS_M, read_surfaces
from geosand.site.settings_document import FILE
from geosand.site.tables import Dressed, Dressings, Site, Surfaces

WITHOUT_END = (
    "season_end is not said: the target so far is what was planned, not a share of targets"
)
BEYOND = 1.15  #: times the season's target: more is hardly planned (common practice)


@frozen
class RawSite:
    """Everything that a site's files say, unchecked; ``editions`` with the one in force last.

    ``settings`` is None, a table ``unreadable``, ``editions`` empty where a file could not be read
    and that is already a fault: what depends on it is then not judged.
    """

    settings: Mapping[str, Any] | None
    editions: list[RawEdition]
    dressings: RawTable
    loads: RawTable
    catches: RawTable  #: with columns ``lon`` and ``lat``
    deliveries: RawTable | None = None
    inputs: Mapping[str, str] = field(default_factory=dict)


@frozen
class RawSites:
    """The same of several sites, with their rows one site after the other in each table.

    ``settings`` has a column with one row a site behind each key; ``editions``, the oldest first,
    hold one boundary edition of every site each.
    """

    members: int
    settings: Mapping[str, Any]
    editions: list[RawEdition]
    valid_from: Dates  #: first day of each site's editions (sites, editions); NaT = not said
    dressings: RawTable
    loads: RawTable
    catches: RawTable
    deliveries: RawTable | None = None
    #: of each site the files of its editions, where these say more of themselves than ``editions``
    surveys: Sequence[Sequence[RawEdition]] | None = None
    inputs: Sequence[Mapping[str, str]] | None = None  #: of each site


def assemble(raw: RawSite, faults: Faults, findings: list[Finding]) -> Site:
    """Check all tables together and return the Site.

    ``faults`` may already hold what was wrong with the files; raises Refused with all of them.
    """
    book = MoistureBook()
    if raw.settings is None:
        text = read_all_settings({}, 1, MoistureBook(), Faults(), [])
    else:
        text = read_all_settings(raw.settings, 1, book, faults, findings)
    editions, valid_from = in_order(raw.editions, text.season_start[0], faults, findings)
    tables = _tables(raw, editions, valid_from.reshape(1, -1), text, book, faults, findings)
    faults.refuse()
    (site,) = taken_apart(tables, [editions], findings, raw.catches.file)
    return replace(site, inputs=raw.inputs)


def assemble_all(
    raw: RawSites, faults: Faults, findings: list[Finding], *, at_once: bool
) -> list[Site]:
    """Check the tables of several sites at once and return each Site.

    Raises Refused where there is any fault; ``faults.members`` are then the sites that have one,
    some of them if the first table with a fault ends it (``at_once``). What it says is not for
    people: each of these sites, assembled alone, says it better.
    """
    book = MoistureBook()
    text = read_all_settings(raw.settings, raw.members, book, faults, findings)
    if at_once:
        faults.refuse()
    file = raw.editions[-1].table.file
    valid_from = days_in_order(raw.valid_from, text.season_start, file, faults, findings)
    tables = _tables(raw, raw.editions, valid_from, text, book, faults, findings, at_once=at_once)
    faults.refuse()
    surveys = raw.surveys or [raw.editions] * raw.members
    return taken_apart(tables, surveys, findings, raw.catches.file, raw.inputs)


def _tables(
    raw: RawSite | RawSites,
    editions: list[RawEdition],
    valid_from: Dates,
    text: SiteTexts,
    book: MoistureBook,
    faults: Faults,
    findings: list[Finding],
    *,
    at_once: bool = False,
) -> Tables:
    """All tables; with ``at_once`` the first fault ends it, else all are found."""
    end = faults.refuse if at_once else lambda: None
    members = len(text.name)
    surfaces, ids, outlines = read_surfaces(editions, members, text, faults, findings)
    of_surface = surfaces.edition // max(len(editions), 1)
    _tell_odd_targets(text, surfaces, of_surface, findings)
    _surfaces_missing(editions, members, faults)
    end()
    _dressings_missing(raw, members, faults, findings)
    dressings, dressed, names = read_dressings(
        raw.dressings, surfaces, valid_from, text, faults, findings
    )
    _tell_plans_and_targets(surfaces, dressings, dressed, names.member, text, findings)
    end()
    loads, weighed, groups = read_loads(
        raw.loads, surfaces, dressings, names, dressed, text.sands, book, faults, findings
    )
    end()
    catches, pools = read_catches(
        raw.catches, ids, names, dressings, loads, text, book, faults, findings
    )
    tell_unlikely_depths(catches, dressings, dressed, names.member, findings)
    catches = beside_surfaces(catches, names.member, outlines, of_surface, raw.catches.file, faults)
    deliveries, counts, of_delivery, of_count = read_deliveries(
        raw.deliveries, text, faults, findings
    )
    if len(deliveries.date):
        tell_late_sand(loads, dressings, deliveries, names.member, of_delivery, findings)
    of_dressing = names.member
    of_load = of_dressing[loads.dressing]
    whole = {
        "surfaces": (surfaces, of_surface),
        "sands": (text.sands, text.of_sand),
        "dressings": (dressings, of_dressing),
        "dressed": (dressed, of_dressing[dressed.dressing]),
        "catches": (catches, of_dressing[catches.dressing]),
        "loads": (loads, of_load),
        "weighed": (weighed, of_load[weighed.load]),
        "deliveries": (deliveries, of_delivery),
        "stock_counts": (counts, of_count),
    }
    return Tables(text, valid_from, ids, whole, book, pools, groups)


def _rows_of_each(table: RawTable, members: int) -> Ints:
    """How many rows of the table each site has (members,)."""
    return np.bincount(table.of_site(), minlength=members)


def _surfaces_missing(editions: list[RawEdition], members: int, faults: Faults) -> None:
    """A fault for each site and readable edition without a surface."""
    for edition in editions:
        if not edition.table.unreadable:
            for k in np.flatnonzero(_rows_of_each(edition.table, members) == 0).tolist():
                found, remedy = "there is no surface in it", "draw the greens first"
                faults.add(edition.table.file, found, remedy=remedy, member=k)


def _tell_odd_targets(
    text: SiteTexts, surfaces: Surfaces, of_surface: Ints, findings: list[Finding]
) -> None:
    """Findings for targets of kinds that no surface has, and for depths where mm are not usual."""
    members, (low, high) = len(text.name), TARGETS_M
    some = np.bincount(of_surface, minlength=members) > 0
    for kind, depths in text.targets_m:
        here = np.bincount(of_surface[surfaces.kind == kind], minlength=members) > 0
        said = f"a target for {quoted(kind)}, but no surface is of this kind"
        for k in np.flatnonzero(some & ~here & np.isfinite(depths)).tolist():
            near = nearest(kind, set(surfaces.kind[of_surface == k].tolist()))
            meant, topic = (f": did you mean {near[0]}?", "file") if near else ("", "default")
            findings.append(Finding(about=FILE, text=said + meant, topic=topic, member=k))
        for k in np.flatnonzero((depths > 0) & ((depths < low) | (depths > high))).tolist():
            odd = f"a season's target of {depths[k] * 1000:g} mm for {quoted(kind)}, where"
            odd += f" {low * 1000:g} to {high * 1000:g} mm is usual: check the unit"
            findings.append(Finding(about=FILE, text=odd, topic="file", member=k))


def _tell_plans_and_targets(
    surfaces: Surfaces,
    dressings: Dressings,
    dressed: Dressed,
    member: Ints,
    text: SiteTexts,
    findings: list[Finding],
) -> None:
    """A finding for each site and kind where far more is to be laid than the season's target.

    Also for each site where plans stand in for a share of the target. ``member`` is the site of
    each dressing.
    """
    start, end, date = text.season_start[member], text.season_end[member], dressings.date
    outside = ((date < start) | (date > end))[dressed.dressing]
    target, ground = surfaces.target_m[dressed.surface], surfaces.ground[dressed.surface]
    planned = np.where(outside | np.isnan(dressed.planned_m), 0.0, dressed.planned_m)
    stand_in = (target > 0) & (planned > 0) & np.isnat(end)[dressed.dressing]
    for k in distinct(member[dressed.dressing[stand_in]]).tolist():
        findings.append(Finding(about=FILE, text=WITHOUT_END, topic="default", member=k))
    whole = np.bincount(ground, planned)[ground]
    told: set[tuple[int, str]] = set()
    for row in np.flatnonzero((target > 0) & (whole > BEYOND * target)).tolist():
        surface = int(dressed.surface[row])
        key = int(member[dressed.dressing[row]]), str(surfaces.kind[surface])
        if key not in told:
            told.add(key)
            said = (
                f"{whole[row] * 1000:.4g} mm were planned on {surfaces.id[surface]}, whose target"
                f" for the whole season is {target[row] * 1000:g} mm: check both and their units"
            )
            about = str(surfaces.id[surface])
            findings.append(Finding(about=about, text=said, topic="season", member=key[0]))


def _dressings_missing(
    raw: RawSite | RawSites, members: int, faults: Faults, findings: list[Finding]
) -> None:
    """A fault for each site with loads or catches but no dressing; a finding where neither is."""
    table = raw.dressings
    if table.unreadable:
        return
    needed = _rows_of_each(raw.loads, members) + _rows_of_each(raw.catches, members) > 0
    for k in np.flatnonzero(_rows_of_each(table, members) == 0).tolist():
        if needed[k]:
            remedy = "add the dressings that the loads and catches name"
            faults.add(table.file, "no dressings are recorded here", remedy=remedy, member=k)
        else:
            text = "no dressings are recorded: only areas can be told"
            findings.append(Finding(about=table.file, text=text, topic="file", member=k))
