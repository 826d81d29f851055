"""From raw tables to a checked Site: every fault of every file in one refusal."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import shapely

from geosand.columns import Dates, Floats
from geosand.errors import Faults, Finding
from geosand.site.cells import RawTable, quoted
from geosand.site.read_catches import read_catches
from geosand.site.read_deliveries import read_deliveries
from geosand.site.read_dressings import read_dressings
from geosand.site.read_loads import read_loads
from geosand.site.read_settings import MoistureBook, SiteText, read_settings, unread_settings
from geosand.site.read_surfaces import RawEdition, read_surfaces
from geosand.site.tables import Catches, Site, Surfaces

FARTHEST_DEGREE = 0.1  #: of a catch from all surfaces; about 10 km


@dataclass(frozen=True, slots=True, kw_only=True)
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


def assemble(raw: RawSite, faults: Faults, findings: list[Finding]) -> Site:
    """Check all tables together and return the Site.

    ``faults`` may already hold what was wrong with the files; raises Refused with all of them.
    """
    book = MoistureBook()
    if raw.settings is None:
        text = unread_settings()
    else:
        text = read_settings(raw.settings, book, faults, findings)
    editions, valid_from = _in_order(raw.editions, text.season_start, faults, findings)
    surfaces, ground = read_surfaces(editions, text, faults, findings)
    _aims(text, surfaces, findings)
    for edition in editions:
        if not edition.table.rows and not edition.table.unreadable:
            found, remedy = "there is no surface in it", "draw the greens first"
            faults.add(edition.table.file, found, remedy=remedy)
    season = (text.season_start, text.season_end)
    _dressings_missing(raw, faults, findings)
    dressings, dressed = read_dressings(
        raw.dressings, surfaces, valid_from, text.sands, season, faults, findings
    )
    loads, weighed, groups = read_loads(
        raw.loads, surfaces, dressings, dressed, text.sands, book, faults, findings
    )
    catches = read_catches(raw.catches, ground, dressings, loads, text, book, faults, findings)
    catches = _near(catches, surfaces, raw.catches.file, faults)
    deliveries, counts = read_deliveries(raw.deliveries, text.sands, faults, findings)
    faults.refuse()
    return Site(
        name=text.name,
        season_start=text.season_start,
        season_end=text.season_end,
        units=text.units,
        settings=text.settings,
        ids=np.array(list(ground), dtype=np.str_),
        valid_from=valid_from,
        source_crs=tuple(e.source_crs for e in editions),
        source=tuple(e.source for e in editions),
        datum_accuracy_m=tuple(e.datum_accuracy_m for e in editions),
        surfaces=surfaces,
        sands=text.sands,
        moistures=book.table(),
        dressings=dressings,
        dressed=dressed,
        catches=catches,
        loads=loads,
        weighed=weighed,
        deliveries=deliveries,
        stock_counts=counts,
        group_surfaces=groups,
        findings=tuple(dict.fromkeys(findings)),
        catches_file=raw.catches.file,
        inputs=raw.inputs,
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
    old = np.datetime64("0001-01-01", "D")
    days = [old if np.isnat(day) else day for day in days]
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


def _is_dated(edition: RawEdition, season_start: np.datetime64) -> bool:
    """True where it is known from when an edition holds."""
    return not (np.isnat(edition.valid_from) and np.isnat(season_start))


def _aims(text: SiteText, surfaces: Surfaces, findings: list[Finding]) -> None:
    for kind in text.targets_m:
        if len(surfaces) and kind not in surfaces.kind:
            said = f"a target for {quoted(kind)}, but no surface is of this kind"
            findings.append(Finding(about="site.toml", text=said, topic="default"))


def _dressings_missing(raw: RawSite, faults: Faults, findings: list[Finding]) -> None:
    table = raw.dressings
    if table.unreadable or table.rows:
        return
    if raw.loads.rows or raw.catches.rows:
        remedy = "add the dressings that the loads and catches name"
        faults.add(table.file, "no dressings are recorded here", remedy=remedy)
    else:
        text = "no dressings are recorded: only areas can be told"
        findings.append(Finding(about=table.file, text=text, topic="file"))


def _near(catches: Catches, surfaces: Surfaces, file: str, faults: Faults) -> Catches:
    """The catches on the surfaces' side of the antimeridian; a fault for those far from all."""
    known = surfaces.geometry[shapely.area(surfaces.geometry) > 0]
    if not len(catches) or not len(known):
        return catches
    west, south, east, north = shapely.total_bounds(known)
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
        )
    return replace(catches, lon_degree=lon)
