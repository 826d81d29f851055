"""The sites of a chunk of a set, checked and read by one look at each whole column.

Nothing is judged here: the columns come as arrays to the same readers that read one site's cells.
A site in which they find anything wrong is left to be read by itself, and so is one whose cells
could mean something else there.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import numpy as np

from geosand.columns import Bools, Ints, distinct
from geosand.errors import Finding
from geosand.portfolio.rows_by_site import SiteRows
from geosand.portfolio.sound_sites import NotAlikeError, or_one_by_one, sound_ones
from geosand.portfolio.typed_columns import Typed, typed
from geosand.site.assemble import RawSites
from geosand.site.cells import Cell, RawTable, parse_day
from geosand.site.editions import RawEdition
from geosand.site.raw_columns import Texts, cells_of, in_rows, words_as_written, written
from geosand.site.tables import Site

NOT_SAID = np.datetime64("NaT", "D")


def read_at_once(
    keys: Sequence[str],
    wanted: Sequence[int],
    parts: Mapping[str, SiteRows],
    files: Mapping[str, str],
    unforeseen: list[str],
) -> dict[int, Site]:
    """Those of the ``wanted`` sites (numbers of ``keys``) in which nothing is wrong.

    ``unforeseen`` gets the kind of an error that left some of them out.
    """
    sites: dict[int, Site] = {}
    if not wanted:
        return sites
    with or_one_by_one(unforeseen):
        tables = {name: typed(name, rows, files[name]) for name, rows in parts.items()}
        surveys = _surveys(tables["surfaces"])
        sound = np.array(wanted, dtype=np.int64)
        sound = sound[_can_be(tables, surveys)[sound]]
        for count in distinct(surveys.count[sound]).tolist():
            alike = sound[surveys.count[sound] == count]
            stack = partial(_raw_sites, keys=keys, tables=tables, surveys=surveys)
            sites |= sound_ones(alike, stack)
    return sites


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class _Surveys:
    """Boundary editions: the number of each surface's, the oldest of its site being 0."""

    edition: Ints  #: one row a surface
    count: Ints  #: of each site's editions
    first_day: Mapping[tuple[int, int], np.datetime64]  #: by site and edition, where it is said


def _surveys(surfaces: Typed) -> _Surveys:
    """By the days in ``valid_from``; what says none is in force, and so the newest."""
    sites = surfaces.sites
    column = surfaces.columns.get("valid_from")
    if column is None:
        count = (np.bincount(surfaces.member, minlength=sites) > 0).astype(np.int64)
        return _Surveys(edition=np.zeros(len(surfaces.rows), np.int64), count=count, first_day={})
    texts = words_as_written(column)
    if texts is None:
        texts = in_rows([edition_day(c) for c in cells_of(column)])
    order = sorted(range(len(texts.words)), key=lambda k: texts.words[k] or "9999-12-31")
    rank = np.empty(len(order), dtype=np.int64)
    rank[order] = np.arange(len(order))
    keys = surfaces.member * len(order) + rank[texts.code]
    different = distinct(keys)
    of_site = different // len(order)
    begun = np.searchsorted(of_site, np.arange(sites))
    number = np.arange(len(different)) - begun[of_site]
    count, first_day = np.bincount(of_site, minlength=sites), dict[tuple[int, int], np.datetime64]()
    words = [texts.words[order[k]] for k in (different % len(order)).tolist()]
    for k, n, word in zip(of_site.tolist(), number.tolist(), words, strict=True):
        if (day := parse_day(word)) is not None:
            first_day[k, n] = day
        elif word:
            count[k] = 0  # its date can not be read: that is for people to be told
    edition = number[np.searchsorted(different, keys)]
    return _Surveys(edition=edition, count=count, first_day=first_day)


def edition_day(cell: Cell) -> str:
    """A cell of ``valid_from`` as text, of a time its day; "" = none."""
    if isinstance(cell, datetime.datetime):
        cell = cell.date()
    return "" if cell is None else str(cell)


def _can_be(tables: Mapping[str, Typed], surveys: _Surveys) -> Bools:
    """False for sites that lack something, or hold what only a look at its cell can judge."""
    sound: Bools = (tables["sites"].rows_by_site() == 1) & (surveys.count > 0)
    for table in tables.values():
        sound = sound & ~table.odd_sites
    return sound


def _raw_sites(
    group: Ints, keys: Sequence[str], tables: Mapping[str, Typed], surveys: _Surveys
) -> tuple[RawSites, list[Finding]]:
    """The tables of some sites as those of one, and their findings: a set's files have none."""
    editions = int(surveys.count[group[0]])
    records: dict[str, Any] = {
        name: tables[name].of(group)
        if name in tables
        else RawTable(file=name, rows=[], columns={}, members=len(group))
        for name in ("dressings", "loads", "catches")
    }
    days = [
        [surveys.first_day.get((k, n), NOT_SAID) for n in range(editions)] for k in group.tolist()
    ]
    raw = RawSites(
        members=len(group),
        settings=_settings([keys[k] for k in group.tolist()], tables["sites"].of(group)),
        editions=[
            _edition(tables["surfaces"], group, surveys.edition == n) for n in range(editions)
        ],
        valid_from=np.array(days, dtype="datetime64[D]"),
        **records,
        deliveries=tables["deliveries"].of(group) if "deliveries" in tables else None,
    )
    return raw, []


def _edition(surfaces: Typed, group: Ints, mine: Bools) -> RawEdition:
    table = surfaces.of(group, mine)
    columns = {name: column for name, column in table.columns.items() if name != "valid_from"}
    table = replace(table, columns=columns)
    return RawEdition(table=table, geometry=surfaces.shapes_of(group, mine), valid_from=NOT_SAID)


def _settings(keys: Sequence[str], table: RawTable) -> dict[str, Any]:
    """The rows of ``sites`` as site.toml would say them, a column behind each key."""
    order = np.argsort(table.of_site())
    settings: dict[str, Any] = {"name": in_rows(keys)}
    for name, column in table.columns.items():
        values = column.take(order) if isinstance(column, Texts) else column[order]
        if name == "name":
            said, cells = written(values), cells_of(values)
            names = [c if said[k] else keys[k] for k, c in enumerate(cells)]
            settings["name"] = np.array(names, dtype=np.object_)
            continue
        *path, last = name.split(".")
        inner = settings
        for step in path:
            inner = inner.setdefault(step, {})
            if not isinstance(inner, dict):
                raise NotAlikeError(f"{step} is a table and a value")
        if last in inner:
            raise NotAlikeError(f"{name} is a table and a value")
        inner[last] = values
    return settings
