"""Files and archives from others: sized, sorted by content, never trusted."""

from __future__ import annotations

import lzma
import re
import stat
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from geosand.errors import NO_ROOM, refused
from geosand.formats.boundaries.drawn import MAXIMUM_BYTES, plain_name
from geosand.formats.boundaries.files.sheets import sheets_of
from geosand.formats.boundaries.files.wkt_tables import holds_shapes

MAXIMUM_UNPACKED = 500_000_000
MAXIMUM_MEMBERS = 2_000
READS = (
    "GeoJSON, JSON-FG, TopoJSON, JSON of a feature service, OSM (.osm, JSON of a query),"
    " GeoPackage, Shapefile and GDB (also zipped), KML, KMZ, FlatGeobuf, GeoParquet, GML, LandXML,"
    " DXF, GPX, TAB, MIF, CSV with WKT, survey text (both also as .xlsx)"
)
#: Endings of files that are read, and the format of each.
FORMATS = {
    **{".geojson": "geojson", ".json": "geojson", ".gpkg": "gpkg", ".shp": "shapefile"},
    **{".kml": "kml", ".fgb": "flatgeobuf", ".gml": "gml", ".xml": "gml", ".dxf": "dxf"},
    **{".gpx": "gpx", ".osm": "osm", ".tab": "mapinfo", ".mif": "mapinfo"},
    **dict.fromkeys((".txt", ".csv", ".tsv", ".asc", ".pts", ".pnt", ".wkt"), "survey"),
    **dict.fromkeys((".parquet", ".geoparquet"), "parquet"),
    **dict.fromkeys((".geojsonl", ".geojsons", ".topojson"), "geojson"),
}
_BINARY = ("gpkg", "flatgeobuf", "shapefile", "mapinfo", "parquet")  #: formats told by their start
#: The name of the outermost element, behind comments and what is said of the file.
_ROOT = re.compile(
    rb"(?>(?:\s|<!--.*?-->|<\?[^>]*>|<!doctype[^>\[]*(?:\[.*?\]\s*)?>)*)<(?:[\w.-]+:)?([\w.-]+)",
    re.DOTALL,
)
_ENCODING = re.compile(rb"""\A(\s*<\?xml\s[^>]{0,200}encoding\s*=\s*["'])([^"']+)""")
#: Encodings of XML that are read: what programs write anywhere, and none made to hide something.
_ENCODINGS = re.compile(
    r"utf-?8(-sig)?|(us-)?ascii|utf-16(le|be| in name only)?|iso-8859-\d+|(windows-|cp)125\d"
    r"|koi8-[ru]|gb(2312|k|18030)|big5|shift[_-]jis|euc-(jp|kr|cn)"
)
#: Files that belong to one beside them: a Shapefile's, those of TAB and MIF, and what of a
#: GeoPackage that is open in another program is not yet in it.
COMPANIONS = (
    *(".shx", ".dbf", ".prj", ".cpg", ".xsd", ".sbn", ".sbx", ".qix", ".qmd", ".gfs"),
    *(".dat", ".map", ".id", ".ind", ".mid", ".gpkg-wal", ".gpkg-shm", ".gpkg-journal"),
    *(".shp.xml", ".qpj"),
)
SHAPEFILE_PARTS = (".shx", ".dbf", ".prj", ".cpg")


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """One file to be read, copied to a place of our own."""

    path: Path
    shown: str  #: name for messages, with the archive it lay in
    format: str


def unpack(path: Path, folder: Path) -> tuple[list[Source], list[str]]:
    """Copies of the files of ``path`` in ``folder``, and what of an archive was not read.

    Drivers may write beside what they read, so nothing is opened where it lies. Raises Refused for
    what is missing, too large, of no known format, or an archive that reaches outside itself.
    """
    name = path.name
    database = path.is_dir() and path.suffix.lower() == ".gdb"
    if path.is_dir() and not database:
        raise refused(name, "is a folder", allowed=READS, remedy="name the file in it")
    if not (database or path.is_file()):
        raise refused(name, "there is no such file", remedy="check its path")
    if path.suffix.lower() in SHAPEFILE_PARTS:
        raise refused(
            name, "is a part of a Shapefile", remedy=f"name {path.stem}.shp, with which it is read"
        )
    if path.stat().st_size > MAXIMUM_BYTES:
        found = f"is larger than {MAXIMUM_BYTES // 1_000_000} MB"
        raise refused(name, found, remedy="export only the surfaces of this site")
    try:
        if database:
            return [_database(path, folder)], []
        if path.suffix.lower() == ".xlsx":
            sheets, others = sheets_of(path, folder)
            return [_sorted(copy, shown) for copy, shown in sheets], others
        if zipfile.is_zipfile(path) and path.suffix.lower() not in FORMATS:
            return _archive(path, folder)
        copy = folder / f"{_safe(path.stem)}{path.suffix.lower()}"
        copy.write_bytes(path.read_bytes())
        for beside in _companions(path):
            copy.with_suffix(_ending(beside.name)).write_bytes(beside.read_bytes())
    except OSError as problem:
        if problem.errno in NO_ROOM:  # for the copy
            raise
        found = f"can not be read: {problem.strerror or 'it is damaged'}"  # bz2 says nothing
        raise refused(name, found) from problem
    return [_sorted(copy, name)], []


