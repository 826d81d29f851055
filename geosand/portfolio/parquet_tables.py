"""Parquet and GeoParquet files of a set, of which only the row groups that are needed are read."""

from __future__ import annotations

import json
import os
import re
import sys
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from geosand.columns import Ints
from geosand.errors import refused
from geosand.portfolio.arrow_columns import without_views
from geosand.portfolio.arrow_geometries import BINARY, LAYOUTS, is_encoded
from geosand.portfolio.rows_by_site import SiteRows, rows_among, split_by_site
from geosand.portfolio.set_tables import (
    HELD,
    Stamp,
    authority_of,
    distinct_sites,
    needs_degrees,
    needs_site,
    stamp,
)

PIECE_BYTES = 16_000_000  #: of a row group that is read at once, about as it is in memory
WIDTHS = {"BOOLEAN": 1 / 8, "INT32": 4, "FLOAT": 4, "INT64": 8, "DOUBLE": 8, "BYTE_ARRAY": 4}
BUFFER_BYTES = 1 << 20  #: of each of its columns that is read ahead
SIGNATURE_BYTES = 28  #: behind the metadata of a file with encrypted columns

_INDEX = re.compile(r"__index_level_\d+__|row")
#: of the geometry of these tables; of others it is not looked at
ENCODINGS = {"surfaces": (BINARY, "polygon", "multipolygon"), "catches": (BINARY, "point")}


@dataclass(frozen=True, slots=True, kw_only=True)
class ParquetTable:
    """A Parquet or GeoParquet file; row groups without a wanted site are not read."""

    path: Path
    geometry: str  #: its geometry column, "" = none
    texts: tuple[str, ...] = ()  #: columns that are read as different words, each once
    #: columns that writers add for themselves: bounds of each shape, pandas its index, row numbers
    added: tuple[str, ...] = ()

    @property
    def file(self) -> str:
        return self.path.name

    def sites(self) -> tuple[Mapping[str, int], int]:
        pieces = self.pieces(stamp(self.path))
        return pieces.size, pieces.without

    def pieces(self, now: Stamp) -> Pieces:
        """Which sites stand in which part of the file, whose stamp is ``now``."""
        return _pieces(self.path, now)

    def piece(self, number: int, now: Stamp) -> Any:
        """The rows of one of its pieces, with the row in the file as the column ``row``."""
        begun, end = self.pieces(now).begun[number : number + 2].tolist()
        rows = pa.array(np.arange(begun + 1, end + 1))
        return _reading(self, now).piece(number).append_column("row", rows)

    def rows_of(self, keys: Sequence[str]) -> SiteRows:
        now = stamp(self.path)
        numbers, parts = self.pieces(now).that_hold(keys), list[Any]()
        for number in numbers:
            part = self.piece(number, now)
            # of which few rows may be wanted, where sites lie scattered
            parts.append(rows_among(part, keys) if len(numbers) > 1 else part)
        if not parts:
            none = _metadata(self.path, now).schema.to_arrow_schema().empty_table()
            none = none.drop_columns(self.added)
            parts = [none.append_column("row", pa.array([], pa.int64()))]
        return split_by_site(pa.concat_tables(parts), keys, self.geometry)


# What chunks that follow each other ask again of a file, until it is changed: many row groups take
# longer to know than one of them to read, and of few each holds the sites of several chunks.


@lru_cache(maxsize=HELD)
def _metadata(path: Path, stamp: Stamp) -> Any:
    return pq.read_metadata(path)


@lru_cache(maxsize=HELD)
def _pieces(path: Path, stamp: Stamp) -> Pieces:
    known = _metadata(path, stamp)
    with _opened(path, known, _as_words(known, ["site"])) as file:
        return pieces_of(file)


@lru_cache(maxsize=HELD)
def _reading(table: ParquetTable, stamp: Stamp) -> _Reading:
    return _Reading(table, stamp)


