"""The tables of sites that were read together, taken apart: each site with numbers of its own."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import fields
from itertools import pairwise
from typing import Any

import numpy as np

from geosand.columns import Dates, Ints
from geosand.errors import Finding
from geosand.site.editions import RawEdition
from geosand.site.moisture_book import MoistureBook
from geosand.site.raw_columns import Ids
from geosand.site.read_settings import SiteTexts
from geosand.site.sand_tables import Moistures
from geosand.site.tables import COUNTED, Settings, Site
from geosand.tuples import NamedTuple


class Tables(NamedTuple):
    """What was read of all sites, the rows of one after those of another; and whose they are."""

    text: SiteTexts
    valid_from: Dates  #: (sites, editions)
    ids: Ids
    whole: Mapping[str, tuple[Any, Ints]]  #: by its name in a Site a table, and whose each row is
    book: MoistureBook
    pools: Ints  #: how many each site has
    groups: Sequence[frozenset[int]]


def taken_apart(
    tables: Tables,
    surveys: Sequence[Sequence[RawEdition]],
    findings: Sequence[Finding],
    catches_file: str,
    inputs: Sequence[Mapping[str, str]] | None = None,
) -> list[Site]:
    """Every site by itself, with what was found of it; ``surveys`` are each one's editions."""
    text, members = tables.text, len(tables.text.name)
    moistures, of_moisture, place = tables.book.table()
    of_group = _of_groups(tables)
    begun = _begun(tables, of_moisture, of_group)
    parts: dict[str, list[Any]] = {"moistures": _moistures(moistures, of_moisture, members)}
    for name, (table, member) in tables.whole.items():
        bases = {column: begun[counted] for column, counted in COUNTED[name].items()}
        parts[name] = _apart(table, member, members, bases, place)
    names = np.split(tables.ids.text.strings(), begun["ids"][1:])
    sets = _sets(tables.groups, of_group, begun["ids"], members)
    told = _findings(findings, members)
    return [
        Site(
            name=text.name[k],
            season_start=text.season_start[k],
            season_end=None if np.isnat(text.season_end[k]) else text.season_end[k],
            units=str(text.units[k]),
            settings=Settings(**{n: float(values[k]) for n, values in text.settings.items()}),
            ids=names[k],
            valid_from=tables.valid_from[k],
            source_crs=tuple(e.source_crs for e in surveys[k]),
            source=tuple(e.source for e in surveys[k]),
            datum_accuracy_m=tuple(e.datum_accuracy_m for e in surveys[k]),
            group_surfaces=sets[k],
            findings=told[k],
            catches_file=catches_file,
            inputs=inputs[k] if inputs is not None else {},
            **{name: each[k] for name, each in parts.items()},
        )
        for k in range(members)
    ]


def _of_groups(tables: Tables) -> Ints:
    """The site of each group of loads."""
    loads, of_load = tables.whole["loads"]
    out = np.zeros(len(tables.groups), dtype=np.int64)
    grouped = loads.group >= 0
    out[loads.group[grouped]] = of_load[grouped]
    return out


def _begun(tables: Tables, of_moisture: Ints, of_group: Ints) -> dict[str, Ints]:
    """Where the rows of each site begin (sites,), by what other tables count.

    Rows stand site by site in every table.
    """
    sites = np.arange(len(tables.text.name))
    return {
        "surfaces": np.searchsorted(tables.whole["surfaces"][1], sites),
        "ids": np.searchsorted(tables.ids.member, sites),
        "editions": sites * max(tables.valid_from.shape[1], 1),
        "sands": tables.text.first_sand(),
        "moistures": np.searchsorted(of_moisture, sites),
        "dressings": np.searchsorted(tables.whole["dressings"][1], sites),
        "loads": np.searchsorted(tables.whole["loads"][1], sites),
        "groups": np.searchsorted(of_group, sites),
        "pools": np.cumsum(tables.pools) - tables.pools,
    }


def _apart(
    table: Any, member: Ints, members: int, bases: dict[str, Ints], place: Ints
) -> list[Any]:
    """A table of each site; row numbers of other tables count from the site's first, -1 stays."""
    columns = {field.name: getattr(table, field.name) for field in fields(table)}
    if "moisture" in columns:
        columns["moisture"] = place.take(columns["moisture"])
    ends = np.searchsorted(member, np.arange(members + 1))
    if members > 1:
        for name, base in bases.items():
            counted = columns[name] >= 0
            columns[name] = columns[name] - np.repeat(base, np.diff(ends)) * counted
    whole = type(table)(**columns)  # checked and frozen once for all
    return [_part(whole, list(columns.items()), a, b) for a, b in pairwise(ends.tolist())]


def _part(whole: Any, columns: Sequence[tuple[str, Any]], begin: int, end: int) -> Any:
    """Some rows of a table; slices of frozen columns are frozen and equally long."""
    part = object.__new__(type(whole))
    for name, column in columns:
        object.__setattr__(part, name, column[begin:end])
    return part


def _moistures(table: Moistures, member: Ints, members: int) -> list[Moistures]:
    """The moistures of each site, mixtures with the parts that are numbered from its first."""
    ends = np.searchsorted(member, np.arange(members + 1)).tolist()
    mixtures: list[dict[int, list[tuple[int, float]]]] = [{} for _ in range(members)]
    for row, parts in table.mixtures.items():
        begun = ends[member[row]]
        mixtures[member[row]][row - begun] = [(part - begun, weight) for part, weight in parts]
    return [
        Moistures(
            label=table.label[a:b],
            ratio=table.ratio[a:b],
            u_ratio=table.u_ratio[a:b],
            mixtures=mixtures[k],
        )
        for k, (a, b) in enumerate(pairwise(ends))
    ]


def _sets(
    groups: Sequence[frozenset[int]], member: Ints, ids: Ints, members: int
) -> list[tuple[frozenset[int], ...]]:
    out: list[list[frozenset[int]]] = [[] for _ in range(members)]
    for group, k in zip(groups, member.tolist(), strict=True):
        out[k].append(frozenset(ground - int(ids[k]) for ground in group))
    return [tuple(one) for one in out]


def _findings(findings: Sequence[Finding], members: int) -> list[tuple[Finding, ...]]:
    """What was found of each site, each once, as if it were the only one."""
    out: list[dict[Finding, None]] = [{} for _ in range(members)]
    for f in findings:
        alone = f if f.member == 0 else Finding(about=f.about, text=f.text, topic=f.topic)
        out[f.member][alone] = None
    return [tuple(one) for one in out]
