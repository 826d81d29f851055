"""A portfolio in a few files: tables with a column ``site`` beside the site folder's own columns.

``surfaces`` and, where catches have geometry, ``catches`` are GeoParquet (well-known binary, or the
native encodings polygon, multipolygon and point of its version 1.1) or GeoPackage, in WGS 84;
``dressings``, ``loads``, ``deliveries`` and ``sites`` are Parquet or layers. ``sites`` has what
site.toml says, one row a site, a table's name before its key: ``sands.dried.bulk_density_g_cm3``,
``catches.u_tray_percent``, ``targets_mm.green``; an empty cell is a key left out. A column
``valid_from`` of ``surfaces`` tells boundary editions apart. Either a folder holds
``surfaces.parquet`` (or ``.gpkg``) and so on, or one GeoPackage has layers of these names.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from hashlib import sha256
from pathlib import Path

import numpy as np

from geosand.errors import Fault, Faults, Finding, Refused, printable, refused
from geosand.formats.site_folder import TABLES, meant_by
from geosand.portfolio.fingerprints import fingerprints
from geosand.portfolio.parquet_tables import parquet_table
from geosand.portfolio.read_alone import raw_site
from geosand.portfolio.read_at_once import read_at_once
from geosand.portfolio.rows_by_site import SiteRows
from geosand.portfolio.set_tables import (
    FileTable,
    Stamp,
    geopackage_layers,
    layers_of,
    look_alikes,
    stamp,
    told_of,
)
from geosand.portfolio.site_read import SiteRead, or_failed
from geosand.site.assemble import assemble
from geosand.site.cells import RECORDS, has_foreign_bytes, quoted
from geosand.site.settings_document import FILE as SETTINGS

NEEDED = ("sites", "surfaces")
NAMES = (*NEEDED, *RECORDS)
ENDINGS = (*TABLES, ".parquet", ".pq", ".geoparquet", ".gpkg")  #: of files taken for tables
NAMED = 3  #: of such files in a sentence


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteSet:
    """Tables by name and the keys of all sites that any of them has."""

    tables: Mapping[str, FileTable]
    found: Mapping[str, int]  #: about how many bytes each, in the order of ``surfaces``
    alike: Mapping[str, str] = field(default_factory=dict)  #: by name, another one that looks so
    listed: Mapping[Path, Stamp] = field(default_factory=dict)  #: its files as they were then
    unread: Sequence[str] = ()  #: sentences on files that are not read, though they may seem so

    def keys(self) -> list[str]:
        return sorted(self.found)

    def as_they_stand(self) -> Mapping[str, int]:
        """So that chunks follow each other in the files, whatever order names come in."""
        return self.found

    def changed(self) -> list[str]:
        return [path.name for path, then in self.listed.items() if _stamp_now(path) != then]

    def not_read(self) -> Sequence[str]:
        return self.unread

    def read(self, keys: Sequence[str], known: dict[str, str]) -> Iterator[SiteRead]:
        """The sites of a chunk, from the row groups that hold them.

        All are read at once. Only a site in which anything is wrong is read by itself, which says
        what.
        """
        try:
            parts = {name: _rows_of(table, keys) for name, table in self.tables.items()}
        except Refused as refusal:
            told = str(refusal).splitlines()
            yield from (SiteRead(key=k, fingerprint="", site=None, refused=told) for k in keys)
            return
        told_now = fingerprints(parts, len(keys))
        marks = [known.get(key, "") for key in keys]
        fresh = [
            k
            for k, (key, now) in enumerate(zip(keys, told_now, strict=True))
            if marks[k] != now and (not marks[k] or marks[k] != self._refused(key, now, k, parts))
        ]
        kept = set(range(len(keys))).difference(fresh)
        files, unforeseen = {n: t.file for n, t in self.tables.items()}, list[str]()
        sites = read_at_once(keys, fresh, parts, files, unforeseen)
        for number, (key, fingerprint) in enumerate(zip(keys, told_now, strict=True)):
            if number in kept:
                yield SiteRead(key=key, fingerprint=fingerprint, site=None)
            elif number in sites:
                yield SiteRead(key=key, fingerprint=fingerprint, site=sites.pop(number))
            else:
                alone = or_failed(key, partial(self._alone, key, number, parts, fingerprint))
                yield replace(alone, unforeseen=next(iter(unforeseen), ""))

    def _alone(
        self, key: str, number: int, parts: Mapping[str, SiteRows], fingerprint: str
    ) -> SiteRead:
        """One site by itself, or why it is refused."""
        mine = {name: rows.of(number) for name, rows in parts.items()}
        mine = {name: rows for name, rows in mine.items() if len(rows)}
        faults, findings = Faults(), list[Finding]()
        try:
            if (other := self.alike.get(key)) and not mine.keys() >= {*NEEDED}:
                both = f"{quoted(key)} and {quoted(other)} differ only in capitals, spaces or the"
                remedy = "write both alike, or tell them apart by more than that"
                place = self.tables[next(iter(mine))].file
                faults.add(place, f"{both} form of letters", column="site", remedy=remedy)
            site = assemble(raw_site(key, mine, self.tables, faults), faults, findings)
        except Refused as refusal:
            file, rows = self.tables["sites"].file, parts["sites"].of(number)["row"].to_pylist()
            here = Refused(_in_the_table(fault, file, rows) for fault in refusal.faults)
            told, mark = str(here).splitlines(), self._refused(key, fingerprint, number, parts)
            return SiteRead(key=key, fingerprint=mark, site=None, refused=told)
        return SiteRead(key=key, fingerprint=fingerprint, site=site)

    def _refused(
        self, key: str, fingerprint: str, number: int, parts: Mapping[str, SiteRows]
    ) -> str:
        """The fingerprint of a refused site: why it is names what others can change.

        Rows, which others before it can move, and another site that looks like it.
        """
        digest = sha256(fingerprint.encode())
        for rows in parts.values():
            digest.update(np.asarray(rows.of(number)["row"]).tobytes())
        digest.update(self.alike.get(key, "").encode())
        return digest.hexdigest()


def _in_the_table(fault: Fault, file: str, rows: Sequence[int]) -> Fault:
    """A fault of what would be a site.toml where the set has it: in a column of ``sites``."""
    if fault.file != SETTINGS:
        return fault
    place = str(fault.row or "")
    path = [place.strip("[]")] if place.startswith("[") else []
    column = ".".join([*path, *filter(None, [fault.column])])
    return fault._replace(file=file, row=next(iter(rows), None), column=column)


def _stamp_now(path: Path) -> Stamp | None:
    try:
        return stamp(path)
    except OSError:
        return None


def _rows_of(table: FileTable, keys: Sequence[str]) -> SiteRows:
    with told_of(table.file):
        return table.rows_of(keys)


def find_set(root: Path) -> SiteSet | None:
    """The set in ``root``; None where there is none. Raises Refused for one that is not whole."""
    tables = _tables_in(root)
    if tables is None:
        return None
    faults = [
        Fault(file=root.name, found=f"there is no table {name}", remedy=f"add {name}.parquet")
        for name in NEEDED
        if name not in tables
    ]
    listed = {path: stamp(path) for path in dict.fromkeys(t.path for t in tables.values())}
    keys: dict[str, int] = {}
    for table in sorted(tables.values(), key=lambda table: table is not tables.get("surfaces")):
        with told_of(table.file):
            found, without = table.sites()
        for key, size in found.items():
            keys[key] = keys.get(key, 0) + size
        if without:
            said = f"{'1 row names' if without == 1 else f'{without} rows name'} no site"
            remedy = "write in each row which site it is of"
            faults.append(Fault(file=table.file, column="site", found=said, remedy=remedy))
        if ended := [key for key in found if "\0" in key]:
            said = f"{quoted(min(ended))} holds the sign NUL, at which many programs end a text"
            remedy = "write the site's name without it"
            faults.append(Fault(file=table.file, column="site", found=said, remedy=remedy))
        if foreign := [key for key in found if not key.isprintable() and has_foreign_bytes(key)]:
            said = f"{quoted(min(foreign))} holds bytes that are no UTF-8"
            remedy = "write the site's name in UTF-8"
            faults.append(Fault(file=table.file, column="site", found=said, remedy=remedy))
    if faults:
        raise Refused(faults)
    unread = list(_nearly_named(root, tables))
    alike = look_alikes(keys)
    return SiteSet(tables=tables, found=keys, alike=alike, listed=listed, unread=unread)


def _nearly_named(root: Path, tables: Mapping[str, FileTable]) -> Iterator[str]:
    """A sentence a table on what is not read, though by its name it may be of it."""
    meant: dict[str, list[str]] = {name: [] for name in RECORDS}
    for told, file in _not_read(root, tables):
        name, other = meant_by(file, ENDINGS)
        name = name.removesuffix(".csv")
        if name in meant and not (other and name in tables):
            meant[name].append(printable(told))
    for name, files in meant.items():
        if files:
            more = f" and {len(files) - NAMED} more" if len(files) > NAMED else ""
            listed = ", ".join(files[:NAMED]) + more + (" is" if len(files) == 1 else " are")
            instead = f"{name}.parquet" if root.is_dir() else f"the layer {name}"
            instead = tables[name].path.name if name in tables else instead
            yield f"{listed} not read; what belongs there is read from {instead}"


def _not_read(root: Path, tables: Mapping[str, FileTable]) -> Iterator[tuple[str, str]]:
    """Files of the folder, and layers of its GeoPackages, beside the tables: how each is told, and
    its name as of a file."""
    files = {table.path for table in tables.values()}
    if root.is_dir():
        yield from ((n, n) for n in sorted(set(os.listdir(root)) - {file.name for file in files}))
    read = {table.file for table in tables.values()}
    for path in sorted(file for file in files if file.suffix.lower() == ".gpkg"):
        for layer in layers_of(path):
            if f"{path.name}, layer {layer}" not in read:
                yield f"the layer {layer}", f"{layer.strip()}.gpkg"


def _needs_files(root: Path, name: str) -> None:
    """Refuse a table that is a folder of parts, a link to nowhere or the like: it would be lost."""
    for path in (root / f"{name}.parquet", root / f"{name}.gpkg"):
        if os.path.lexists(path) and not path.is_file():
            found = "is a folder" if path.is_dir() else "is no file that can be read"
            raise refused(path.name, found, remedy="write the table as one file of this name")


def _tables_in(root: Path) -> dict[str, FileTable] | None:
    """The tables of a folder, a Parquet file before a GeoPackage, or those of one GeoPackage."""
    if root.is_file() and root.suffix.lower() == ".gpkg":
        with told_of(root.name):
            return geopackage_layers(root, NAMES)
    if not any(os.path.lexists(root / f"surfaces{end}") for end in (".parquet", ".gpkg")):
        return None
    tables: dict[str, FileTable] = {}
    for name in NAMES:
        _needs_files(root, name)
        if (path := root / f"{name}.parquet").is_file():
            with told_of(path.name):
                tables[name] = parquet_table(path)
        elif (path := root / f"{name}.gpkg").is_file():
            with told_of(path.name):
                tables |= geopackage_layers(path, (name,))
    return tables
