"""A site folder to a Site: plain open files in, one list of faults out."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping, Sequence
from itertools import takewhile
from pathlib import Path, PurePath

from geosand.columns import frozen
from geosand.errors import Faults, Finding, printable
from geosand.formats.csv_table import read_csv
from geosand.formats.geojson import read_edition, read_points
from geosand.formats.settings_file import read_settings_file
from geosand.site.assemble import RawSite, assemble
from geosand.site.cells import RECORDS, RawTable
from geosand.site.editions import RawEdition
from geosand.site.tables import Site

WORKBOOK = "records.xlsx"
SURFACES = "surfaces.geojson"
#: What a site is read from, beside its editions.
FILES = ("site.toml", SURFACES, "catches.geojson", WORKBOOK, *(f"{n}.csv" for n in RECORDS))
#: Files by the words with which people name them.
MEANT = {
    "dressing": "dressings.csv",
    "load": "loads.csv",
    "catch": "catches.csv",
    "catche": "catches.csv",
    "delivery": "deliveries.csv",
    "deliverie": "deliveries.csv",
    "record": WORKBOOK,
}
TABLES = (".csv", ".txt", ".tsv", ".xls", ".xlsx", ".xlsm", ".xlsb", ".ods", ".json", ".geojson")
OUTLINES = (".geojson", ".json", ".shp", ".gpkg", ".kml", ".kmz", ".gml", ".fgb", ".dxf")
MAXIMUM_MB = 100


@frozen
class ParsedSite:
    """What a site's files say, and what was wrong or worth knowing of the files themselves."""

    raw: RawSite
    faults: Faults
    findings: list[Finding]

    def checked(self) -> Site:
        """The Site. Raises Refused with every fault of every file."""
        return assemble(self.raw, self.faults, self.findings)


def read_site(folder: str | Path) -> Site:
    """Read and check a site folder.

    Raises Refused with every fault of every file: where, what was found, what is allowed, what to
    do. Nothing is written. Unknown files in the folder are left alone.
    """
    return parse_site(folder).checked()


def parse_site(folder: str | Path, held: Mapping[str, bytes] | None = None) -> ParsedSite:
    """Read a site folder without judging what stands in its tables.

    ``held`` are files that were read already. Raises Refused where there is no folder.
    """
    root = Path(folder)
    files = _Files(root, held)
    findings: list[Finding] = []
    _check_folder(files, str(folder))
    content = files.bytes_of("site.toml", required="it names the site and its sands")
    settings = None if content is None else read_settings_file(content, files.faults)
    editions = _editions(files, findings)
    records = _records(files, findings)
    _tell_nearly_named(files, findings)
    raw = RawSite(
        settings=settings,
        editions=editions,
        dressings=records["dressings"],
        loads=records["loads"],
        catches=_catches(files, records, findings),
        deliveries=records.get("deliveries"),
        inputs=Digests(files.read),
    )
    return ParsedSite(raw=raw, faults=files.faults, findings=findings)


def _check_folder(files: _Files, shown: str) -> None:
    """Raise Refused where nothing of a site is there."""
    root = files.root
    if not os.path.isdir(root):
        found = "is a file" if os.path.isfile(root) else "there is no such folder"
        files.faults.add(shown, found, remedy="name a site folder")
    elif not files.has("site.toml") and not files.has(SURFACES):
        remedy = "set a site up with geosand new, or name the folder of one"
        if beneath := sorted(path.parent.name for path in root.glob("*/site.toml")):
            remedy = f"name one site, as in {os.path.join(shown, beneath[0])}"
        found = "is no site folder: neither site.toml nor surfaces.geojson is in it"
        if not os.access(root, os.X_OK):  # in which nothing is seen to be there
            found, remedy = "can not be looked into: Permission denied", "look at its rights"
        files.faults.add(shown, found, remedy=remedy)
    files.faults.refuse()


