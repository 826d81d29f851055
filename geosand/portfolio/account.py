"""The whole job on many sites: chunks worked out or kept, tables written, sites compared."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import ExitStack, closing
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

from geosand import __version__
from geosand.formats.writing import sweep
from geosand.portfolio.chunk import Chunk, ChunkDone, Options, Tell, Work, work_chunk
from geosand.portfolio.compare import Comparison, compare
from geosand.portfolio.parts import FOLDER, Parts, stored
from geosand.portfolio.run import CHUNK, chunks_of, run
from geosand.portfolio.site_maps import MAPS, about_to_make, clear_maps, map_names, write_maps
from geosand.portfolio.site_read import Source
from geosand.portfolio.sorted_tables import carried, in_order
from geosand.portfolio.tables import write_tables

Progress = Callable[[int, int], None]  #: sites done, sites in all


@dataclass(frozen=True, slots=True, kw_only=True)
class PortfolioDone:
    """Where everything is, and what there is to say."""

    comparison: Comparison
    files: Sequence[str]  #: below the folder of results
    maps: dict[str, str]  #: file by site, below the folder of results
    computed: int
    kept: int
    inputs: Mapping[str, str | None]  #: SHA-256 of what each site was read from, where it was
    unforeseen: Mapping[str, int]  #: how many sites were read one by one, by the kind of error
    changed: Sequence[str]  #: files that were written anew while sites were read from them
    not_read: Sequence[str]  #: sentences on files that are not read, though they may seem to be


def account_portfolio(
    source: Source,
    out: Path,
    options: Options,
    *,
    workers: int = 1,
    scheduler: str | None = None,
    chunk: int = CHUNK,
    progress: Progress = lambda done, total: None,
    tell: Tell = lambda step: None,
    work: Work = work_chunk,
) -> PortfolioDone:
    """Work out all sites of ``source`` below ``out``; unchanged ones that are finished are kept."""
    keys = source.keys()
    _sweep(out)
    parts = Parts.opened(out, options.fingerprint(__version__))
    named = map_names(keys)
    maps = named if options.maps else {}
    made = about_to_make(maps.values(), out)
    chunks = chunks_of(source.as_they_stand(), chunk, workers)
    computed, done, unforeseen = 0, 0, Counter[str]()
    with ExitStack() as used:
        source = used.enter_context(in_order(source, chunks, out / FOLDER, tell))
        progress(done, len(keys))
        jobs = _jobs(source, chunks, parts, options, out, maps)
        if scheduler is None:
            work = partial(_worked_and_stored, work=work, out=out, options=parts.options)
        else:  # a cluster's machines may not see the folder
            jobs = (replace(job, source=carried(job.source, job.keys)) for job in jobs)
        running = run(jobs, workers=workers, scheduler=scheduler, work=work, tell=tell)
        for result in used.enter_context(closing(running)):
            if result.folder is None:
                write_maps(result, maps, out)
            parts.add(result)
            computed += len(result.fingerprints)
            unforeseen.update(result.unforeseen)
            done += len(result.kept) + len(result.fingerprints)
            progress(done, len(keys))
    changed = source.changed()
    parts.forget_others(keys)
    clear_maps(made, named.values(), out)
    written = write_tables(parts, keys, out, threads=workers)
    files = [name for names in written.values() for name in names]
    return PortfolioDone(
        comparison=compare(parts, keys),
        files=files,
        maps={key: name for key, name in maps.items() if (out / name).is_file()},
        computed=computed,
        kept=len(keys) - computed,
        inputs={key: mark or None for key, mark in parts.known(keys).items()},
        unforeseen=unforeseen,
        changed=changed,
        not_read=source.not_read(),
    )


def _sweep(out: Path) -> None:
    """What a run that was killed left of the files that it was writing: they can be large."""
    for ending in (".parquet", ".csv", ".html"):
        sweep(out, ending)
    sweep(out / MAPS, ".html")
    sweep(out / FOLDER, ".json")


def _worked_and_stored(chunk: Chunk, work: Work, out: Path, options: str) -> ChunkDone:
    """The maps before the part: a site that is taken for finished has no older map."""
    done = work(chunk)
    write_maps(done, chunk.maps, out)
    return stored(replace(done, maps={}), out / FOLDER, options)


def _jobs(
    source: Source,
    chunks: Sequence[Sequence[str]],
    parts: Parts,
    options: Options,
    out: Path,
    maps: dict[str, str],
) -> Iterator[Chunk]:
    for some in chunks:
        known = parts.known(some)
        lost = [k for k in known if k in maps and not (out / maps[k]).is_file()]
        for key in lost:
            del known[key]
        mine = {key: maps[key] for key in some if key in maps}
        yield Chunk(source=source, keys=some, known=known, options=options, maps=mine)
