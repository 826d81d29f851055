"""Whole files or none: temporary file in the same folder, fsync, rename, fsync of the folder."""

from __future__ import annotations

import os
import stat
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from pathlib import Path

#: Each move of something finished to its place, for a run that notes them: from where, to where.
_moves: ContextVar[list[tuple[Path, Path]] | None] = ContextVar("_moves", default=None)


@contextmanager
def noting() -> Iterator[Callable[[], list[Path]]]:
    """Gives a function that says, at any moment, what was put in its place meanwhile.

    A run that is stopped can so tell what it has written already.
    """
    moves: list[tuple[Path, Path]] = []
    token = _moves.set(moves)
    try:
        yield lambda: list(
            dict.fromkeys(to for made, to in moves if not made.exists() and to.exists())
        )
    finally:
        _moves.reset(token)


def put_in_place(made: Path, place: Path) -> None:
    """Rename what is finished; noted before, as a run can be stopped right behind it."""
    moves = _moves.get()
    if moves is not None:
        moves.append((made, place))
    os.replace(made, place)


def write_whole(path: Path, content: bytes) -> None:
    """Replace ``path`` by ``content`` at once; killed at any moment the old or the new file stands.

    Raises OSError where the folder can not be written; nothing is left behind then.
    """
    import tempfile  # slow to import, and most verbs write nothing

    path.parent.mkdir(parents=True, exist_ok=True)
    # the end of the name only, as a file system takes names of 255 bytes at most
    handle, name = tempfile.mkstemp(prefix=f".{path.name[-60:]}.", dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        os.chmod(name, _mode(path))
        put_in_place(Path(name), path)
    except BaseException:
        if os.path.exists(name):
            moves = _moves.get()
            if moves and moves[-1][0] == Path(name):
                moves.pop()
            os.unlink(name)
        raise
    _sync_folder(path.parent)


def _mode(path: Path) -> int:
    """Rights of the file that is replaced, as its owner may have closed it to others."""
    try:
        return stat.S_IMODE(path.stat().st_mode)
    except OSError:
        return 0o644


def sweep(folder: Path, ending: str) -> None:
    """Delete what killed writers of files with this ending left in a folder that nobody else holds.

    Their names are those that :func:`write_whole` gives: hidden, with eight characters behind.
    """
    for path in folder.glob(f".*{ending}.????????"):
        path.unlink(missing_ok=True)


def _sync_folder(folder: Path) -> None:
    if os.name == "posix":
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
