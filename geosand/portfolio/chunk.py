"""One chunk of sites: read, worked out, and sent back as Arrow tables; the same on any machine."""

from __future__ import annotations

import gc
import hashlib
import json
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import shapely

from geosand.errors import Refused
from geosand.portfolio.arrow import arrow_table
from geosand.portfolio.figures import Head
from geosand.portfolio.rows import tables_of
from geosand.portfolio.site_read import SiteRead, Source, why
from geosand.portfolio.site_rows import refused_rows
from geosand.results import Results, work_out
from geosand.site.stack import sand_names, stacked
from geosand.site.tables import Site

TABLES = ("sites", "balances", "ledger", "areas", "spreaders")
LAYOUT = 3  #: of the tables; another number makes earlier parts worthless
REFUSED, FAILED = "refused", "failed"
DIED = "the process that worked on it died, twice: out of memory?"
#: what is worked out in one call: memory does not grow with a chunk, nor with large sites
STACK_SITES, STACK_ROWS = 100, 1_000_000

Rows = dict[str, tuple[int, int]]  #: first row and how many, by table


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """What a site's result depends on beside its data."""

    as_of: str | None = None
    maps: bool = False
    units: str | None = None  #: of the maps; None: each site's own

    def fingerprint(self, version: str) -> str:
        """Changes with the version, the layout of the tables and each option."""
        said = [version, LAYOUT, self.as_of, self.maps, self.units if self.maps else None]
        return hashlib.sha256(json.dumps(said).encode()).hexdigest()

    @property
    def day(self) -> np.datetime64 | None:
        """The day of account."""
        return None if self.as_of is None else np.datetime64(self.as_of, "D")


@dataclass(frozen=True, slots=True, kw_only=True)
class Chunk:
    """A job: sites of one source, with the fingerprints of those that are already worked out."""

    source: Source
    keys: Sequence[str]
    known: Mapping[str, str]
    options: Options
    maps: Mapping[str, str] = field(default_factory=dict)  #: file of each site's map, if any


@dataclass(frozen=True, slots=True, kw_only=True)
class ChunkDone:
    """What comes back: Arrow tables by name, and where each site's rows stand in them."""

    kept: Sequence[str] = ()  #: known before and unchanged
    fingerprints: Mapping[str, str] = field(default_factory=dict)  #: of the sites worked out now
    rows: Mapping[str, Mapping[str, tuple[int, int]]] = field(default_factory=dict)
    tables: Mapping[str, Any] = field(default_factory=dict)  #: empty where ``folder`` has them
    folder: Path | None = None  #: the part that holds the tables, whole and in its place
    maps: Mapping[str, bytes] = field(default_factory=dict)  #: HTML by site
    unforeseen: Mapping[str, int] = field(default_factory=dict)  #: sites read alone, by the error


Work = Callable[[Chunk], ChunkDone]
Tell = Callable[[str], None]  #: gets what is done beside working out sites


@dataclass(frozen=True, slots=True, kw_only=True)
class Worked:
    """Sites whose rows lie end to end in Arrow tables by name."""

    keys: Sequence[str]
    tables: Mapping[str, Any]
    sizes: Mapping[str, Sequence[int]]  #: rows of each site, by table
    pages: Mapping[str, bytes] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class NotWorked:
    """A site that could not be worked out, and why."""

    key: str
    name: str
    status: str
    faults: str


@contextmanager
def _uncollected() -> Iterator[None]:
    """Without the collector of circular garbage, of which a chunk makes next to none.

    It would look through all that the libraries made at their start, again and again: a tenth of
    the time.
    """
    collected = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if collected:
            gc.enable()


@_uncollected()
def work_chunk(chunk: Chunk) -> ChunkDone:
    """Read and work out the sites of a chunk. A site that can not be is a row that says why."""
    kept: list[str] = []
    fingerprints: dict[str, str] = {}
    done: list[Worked] = []
    not_done: list[NotWorked] = []
    unforeseen = Counter[str]()
    for reads in _stacks(chunk, kept):
        for read in reads:
            fingerprints[read.key] = read.fingerprint
            if read.unforeseen:
                unforeseen[read.unforeseen] += 1
            if read.site is None:
                told = "\n".join(read.refused)
                status = FAILED if read.failed else REFUSED
                not_done.append(NotWorked(key=read.key, name=read.key, status=status, faults=told))
        sites = [(read.key, read.site) for read in reads if read.site is not None]
        for one in _worked(sites, chunk.options):
            (done if isinstance(one, Worked) else not_done).append(one)  # type: ignore[arg-type]
    # what failed is not known: it is tried again the next time
    fingerprints |= {one.key: "" for one in not_done if one.status == FAILED}
    if not fingerprints:
        return ChunkDone(kept=kept)
    tables, rows = _joined([*done, *_told(not_done)])
    return ChunkDone(
        kept=kept,
        fingerprints=fingerprints,
        rows=rows,
        tables=tables,
        maps={key: page for one in done for key, page in one.pages.items()},
        unforeseen=unforeseen,
    )


