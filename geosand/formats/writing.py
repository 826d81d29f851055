"""Whole files or none: temporary file in the same folder, fsync, rename, fsync of the folder."""

from __future__ import annotations

import os
import stat
from pathlib import Path


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
        os.replace(name, path)
    except BaseException:
        if os.path.exists(name):
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
