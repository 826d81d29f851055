"""Chunks on this process, on this machine's processes, or on a dask cluster; results alike."""

from __future__ import annotations

import os
import pickle
from collections.abc import Callable, Collection, Generator, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from itertools import islice
from threading import Thread
from typing import TYPE_CHECKING, Any

from geosand import __version__
from geosand.errors import Fault, Refused
from geosand.portfolio.arrow import without_pandas
from geosand.portfolio.chunk import Chunk, ChunkDone, lost_chunk, work_chunk

if TYPE_CHECKING:  # a run in this process needs none of them
    from concurrent.futures import Future, ProcessPoolExecutor
    from multiprocessing.connection import Connection

CHUNK = 100  #: sites
CHUNK_BYTES = 30_000_000  #: of what more than one site is read from, about as it is in memory
AHEAD = 2  #: chunks waiting for each worker: memory does not grow with the portfolio
DIED = "the process that worked on it died, twice: out of memory?"

LOOK_S = 5.0  #: whether a cluster that has nothing finished has any worker
PATIENCE_S = 600.0  #: with a cluster without any, which may wait for machines itself

Work = Callable[[Chunk], ChunkDone]
Tell = Callable[[str], None]  #: gets what is done beside working out sites


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
        return _on_cluster(jobs, scheduler, work, tell)
    if workers > 1:
        return _on_processes(jobs, workers, work)
    return (work(job) for job in jobs)


def _quiet_threads() -> None:
    """One thread a process: matrices are small, and the processes share the machine."""
    for name in ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "OMP_NUM_THREADS"):
        os.environ.setdefault(name, "1")


def _started(run: Connection) -> None:
    """What a process of the pool does first."""
    _quiet_threads()
    without_pandas()
    Thread(target=_end_with, args=(run,), daemon=True).start()


def _end_with(run: Connection) -> None:
    """Else it would wait for ever for work of a run that was killed."""
    try:
        run.poll(None)  # nothing is ever sent: it ends when the other end is closed
    finally:
        os._exit(1)


def _on_processes(jobs: Iterator[Chunk], workers: int, work: Work) -> Generator[ChunkDone]:
    """A pool of processes; one that dies is replaced and its chunks are done again.

    Each chunk that was under way when a process died is then done alone, so that the one at fault
    is known; sites whose process dies again are given up, and the others go on.
    """
    from concurrent.futures.process import BrokenProcessPool

    _quiet_threads()
    suspects: list[Chunk] = []
    finished = False
    while not finished:
        finished = True
        pending: dict[Future[ChunkDone], Chunk] = {}
        waiting: Chunk | None = None
        with _pool(workers) as pool:
            try:
                for job in jobs:
                    waiting = job
                    pending[_submitted(pool, work, job)] = job
                    waiting = None
                    if len(pending) >= AHEAD * workers:
                        yield from _some(pending)
                while pending:
                    yield from _some(pending)
            except BrokenProcessPool:
                suspects += [*pending.values(), *([waiting] if waiting else [])]
                finished = False
    for job in suspects:
        yield from _alone(job, work)


@contextmanager
def _pool(workers: int) -> Iterator[ProcessPoolExecutor]:
    """Processes that end at once, whatever they work on, where the run is stopped or killed."""
    from concurrent.futures import ProcessPoolExecutor
    from multiprocessing import get_context

    # forked children of a process with threads can hang; these start clean
    context = get_context("spawn")
    theirs, ours = context.Pipe(duplex=False)
    with theirs, ours:
        try:
            with _stops_heard_here_only():
                pool = ProcessPoolExecutor(
                    workers, mp_context=context, initializer=_started, initargs=(theirs,)
                )
        except (OSError, ImportError, NotImplementedError) as problem:
            found = f"processes can not share locks on this system: {problem}"
            remedy = "leave it out: one process does the same work"
            raise Refused(Fault(file="--workers", found=found, remedy=remedy)) from problem
        with pool:
            try:
                yield pool
            except BaseException:
                ours.close()
                raise


def _submitted(pool: ProcessPoolExecutor, work: Work, job: Chunk) -> Future[ChunkDone]:
    """The job, given to a process that may be started for it."""
    with _stops_heard_here_only():
        return pool.submit(work, job)


@contextmanager
def _stops_heard_here_only() -> Iterator[None]:
    """Processes started meanwhile never hear of Ctrl-C or of a terminal that is closed.

    All of a run's processes are sent that, and each would write where it was; the first one ends
    the others.
    """
    import signal

    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT, signal.SIGHUP})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _some(pending: dict[Future[ChunkDone], Chunk]) -> Iterator[ChunkDone]:
    from concurrent.futures import FIRST_COMPLETED, wait

    done, _ = wait(pending, return_when=FIRST_COMPLETED)
    for future in done:
        result = future.result()
        del pending[future]
        yield result


def _alone(job: Chunk, work: Work) -> Iterator[ChunkDone]:
    """A chunk in a process of its own; where that dies, its halves, down to the site at fault."""
    from concurrent.futures.process import BrokenProcessPool

    with _pool(1) as pool:
        try:
            yield _submitted(pool, work, job).result()
            return
        except BrokenProcessPool:
            pass
    if len(job.keys) == 1:
        yield lost_chunk(job, DIED)
    for keys in _halves(job.keys):
        yield from _alone(replace(job, keys=keys), work)


