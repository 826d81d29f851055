"""From raw tables to checked Sites: every fault of every file of a site in one refusal."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import shapely

from geosand.columns import Dates, Floats, Ints
from geosand.errors import Faults, Finding
from geosand.site.apart import Tables, taken_apart
from geosand.site.catch_depths import tell_unlikely_depths
from geosand.site.cells import RawTable, quoted
from geosand.site.moisture_book import MoistureBook
from geosand.site.outlines import Outlines
from geosand.site.read_catches import read_catches
from geosand.site.read_deliveries import read_deliveries, tell_late_sand
from geosand.site.read_dressings import Editions, read_dressings
from geosand.site.read_loads import read_loads
from geosand.site.read_settings import SiteTexts, read_all_settings
from geosand.site.read_surfaces import TARGETS_M, RawEdition, read_surfaces
from geosand.site.tables import Catches, Dressed, Dressings, Site, Surfaces

NO_DAY = np.datetime64("0001-01-01", "D")  #: from which an edition holds that says no day
FARTHEST_DEGREE = 0.1  #: of a catch from all surfaces; about 10 km


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
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
    editions, valid_from = _in_order(raw.editions, text.season_start[0], faults, findings)
    tables = _tables(raw, editions, valid_from.reshape(1, -1), text, book, faults, findings)
    faults.refuse()
    (site,) = taken_apart(tables, findings, raw.catches.file)
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
    valid_from = _all_in_order(raw, text, faults, findings)
    tables = _tables(raw, raw.editions, valid_from, text, book, faults, findings, at_once=at_once)
    faults.refuse()
    return taken_apart(tables, findings, raw.catches.file, raw.inputs)


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
    _aims(text, surfaces, of_surface, findings)
    for edition in editions:
        if not edition.table.unreadable:
            for k in np.flatnonzero(_rows_of_each(edition.table, members) == 0).tolist():
                found, remedy = "there is no surface in it", "draw the greens first"
                faults.add(edition.table.file, found, remedy=remedy, member=k)
    end()
    _dressings_missing(raw, members, faults, findings)
    dressings, dressed, names = read_dressings(
        raw.dressings, surfaces, Editions(valid_from=valid_from), text, faults, findings
    )
    _tell_plans_beyond_targets(surfaces, dressings, dressed, names.member, findings)
    end()
    loads, weighed, groups = read_loads(
        raw.loads, surfaces, dressings, names, dressed, text.sands, book, faults, findings
    )
    end()
    catches, pools = read_catches(
        raw.catches, ids, names, dressings, loads, text, book, faults, findings
    )
    tell_unlikely_depths(catches, dressings, dressed, names.member, findings)
    catches = _near(catches, names.member, outlines, of_surface, raw.catches.file, faults)
    deliveries, counts, of_delivery, of_count = read_deliveries(
        raw.deliveries, text, faults, findings
    )
    if len(deliveries.date):
        tell_late_sand(loads, dressings, deliveries, names.member, of_delivery, findings)
    return Tables(
        text=text,
        surveys=(getattr(raw, "surveys", None) or [editions] * members),
        valid_from=valid_from,
        ids=ids,
        surfaces=surfaces,
        of_surface=of_surface,
        book=book,
        dressings=dressings,
        of_dressing=names.member,
        dressed=dressed,
        catches=catches,
        pools=pools,
        loads=loads,
        weighed=weighed,
        groups=groups,
        deliveries=deliveries,
        of_delivery=of_delivery,
        counts=counts,
        of_count=of_count,
    )


def _in_order(
    editions: list[RawEdition],
    season_start: np.datetime64,
    faults: Faults,
    findings: list[Finding],
) -> tuple[list[RawEdition], Dates]:
    """Editions by the day from which they hold; the one in force must be the newest."""
    days = [e.valid_from for e in editions]
    if len(editions) > 1 and np.isnat(days[-1]):
        days[-1] = season_start
        text = "valid_from is not said beside earlier editions: the season's start is used"
        findings.append(Finding(about=editions[-1].table.file, text=text, topic="default"))
    days = [NO_DAY if np.isnat(day) else day for day in days]
    once_more = [k for k in range(len(days) - 1) if days[k] == days[-1] and _same(editions, k)]
    for k in reversed(once_more):  # left by a geosand bring that was cut off
        text = f"is the survey in {editions[-1].table.file} once more, and left out"
        findings.append(Finding(about=editions[k].table.file, text=text, topic="file"))
        editions, days = editions[:k] + editions[k + 1 :], days[:k] + days[k + 1 :]
    for k, edition in enumerate(editions[:-1]):
        if days[k] >= days[-1] and _is_dated(editions[-1], season_start):
            faults.add(
                edition.table.file,
                f"its valid_from ({days[k]}) is not before that of {editions[-1].table.file}"
                f" ({days[-1]}), which is in force",
                column="valid_from",
                remedy="say in both files from which day they hold",
            )
        elif days[k] in days[:k]:
            faults.add(
                edition.table.file,
                f"holds from the same day as {editions[days.index(days[k])].table.file}",
                column="valid_from",
                remedy="say in each edition from which day it holds",
            )
    order = sorted(range(len(editions)), key=lambda k: (days[k], k))
    return [editions[k] for k in order], np.array([days[k] for k in order], dtype="datetime64[D]")


def _same(editions: list[RawEdition], k: int) -> bool:
    """True where an edition has the surfaces of the one in force, corner for corner."""
    one, other = editions[k], editions[-1]
    if list(one.table.columns.get("id", ())) != list(other.table.columns.get("id", ())):
        return False
    return bool(shapely.equals_exact(one.geometry, other.geometry).all())


def _is_dated(edition: RawEdition, season_start: np.datetime64) -> bool:
    """True where it is known from when an edition holds."""
    return not (np.isnat(edition.valid_from) and np.isnat(season_start))


def _all_in_order(raw: RawSites, text: SiteTexts, faults: Faults, findings: list[Finding]) -> Dates:
    """The days from which the editions of each site hold, as for one site; a fault out of order."""
    days = raw.valid_from.copy()
    several = days.shape[1] > 1
    unsaid = np.isnat(days[:, -1])
    if several:
        days[unsaid, -1] = text.season_start[unsaid]
        said = "valid_from is not said beside earlier editions: the season's start is used"
        for k in np.flatnonzero(unsaid).tolist():
            about = raw.editions[-1].table.file
            findings.append(Finding(about=about, text=said, topic="default", member=k))
        disorder = ~(days[:, 1:] > days[:, :-1]).all(axis=1)
        for k in np.flatnonzero(disorder).tolist():
            faults.add(raw.editions[-1].table.file, "editions are not in order", member=k)
    return np.where(np.isnat(days), NO_DAY, days)


def _rows_of_each(table: RawTable, members: int) -> Ints:
    return np.bincount(table.of_site(), minlength=members)


def _aims(text: SiteTexts, surfaces: Surfaces, of_surface: Ints, findings: list[Finding]) -> None:
    members, (low, high) = len(text.name), TARGETS_M
    some = np.bincount(of_surface, minlength=members) > 0
    for kind, depths in text.targets_m:
        here = np.bincount(of_surface[surfaces.kind == kind], minlength=members) > 0
        said = f"a target for {quoted(kind)}, but no surface is of this kind"
        for k in np.flatnonzero(some & ~here & np.isfinite(depths)).tolist():
            finding = Finding(about="site.toml", text=said, topic="default", member=k)
            findings.append(finding)
        for k in np.flatnonzero((depths > 0) & ((depths < low) | (depths > high))).tolist():
            odd = f"a season's target of {depths[k] * 1000:g} mm for {quoted(kind)}, where"
            odd += f" {low * 1000:g} to {high * 1000:g} mm is usual: check the unit"
            findings.append(Finding(about="site.toml", text=odd, topic="file", member=k))


def _tell_plans_beyond_targets(
    surfaces: Surfaces,
    dressings: Dressings,
    dressed: Dressed,
    member: Ints,
    findings: list[Finding],
) -> None:
    """A finding for each site and kind where one dressing is to lay more than the season's target.

    ``member`` is the site of each dressing.
    """
    target = surfaces.target_m[dressed.surface]
    told: set[tuple[int, str]] = set()
    for row in np.flatnonzero((target > 0) & (dressed.planned_m > target)).tolist():
        dressing, surface = int(dressed.dressing[row]), int(dressed.surface[row])
        key = int(member[dressing]), str(surfaces.kind[surface])
        if key not in told:
            told.add(key)
            text = (
                f"{dressed.planned_m[row] * 1000:g} mm were planned on {surfaces.id[surface]},"
                f" whose target for the whole season is {target[row] * 1000:g} mm: check both"
                " and their units"
            )
            about = str(dressings.id[dressing])
            findings.append(Finding(about=about, text=text, topic="season", member=key[0]))


def _dressings_missing(
    raw: RawSite | RawSites, members: int, faults: Faults, findings: list[Finding]
) -> None:
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


def _near(
    catches: Catches,
    of_dressing: Ints,
    outlines: Outlines,
    of_surface: Ints,
    file: str,
    faults: Faults,
) -> Catches:
    """The catches on the surfaces' side of the antimeridian; a fault for those far from all."""
    known = np.flatnonzero(outlines.solid)
    if not len(catches) or not len(known):
        return catches
    bounds = outlines.bounds[known]
    start = np.flatnonzero(np.diff(of_surface[known], prepend=-1))
    box = np.full((int(of_dressing.max()) + 1, 4), np.nan)
    here = of_surface[known[start]]
    kept = here < len(box)
    for side, extreme in enumerate((np.minimum, np.minimum, np.maximum, np.maximum)):
        box[here[kept], side] = extreme.reduceat(bounds[:, side], start)[kept]
    west, south, east, north = box[of_dressing[catches.dressing]].T
    turn = np.round((catches.lon_degree - (west + east) / 2) / 360) * 360
    lon = np.where(np.isfinite(turn), catches.lon_degree - turn, catches.lon_degree)
    outside: Floats = np.maximum.reduce(
        [west - lon, lon - east, south - catches.lat_degree, catches.lat_degree - north]
    )
    on_globe = (np.abs(catches.lon_degree) <= 180) & (np.abs(catches.lat_degree) <= 90)
    for k in np.flatnonzero((outside > FARTHEST_DEGREE) & on_globe).tolist():
        faults.add(
            file,
            f"catch {quoted(str(catches.id[k]))} at {catches.lon_degree[k]:g},"
            f" {catches.lat_degree[k]:g} lies {outside[k]:.3g}° from all surfaces",
            row=str(catches.place[k]),
            column="lon, lat",
            remedy="look for longitude and latitude swapped, here or in the surfaces",
            member=int(of_dressing[catches.dressing[k]]),
        )
    return replace(catches, lon_degree=lon)