def _database(path: Path, folder: Path) -> Source:
    """A copy of a file geodatabase, which is a folder of tables."""
    files = [file for file in path.iterdir() if file.is_file()]
    if sum(file.stat().st_size for file in files) > MAXIMUM_BYTES:
        found = f"is larger than {MAXIMUM_BYTES // 1_000_000} MB"
        raise refused(path.name, found, remedy="export only the surfaces of this site")
    copy = folder / f"{_safe(path.stem)}.gdb"
    copy.mkdir()
    for file in files:
        (copy / file.name).write_bytes(file.read_bytes())
    return Source(path=copy, shown=path.name, format="gdb")


def _safe(stem: str) -> str:
    """A stem that any driver and system takes; it shows in messages as the layer's name."""
    plain = re.sub(r"[^\w.-]", "_", stem)[-80:].encode()[-240:].decode(errors="ignore")
    return plain.lstrip(".") or "file"


def _ending(name: str) -> str:
    """Ending of a file in small letters; that of a Shapefile's metadata has two parts."""
    lower = name.lower()
    return ".shp.xml" if lower.endswith(".shp.xml") else Path(lower).suffix


def _companions(path: Path) -> Iterator[Path]:
    """Files of the same stem that belong to it, in whatever case their ending is."""
    for beside in path.parent.iterdir():
        ending = _ending(beside.name)
        belongs = beside.name[: -len(ending) or None] == path.stem and ending in COMPANIONS
        if belongs and beside.is_file() and beside.stat().st_size <= MAXIMUM_BYTES:
            yield beside


def _archive(path: Path, folder: Path) -> tuple[list[Source], list[str]]:
    """Copies of its boundary files, and what of it is not read."""
    try:
        with zipfile.ZipFile(path) as archive:
            copies, databases = _copied(archive, folder, path.name)
    except (NotImplementedError, RuntimeError) as problem:  # of the library, at what it can not do
        text = "can not be unpacked: it has a password, or is packed in an unusual way"
        raise refused(path.name, text, remedy="pack it again without a password") from problem
    except (zipfile.BadZipFile, zlib.error, lzma.LZMAError, EOFError, ValueError) as problem:
        raise refused(path.name, "is damaged", remedy="send or pack it again") from problem
    found = [
        Source(path=place, shown=f"{path.name}/{parent}", format="gdb")
        for place, parent in databases.items()
    ]
    chosen, rest = _chosen(copies, bool(found))
    if not chosen and not found:
        inside = ", ".join(n for _, n in copies[:5]) or "nothing"
        packed = [n for _, n in copies if n.lower().endswith((".kmz", ".zip"))]
        remedy = f"unpack it and bring {packed[0]}" if packed else "pack the boundary file"
        raise refused(path.name, f"holds {inside}", allowed=READS, remedy=remedy)
    return [*found, *(_sorted(c, f"{path.name}/{n}") for c, n in chosen)], rest


