"""Chunks on a dask cluster, whose workers come and go: the same work as on this machine."""

from __future__ import annotations

import pickle
from collections.abc import Callable, Collection, Generator, Iterator, Mapping
from contextlib import contextmanager
from itertools import islice
from typing import Any

from geosand import __version__
from geosand.errors import Fault, Refused, refused
from geosand.portfolio.chunk import Chunk, ChunkDone, Tell, Work, halves, lost_chunk
from geosand.portfolio.processes import AHEAD

LOOK_S = 5.0  #: whether a cluster that has nothing finished has any worker
PATIENCE_S = 600.0  #: with a cluster without any, which may wait for machines itself


def on_cluster(
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
                except killed:  # workers died of it several times: its halves, down to one site
                    if len(job.keys) == 1:
                        yield lost_chunk(job)
                    for half in halves(job):
                        send(half)
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
    raise refused("--scheduler", found, remedy=remedy)


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
        raise refused(
            "--scheduler",
            f"the cluster is lost: {type(problem).__name__}",
            remedy="start it again and repeat the command: what is finished is kept",
        ) from problem


def _client(scheduler: str) -> tuple[Any, type[Exception]]:
    try:
        from distributed import Client, KilledWorker
    except ImportError as problem:
        raise refused(
            "--scheduler",
            "dask is not installed",
            remedy="install geosand with the extra cluster: pip install 'geosand[cluster]'",
        ) from problem
    try:
        client: Any = Client(scheduler, timeout="5s")  # type: ignore[no-untyped-call]
        return client, KilledWorker
    except (OSError, ValueError) as problem:
        raise refused(
            "--scheduler",
            f"no dask scheduler answers at {scheduler}",
            remedy="start one with dask scheduler, or correct the address",
        ) from problem
