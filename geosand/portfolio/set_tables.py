"""Files of a set: which sites they hold, and the rows of a few sites without reading them all."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import Any, Protocol

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from geosand.columns import Ints
from geosand.errors import Refused, refused
from geosand.portfolio.arrow_columns import cells_in
from geosand.portfolio.rows_by_site import SiteRows, coded_sites, split_by_site
from geosand.site.cells import quoted
from geosand.tuples import NamedTuple

HELD = 6  #: of each kind of what is known of a file: one a table
ROWS_ASKED = 20_000  #: of one condition, which SQLite takes up to a length
DAYS = ("date", "valid_from", "season_start", "season_end")  #: other columns of times are not read
#: Where a cell is not of its column's type, by NumPy's letter of that.
_ODD = dict.fromkeys("iub", "typeof({0}) IN ('text', 'blob', 'real')") | {
    "f": "typeof({0}) IN ('text', 'blob')",
    "M": "({0} IS NOT NULL AND date(substr({0}, 1, 10)) IS NOT substr({0}, 1, 10))",
}
WGS84 = re.compile(r"(CRS84h?|EPSG:*(:[\d.]*)?:4326)$", re.IGNORECASE)

Stamp = tuple[int, int, int, int]


@contextmanager
def told_of(file: str) -> Iterator[None]:
    """Foreign bytes make their readers fail in ways no list holds: each is a refusal of the file.

    Their texts may name folders of this machine, so that only the kind of failure is told.
    """
    try:
        yield
    except (Refused, MemoryError):
        raise
    except Exception as problem:
        found = f"can not be read ({type(problem).__name__})"
        raise refused(file, found, remedy="write it again") from problem


class FileTable(Protocol):
    """One table with a column ``site``."""

    @property
    def path(self) -> Path:
        """Where it is; several may be in one file."""

    @property
    def file(self) -> str:
        """For messages."""

    def sites(self) -> tuple[Mapping[str, int], int]:
        """The sites that it has, about how many bytes each, and how many rows name none."""

    def rows_of(self, keys: Sequence[str]) -> SiteRows:
        """The rows of these sites, with the row in the file as the column ``row``."""


@dataclass(frozen=True, slots=True, kw_only=True)
class GeoPackageLayer:
    """A layer of a GeoPackage; only the rows of the wanted sites are read, by their numbers.

    Asking it for the sites by name would look at every row again for each chunk.
    """

    path: Path
    layer: str
    number: str  #: name of the column with the rows' numbers; "" = it has none, as a view
    beside: int  #: layers of the file
    #: columns with cells of another type than their own, and the condition in SQL that finds these
    odd: tuple[tuple[str, str], ...] = ()

    @property
    def file(self) -> str:
        return f"{self.path.name}, layer {self.layer}"

    def sites(self) -> tuple[Mapping[str, int], int]:
        column = self._read(columns=["site"], read_geometry=False)["site"]
        known, without = distinct_sites(column)
        width = self.path.stat().st_size // self.beside // max(1, len(column))
        return {key: count * width for key, count in known.items()}, without

    def rows_of(self, keys: Sequence[str]) -> SiteRows:
        asked = self._by_number(keys) if self.number else [_by_name(keys)]
        table = pa.concat_tables([self._asked(where) for where in asked])
        number = self.number or "OGC_FID"  # as the reader calls what it counts itself
        table = table.drop_columns([n for n in table.column_names if n == "row" != number])
        table = table.rename_columns(["row" if n == number else n for n in table.column_names])
        geometry = next(
            (n for n in ("wkb_geometry", "geom", "geometry") if n in table.column_names), ""
        )
        return split_by_site(table, keys, geometry)

    def _by_number(self, keys: Sequence[str]) -> list[str]:
        """Conditions that the rows of the sites fulfil, of some at a time."""
        number = _numbers(self, stamp(self.path)).of(keys)
        column = _name(self.number)
        listed = (number[k : k + ROWS_ASKED] for k in range(0, max(len(number), 1), ROWS_ASKED))
        return [f"{column} IN ({', '.join(map(str, some.tolist()))})" for some in listed]

    def _asked(self, where: str) -> Any:
        """Rows with their numbers; columns with odd cells as texts, these as they are written.

        SQLite keeps any cell, and readers take the text 101,5 for 101, n/a for 0, 31 April for
        1 May, and 101.5 in a column of whole numbers for 101.
        """
        table = self._read(where=where, return_fids=True)
        for name, test in self.odd:
            columns = f"CAST({_name(self.number)} AS INTEGER), hex(CAST({_name(name)} AS BLOB))"
            cells = self.ask(columns, f"{test} AND ({where})")
            written = {n: bytes.fromhex(c).decode("utf-8", "backslashreplace") for n, c in cells}
            table = _with_texts(table, name, table[self.number].to_pylist(), written)
        return table

    def _read(self, **options: Any) -> Any:
        import pyogrio

        return pyogrio.read_arrow(self.path, layer=self.layer, **options)[1]

    def ask(self, columns: str, where: str = "TRUE") -> list[tuple[Any, ...]]:
        """Rows of a question in SQL."""
        import pyogrio

        sql = f"SELECT {columns} FROM {_name(self.layer)} WHERE {where}"
        rows = pyogrio.read_arrow(self.path, sql=sql)[1]
        return list(zip(*(column.to_pylist() for column in rows.columns), strict=True))


def _by_name(keys: Sequence[str]) -> str:
    listed = ", ".join("'" + key.replace("'", "''") + "'" for key in keys)
    return f"CAST(site AS TEXT) IN ({listed})"


def stamp(path: Path) -> Stamp:
    """Another one for a file that was written anew, also where its time was put back."""
    told = path.stat()
    return told.st_ino, told.st_size, told.st_mtime_ns, told.st_ctime_ns


class _Numbers(NamedTuple):
    """Numbers of the rows of a layer, those of a site one after the other."""

    place: Mapping[str, int]  #: of each site, in ``bounds``
    bounds: Ints  #: (sites + 1,)
    number: Ints

    def of(self, keys: Sequence[str]) -> Ints:
        """Of the rows of these sites, in order."""
        there = [self.place[key] for key in keys if key in self.place]
        rows = [self.number[self.bounds[k] : self.bounds[k + 1]] for k in there]
        return np.sort(np.concatenate([np.zeros(0, np.int64), *rows]))


@lru_cache(maxsize=HELD)
def _numbers(layer: GeoPackageLayer, stamp: Stamp) -> _Numbers:
    """Read once, and held from chunk to chunk until the file is changed."""
    table = layer._read(columns=["site"], read_geometry=False, return_fids=True)
    known = list(distinct_sites(table["site"])[0])
    number = table.drop_columns(["site"]).append_column("site", table["site"].cast(pa.string()))
    rows = split_by_site(number, known, "")
    column = next(n for n in rows.table.column_names if n != "site")
    place = {key: k for k, key in enumerate(known)}
    return _Numbers(place=place, bounds=rows.bounds, number=rows.table[column].to_numpy())


def layers_of(path: Path) -> list[str]:
    """The names of a GeoPackage's layers."""
    import pyogrio

    return [str(name) for name, _ in pyogrio.list_layers(path)]