def _copied(
    archive: zipfile.ZipFile, folder: Path, name: str
) -> tuple[list[tuple[Path, str]], dict[Path, str]]:
    """Its files with their names in it, and folders of files of which only all together are read.

    Files of one folder and stem, in any case, stay together and apart from others.
    """
    room = MAXIMUM_UNPACKED
    copies: list[tuple[Path, str]] = []
    databases: dict[Path, str] = {}
    places: dict[tuple[str, str], Path] = {}
    for member in _members(archive, name):
        parent, _, inner = member.filename.replace("\\", "/").rpartition("/")
        ending = _ending(_safe(inner))
        stem = inner[: -len(ending) or None]
        database = ".gdb" if parent.lower().endswith(".gdb") else ""
        key = (parent, "" if database else stem.lower())
        place = places.setdefault(key, folder / f"m{len(places)}{database}")
        place.mkdir(exist_ok=True)
        copy = place / f"{_safe(stem)}{ending}"
        if copy.exists():
            twice = f"holds two files of one name: {member.filename[:60]!r}"
            raise refused(name, twice, remedy="pack it again with one of them")
        room -= _copy(archive, member, copy, room, name)
        if database:
            databases[place] = parent
        else:
            copies.append((copy, member.filename))
    for copy, _ in copies:
        if copy.suffix == ".shp":
            _in_one_case(copy)
    return copies, databases


def _in_one_case(shapefile: Path) -> None:
    """Parts of a Shapefile whose stem differs from its own in capitals only, called as it is."""
    parts = [(part, shapefile.with_suffix(part.suffix)) for part in shapefile.parent.iterdir()]
    for part, wanted in parts:
        of_another = part.with_suffix(".shp").exists()
        if part.suffix in SHAPEFILE_PARTS and not wanted.exists() and not of_another:
            part.rename(wanted)


def _chosen(
    copies: list[tuple[Path, str]], beside_database: bool
) -> tuple[list[tuple[Path, str]], list[str]]:
    """Of the files of an archive those that draw something, and the names of the others."""
    alone = [(c, n) for c, n in copies if _ending(c.name) not in COMPANIONS]
    chosen = [(c, n) for c, n in alone if c.suffix in FORMATS]
    rest = [n for c, n in alone if c.suffix not in FORMATS]
    whole = {c.parent for c, _ in alone}  # a part by itself was of a file that is not there
    parts = (*SHAPEFILE_PARTS, ".mid")
    rest += [n for c, n in copies if c.parent not in whole and c.suffix in parts]
    # a text beside real drawings is a note, not a survey
    drawings = [(c, n) for c, n in chosen if FORMATS[c.suffix] != "survey"]
    if beside_database or drawings:
        rest += [n for c, n in chosen if FORMATS[c.suffix] == "survey" or c.suffix == ".xml"]
        plain = [(c, n) for c, n in drawings if c.suffix != ".xml"]
        chosen = plain or ([] if beside_database else chosen)
    return chosen, rest


def _members(archive: zipfile.ZipFile, name: str) -> Iterator[zipfile.ZipInfo]:
    entries = archive.infolist()
    if len(entries) > MAXIMUM_MEMBERS:
        raise refused(name, f"holds {len(entries):,} files", allowed=f"{MAXIMUM_MEMBERS:,}")
    for entry in entries:
        inner = entry.filename.replace("\\", "/")
        if inner.startswith("/") or ".." in inner.split("/") or re.match(r"[A-Za-z]:", inner):
            raise refused(
                name,
                f"holds a file that would be written outside it: {inner[:60]!r}",
                remedy="do not open it; ask for it to be packed again",
            )
        if stat.S_ISLNK(entry.external_attr >> 16):
            raise refused(name, f"holds a link: {inner[:60]!r}", remedy="pack the file itself")
        if entry.is_dir() or inner.startswith("__MACOSX/"):
            continue
        if plain_name(inner).startswith(("._", ".DS_Store")):  # what macOS writes beside files
            continue
        yield entry


def _copy(
    archive: zipfile.ZipFile, member: zipfile.ZipInfo, copy: Path, room: int, name: str
) -> int:
    """Bytes written; what is counted is what comes out, not what the archive says of itself."""
    written = 0
    with archive.open(member) as packed, copy.open("wb") as out:
        while block := packed.read(1 << 20):
            written += len(block)
            if written > room:
                found = f"unpacks to more than {MAXIMUM_UNPACKED // 1_000_000} MB"
                raise refused(name, found, remedy="pack only the surfaces of this site")
            out.write(block)
    return written


def _sorted(path: Path, shown: str) -> Source:
    """The format by content where it can be told, else by the ending."""
    with path.open("rb") as file:
        head = file.read(65_536)
    if not head.strip():
        raise refused(shown, "is empty", remedy="export it again")
    return Source(path=path, shown=shown, format=_format(head, path.suffix.lower(), shown))


