"""What long work shows while it runs: one line on a terminal's stderr, nothing in a pipe.

.. code-block:: python

    with steps(silent=as_json) as step:
        step("Reading the site")
        ...
        step("Many sites", done=3, total=40)

The line says the step, how many are done where that is known, and the time since the start. It
stands below whatever the verb prints, is wiped when the work ends, and does not appear at all for
work shorter than half a second, nor where stderr is no terminal. Before it appears nothing is
loaded, so that quick verbs stay quick.
"""

from __future__ import annotations

import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import TYPE_CHECKING, Protocol

from geosand.errors import printable

if TYPE_CHECKING:
    from rich.progress import Progress

DELAY_S = 0.5  #: shorter work shows nothing


class Step(Protocol):
    """Says what is worked on now; ``total`` where the number of like steps is known."""

    def __call__(self, text: str, done: int = 0, total: int | None = None) -> None: ...


@contextmanager
def steps(*, silent: bool = False) -> Iterator[Step]:
    """Shows the steps of a piece of work while it lasts; ``silent`` for ``--json``."""
    if silent or not sys.stderr.isatty():
        yield _unseen
        return
    line = _Line()
    timer = threading.Timer(DELAY_S, line.appear)
    timer.daemon = True
    timer.start()
    try:
        yield line.say
    finally:
        timer.cancel()
        line.vanish()


def _unseen(text: str, done: int = 0, total: int | None = None) -> None:
    """Where nobody watches."""


class _Line:
    """The line on the terminal; said from the work's thread, drawn from rich's own."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._now: tuple[str, int, int | None] = ("Working", 0, None)
        self._progress: Progress | None = None
        self._over = False

    def say(self, text: str, done: int = 0, total: int | None = None) -> None:
        """The step that begins."""
        with self._lock:
            self._now = (text, done, total)
            self._draw()

    def appear(self) -> None:
        """The work is long: show the line."""
        from rich.console import Console
        from rich.progress import Progress, SpinnerColumn, TextColumn, TimeElapsedColumn

        with self._lock:
            if self._over:
                return
            self._progress = Progress(
                SpinnerColumn("line"),
                TextColumn("{task.description}", markup=False),
                TimeElapsedColumn(),
                console=Console(stderr=True, highlight=False, markup=False, emoji=False),
                transient=True,
            )
            self._progress.add_task("", total=None)
            self._draw()
            self._progress.start()

    def vanish(self) -> None:
        """The work is over, well or not: leave nothing behind."""
        with self._lock:
            self._over = True
            if self._progress is not None:
                with suppress(OSError):  # a terminal that was closed
                    self._progress.stop()

    def _draw(self) -> None:
        if self._progress is None:
            return
        text, done, total = self._now
        count = "" if total is None else f", {done} of {total} done"
        task = self._progress.task_ids[0]
        self._progress.update(
            task, description=printable(f"{text}{count}"), completed=done, total=total
        )
