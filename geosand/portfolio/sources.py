"""Where the sites of a portfolio are: folders beneath one, or a set of files with a column site."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from geosand.errors import Fault, Refused
from geosand.site.tables import Site

if TYPE_CHECKING:
    from geosand.formats.site_folder import ParsedSite

SETTINGS = "site.toml"
#: what a site folder's result depends on; ``editions/*.geojson`` beside them
FILES: tuple[str, ...] = ("catches.geojson", "records.xlsx", "surfaces.geojson", SETTINGS)
FILES += tuple(f"{name}.csv" for name in ("catches", "deliveries", "dressings", "loads"))
HELD_BYTES = 50_000_000  #: of files that are parsed and wait to be checked together


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteRead:
    """One site of a chunk as it was read: its fingerprint, and the site or why it was refused."""

    key: str
    fingerprint: str
    site: Site | None  #: None where it was refused, or is already known by its fingerprint
    refused: Sequence[str] = ()
    unforeseen: str = ""  #: kind of an error for which it had to be read by itself


class Source(Protocol):
    """Sites by key; travels to other processes, so it holds no open file."""

    def keys(self) -> list[str]:
        """All sites, in order."""
        ...

    def read(self, keys: Sequence[str], known: dict[str, str]) -> Iterator[SiteRead]:
        """The sites of one chunk; those whose fingerprint is ``known`` are not read further."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Folders:
    """Site folders beneath ``root``; a site's key is its path from there."""

    root: Path
    found: tuple[str, ...]
    odd: Mapping[str, str] = field(default_factory=dict)  #: path of a key that is not the path

    def keys(self) -> list[str]:
        return list(self.found)

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
            waiting.append(_parsed(key, folder, files))
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

    @classmethod
    def of(cls, folder: Path) -> _Files:
        """Large files are not kept, but read again with the tables."""
        digest = hashlib.sha256()
        kept: dict[str, bytes] = {}
        size = 0
        editions = sorted((folder / "editions").glob("*.geojson"))
        for path in [*(folder / name for name in FILES), *editions]:
            if not os.path.lexists(path):
                continue
            name = path.relative_to(folder).as_posix()
            try:  # a pipe would never end; what is no file is told when the site is read
                content = path.read_bytes() if path.is_file() else None
                told = b"no file" if content is None else content
            except OSError as problem:  # told when the site is read
                content, told = None, type(problem).__name__.encode()
            if content is not None and size + len(content) <= HELD_BYTES:
                kept[name] = content
            size += len(told)
            digest.update(f"{name}\0{len(told)}\0".encode())
            digest.update(told)
        return cls(fingerprint=digest.hexdigest(), content=kept, size=size)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Parsed:
    """A site whose files are parsed and not yet checked."""

    key: str
    fingerprint: str
    site: ParsedSite


def _parsed(key: str, folder: Path, files: _Files) -> SiteRead | _Parsed:
    from geosand.formats.site_folder import parse_site

    try:
        site = parse_site(folder, files.content)
    except Refused as refusal:
        return _refused(key, files.fingerprint, refusal)
    return _Parsed(key=key, fingerprint=files.fingerprint, site=site)


def _checked(waiting: Sequence[SiteRead | _Parsed]) -> Iterator[SiteRead]:
    """The sites of some folders, in order."""
    from geosand.portfolio.folders_at_once import read_folders_at_once

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
            yield replace(_alone(one), unforeseen=next(iter(unforeseen), ""))
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
    """The sites in ``root``: a set of files, or every folder beneath with a site.toml.

    ``outside`` (results) is not searched. Raises Refused where there is none.
    """
    from geosand.portfolio.site_set import find_set

    sites = find_set(root.resolve())  # other processes have their own working folder
    if sites is not None:
        return sites
    if not root.is_dir():
        raise Refused(
            Fault(file=str(root), found="there is no such folder", remedy="name a folder")
        )
    avoided = outside.resolve()
    found: list[str] = []
    for place, folders, files in os.walk(root):
        folders[:] = sorted(
            name
            for name in folders
            if not name.startswith(".") and (Path(place) / name).resolve() != avoided
        )
        if SETTINGS in files:
            found.append(Path(place).relative_to(root).as_posix())
    # bytes that are no UTF-8 could not be written to any table
    keys = {os.fsencode(name).decode("utf-8", "backslashreplace"): name for name in found}
    if not found:
        raise Refused(
            Fault(
                file=str(root),
                found="no site is here",
                allowed="folders with a site.toml, or surfaces.parquet (or .gpkg) with a column"
                " site and its companions",
                remedy="name the folder that holds the sites",
            )
        )
    odd = {key: name for key, name in keys.items() if key != name}
    return Folders(root=root.resolve(), found=tuple(sorted(keys)), odd=odd)
