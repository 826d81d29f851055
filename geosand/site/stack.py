"""Many sites laid end to end in the tables of one, so that one call works all of them out.

Rows keep their order, and rows of different sites never meet: editions, ids, sands, moistures,
load groups and pools get numbers of their own. A source of uncertainty is one column for all
sites, since no sum ever holds rows of two: each site's first label, second label and so on, by
name, share a name. The sands are numbered likewise; their own names are told apart.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import fields, replace
from typing import Any

import numpy as np

from geosand.columns import Ints, Strings
from geosand.effects import category
from geosand.errors import Finding
from geosand.site.sand_tables import Moistures
from geosand.site.tables import COUNTED, Laid, Settings, Site, members_of

NOTHING = np.datetime64("NaT", "D")


def stacked(sites: Sequence[Site]) -> Site:
    """The sites, at least one, as one: its ``members`` are in their order.

    Settings that a whole site has one of are columns of ``members``; texts and inputs stay behind.
    """
    editions = [len(site.of_edition) for site in sites]
    at = _offsets(sites, editions)
    members = members_of(sites)
    laid = Laid(
        members=replace(members, newest=members.newest + at["editions"]),
        of_edition=np.repeat(np.arange(len(sites)), editions),
        of_id=np.repeat(np.arange(len(sites)), [len(s.ids) for s in sites]),
        of_sand=np.repeat(np.arange(len(sites)), [len(s.sands.name) for s in sites]),
    )
    sets = (
        frozenset(ground + begun for ground in group)
        for site, begun in zip(sites, at["ids"].tolist(), strict=True)
        for group in site.group_surfaces
    )
    return Site(
        name="",
        season_start=NOTHING,
        season_end=None,
        units="metric",
        settings=Settings(**{f.name: np.nan for f in fields(Settings)}),
        ids=np.concatenate([s.ids for s in sites]),
        valid_from=np.concatenate([*map(_padded, sites, editions)]),
        source_crs=(),
        moistures=_moistures(sites, at["moistures"]),
        group_surfaces=tuple(sets),
        findings=tuple(
            Finding(f.about, f.text, f.topic, k) for k, s in enumerate(sites) for f in s.findings
        ),
        catches_file=sites[0].catches_file,  # faults are told of one site alone
        laid=laid,
        **_tables(sites, at),
    )


def _tables(sites: Sequence[Site], at: Mapping[str, Ints]) -> dict[str, Any]:
    """The tables whose rows are numbered on, by their names in a Site."""
    laid = {
        name: _end_to_end(
            [getattr(site, name) for site in sites],
            {column: at[counted] for column, counted in columns.items()},
        )
        for name, columns in COUNTED.items()
    }
    labels = np.concatenate([_numbered(site.loads.label) for site in sites])
    names = np.concatenate([_ranks(site.sands.name) for site in sites])
    return {
        **laid,
        "loads": replace(laid["loads"], label=labels),
        "sands": replace(laid["sands"], name=names),
    }


def sand_names(sites: Sequence[Site]) -> Strings:
    """The sands' own names, row by row of ``sands`` of the stack."""
    return np.concatenate([site.sands.name for site in sites])


def _padded(site: Site, editions: int) -> Any:
    """The first day of each edition; a table without any surface has one all the same."""
    missing = max(editions - len(site.valid_from), 0)
    return np.append(site.valid_from, np.full(missing, NOTHING))


def _offsets(sites: Sequence[Site], editions: Sequence[int]) -> dict[str, Ints]:
    """By which number each site's rows begin (k,), by what tables count: from the sizes."""

    def begun(size: Callable[[Site], int]) -> Ints:
        return np.cumsum([0, *map(size, sites[:-1])], dtype=np.int64)

    def pools(site: Site) -> int:
        both = (site.catches.mass_pool, site.catches.volume_pool)
        return 1 + max(int(column.max(initial=-1)) for column in both)

    return {
        "surfaces": begun(lambda s: len(s.surfaces)),
        "editions": np.cumsum([0, *editions[:-1]]),
        "ids": begun(lambda s: len(s.ids)),
        "sands": begun(lambda s: len(s.sands.name)),
        "moistures": begun(lambda s: len(s.moistures.label)),
        "dressings": begun(lambda s: len(s.dressings)),
        "loads": begun(lambda s: len(s.loads)),
        "groups": begun(lambda s: len(s.group_surfaces)),
        "pools": begun(pools),
    }


def _end_to_end(tables: Sequence[Any], offsets: Mapping[str, Ints]) -> Any:
    """The columns one below the other; -1 stays where a column counts rows of another table."""
    columns: dict[str, Any] = {}
    for field in fields(tables[0]):
        parts = [getattr(table, field.name) for table in tables]
        columns[field.name] = column = np.concatenate(parts)
        if field.name in offsets:
            column += np.repeat(offsets[field.name], [*map(len, parts)]) * (column >= 0)
    return type(tables[0])(**columns)


def _moistures(sites: Sequence[Site], begun: Ints) -> Moistures:
    """The moistures end to end, sources by their order, mixtures with their parts."""
    mixtures = {
        row + start: [(part + start, weight) for part, weight in parts]
        for site, start in zip(sites, begun.tolist(), strict=True)
        for row, parts in site.moistures.mixtures.items()
    }
    return Moistures(
        label=np.concatenate([_numbered(site.moistures.label) for site in sites]),
        ratio=np.concatenate([site.moistures.ratio for site in sites]),
        u_ratio=np.concatenate([site.moistures.u_ratio for site in sites]),
        mixtures=mixtures,
    )


def _numbered(labels: Strings) -> Strings:
    """Names of sources of one site by their order, of the same category."""
    return _ranks(labels, lambda label: f"{category(label)}: ")


def _ranks(names: Strings, before: Callable[[str], str] = lambda name: "") -> Strings:
    """Numbers in the order of the names: sources are summed by name, and so here as in each site.

    >>> _ranks(np.array(["washed", "dried", "washed"])).tolist()
    ['00001', '00000', '00001']
    """
    said = names.tolist()
    rank = {name: f"{before(name)}{k:05}" for k, name in enumerate(sorted(set(said)))}
    return np.array([rank[name] for name in said], dtype=np.str_)