def _format(head: bytes, ending: str, shown: str) -> str:
    if head.startswith(b"SQLite format 3\0"):
        if head[68:72] not in (b"GPKG", b"GP10", b"GP11"):  # the file's own application id
            found = "is a database, but no GeoPackage"
            raise refused(shown, found, allowed=READS, remedy="export it as GeoPackage")
        return "gpkg"
    if head.startswith(b"PAR1"):
        return "parquet"
    if head.startswith(b"fgb"):
        return "flatgeobuf"
    if head.startswith(b"\x00\x00\x27\x0a"):
        return "shapefile"
    if head.startswith(b"AC10") and ending != ".dxf":
        raise refused(shown, "is a DWG drawing", allowed=READS, remedy="save it as DXF")
    if head.startswith(b"AutoCAD Binary DXF"):
        return "dxf"
    if head.startswith(b"PK\3\4"):
        found = "is an archive or a workbook that is not whole, or is not called so"
        raise refused(shown, found, remedy="send it again; if it is whole, call it .zip or .xlsx")
    text = head.replace(b"\0", b"").lstrip(b"\xef\xbb\xbf\xff\xfe \t\r\n")
    lower = text[:1000].lower()
    if lower.startswith((b"<!doctype html", b"<html")):
        raise refused(shown, "is a web page", allowed=READS, remedy="download the file itself")
    if text.startswith(b"<"):
        root = _ROOT.match(text.lower())
        name = root[1].decode() if root else ""
        if name in ("folder", "placemark", "document") and ending == ".kml":
            return "kml"  # without the <kml> around it
        if name in ("kml", "gpx", "osm", "landxml"):
            return name
        if b"opengis.net/gml" not in text:
            raise refused(shown, "is XML, but no GML", allowed=READS, remedy="export it as GML")
        return "gml"
    if text.startswith((b"{", b"\x1e")):
        return "geojson"
    if re.match(rb"(999[^\n]*\n[^\n]*\n\s*)*0\s+SECTION", text):
        return "dxf"
    if FORMATS.get(ending) == "mapinfo" and (lower + b" ").startswith((b"!table", b"version ")):
        whole = text.lower()
        if lower.startswith(b"!") and (b"type native" not in whole or b"isseamless" in whole):
            found, remedy = "draws on tables in other files", "save it as one table of its own"
            raise refused(shown, found, allowed=READS, remedy=remedy)
        return "mapinfo"
    if FORMATS.get(ending) == "survey" and holds_shapes(text):
        return "wkt"
    if ending not in FORMATS or FORMATS[ending] in _BINARY:
        found = "is of no known format" if ending not in FORMATS else f"is no {ending[1:]} file"
        raise refused(shown, found, allowed=READS, remedy="export it in one of these")
    return FORMATS[ending]


def check_xml(path: Path, shown: str) -> None:
    """Refuse XML that declares entities or a document type: boundaries need neither.

    A copy of our own in another encoding is written anew in UTF-8, which every driver knows, so
    that nothing can hide in it. Looks at the whole file, since a driver will too.
    """
    content = path.read_bytes()
    plain = content.replace(b"\0", b"")
    declared = _ENCODING.search(plain[:400])
    word = declared[2].decode("latin-1").lower() if declared else "utf-8"
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        word = "utf-16"
    elif content.startswith(b"\xef\xbb\xbf"):  # whatever the head says
        word = "utf-8-sig"
    elif word == "utf-16" and content.startswith(b"\0"):
        word = "utf-16be"
    elif plain == content and word.startswith("utf-16"):  # as programs declare that save in UTF-8
        word = "utf-16 in name only"
    if not _ENCODINGS.fullmatch(word):
        raise refused(shown, f"is XML in {word[:30]!r}", allowed="utf-8")
    if word not in ("utf-8", "utf8", "us-ascii", "ascii"):
        try:
            text = content.decode("utf-8" if word.endswith("only") else word)
        except (UnicodeDecodeError, LookupError) as problem:
            found = f"says that it is XML in {word[:30]!r}, which it is not"
            raise refused(shown, found, remedy="export it again in UTF-8") from problem
        plain = _ENCODING.sub(rb"\1UTF-8", text.encode().replace(b"\0", b""), count=1)
        path.write_bytes(plain)
    if b"<!DOCTYPE" in plain or b"<!ENTITY" in plain:
        raise refused(
            shown,
            "declares a document type or entities (XML)",
            remedy="such files can read other files or fill the memory; export it again without",
        )
    if b"<OGR" in plain:  # descriptions by which a driver would open other files or addresses
        raise refused(shown, "points to other files", remedy="bring those files themselves")
