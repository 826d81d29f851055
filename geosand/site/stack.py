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

from geosand.columns import Ints, Strings, frozen
from geosand.effects import category
from geosand.errors import Finding
from geosand.site.sand_tables import Moistures, Sands
from geosand.site.tables import Laid, Settings, Site, members_of

NOTHING = np.datetime64("NaT", "D")


@frozen
class _Offsets:
    """By which number each site's rows begin (k,) in the tables of all."""

    surfaces: Ints
    editions: Ints
    ids: Ints
    sands: Ints
    moistures: Ints
    dressings: Ints
    loads: Ints
    groups: Ints
    pools: Ints


def stacked(sites: Sequence[Site]) -> Site:
    """The sites, at least one, as one: its ``members`` are in their order.

    Settings that a whole site has one of are columns of ``members``; texts and inputs stay behind.
    """
    at = _offsets(sites)
    members = members_of(sites)
    laid = Laid(
        members=replace(members, newest=members.newest + at.editions),
        of_edition=np.repeat(np.arange(len(sites)), [_editions(s) for s in sites]),
        of_id=np.repeat(np.arange(len(sites)), [len(s.ids) for s in sites]),
        of_sand=np.repeat(np.arange(len(sites)), [len(s.sands.name) for s in sites]),
    )
    sets = (
        frozenset(ground + begun for ground in group)
        for site, begun in zip(sites, at.ids.tolist(), strict=True)
        for group in site.group_surfaces
    )
    return Site(
        name="",
        season_start=NOTHING,
        season_end=None,
        units="metric",
        settings=Settings(**{f.name: np.nan for f in fields(Settings)}),
        ids=np.concatenate([s.ids for s in sites]),
        valid_from=np.concatenate([_padded(s) for s in sites]),
        source_crs=(),
        sands=_sands(sites, at.moistures),
        moistures=_moistures(sites, at.moistures),
        group_surfaces=tuple(sets),
        findings=tuple(_of(k, f) for k, site in enumerate(sites) for f in site.findings),
        catches_file=sites[0].catches_file,  # faults are told of one site alone
        laid=laid,
        **_tables(sites, at),
    )


def _tables(sites: Sequence[Site], at: _Offsets) -> dict[str, Any]:
    """The tables whose rows are only to be numbered on, by their names in a Site."""

    def end_to_end(table: Callable[[Site], Any], **offsets: Ints) -> Any:
        return _end_to_end([table(site) for site in sites], offsets)

    loads = end_to_end(
        lambda s: s.loads, dressing=at.dressings, moisture=at.moistures, group=at.groups
    )
    return {
        "surfaces": end_to_end(
            lambda s: s.surfaces, edition=at.editions, ground=at.ids, around=at.ids
        ),
        "dressings": end_to_end(lambda s: s.dressings, sand=at.sands, edition=at.editions),
        "dressed": end_to_end(lambda s: s.dressed, dressing=at.dressings, surface=at.surfaces),
        "catches": end_to_end(
            lambda s: s.catches,
            dressing=at.dressings,
            declared=at.ids,
            moisture=at.moistures,
            mass_pool=at.pools,
            volume_pool=at.pools,
        ),
        "loads": replace(loads, label=np.concatenate([_numbered(s.loads.label) for s in sites])),
        "weighed": end_to_end(lambda s: s.weighed, load=at.loads),
        "deliveries": end_to_end(lambda s: s.deliveries, sand=at.sands),
        "stock_counts": end_to_end(lambda s: s.stock_counts, sand=at.sands),
    }


def sand_names(sites: Sequence[Site]) -> Strings:
    """The sands' own names, row by row of ``sands`` of the stack."""
    return np.concatenate([site.sands.name for site in sites])


def _of(member: int, finding: Finding) -> Finding:
    return Finding(about=finding.about, text=finding.text, topic=finding.topic, member=member)


def _editions(site: Site) -> int:
    return len(site.of_edition)


def _padded(site: Site) -> Any:
    """The first day of each edition; a table without any surface has one all the same."""
    missing = max(_editions(site) - len(site.valid_from), 0)
    return np.append(site.valid_from, np.full(missing, NOTHING))


def _offsets(sites: Sequence[Site]) -> _Offsets:
    """Where the rows of each site begin, from the sizes of its tables."""

    def begun(sizes: Sequence[int]) -> Ints:
        return np.cumsum([0, *sizes[:-1]], dtype=np.int64)

    def pools(site: Site) -> int:
        both = (site.catches.mass_pool, site.catches.volume_pool)
        return 1 + max(int(column.max(initial=-1)) for column in both)

    return _Offsets(
        surfaces=begun([len(s.surfaces) for s in sites]),
        editions=begun([_editions(s) for s in sites]),
        ids=begun([len(s.ids) for s in sites]),
        sands=begun([len(s.sands.name) for s in sites]),
        moistures=begun([len(s.moistures.label) for s in sites]),
        dressings=begun([len(s.dressings) for s in sites]),
        loads=begun([len(s.loads) for s in sites]),
        groups=begun([len(s.group_surfaces) for s in sites]),
        pools=begun([pools(s) for s in sites]),
    )


def _end_to_end(tables: Sequence[Any], offsets: Mapping[str, Ints]) -> Any:
    """The columns one below the other; -1 stays where a column counts rows of another table."""
    sizes = [len(getattr(table, fields(table)[0].name)) for table in tables]
    columns: dict[str, Any] = {}
    for field in fields(tables[0]):
        column = np.concatenate([getattr(table, field.name) for table in tables])
        if field.name in offsets:
            begun = np.repeat(offsets[field.name], sizes)
            np.add(column, begun, out=column, where=column >= 0)
        columns[field.name] = column
    return type(tables[0])(**columns)


def _sands(sites: Sequence[Site], moistures: Ints) -> Sands:
    numbered = [_ranks(site.sands.name) for site in sites]
    together: Sands = _end_to_end([site.sands for site in sites], {"moisture": moistures})
    return replace(together, name=np.concatenate(numbered))


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
    ranks = _ranks(labels).tolist()
    texts = [f"{category(k)}: {r}" for k, r in zip(labels.tolist(), ranks, strict=True)]
    return np.array(texts, dtype=np.str_)


def _ranks(names: Strings) -> Strings:
    """Numbers in the order of the names: sources are summed by name, and so here as in each site.

    >>> _ranks(np.array(["washed", "dried", "washed"])).tolist()
    ['00001', '00000', '00001']
    """
    rank = {name: f"{k:05}" for k, name in enumerate(sorted(set(names.tolist())))}
    return np.array([rank[name] for name in names.tolist()], dtype=np.str_)