def geopackage_layers(path: Path, names: Sequence[str]) -> dict[str, FileTable]:
    """The layers of these names; a file of one layer may call it as it likes."""
    import pyogrio

    layers = layers_of(path)
    # as SQL takes names of tables: whether in capitals is one
    wanted = {layer.lower(): layer for layer in layers if layer.lower() in names}
    if not wanted and len(names) == len(layers) == 1:
        wanted = {names[0]: layers[0]}
    found = dict[str, FileTable]()
    for name, layer in wanted.items():
        told = pyogrio.read_info(path, layer=layer)
        number = str(told["fid_column"] or "")
        table = GeoPackageLayer(path=path, layer=layer, number=number, beside=len(layers))
        needs_site(table.file, told["fields"].tolist())
        if told["geometry_type"] is not None:
            crs = str(told["crs"] or "OGC:CRS84")
            needs_degrees(table.file, crs if WGS84.search(crs) else authority_of(crs) or crs)
        types = dict(zip(told["fields"], told["dtypes"], strict=True))
        found[name] = replace(table, odd=_odd_columns(table, types))
    return found


def _odd_columns(table: GeoPackageLayer, types: Mapping[str, str]) -> tuple[tuple[str, str], ...]:
    """Columns with a cell of another type; ``types`` are NumPy's of the columns. See ``odd``."""
    kinds = {n: np.dtype(t).kind for n, t in types.items()}
    read = {n: k for n, k in kinds.items() if k in _ODD and (k != "M" or n in DAYS)}
    tests = {n: _ODD[k].format(_name(n)) for n, k in read.items()}
    if not tests:
        return ()
    (found,) = table.ask(", ".join(f"max({test})" for test in tests.values()))
    odd = tuple(one for one, there in zip(tests.items(), found, strict=True) if there)
    for name, test in odd:
        if name == "site" or not table.number:  # whose cell it is can not be told
            row = table.ask(f"min({_name(table.number)})", test)[0][0] if table.number else None
            said, remedy = "holds a cell of another type than its column", "write it anew"
            raise refused(table.file, said, row=row, column=name, remedy=remedy)
    return odd


