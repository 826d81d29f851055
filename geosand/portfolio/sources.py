"""Where the sites of a portfolio are: folders beneath one, or a set of files with a column site."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol

from geosand.errors import Fault, Refused
from geosand.site.tables import Site

SETTINGS = "site.toml"
#: what a site folder's result depends on; ``editions/*.geojson`` beside them
FILES: tuple[str, ...] = ("catches.geojson", "records.xlsx", "surfaces.geojson", SETTINGS)
FILES += tuple(f"{name}.csv" for name in ("catches", "deliveries", "dressings", "loads"))


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteRead:
    """One site of a chunk as it was read: its fingerprint, and the site or why it was refused."""

    key: str
    fingerprint: str
    site: Site | None  #: None where it was refused, or is already known by its fingerprint
    refused: Sequence[str] = ()


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
        """The sites one after the other; a refused one with its faults."""
        from geosand.formats.site_folder import read_site

        for key in keys:
            folder = self.root / self.odd.get(key, key)
            fingerprint = _fingerprint(folder)
            if known.get(key) == fingerprint:
                yield SiteRead(key=key, fingerprint=fingerprint, site=None)
                continue
            try:
                site = read_site(folder)
            except Refused as refusal:
                faults = str(refusal).splitlines()
                yield SiteRead(key=key, fingerprint=fingerprint, site=None, refused=faults)
            else:
                yield SiteRead(key=key, fingerprint=fingerprint, site=site)


def _fingerprint(folder: Path) -> str:
    """SHA-256 of the names and bytes of all files that a site is read from."""
    digest = hashlib.sha256()
    editions = sorted((folder / "editions").glob("*.geojson"))
    for path in [*(folder / name for name in FILES), *editions]:
        if not os.path.lexists(path):
            continue
        try:  # a pipe would never end; what is no file is told when the site is read
            content = path.read_bytes() if path.is_file() else b"no file"
        except OSError as problem:  # told when the site is read
            content = type(problem).__name__.encode()
        digest.update(f"{path.relative_to(folder).as_posix()}\0{len(content)}\0".encode())
        digest.update(content)
    return digest.hexdigest()


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
