"""Chunks on processes of this machine: one that dies is replaced, and its chunks are done again."""

from __future__ import annotations

import os
import sys
from collections.abc import Generator, Iterator
from contextlib import contextmanager
from threading import Thread
from typing import TYPE_CHECKING

from geosand.errors import refused
from geosand.portfolio.arrow import without_pandas
from geosand.portfolio.chunk import Chunk, ChunkDone, Work, halves, lost_chunk

if TYPE_CHECKING:  # a run in this process needs none of them
    from concurrent.futures import Future, ProcessPoolExecutor

    if sys.platform == "win32":
        from multiprocessing.connection import PipeConnection as Connection
    else:
        from multiprocessing.connection import Connection

AHEAD = 2  #: chunks waiting for each worker: memory does not grow with the portfolio


def on_processes(jobs: Iterator[Chunk], workers: int, work: Work) -> Generator[ChunkDone]:
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
            raise refused("--workers", found, remedy=remedy) from problem
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

    if sys.platform == "win32":  # which has no such mask
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
        yield lost_chunk(job)
    for half in halves(job):
        yield from _alone(half, work)
