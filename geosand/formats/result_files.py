"""Files of results: written whole, and never in the place of something that was measured."""

from __future__ import annotations

import errno
import os
from collections.abc import Iterable
from pathlib import Path

from geosand.errors import Fault, Unwritten
from geosand.formats.site_folder import FILES
from geosand.formats.writing import write_whole

REMEDY = "name another file for the result"


def check_results(paths: Iterable[Path]) -> None:
    """Raise Unwritten, before anything is written, with every path that no result may go to."""
    why = [(path, _kept(path)) for path in paths]
    faults = [Fault(file=str(path), found=found, remedy=REMEDY) for path, found in why if found]
    if faults:
        raise Unwritten(faults)


def write_result(path: Path, content: bytes, *, remedy: str = "name another place") -> None:
    """Write a result whole or not at all. Raises Unwritten, also where records are kept."""
    check_results([path])
    try:
        write_whole(path, content)
    except OSError as problem:
        found = f"can not be written: {problem.strerror or problem}"
        # some systems keep a file from being replaced while a program shows it
        shown = isinstance(problem, PermissionError) and os.path.exists(path)
        shown = shown and os.access(path.parent, os.W_OK)
        remedy = f"close it where it is open, or {remedy}" if shown else remedy
        raise Unwritten(Fault(file=str(path), found=found, remedy=remedy)) from problem


def _kept(path: Path) -> str:
    """Why nothing may be written there; "" where it may."""
    place = Path(os.path.realpath(path))
    name = place.name.lower()  # some systems hold Loads.csv and loads.csv for one file
    if name in FILES and os.path.isfile(place.parent / "site.toml"):
        return "is one of the files that a site is read from"
    survey = place.parent.name.lower() == "editions" and name.endswith(".geojson")
    if survey and os.path.isfile(place.parent.parent / "site.toml"):
        return "would be read as an edition of the site's boundaries"
    if os.path.lexists(place) and not os.path.isfile(place):
        return "is a folder" if os.path.isdir(place) else "is no plain file"
    return "has a name that is too long" if _too_long(place) else ""


def _too_long(place: Path) -> bool:
    """Whether the system takes no such name for the file, or for a folder that is made for it."""
    there = next((one for one in place.parents if os.path.isdir(one)), place.parent)
    for name in place.relative_to(there).parts:
        try:
            os.lstat(there / name)
        except OSError as problem:
            if problem.errno == errno.ENAMETOOLONG:
                return True
    return False
