"""Chunks on this process, on this machine's processes, or on a dask cluster; results alike."""

from __future__ import annotations

from collections.abc import Generator, Iterable, Iterator, Mapping

from geosand.portfolio.chunk import Chunk, ChunkDone, Tell, Work, work_chunk

CHUNK = 100  #: sites
CHUNK_BYTES = 30_000_000  #: of what more than one site is read from, about as it is in memory


def chunks_of(
    keys: Iterable[str] | Mapping[str, int], size: int = CHUNK, workers: int = 1
) -> list[list[str]]:
    """The sites in order, at most ``size`` at a time; fewer where a worker would have none.

    Fewer, too, where their bytes are told and are many: a chunk's results are held until it is
    finished.

    >>> [len(some) for some in chunks_of(["site"] * 7, 100, workers=3)]
    [3, 3, 1]
    >>> chunks_of({"a": 0, "b": CHUNK_BYTES, "c": 1, "d": 1})
    [['a', 'b'], ['c', 'd']]
    """
    told = keys if isinstance(keys, Mapping) else {}
    listed = list(keys)
    size = max(1, min(size, -(-len(listed) // workers)))
    chunks, held = list[list[str]](), 0
    for key in listed:
        weight = told.get(key, 0)
        if not chunks or len(chunks[-1]) == size or held + weight > CHUNK_BYTES:
            chunks.append([])
            held = 0
        chunks[-1].append(key)
        held += weight
    return chunks


def run(
    jobs: Iterator[Chunk],
    *,
    workers: int = 1,
    scheduler: str | None = None,
    work: Work = work_chunk,
    tell: Tell = lambda step: None,
) -> Generator[ChunkDone]:
    """The results of the jobs as they are finished, in any order; closed, no work goes on."""
    if scheduler is not None:
        from geosand.portfolio.cluster import on_cluster

        return on_cluster(jobs, scheduler, work, tell)
    if workers > 1:
        from geosand.portfolio.processes import on_processes

        return on_processes(jobs, workers, work)
    return (work(job) for job in jobs)