def _stacks(chunk: Chunk, kept: list[str]) -> Iterator[list[SiteRead]]:
    """What is read, as many sites at a time as are worked out at once; known ones go to ``kept``.

    A site's map needs results of its own.
    """
    most = 1 if chunk.options.maps else STACK_SITES
    waiting: list[SiteRead] = []
    rows = 0
    for read in chunk.source.read(chunk.keys, dict(chunk.known)):
        if read.site is None and not read.refused:
            kept.append(read.key)
            continue
        size = 0 if read.site is None else _size(read.site)
        if waiting and (len(waiting) == most or rows + size > STACK_ROWS):
            yield waiting
            waiting, rows = [], 0
        waiting.append(read)
        rows += size
    if waiting:
        yield waiting


def _size(site: Site) -> int:
    """Catches, dressed surfaces and vertices."""
    vertices = int(shapely.get_num_coordinates(site.surfaces.geometry).sum())
    return vertices + len(site.catches) + len(site.dressed)


def _worked(sites: Sequence[tuple[str, Site]], options: Options) -> list[Worked | NotWorked]:
    """The sites worked out in one call; where that can not be, its halves, down to one site."""
    if not sites:
        return []
    try:
        return [_together(sites, options)]
    except Exception as problem:
        # one site must not end the run of thousands; it is told and tried again the next time
        if len(sites) == 1:
            return [_why(*sites[0], problem)]
    half = len(sites) // 2
    return [*_worked(sites[:half], options), *_worked(sites[half:], options)]


def _why(key: str, site: Site, problem: Exception) -> NotWorked:
    if isinstance(problem, Refused):
        return NotWorked(key=key, name=site.name, status=REFUSED, faults=str(problem))
    return NotWorked(key=key, name=site.name, status=FAILED, faults=why(problem))


def _together(sites: Sequence[tuple[str, Site]], options: Options) -> Worked:
    keys, alone = [key for key, _ in sites], [site for _, site in sites]
    results = work_out(alone[0] if options.maps else stacked(alone), as_of=options.day)
    made = tables_of(results, head_of(keys, alone, results))
    return Worked(
        keys=keys,
        tables={name: arrow_table(one.table) for name, one in made.items()},
        sizes={name: one.sizes.tolist() for name, one in made.items()},
        pages={keys[0]: _map(results, options)} if options.maps else {},
    )


def head_of(keys: Sequence[str], sites: Sequence[Site], results: Results) -> Head:
    """What the tables say of sites beside their figures; ``results`` are of all of them."""
    of = np.array([finding.member for finding in results.findings], dtype=np.int64)
    return Head(
        keys=np.array(keys, dtype=np.str_),
        names=np.array([site.name for site in sites], dtype=np.str_),
        findings=np.bincount(of, minlength=len(sites)),
        sands=sand_names(sites),
    )


def _map(results: Results, options: Options) -> bytes:
    from geosand.mapping.fill import map_view
    from geosand.mapping.page import map_page

    us = (options.units or results.site.units) == "us"
    return map_page(map_view(results, "us" if us else "metric")).encode("utf-8")


def _told(sites: Sequence[NotWorked]) -> list[Worked]:
    """Their rows of the table ``sites``, if there are any."""
    if not sites:
        return []
    keys = [one.key for one in sites]
    texts = {name: [getattr(one, name) for one in sites] for name in ("name", "status", "faults")}
    told = refused_rows({"site": keys, **texts})
    sizes = {"sites": [1] * len(keys)}
    return [Worked(keys=keys, tables={"sites": arrow_table(told)}, sizes=sizes)]


def _joined(worked: Sequence[Worked]) -> tuple[dict[str, Any], dict[str, Rows]]:
    """Sites one below the other in one Arrow table of each kind, and the rows of each."""
    tables: dict[str, Any] = {}
    rows: dict[str, Rows] = {key: {} for one in worked for key in one.keys}
    for name in TABLES:
        parts = [one for one in worked if name in one.tables]
        begun = 0
        for one in parts:
            for key, size in zip(one.keys, one.sizes[name], strict=True):
                rows[key][name] = (begun, size)
                begun += size
        if parts:
            tables[name] = pa.concat_tables([one.tables[name] for one in parts])
    return tables, rows


def halves(chunk: Chunk) -> list[Chunk]:
    """Two chunks of half the sites each; none for one site."""
    half = len(chunk.keys) // 2
    return [replace(chunk, keys=k) for k in (chunk.keys[:half], chunk.keys[half:])] if half else []


def lost_chunk(chunk: Chunk) -> ChunkDone:
    """Rows for sites whose process died each time it worked on them."""
    lost = [NotWorked(key=key, name=key, status=FAILED, faults=DIED) for key in chunk.keys]
    tables, rows = _joined(_told(lost))
    return ChunkDone(fingerprints=dict.fromkeys(chunk.keys, ""), tables=tables, rows=rows)
