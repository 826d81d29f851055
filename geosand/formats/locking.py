"""One process at a time changes a site; a second one is told so and changes nothing."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from geosand.errors import Fault, Refused, refused

IN_USE = ".geosand-in-use"  #: only where folders themselves can not be locked


@contextmanager
def held(folder: str | Path, what: str = "site") -> Iterator[None]:
    """Hold a site's folder while it is changed; the operating system lets go of a killed process.

    ``what`` is what the folder is for a person: a site, or a folder of results.

    The folder itself is locked, so that nothing is written for it. Raises Refused at once where
    another process holds it.
    """
    try:
        handle = _lock(Path(folder), what)
    except (FileNotFoundError, NotADirectoryError) as problem:
        remedy = "name a site folder"
        fault = Fault(file=str(folder), found="there is no such folder", remedy=remedy)
        raise Refused(fault) from problem
    try:
        yield
    finally:
        _unlock(Path(folder), handle)


def _taken(folder: Path, what: str) -> Refused:
    return refused(
        str(folder),
        f"another geosand is changing this {what} just now",
        remedy="wait until it has ended, then say the same again; nothing was changed here",
    )


if sys.platform == "win32":
    import msvcrt

    def _lock(folder: Path, what: str) -> int:
        handle = os.open(folder / IN_USE, os.O_RDWR | os.O_CREAT)
        try:
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        except OSError as problem:
            os.close(handle)
            raise _taken(folder, what) from problem
        return handle

    def _unlock(folder: Path, handle: int) -> None:
        msvcrt.locking(handle, msvcrt.LK_UNLCK, 1)
        os.close(handle)
        (folder / IN_USE).unlink(missing_ok=True)

else:
    import fcntl

    def _lock(folder: Path, what: str) -> int:
        handle = os.open(folder, os.O_RDONLY)
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as problem:
            os.close(handle)
            raise _taken(folder, what) from problem
        return handle

    def _unlock(folder: Path, handle: int) -> None:
        os.close(handle)
