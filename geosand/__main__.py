"""The command ``geosand``, also ``python -m geosand``: the process is set up before all else."""

from __future__ import annotations

import atexit
import codecs
import gc
import io
import os
import sys
from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from importlib.machinery import ModuleSpec
    from typing import Any


def run() -> None:
    """One run of the command."""
    end = _End()
    try:
        _settle(end)
        from geosand.cli import main

        main()
    except SystemExit as done:
        end.code = done.code
        raise
    except KeyboardInterrupt as stop:  # while the first libraries are loaded
        from geosand.errors import stop_code

        os.write(2, b"Stopped.\n")
        os._exit(stop_code(stop))


def _settle(end: _End) -> None:
    """Set up the process for one short run."""
    atexit.register(end)  # what is registered first is called last
    _stops_in_order()
    # matrices here are small: more threads only wait for each other
    for name in ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    # a run makes tables, not cycles: looking for some among the objects of all imported libraries,
    # again and again, would be a sixth of it
    gc.set_threshold(1_000_000, 20, 20)
    sys.meta_path.insert(0, _LateForFolium())
    for handle in range(3):  # what the caller closed would be the number of the next file opened
        try:
            os.fstat(handle)
        except OSError:
            os.open(os.devnull, os.O_RDWR)
    # open to the end of the run
    sys.stdout = sys.stdout or open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115
    sys.stderr = sys.stderr or open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115
    # a terminal or pipe of another encoding shows what it lacks in other signs, and works on
    codecs.register_error("in other signs", _in_other_signs)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="in other signs")


class _End:
    """The end of a run, when threads have ended and what others registered is done.

    Python would take all modules apart one by one, a twentieth of a run, before it gives the
    memory back.
    """

    code: object = None  #: what the run ended with, as for ``sys.exit``

    def __call__(self) -> None:
        if not isinstance(self.code, int):  # Python tells what else it ended with
            return
        try:
            sys.stdout.flush()
            sys.stderr.flush()
        except (OSError, ValueError):  # Python tells that too
            return
        os._exit(self.code)


class _LateForFolium:
    """A finder that has what folium needs for frames and addresses loaded at its first use.

    A map has neither, and they are half of what folium takes to load.
    """

    def find_spec(self, name: str, path: Any = None, target: Any = None) -> ModuleSpec | None:
        if name not in ("pandas", "requests") or "folium" not in sys.modules:
            return None
        from importlib.machinery import PathFinder
        from importlib.util import LazyLoader

        spec = PathFinder.find_spec(name, path)
        if spec is not None and spec.loader is not None:
            spec.loader = LazyLoader(spec.loader)
        return spec


class _Stop(KeyboardInterrupt):
    """Ctrl-C, or the end that a system asks for; its number is that of the signal.

    Python forgets the exit code of a run through whose ``exec`` a plain KeyboardInterrupt went.
    """


def _stops_in_order() -> None:
    """Let the ends that a system asks for come as Ctrl-C does, so that what was written is told.

    What is ignored from the start, as by nohup, stays so.
    """
    from geosand.errors import STOPS

    signal = import_module("_signal")  # without signal's enums: half a millisecond at each start

    def stop(number: int, frame: object) -> None:
        STOPS.append(number)
        raise _Stop(number)

    for name in ("SIGINT", "SIGTERM", "SIGHUP"):
        number = getattr(signal, name, None)
        plain = (signal.SIG_DFL, signal.default_int_handler)
        if number is not None and signal.getsignal(number) in plain:
            signal.signal(number, stop)


#: A minus that is not shown would turn a figure about; the rest keeps tables readable.
_SIGNS = {"−": "-", "\u202f": " ", "\u00a0": " ", "─": "-", "│": "|", "…": "...", "±": "+-"}
_SIGNS |= {"×": "x", "≥": ">=", "≤": "<=", "–": "-", "²": "2", "³": "3", "·": ".", "°": " deg"}
_SIGNS |= {"⁻": "-", "▲": "^", "▼": "v", "→": "->", "“": '"', "”": '"', "’": "'"}


def _in_other_signs(problem: UnicodeError) -> tuple[str, int]:
    """What to write for letters that a terminal lacks; "?" where nothing is like them."""
    if not isinstance(problem, UnicodeEncodeError):
        raise problem
    lacking = problem.object[problem.start : problem.end]
    return "".join(_SIGNS.get(letter, "?") for letter in lacking), problem.end


if __name__ == "__main__":
    run()
