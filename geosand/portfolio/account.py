"""The whole job on many sites: chunks worked out or kept, tables written, sites compared."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from hashlib import sha256
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

from geosand.formats.writing import write_whole
from geosand.portfolio.chunk import Chunk, ChunkDone, Options, work_chunk
from geosand.portfolio.compare import Comparison, compare
from geosand.portfolio.parts import Parts
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
    parts = Parts.opened(out, options.fingerprint(_version()))
    maps = {key: map_name(key) for key in keys} if options.maps else {}
    computed = done = 0
    progress(done, len(keys))
    jobs = _jobs(source, keys, parts, options, chunk, out, maps)
    for result in run(jobs, workers=workers, scheduler=scheduler, work=work):
        for key, page in result.maps.items():
            write_whole(out / maps[key], page)
        parts.add(result)
        computed += len(result.fingerprints)
        done += _sites(result)
        progress(done, len(keys))
    parts.forget_others(keys)
    files = [name for names in write_tables(parts, keys, out).values() for name in names]
    return PortfolioDone(
        comparison=compare(parts, keys),
        files=files,
        maps={key: name for key, name in maps.items() if (out / name).is_file()},
        computed=computed,
        kept=len(keys) - computed,
    )


def _jobs(
    source: Source,
    keys: Sequence[str],
    parts: Parts,
    options: Options,
    chunk: int,
    out: Path,
    maps: dict[str, str],
) -> Iterator[Chunk]:
    for some in chunks_of(keys, chunk):
        known = parts.known(some)
        lost = [k for k in known if k in maps and not (out / maps[k]).is_file()]
        for key in lost:
            del known[key]
        yield Chunk(source=source, keys=some, known=known, options=options)


def _sites(result: ChunkDone) -> int:
    return len(result.kept) + len(result.fingerprints)


def map_name(key: str) -> str:
    """The file of a site's map: its key with what no file name may hold written as ``~`` and hex.

    >>> map_name("north/Site 1")
    'maps/north~2fSite~201.html'
    >>> map_name(".")  # the folder itself is a site
    'maps/~.html'
    """
    if key == ".":
        return f"{MAPS}/~.html"
    plain = "".join(
        c if c.isascii() and (c.isalnum() or c in "-_.") else f"~{ord(c):02x}" for c in key
    )
    if len(plain) > LONGEST_NAME:
        plain = f"{plain[: LONGEST_NAME - 20]}~{sha256(key.encode()).hexdigest()[:16]}"
    return f"{MAPS}/{plain}.html"


def _version() -> str:
    try:
        return version("geosand")
    except PackageNotFoundError:
        return "unknown"