class Digests(Mapping[str, str]):
    """SHA-256 of what was read, by file: worked out where it is told.

    Of a short run that tells none, loading a library for it would be a fiftieth.
    """

    def __init__(self, read: Mapping[str, bytes]) -> None:
        self._read = read
        self._known: dict[str, str] = {}

    def __getitem__(self, name: str) -> str:
        if name not in self._known:
            from hashlib import sha256

            self._known[name] = sha256(self._read[name]).hexdigest()
        return self._known[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._read)

    def __len__(self) -> int:
        return len(self._read)


def inputs_of(folder: str | Path) -> Mapping[str, str]:
    """SHA-256 of every file of a site that is read, without judging what stands in it."""
    files = _Files(Path(folder))
    names = ["site.toml", *_edition_names(files), *(f"{n}.csv" for n in RECORDS), WORKBOOK]
    for name in (*names, "catches.geojson"):
        files.bytes_of(name)
    return Digests(files.read)


class _Files:
    """Reads bytes once, remembers them, and notes what can not be read."""

    def __init__(self, root: Path, held: Mapping[str, bytes] | None = None) -> None:
        self.root, self.faults, self.held = root, Faults(), held or {}
        self.read: dict[str, bytes] = {}

    def has(self, name: str) -> bool:
        """True where something of this name is there, readable or not: also a link to nowhere."""
        return name in self.held or os.path.lexists(self.root / name)

    def bytes_of(self, name: str, *, required: str = "") -> bytes | None:
        """The file's bytes; None, with a fault if it can not be read or is missing though needed.

        ``required`` says what the file is for; "" = it may be missing.
        """
        path, content = self.root / name, self.held.get(name)
        if content is not None and len(content) <= MAXIMUM_MB * 1_000_000:
            self.read[name] = content
            return content
        if not self.has(name):
            if required:
                self.faults.add(name, "the file is missing", remedy=required)
            return None
        try:
            if not os.path.isfile(path):
                found = "is a link that leads to no file" if path.is_symlink() else "is no file"
                self.faults.add(name, found, remedy="put a file of this name there")
                return None
            if path.stat().st_size > MAXIMUM_MB * 1_000_000:
                remedy = "split the site, or simplify its outlines"
                self.faults.add(name, f"is larger than {MAXIMUM_MB} MB", remedy=remedy)
                return None
            content = path.read_bytes()
        except OSError as problem:
            self.faults.add(
                name, f"can not be read: {problem.strerror}", remedy="look at its rights"
            )
            return None
        self.read[name] = content
        return content


def _editions(files: _Files, findings: list[Finding]) -> list[RawEdition]:
    """Boundary files that could be read; ``surfaces.geojson`` last."""
    # read first: a geosand bring that ends just now adds an edition, then replaces this file, and
    # an edition too many is seen while one too few is not
    in_force = files.bytes_of(SURFACES, required="it holds the surfaces' polygons")
    earlier = {name: files.bytes_of(name) for name in _edition_names(files)[:-1]}
    if in_force is not None:
        files.read[SURFACES] = files.read.pop(SURFACES)
    contents = {**earlier, SURFACES: in_force}
    editions = [
        read_edition(content, name, files.faults, findings)
        for name, content in contents.items()
        if content is not None
    ]
    return [edition for edition in editions if edition is not None]


def _edition_names(files: _Files) -> list[str]:
    """Boundary files, the earlier editions first."""
    place = files.root / "editions"
    if os.path.lexists(place) and not os.path.isdir(place):
        remedy = "put the earlier surveys into a folder of this name, or take it away"
        files.faults.add("editions", "is no folder that can be read", remedy=remedy)
        return [SURFACES]
    try:
        names = sorted(os.listdir(place)) if os.path.isdir(place) else []
    except OSError as problem:
        found = f"can not be looked into: {problem.strerror}"
        files.faults.add("editions", found, remedy="look at its rights")
        names = []
    earlier = [name for name in names if PurePath(name).match("*.geojson")]
    return [*(f"editions/{n}" for n in earlier), SURFACES]


