"""The whole job on many sites: chunks worked out or kept, tables written, sites compared."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from hashlib import sha256
from pathlib import Path

from geosand import __version__
from geosand.formats.writing import sweep, write_whole
from geosand.portfolio.chunk import Chunk, ChunkDone, Options, work_chunk
from geosand.portfolio.compare import Comparison, compare
from geosand.portfolio.parts import FOLDER, Parts, stored
from geosand.portfolio.run import CHUNK, Work, chunks_of, run
from geosand.portfolio.sources import Source
from geosand.portfolio.tables import write_tables

MAPS = "maps"
LONGEST_NAME = 180  #: letters of a map's file name before its ending
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


def account_portfolio(
    source: Source,
    out: Path,
    options: Options,
    *,
    workers: int = 1,
    scheduler: str | None = None,
    chunk: int = CHUNK,
    progress: Progress = lambda done, total: None,
    work: Work = work_chunk,
) -> PortfolioDone:
    """Work out all sites of ``source`` below ``out``; unchanged ones that are finished are kept."""
    keys = source.keys()
    _sweep(out)
    parts = Parts.opened(out, options.fingerprint(__version__))
    maps = {key: map_name(key) for key in keys} if options.maps else {}
    computed, done, unforeseen = 0, 0, Counter[str]()
    progress(done, len(keys))
    chunks = chunks_of(keys, chunk, workers)
    jobs = _jobs(source, chunks, parts, options, out, maps)
    if scheduler is None:  # a cluster's machines may not see the folder
        work = partial(_worked_and_stored, work=work, out=out, options=parts.options)
    for result in run(jobs, workers=workers, scheduler=scheduler, work=work):
        if result.folder is None:
            _write_maps(result, maps, out)
        parts.add(result)
        computed += len(result.fingerprints)
        unforeseen.update(result.unforeseen)
        done += _sites(result)
        progress(done, len(keys))
    for key in parts.forget_others(keys):
        if map_name(key) not in maps.values():
            (out / map_name(key)).unlink(missing_ok=True)
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
    )


def _sweep(out: Path) -> None:
    """What a run that was killed left of the files that it was writing: they can be large."""
    for ending in (".parquet", ".csv", ".html"):
        sweep(out, ending)
    sweep(out / MAPS, ".html")


def _write_maps(result: ChunkDone, maps: Mapping[str, str], out: Path) -> None:
    """The maps of the sites worked out now; of one that is refused no older map stays."""
    for key in [key for key in result.fingerprints if key in maps]:
        if key in result.maps:
            write_whole(out / maps[key], result.maps[key])
        else:
            (out / maps[key]).unlink(missing_ok=True)


def _worked_and_stored(chunk: Chunk, work: Work, out: Path, options: str) -> ChunkDone:
    """The maps before the part: a site that is taken for finished has no older map."""
    done = work(chunk)
    if chunk.options.maps:
        _write_maps(done, {key: map_name(key) for key in chunk.keys}, out)
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
        yield Chunk(source=source, keys=some, known=known, options=options)


def _sites(result: ChunkDone) -> int:
    return len(result.kept) + len(result.fingerprints)


#: What one system takes for devices, with whatever ending.
_TAKEN = {"con", "prn", "aux", "nul", *(f"{port}{n}" for port in ("com", "lpt") for n in range(10))}


def map_name(key: str) -> str:
    """The file of a site's map: its key with what no file name may hold written as ``~`` and hex.

    >>> map_name("north/Site 1")
    'maps/north~2fSite~201.html'
    >>> map_name("con"), map_name("..")  # a device of one system, hidden on others
    ('maps/~63on.html', 'maps/~2e..html')
    >>> map_name(".")  # the folder itself is a site
    'maps/~.html'
    """
    if key == ".":
        return f"{MAPS}/~.html"
    plain = "".join(
        c if c.isascii() and (c.isalnum() or c in "-_.") else f"~{ord(c):02x}" for c in key
    )
    if plain.startswith(".") or plain.partition(".")[0].lower() in _TAKEN:
        plain = f"~{ord(plain[0]):02x}{plain[1:]}"
    if len(plain) > LONGEST_NAME:
        plain = f"{plain[: LONGEST_NAME - 20]}~{sha256(key.encode()).hexdigest()[:16]}"
    return f"{MAPS}/{plain}.html"