class _Reading:
    """The pieces of a table, of which the last one is held: the next chunk may begin within it."""

    def __init__(self, table: ParquetTable, stamp: Stamp) -> None:
        self._table, self._stamp = table, stamp
        self._number, self._piece = -1, None
        self._group: _LargeGroup | None = None

    def piece(self, number: int) -> Any:
        if number != self._number:
            self._number, self._piece = -1, None  # its room is free before the next one takes any
            self._piece = self._checked(*_pieces(self._table.path, self._stamp).place[number])
            self._number = number
        return self._piece

    def _checked(self, group: int, within: int | None) -> Any:
        piece = without_views(self._read(group, within).drop_columns(self._table.added))
        if self._table.geometry:
            piece[self._table.geometry].validate(full=True)  # its lists are trusted from here on
        return piece

    def _read(self, group: int, within: int | None) -> Any:
        path, known = self._table.path, _metadata(self._table.path, self._stamp)
        if within is None:
            with _opened(path, known, self._table.texts) as file:
                return file.read_row_group(group)
        if self._group is None or self._group.number != group:
            self._group = _LargeGroup(self._table, known, group)
        return self._group.piece(within)


class _LargeGroup:
    """A row group whose pieces are read one after the other; what lies behind, from the start.

    Many programs write a million rows in one: memory must not grow with that.
    """

    def __init__(self, table: ParquetTable, known: Any, group: int) -> None:
        self.number = group
        self._table, self._known = table, known
        self._rows = rows_at_once(known.row_group(group))
        self._next, self._read = 0, self._from_start()

    def piece(self, number: int) -> Any:
        at, self._next = self._next, sys.maxsize  # what fails is begun anew the next time
        if number < at:
            at, self._read = 0, self._from_start()
        for _ in range(at, number):
            next(self._read)
        piece = next(self._read)
        self._next = number + 1
        return piece

    def _from_start(self) -> Iterator[Any]:
        file = _opened(
            self._table.path,
            self._known,
            self._table.texts,
            buffer_size=BUFFER_BYTES,
            pre_buffer=False,  # else all of its bytes are read first
        )
        with file:
            waiting = file.schema_arrow.empty_table()
            for batch in file.iter_batches(self._rows, row_groups=[self.number]):
                waiting = pa.concat_tables([waiting, pa.Table.from_batches([batch])])
                while len(waiting) >= self._rows:
                    yield waiting.slice(0, self._rows)
                    waiting = waiting.slice(self._rows)
        yield waiting


def _opened(path: Path, known: Any, texts: Sequence[str], **options: Any) -> Any:
    """A file whose pages are held against their checksums, where its writer gave them some."""
    options |= {"read_dictionary": list(texts), "page_checksum_verification": True}
    return pq.ParquetFile(path, metadata=known, **options)


def _as_words(known: Any, texts: Sequence[str]) -> list[str]:
    """Of these columns those that can be read as different words: Arrow can not where any page is
    encoded by what differs from the text before."""
    place = {known.schema.column(k).path: k for k in range(known.num_columns)}
    groups = [known.row_group(number) for number in range(known.num_row_groups)]
    return [
        name
        for name in texts
        if not any(e.startswith("DELTA") for g in groups for e in g.column(place[name]).encodings)
    ]


def rows_at_once(group: Any) -> int:
    """How many rows of a row group are read at once, by its metadata."""
    rows: int = PIECE_BYTES * group.num_rows // max(1, bytes_in_memory(group))
    return max(1, rows)


def bytes_in_memory(group: Any) -> int:
    """About how many a row group takes when it is read: as encoded, numbers are far fewer.

    Each value takes at least its type's width, a text that of its number among the different ones;
    outlines that are the same are counted once.
    """
    columns = [group.column(number) for number in range(group.num_columns)]
    least = (column.num_values * WIDTHS.get(column.physical_type, 0) for column in columns)
    held = zip((column.total_uncompressed_size for column in columns), least, strict=True)
    return int(sum(map(max, held)))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Pieces:
    """Which sites stand in the pieces of a file: in its row groups, or in parts of large ones."""

    begun: Ints  #: (pieces + 1,) where the rows of each begin
    place: Sequence[tuple[int, int | None]]  #: row group, and which part of it; None = all of it
    of: Mapping[str, Sequence[int]]  #: numbers of the pieces that hold a site
    size: Mapping[str, int]  #: about how many bytes each site is, in their order if they have one
    without: int  #: rows that name no site

    def that_hold(self, keys: Sequence[str]) -> list[int]:
        """Numbers of the pieces that hold any of the sites, in order."""
        return sorted({number for key in keys for number in self.of.get(key, ())})


