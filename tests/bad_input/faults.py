"""Faults put into a forked process: killed at its n-th step, disk full, no right to write."""

from __future__ import annotations

import ctypes
import os
import resource
import signal
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

from geosand.__main__ import _stops_in_order

KILLED = -signal.SIGKILL
STEPS = ("open", "os.", "shutil.", "tempfile.", "fcntl.")


def in_child(act: Callable[[], None], prepare: Callable[[], None], said: Path) -> int:
    """Run ``act`` in a forked process after ``prepare``; its exit code, or minus the signal.

    What it prints goes to the file ``said``.
    """
    child = os.fork()
    if child == 0:
        code = 70
        try:
            handle = os.open(said, os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
            os.dup2(handle, 1)
            os.dup2(handle, 2)
            prepare()
            act()
            code = 0
        except SystemExit as end:
            code = int(end.code or 0)
        except BaseException:
            sys.excepthook(*sys.exc_info())
        finally:
            for stream in (sys.stdout, sys.stderr):
                stream.flush()
            os._exit(code)
    _, status = os.waitpid(child, 0)
    return os.waitstatus_to_exitcode(status)


def kill_at(step: int, place: Path, by: int = signal.SIGKILL) -> Callable[[], None]:
    """A signal at the n-th step (counted from 1) that touches a file beneath ``place``.

    A step is an audited call of the standard library (open, rename, remove, mkdir, …) that names
    such a file, or a flush to disk.
    """

    def prepare() -> None:
        left = step
        # a shell's background job ignores Ctrl-C from the start, one begun by nohup a hangup
        signal.signal(signal.SIGINT, signal.default_int_handler)
        signal.signal(signal.SIGTERM, signal.SIG_DFL)
        signal.signal(signal.SIGHUP, signal.SIG_DFL)
        _stops_in_order()

        def take() -> None:
            nonlocal left
            left -= 1
            if left == 0:
                os.kill(os.getpid(), by)

        def hook(event: str, values: tuple[object, ...]) -> None:
            if event.startswith(STEPS) and any(str(place) in str(value) for value in values):
                take()

        plain = os.fsync

        def flush(handle: int) -> None:
            take()
            plain(handle)

        os.fsync = flush
        sys.addaudithook(hook)

    return prepare


def steps_until_done(act: Callable[[], None], place: Path, said: Path) -> Iterator[int]:
    """Run and kill at step 1, 2, 3 … until a run ends by itself; yields after each kill."""
    for step in range(1, 1000):
        if in_child(act, kill_at(step, place), said) != KILLED:
            return
        yield step
    raise AssertionError("no run ended by itself")


def disk_full(largest_bytes: int) -> Callable[[], None]:
    """Every file stops growing at this size, as on a full disk."""

    def prepare() -> None:
        sys.dont_write_bytecode = True  # what is imported now would be cut off too, and stay so
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (largest_bytes, largest_bytes))

    return prepare


def no_rights() -> None:
    """Give up a superuser's capabilities, so that read-only folders are so where tests run as one.

    capset(2), version 3: two words each of effective, permitted and inheritable capabilities.
    """
    header = (ctypes.c_uint32 * 2)(0x20080522, 0)
    nothing = (ctypes.c_uint32 * 6)()
    if os.geteuid() == 0 and ctypes.CDLL(None).capset(header, nothing) != 0:
        raise OSError("capabilities can not be given up")
