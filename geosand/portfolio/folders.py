"""Where the sites of a portfolio are: a set, or folders beneath one, which are read here."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Container, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from functools import partial
from itertools import chain
from pathlib import Path, PurePath

from geosand.errors import Fault, Refused, refused
from geosand.formats.site_folder import ParsedSite, parse_site
from geosand.portfolio.folders_at_once import read_folders_at_once
from geosand.portfolio.site_read import SiteRead, Source, or_failed
from geosand.portfolio.site_set import find_set
from geosand.site.cells import RECORDS

SETTINGS, EDITIONS = "site.toml", "editions"
#: what a site folder's result depends on; ``editions/*.geojson`` beside them
FILES: tuple[str, ...] = ("catches.geojson", "records.xlsx", "surfaces.geojson", SETTINGS)
FILES += tuple(f"{name}.csv" for name in sorted(RECORDS))
LARGEST = ("surfaces.geojson", "catches.csv", "catches.geojson", "records.xlsx")
#: a folder with these, and in no site, is a site that lacks its settings, which is told
UNSETTLED = ({"surfaces.geojson", "dressings.csv"}, {"surfaces.geojson", "records.xlsx"})
HELD_BYTES = 50_000_000  #: of files that are parsed and wait to be checked together


@dataclass(frozen=True, slots=True, kw_only=True)
class Folders:
    """Site folders beneath ``root``; a site's key is its path from there."""

    root: Path
    found: tuple[str, ...]
    odd: Mapping[str, str] = field(default_factory=dict)  #: path of a key that is not the path

    def keys(self) -> list[str]:
        return list(self.found)

    def as_they_stand(self) -> dict[str, int]:
        return {key: _bytes_of_largest(self.root / self.odd.get(key, key)) for key in self.found}

    def changed(self) -> list[str]:
        return []  # a folder is of one site and is read at once

    def not_read(self) -> list[str]:
        return []  # each site tells its own

    def read(self, keys: Sequence[str], known: dict[str, str]) -> Iterator[SiteRead]:
        """The sites in order, some at a time; a refused one with its faults.

        Each folder is parsed by itself and all are then checked at once. Only a site in which
        anything is wrong is checked by itself, which says what.
        """
        waiting: list[SiteRead | _Parsed] = []
        held = 0
        for key in keys:
            folder = self.root / self.odd.get(key, key)
            files = _Files.of(folder)
            if known.get(key) == files.fingerprint:
                waiting.append(SiteRead(key=key, fingerprint=files.fingerprint, site=None))
                continue
            waiting.append(or_failed(key, partial(_parsed, key, folder, files)))
            held += files.size
            if held > HELD_BYTES:
                yield from _checked(waiting)
                waiting, held = [], 0
        yield from _checked(waiting)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Files:
    """The files of a site folder as they are read once, for the fingerprint and for the tables."""

    fingerprint: str  #: SHA-256 of the names and bytes of all of them
    content: Mapping[str, bytes]  #: by name; none of those that can not be read
    size: int  #: bytes of all
    problem: str  #: why the folder can not be looked into; "" = it can be

    @classmethod
    def of(cls, folder: Path) -> _Files:
        """Large files are not kept, but read again with the tables."""
        digest = hashlib.sha256()
        kept: dict[str, bytes] = {}
        size, problem = 0, ""
        try:
            there = frozenset(os.listdir(folder))
        except OSError as closed:
            there, problem = frozenset(), str(closed.strerror)
            digest.update(problem.encode())
        for name in chain(FILES, _editions(folder, there)):  # the earlier editions are listed last
            if name not in there and "/" not in name:
                continue
            told, content = _bytes_of(folder / name)
            if content is not None and size + len(content) <= HELD_BYTES:
                kept[name] = content
            size += len(told)
            digest.update(f"{name}\0{len(told)}\0".encode())
            digest.update(told)
        return cls(fingerprint=digest.hexdigest(), content=kept, size=size, problem=problem)


def _bytes_of_largest(folder: Path) -> int:
    """Of the files that can be large; earlier editions are seldom larger than what is in force."""
    size = 0
    for name in LARGEST:
        with suppress(OSError):
            size += os.stat(f"{folder}/{name}").st_size
    return size


def _editions(folder: Path, there: Container[str]) -> Iterator[str]:
    """Files of earlier boundary editions, or ``editions`` itself where it can not be looked into.

    It is listed when all else was read: a survey that is brought just now adds a file here first.
    """
    if EDITIONS not in there:
        return
    try:
        names = sorted(os.listdir(folder / EDITIONS))
    except OSError:
        yield f"{EDITIONS}/"
        return
    yield from (f"{EDITIONS}/{name}" for name in names if PurePath(name).match("*.geojson"))