def _with_texts(table: Any, name: str, numbers: Sequence[int], written: Mapping[int, str]) -> Any:
    """The table with a column as texts, of which those of some rows are ``written``."""
    midnight = r" 00:00:00(\.0+)?Z?$"  # how a day is held in a column of times
    texts = pc.replace_substring_regex(table[name].cast(pa.string()), midnight, "").to_pylist()
    cells = [written.get(n, text) for n, text in zip(numbers, texts, strict=True)]
    return table.set_column(table.column_names.index(name), name, pa.array(cells, pa.string()))


def _name(name: str) -> str:
    """A name of a table or column in SQL."""
    return '"' + name.replace('"', '""') + '"'


def authority_of(crs: str) -> str:
    """``authority:code`` of a reference system said in another way; "" where it has none."""
    import pyproj

    try:
        return ":".join(pyproj.CRS.from_user_input(crs).to_authority() or ())
    except pyproj.exceptions.CRSError:
        return ""


def needs_site(file: str, columns: Sequence[str]) -> None:
    """Refuse a table without the column ``site``."""
    if "site" not in columns:
        remedy = "add one with the site that each row is of"
        raise refused(file, "there is no column site", remedy=remedy)
    if twice := [name for name in dict.fromkeys(columns) if columns.count(name) > 1]:
        found = f"column {quoted(twice[0])} stands twice"
        raise refused(file, found, remedy="keep one of them")


def needs_degrees(file: str, crs: str) -> None:
    """Refuse coordinates that are not WGS 84, which ``crs`` names by authority and code."""
    if not WGS84.search(crs):
        raise refused(
            file,
            f"its coordinates are in {crs[:60]}",
            allowed="longitude, latitude in WGS 84 (OGC:CRS84, EPSG:4326)",
            remedy="write it in WGS 84",
        )


def distinct_sites(column: Any) -> tuple[dict[str, int], int]:
    """How many rows of a column name each site, in their order, and how many name none."""
    coded = coded_sites(column)
    code = coded.indices.fill_null(-1).to_numpy(zero_copy_only=False)
    words = [*cells_in(coded.dictionary), None]
    counts = np.bincount(code % len(words), minlength=len(words)).tolist()
    begun = code[np.flatnonzero(np.diff(code, prepend=-2))]
    known, without = dict[str, int](), 0
    for number in dict.fromkeys(begun.tolist()):
        name, count = words[number], counts[number]
        if name is None or not name.strip():
            without += count
        else:
            known[name] = known.get(name, 0) + count
    return known, without


def look_alikes(keys: Iterable[str]) -> dict[str, str]:
    """Another name that people would take for it, where there is one.

    >>> look_alikes(["North", "north ", "South"])
    {'north ': 'North', 'North': 'north '}
    """
    seen: dict[str, str] = {}
    found: dict[str, str] = {}
    for key in sorted(keys):
        plain = " ".join(unicodedata.normalize("NFKC", key).casefold().split())
        if (other := seen.setdefault(plain, key)) != key:
            found |= {key: other, other: key}
    return found