def _records(files: _Files, findings: list[Finding]) -> dict[str, RawTable]:
    """The tables of records; dressings and loads are always there, though perhaps empty."""
    tables: dict[str, RawTable] = {}
    if files.has(WORKBOOK):
        if plain := [f"{n}.csv" for n in RECORDS if files.has(f"{n}.csv")]:
            found = f"stands beside {', '.join(plain)}"
            remedy = "keep the workbook or the CSV files, not both"
            files.faults.add(WORKBOOK, found, remedy=remedy)
        content = files.bytes_of(WORKBOOK)
        if content is not None:
            from geosand.formats.workbook import read_records

            before = len(files.faults.found)
            tables = read_records(content, WORKBOOK, RECORDS, files.faults, findings)
            content = content if tables or len(files.faults.found) == before else None
        lost = content is None
        return {n: RawTable(file=WORKBOOK, unreadable=lost) for n in RECORDS[:2]} | tables
    for name in RECORDS:
        if files.has(f"{name}.csv"):
            content = files.bytes_of(f"{name}.csv")
            tables[name] = (
                RawTable(file=f"{name}.csv", unreadable=True)
                if content is None
                else read_csv(content, f"{name}.csv", files.faults, findings)
            )
    return {n: RawTable(file=f"{n}.csv") for n in RECORDS[:2]} | tables


def _tell_nearly_named(files: _Files, findings: list[Finding]) -> None:
    """Findings for files that are not read, though their owner may believe so by their names."""
    try:
        names = sorted(os.listdir(files.root))
        editions = sorted(os.listdir(files.root / "editions")) if "editions" in names else []
    except OSError:
        return
    for name in names:
        meant, other = meant_by(name, TABLES)
        if name in FILES or not meant:
            continue
        there = meant in files.read or (WORKBOOK in files.read and meant in FILES[4:])
        there |= meant == "catches.csv" and "catches.geojson" in files.read
        if not there or not other:
            text = f"is not read; what belongs there is read from {meant}"
            findings.append(Finding(about=printable(name), text=text, topic="file"))
    odd = [f"editions/{name}" for name in editions if _ending(name) in OUTLINES]
    odd += [
        name for name in names if name != "editions" and name.lower() in ("edition", "editions")
    ]
    for name in odd:
        text = "is not read; earlier surveys are read from editions/….geojson"
        findings.append(Finding(about=printable(name), text=text, topic="file"))


def meant_by(name: str, endings: Sequence[str]) -> tuple[str, bool]:
    """Which of the files a name seems to mean, "" = none; True if it says that it is another one.

    >>> meant_by("Load (2).CSV", TABLES), meant_by("loads_old.csv", TABLES)
    (('loads.csv', False), ('loads.csv', True))
    """
    stem, ending = os.path.splitext(name.lower())
    word = "".join(takewhile(str.isalpha, stem))
    rest = stem.removeprefix(word).removesuffix(".csv").strip(" _-()")
    meant = MEANT.get(word.rstrip("s"), "") if ending in endings else ""
    return meant, bool(rest) and not rest.isdigit()


def _ending(name: str) -> str:
    """The ending of a file that is no edition; "" of one that is."""
    return "" if name.endswith(".geojson") else os.path.splitext(name.lower())[1]


def _catches(files: _Files, records: dict[str, RawTable], findings: list[Finding]) -> RawTable:
    """Catches as points, else those of the records; a fault where there are both."""
    content = files.bytes_of("catches.geojson")
    if content is None:
        return records.get("catches", RawTable(file="catches.csv"))
    if "catches" in records:
        found = f"stands beside {records['catches'].file}"
        remedy = "keep one of the two, so that no catch counts twice"
        files.faults.add("catches.geojson", found, remedy=remedy)
    return read_points(content, "catches.geojson", files.faults, findings)