def _bytes_of(path: Path) -> tuple[bytes, bytes | None]:
    """What a file says for the fingerprint, and its content; what is none is told when it is read.

    A pipe would never end.
    """
    try:
        content = path.read_bytes() if path.is_file() else None
    except OSError as problem:
        return type(problem).__name__.encode(), None
    return (b"no file" if content is None else content), content


@dataclass(frozen=True, slots=True, kw_only=True)
class _Parsed:
    """A site whose files are parsed and not yet checked."""

    key: str
    fingerprint: str
    site: ParsedSite


def _parsed(key: str, folder: Path, files: _Files) -> SiteRead | _Parsed:
    if files.problem:
        found = f"can not be looked into: {files.problem}"
        closed = Fault(file="the folder", found=found, remedy="look at its rights, or take it away")
        return _refused(key, files.fingerprint, Refused(closed))
    try:
        site = parse_site(folder, files.content)
    except Refused as refusal:
        return _refused(key, files.fingerprint, refusal)
    return _Parsed(key=key, fingerprint=files.fingerprint, site=site)


def _checked(waiting: Sequence[SiteRead | _Parsed]) -> Iterator[SiteRead]:
    """The sites of some folders, in order."""
    unforeseen = list[str]()
    sites = read_folders_at_once([w.site for w in waiting if isinstance(w, _Parsed)], unforeseen)
    number = 0
    for one in waiting:
        if isinstance(one, SiteRead):
            yield one
            continue
        if number in sites:
            yield SiteRead(key=one.key, fingerprint=one.fingerprint, site=sites.pop(number))
        else:
            alone = or_failed(one.key, partial(_alone, one))
            yield replace(alone, unforeseen=next(iter(unforeseen), ""))
        number += 1


def _alone(one: _Parsed) -> SiteRead:
    try:
        site = one.site.checked()
    except Refused as refusal:
        return _refused(one.key, one.fingerprint, refusal)
    return SiteRead(key=one.key, fingerprint=one.fingerprint, site=site)


def _refused(key: str, fingerprint: str, refusal: Refused) -> SiteRead:
    faults = str(refusal).splitlines()
    return SiteRead(key=key, fingerprint=fingerprint, site=None, refused=faults)


def find_sites(root: Path, outside: Path) -> Source:
    """The sites in ``root``; ``outside`` (results) is not searched.

    Raises Refused where there is none.
    """
    sites = find_set(root.resolve())  # other processes have their own working folder
    if sites is not None:
        return sites
    if not root.is_dir():
        raise refused(str(root), "there is no such folder", remedy="name a folder")
    folders = site_folders(root, outside)
    if folders is None:
        raise refused(
            str(root),
            "no site is here",
            allowed="folders with a site.toml, or surfaces.parquet (or .gpkg) with a column"
            " site and its companions",
            remedy="name the folder that holds the sites",
        )
    return folders


def site_folders(root: Path, outside: Path) -> Folders | None:
    """Every folder beneath that has, or lacks, a site.toml; None without any; links are followed.

    A folder that several paths lead to is one site, by the path without links if there is one.
    What can not be looked into may be a site: it is one that will be refused. ``outside`` and what
    is hidden are not searched.
    """
    found: list[str] = []
    settled: set[Path] = set()

    def closed(problem: OSError) -> None:
        if Path(problem.filename).name != EDITIONS:  # of a site, which tells it
            found.append(problem.filename)

    known = {_identity(outside)} - {_identity(root), None}
    starts = [root]
    for start in starts:  # which grows
        for place, folders, files in os.walk(start, onerror=closed):
            if (identity := _identity(place)) in known:
                folders.clear()
                continue
            known.add(identity)
            folders[:] = sorted(name for name in folders if not name.startswith("."))
            starts += [Path(place, name) for name in folders if os.path.islink(f"{place}/{name}")]
            if SETTINGS in files:
                settled.add(Path(place))
                found.append(place)
            elif any(some.issubset(files) for some in UNSETTLED) and settled.isdisjoint(
                Path(place).parents  # else it is a copy that is kept within a site
            ):
                found.append(place)
    # bytes that are no UTF-8 could not be written to any table
    names = [Path(place).relative_to(root).as_posix() for place in found]
    keys = {os.fsencode(name).decode("utf-8", "backslashreplace"): name for name in names}
    odd = {key: name for key, name in keys.items() if key != name}
    whole = root.resolve()  # other processes have their own working folder
    return Folders(root=whole, found=tuple(sorted(keys)), odd=odd) if found else None


def _identity(path: Path | str) -> tuple[int, int] | None:
    """The same for all paths that lead to one folder; None where there is none."""
    try:
        told = os.stat(path)
    except OSError:
        return None
    return told.st_dev, told.st_ino
