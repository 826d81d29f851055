"""Files that a person names: plain ones, and no larger than what they hold can be."""

from __future__ import annotations

from pathlib import Path

from geosand.errors import Faults


def plain_bytes(path: Path, shown: str, most_mb: int, faults: Faults, remedy: str) -> bytes:
    """The content of a file; nothing, with a fault, where there is none or it can not be read.

    ``shown`` is the file for messages, ``remedy`` which file to name.
    """
    try:
        if path.exists() and not path.is_file():  # a pipe or a device may never end
            faults.add(shown, "is no plain file", remedy=remedy)
        elif path.stat().st_size > most_mb * 1_000_000:
            faults.add(shown, f"is larger than {most_mb} MB", remedy=remedy)
        else:
            return path.read_bytes()
    except FileNotFoundError:
        faults.add(shown, "there is no such file", remedy=remedy)
    except OSError as problem:
        faults.add(shown, f"can not be read: {problem.strerror}", remedy="look at its rights")
    return b""