def pieces_of(file: Any) -> Pieces:
    """By its column ``site``, as statistics say too little where sites lie scattered."""
    sizes, place, without = list[int](), list[tuple[int, int | None]](), 0
    of, size = dict[str, list[int]](), dict[str, int]()
    for group in range(file.num_row_groups):  # the column may be far longer than the list
        told = file.metadata.row_group(group)
        rows, width = rows_at_once(told), bytes_in_memory(told) // max(1, told.num_rows)
        sites = file.read_row_group(group, columns=["site"])["site"]
        for within, begun in enumerate(range(0, len(sites), rows)):
            some = sites.slice(begun, rows)
            known, lacking = distinct_sites(some)
            for key, count in known.items():
                of.setdefault(key, []).append(len(place))
                size[key] = size.get(key, 0) + count * width
            place.append((group, within if len(sites) > rows else None))
            sizes.append(len(some))
            without += lacking
    if sum(map(len, of.values())) > 2 * len(of) + len(place):  # they stand in no order
        size = dict(sorted(size.items()))
    return Pieces(begun=np.cumsum([0, *sizes]), place=place, of=of, size=size, without=without)


def parquet_table(path: Path) -> ParquetTable:
    """A Parquet file of a set. Raises Refused for one that can not be used."""
    try:
        known = pq.read_metadata(path)
        schema = known.schema.to_arrow_schema()
    except PermissionError as problem:
        found, remedy = "can not be read: Permission denied", "look at its rights"
        raise refused(path.name, found, remedy=remedy) from problem
    except (OSError, pa.ArrowException) as problem:
        found = f"is no Parquet file: {str(problem)[:80]}"
        raise refused(path.name, found, remedy="write it again") from problem
    _needs_plain(path, known)
    needs_site(path.name, schema.names)
    if pa.types.is_nested(kind := schema.field("site").type):
        found, allowed = f"is a column of {str(kind)[:80]}", "a text or a whole number in each row"
        raise refused(path.name, found, column="site", allowed=allowed)
    geometry = "geometry" if "geometry" in schema.names else ""
    told, encoding, boxes = (schema.metadata or {}).get(b"geo"), BINARY, set[str]()
    if told is not None:
        document = json.loads(told)
        geometry = str(document["primary_column"])
        column = document["columns"][geometry]
        boxes = {path[0] for path in column.get("covering", {}).get("bbox", {}).values()}
        boxes -= {geometry}
        crs, encoding = column.get("crs", "OGC:CRS84"), str(column.get("encoding"))
        needs_degrees(path.name, crs if isinstance(crs, str) else _crs_name(crs))
    geometry = geometry if geometry in schema.names else ""
    if geometry:
        _needs_encoding(path, schema.field(geometry), encoding)
    of = pa.types
    texts = [c.name for c in schema if of.is_string(c.type) or of.is_large_string(c.type)]
    texts = _as_words(known, texts)
    bounds = [c.name for c in schema if c.name in boxes and of.is_struct(c.type)]
    added = [*bounds, *filter(_INDEX.fullmatch, schema.names)]
    return ParquetTable(path=path, geometry=geometry, texts=tuple(texts), added=tuple(added))


def _needs_plain(path: Path, known: Any) -> None:
    """Refuse a file with encrypted columns: Arrow ends the process where it is asked about them.

    The end of such a file is signed (Apache Parquet, modular encryption 5.4, from memory).
    """
    with path.open("rb") as file:
        file.seek(-8, os.SEEK_END)
        length = int.from_bytes(file.read(4), "little")
    if length - known.serialized_size == SIGNATURE_BYTES:
        raise refused(path.name, "has encrypted columns", remedy="write it without encryption")


def _crs_name(crs: Any) -> str:
    if not isinstance(crs, dict):
        return "unknown"
    identity = crs.get("id")
    if isinstance(identity, dict):
        return f"{identity.get('authority')}:{identity.get('code')}"
    return authority_of(json.dumps(crs)) or str(crs.get("name", "unknown"))


def _needs_encoding(path: Path, column: Any, encoding: str) -> None:
    """Its geometry must be encoded as its table can be read, and lie as its encoding says."""
    can_be = ENCODINGS.get(path.stem, tuple(LAYOUTS))
    if encoding not in can_be:
        found, allowed = f"its geometry is encoded as {encoding}", ", ".join(can_be)
    elif not is_encoded(column.type, encoding):
        found = f"its geometry is said to be encoded as {encoding}, and is a column of"
        found, allowed = f"{found} {str(column.type)[:80]}", LAYOUTS[encoding]
    else:
        return
    remedy = "write it with geometry_encoding WKB"
    raise refused(path.name, found, column=column.name, allowed=allowed, remedy=remedy)
