"""The tables of sites that were read together, taken apart: each site with numbers of its own."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import fields
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np

from geosand.columns import Dates, Ints
from geosand.errors import Finding
from geosand.site.editions import RawEdition
from geosand.site.moisture_book import MoistureBook
from geosand.site.raw_columns import Ids
from geosand.site.read_settings import SiteTexts
from geosand.site.sand_tables import Deliveries, Loads, Moistures, StockCounts, WeighedLoads
from geosand.site.tables import Catches, Dressed, Dressings, Settings, Site, Surfaces


class Tables(NamedTuple):
    """What was read of all sites, the rows of one after those of another; and whose they are."""

    text: SiteTexts
    valid_from: Dates  #: (sites, editions)
    ids: Ids
    surfaces: Surfaces
    of_surface: Ints
    book: MoistureBook
    dressings: Dressings
    of_dressing: Ints
    dressed: Dressed
    catches: Catches
    pools: Ints  #: how many each site has
    loads: Loads
    weighed: WeighedLoads
    groups: Sequence[frozenset[int]]
    deliveries: Deliveries
    of_delivery: Ints
    counts: StockCounts
    of_count: Ints


def taken_apart(
    tables: Tables,
    surveys: Sequence[Sequence[RawEdition]],
    findings: Sequence[Finding],
    catches_file: str,
    inputs: Sequence[Mapping[str, str]] | None = None,
) -> list[Site]:
    """Every site by itself, with what was found of it; ``surveys`` are each one's editions."""
    text, members = tables.text, len(tables.text.name)
    owners = _owners(tables)
    begun = _begun(tables, owners, members)
    parts = _parts(tables, owners, begun, members)
    names = np.split(tables.ids.text.strings(), begun.ids[1:])
    sets = _sets(tables.groups, owners.group, begun.ids, members)
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


class _Owners(NamedTuple):
    """The site of each load, group and moisture; the moistures are those of the book."""

    load: Ints
    group: Ints
    moistures: Moistures
    moisture: Ints
    place: Ints  #: row of each moisture of the book among ``moistures``


def _owners(tables: Tables) -> _Owners:
    """Whose the rows are that are numbered through other tables."""
    moistures, of_moisture, place = tables.book.table()
    of_load = tables.of_dressing[tables.loads.dressing]
    of_group = np.zeros(len(tables.groups), dtype=np.int64)
    grouped = tables.loads.group >= 0
    of_group[tables.loads.group[grouped]] = of_load[grouped]
    return _Owners(
        load=of_load, group=of_group, moistures=moistures, moisture=of_moisture, place=place
    )


class _Begun(NamedTuple):
    """Where the rows of each site begin (sites,), by what other tables number."""

    surfaces: Ints
    ids: Ints
    editions: Ints
    sands: Ints
    moistures: Ints
    dressings: Ints
    loads: Ints
    groups: Ints
    pools: Ints


def _begun(tables: Tables, owners: _Owners, members: int) -> _Begun:
    """Rows stand site by site in every table."""
    sites = np.arange(members)
    return _Begun(
        surfaces=np.searchsorted(tables.of_surface, sites),
        ids=np.searchsorted(tables.ids.member, sites),
        editions=sites * max(tables.valid_from.shape[1], 1),
        sands=tables.text.first_sand(),
        moistures=np.searchsorted(owners.moisture, sites),
        dressings=np.searchsorted(tables.of_dressing, sites),
        loads=np.searchsorted(owners.load, sites),
        groups=np.searchsorted(owners.group, sites),
        pools=np.cumsum(tables.pools) - tables.pools,
    )


def _parts(tables: Tables, owners: _Owners, begun: _Begun, members: int) -> dict[str, list[Any]]:
    """Each table of a Site, by its name there: that of every site."""

    def apart(table: Any, member: Ints, **bases: Ints) -> list[Any]:
        return _apart(table, member, members, bases, owners.place)

    of_dressing, text = tables.of_dressing, tables.text
    ids, wet, pools = begun.ids, begun.moistures, begun.pools
    dressing, sand, edition = begun.dressings, begun.sands, begun.editions
    return {
        "surfaces": apart(
            tables.surfaces, tables.of_surface, edition=edition, ground=ids, around=ids
        ),
        "sands": apart(text.sands, text.of_sand, moisture=wet),
        "moistures": _moistures(owners.moistures, owners.moisture, members),
        "dressings": apart(tables.dressings, of_dressing, sand=sand, edition=edition),
        "dressed": apart(
            tables.dressed,
            of_dressing[tables.dressed.dressing],
            dressing=dressing,
            surface=begun.surfaces,
        ),
        "catches": apart(
            tables.catches,
            of_dressing[tables.catches.dressing],
            dressing=dressing,
            declared=ids,
            moisture=wet,
            mass_pool=pools,
            volume_pool=pools,
        ),
        "loads": apart(
            tables.loads, owners.load, dressing=dressing, moisture=wet, group=begun.groups
        ),
        "weighed": apart(tables.weighed, owners.load[tables.weighed.load], load=begun.loads),
        "deliveries": apart(tables.deliveries, tables.of_delivery, sand=sand),
        "stock_counts": apart(tables.counts, tables.of_count, sand=sand),
    }


def _apart(
    table: Any, member: Ints, members: int, bases: dict[str, Ints], place: Ints
) -> list[Any]:
    """A table of each site; row numbers of other tables count from the site's first, -1 stays."""
    columns = {field.name: getattr(table, field.name) for field in fields(table)}
    if "moisture" in columns:
        columns["moisture"] = place[columns["moisture"]]
    if members > 1:
        for name, base in bases.items():
            column = columns[name]
            columns[name] = np.where(column >= 0, column - base[member], column)
    ends = np.searchsorted(member, np.arange(members + 1)).tolist()
    whole = type(table)(**columns)  # checked and frozen once for all
    return [_part(whole, list(columns.items()), a, b) for a, b in pairwise(ends)]


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
