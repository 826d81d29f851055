"""From raw tables to a checked Site: every fault of every file in one refusal."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from geosand.columns import Floats
from geosand.errors import Faults, Finding
from geosand.site.read_catches import read_catches
from geosand.site.read_dressings import read_dressings
from geosand.site.read_loads import read_deliveries, read_loads
from geosand.site.read_settings import MoistureBook, read_settings
from geosand.site.read_surfaces import RawEdition, read_surfaces
from geosand.site.reading import RawTable
from geosand.site.tables import Site


@dataclass(frozen=True, slots=True, kw_only=True)
class RawSite:
    """Everything that a site's files say, unchecked; ``editions`` oldest first."""

    settings: Mapping[str, Any]
    editions: list[RawEdition]
    dressings: RawTable
    loads: RawTable
    catches: RawTable
    catch_lon_degree: Floats
    catch_lat_degree: Floats
    deliveries: RawTable | None = None
    inputs: Mapping[str, str] = field(default_factory=dict)


def assemble(raw: RawSite, faults: Faults, findings: list[Finding]) -> Site:
    """Check all tables together and return the Site.

    ``faults`` may already hold what was wrong with the files; raises Refused with all of them.
    """
    book = MoistureBook()
    text = read_settings(raw.settings, book, faults, findings)
    editions, valid_from = _in_order(raw.editions, text.season_start, findings)
    surfaces, ground = read_surfaces(editions, text, faults, findings)
    if not len(surfaces):
        faults.add(
            editions[-1].table.file, "there is no surface in it", remedy="draw the greens first"
        )
    season = (text.season_start, text.season_end)
    dressings, dressed = read_dressings(
        raw.dressings, surfaces, valid_from, text.sands, season, faults, findings
    )
    loads, groups = read_loads(
        raw.loads, surfaces, dressings, dressed, text.sands, book, faults, findings
    )
    catches = read_catches(
        raw.catches,
        raw.catch_lon_degree,
        raw.catch_lat_degree,
        ground,
        dressings,
        loads,
        text.sands,
        text,
        book,
        faults,
        findings,
    )
    deliveries = read_deliveries(raw.deliveries, text.sands, faults, findings)
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
        surfaces=surfaces,
        sands=text.sands,
        moistures=book.table(),
        dressings=dressings,
        dressed=dressed,
        catches=catches,
        loads=loads,
        deliveries=deliveries,
        group_surfaces=groups,
        findings=tuple(dict.fromkeys(findings)),
        inputs=raw.inputs,
    )


def _in_order(
    editions: list[RawEdition], season_start: np.datetime64, findings: list[Finding]
) -> tuple[list[RawEdition], Any]:
    """Editions by the day from which they hold; the last one given is in force."""
    days = [e.valid_from for e in editions]
    if len(editions) > 1 and np.isnat(days[-1]):
        days[-1] = season_start
        text = "valid_from is not said beside earlier editions: the season's start is used"
        findings.append(Finding(about=editions[-1].table.file, text=text, topic="default"))
    old = np.datetime64("0001-01-01")
    days = [old if np.isnat(day) else day for day in days]
    order = sorted(range(len(editions)), key=lambda k: (days[k], k))
    ordered = [editions[k] for k in order]
    return ordered, np.array([days[k] for k in order], dtype="datetime64[D]")