def _on_cluster(
    jobs: Iterator[Chunk], scheduler: str, work: Work, tell: Tell
) -> Generator[ChunkDone]:
    """The same chunks on a dask cluster, which does those of a lost worker again elsewhere."""
    client, killed = _client(scheduler)
    import dask

    found_there, if_same = _by_value()
    # chunks that carry rows are no mistake of whoever calls it, whom dask would warn
    large = dask.config.set({"distributed.admin.large-graph-warning-threshold": "1GB"})
    with _unlogged(), client, large:
        _needs_same(_of_cluster(client.run, found_there))
        running: dict[Any, Chunk] = {}

        def send(job: Chunk) -> None:
            sent = pickle.dumps((work, job))
            future = client.submit(if_same, __version__, sent, pure=False, retries=2)
            running[future] = job

        while True:
            slots = sum(_of_cluster(client.nthreads).values())  # workers come and go
            for job in islice(jobs, max(0, AHEAD * max(1, slots) - len(running))):
                send(job)
            if not running:
                return
            for future in _finished(client, running, tell):
                job = running.pop(future)
                try:
                    yield _result(future)
                except (
                    killed
                ):  # workers died of it several times: its halves, down to the site at fault
                    if len(job.keys) == 1:
                        yield lost_chunk(job, DIED)
                    for keys in _halves(job.keys):
                        send(replace(job, keys=keys))
                future.release()


def _finished(client: Any, running: Mapping[Any, Chunk], tell: Tell) -> Collection[Any]:
    """Some of the futures, as soon as there are any; a cluster may lose its workers and get new."""
    alone = 0.0
    while alone < PATIENCE_S:
        if done := _of_cluster(_done_soon, list(running)):
            return done  # type: ignore[no-any-return]
        if _of_cluster(client.nthreads):
            alone = 0.0
        else:
            tell("Waiting for a worker of the cluster")
            alone += LOOK_S
    found = f"no worker was there for {PATIENCE_S / 60:.0f} minutes"
    remedy = "start some with dask worker and repeat the command: what is finished is kept"
    raise Refused(Fault(file="--scheduler", found=found, remedy=remedy))


def _done_soon(futures: list[Any]) -> Collection[Any]:
    """Those of the futures that are done when the first is, within the time of a look."""
    from distributed import wait

    try:
        return wait(futures, LOOK_S, "FIRST_COMPLETED").done  # type: ignore[no-any-return, no-untyped-call]
    except TimeoutError:
        return ()


@contextmanager
def _unlogged() -> Iterator[None]:
    """Without traces of a lost cluster, which is told in words."""
    import logging

    log = logging.getLogger("distributed.client")
    before = log.level
    log.setLevel(logging.CRITICAL)
    try:
        yield
    finally:
        log.setLevel(before)


def _by_value() -> tuple[Callable[[], str], Callable[[str, bytes], ChunkDone | dict[str, str]]]:
    """What workers do first, whatever geosand they have: these functions travel with the run.

    The first tells the version there, "" for none; the second works only with the same one, and
    else gives the version by the worker's address, also where the worker joined later.
    """

    def found_there() -> str:
        try:
            from geosand import __version__ as found
        except ImportError:
            return ""
        return str(found)

    def if_same(version: str, sent: bytes) -> ChunkDone | dict[str, str]:
        import pickle

        from distributed import get_worker

        if (found := found_there()) != version:
            return {get_worker().address: found}
        work, job = pickle.loads(sent)
        done: ChunkDone = work(job)
        return done

    return found_there, if_same


def _needs_same(versions: Mapping[str, str]) -> None:
    """Refuse workers, by address, with another geosand: their figures could be others."""
    others = {worker: found for worker, found in versions.items() if found != __version__}
    if others:
        raise Refused(
            Fault(
                file="--scheduler",
                found=f"worker {worker} has {f'geosand {found}' if found else 'no geosand'}",
                allowed=f"geosand {__version__}, as here",
                remedy="install it there and repeat the command: what is finished is kept",
            )
            for worker, found in sorted(others.items())
        )


def _halves(keys: Sequence[str]) -> list[Sequence[str]]:
    half = len(keys) // 2
    return [keys[:half], keys[half:]] if half else []


def _result(future: Any) -> ChunkDone:
    result: ChunkDone | dict[str, str] = _of_cluster(future.result)
    if isinstance(result, dict):
        _needs_same(result)
    assert isinstance(result, ChunkDone)
    return result


def _of_cluster(asked: Callable[..., Any], *arguments: Any) -> Any:
    """What the cluster answers; Refused where it is lost."""
    from concurrent.futures import CancelledError

    try:
        return asked(*arguments)
    except (OSError, CancelledError) as problem:
        raise Refused(
            Fault(
                file="--scheduler",
                found=f"the cluster is lost: {type(problem).__name__}",
                remedy="start it again and repeat the command: what is finished is kept",
            )
        ) from problem


def _client(scheduler: str) -> tuple[Any, type[Exception]]:
    try:
        from distributed import Client, KilledWorker
    except ImportError as problem:
        raise Refused(
            Fault(
                file="--scheduler",
                found="dask is not installed",
                remedy="install geosand with the extra cluster: pip install 'geosand[cluster]'",
            )
        ) from problem
    try:
        client: Any = Client(scheduler, timeout="5s")  # type: ignore[no-untyped-call]
        return client, KilledWorker
    except (OSError, ValueError) as problem:
        raise Refused(
            Fault(
                file="--scheduler",
                found=f"no dask scheduler answers at {scheduler}",
                remedy="start one with dask scheduler, or correct the address",
            )
        ) from problem
