"""Tables of a set that are not in the order of the sites, sorted once into files on disk.

Nearly all of such a file would be read again for each chunk: a time that grows with the square of
the number of sites. Sorting reads it once, a piece at a time, and appends the rows of each piece to
the files of their chunks, in which they keep their order.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa

from geosand.columns import Ints
from geosand.errors import Refused
from geosand.portfolio.arrow_columns import written_out
from geosand.portfolio.chunk import Tell
from geosand.portfolio.parquet_tables import ParquetTable, Pieces
from geosand.portfolio.rows_by_site import SiteRows, owners, rows_among, split_by_site
from geosand.portfolio.set_tables import FileTable, Stamp, stamp, told_of
from geosand.portfolio.site_read import Source
from geosand.portfolio.site_set import SiteSet

WORTH = 3  #: times that all of a file would be read: sorting reads it, writes it, and reads it back
MOST_FILES = 200  #: of a table, open at once


@dataclass(frozen=True, slots=True, kw_only=True)
class _OfTable:
    """Rows of a table, standing elsewhere than in its file."""

    table: ParquetTable

    @property
    def path(self) -> Path:
        return self.table.path

    @property
    def file(self) -> str:
        return self.table.file

    def sites(self) -> tuple[Mapping[str, int], int]:
        return self.table.sites()


@dataclass(frozen=True, slots=True, kw_only=True)
class SortedTable(_OfTable):
    """A table whose rows were sorted into files, each with those of some chunks."""

    folder: Path
    number: Mapping[str, int]  #: of the file that holds a site

    def rows_of(self, keys: Sequence[str]) -> SiteRows:
        return split_by_site(self.rows_about(keys), keys, self.table.geometry)

    def rows_about(self, keys: Sequence[str]) -> Any:
        """The rows of these sites, and perhaps of others."""
        numbers = sorted({self.number[key] for key in keys})
        return pa.concat_tables(
            _rows_in(_place(self.folder, self.table, number)) for number in numbers
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class CarriedTable(_OfTable):
    """The rows of one chunk, which travel with it."""

    rows: Any  #: an Arrow buffer that holds a stream

    def rows_of(self, keys: Sequence[str]) -> SiteRows:
        with pa.ipc.open_stream(self.rows) as stream:
            return split_by_site(stream.read_all(), keys, self.table.geometry)


def carried(source: Source, keys: Sequence[str]) -> Source:
    """The source with its sorted rows of these sites, for a machine that does not see the files."""
    if not isinstance(source, SiteSet):
        return source
    tables = source.tables.items()
    taken = {n: _carried(t, keys) if isinstance(t, SortedTable) else t for n, t in tables}
    return replace(source, tables=taken)


def _carried(sorted_: SortedTable, keys: Sequence[str]) -> CarriedTable:
    rows, sink = rows_among(sorted_.rows_about(keys), keys), pa.BufferOutputStream()
    packed = pa.ipc.IpcWriteOptions(compression="lz4")
    with pa.ipc.new_stream(sink, rows.schema, options=packed) as stream:
        stream.write_table(rows)
    return CarriedTable(table=sorted_.table, rows=sink.getvalue())


@contextmanager
def in_order(
    source: Source, chunks: Sequence[Sequence[str]], root: Path, tell: Tell
) -> Iterator[Source]:
    """The source, of which no chunk reads what others need; files below ``root`` while it is used.

    A table that can not be read stays as it is, so that each chunk tells why.
    """
    wanted = {n: t for n, t in _tables(source).items() if _is_worth(t, chunks)}
    if not wanted:
        yield source
        return
    assert isinstance(source, SiteSet)
    files = min(len(chunks), MOST_FILES)
    number = {key: k * files // len(chunks) for k, some in enumerate(chunks) for key in some}
    tables = dict[str, FileTable](source.tables)
    root.mkdir(parents=True, exist_ok=True)
    # named as a part that is not whole, which the next run removes where this one is killed
    with tempfile.TemporaryDirectory(
        prefix=".part-", dir=root, ignore_cleanup_errors=True
    ) as folder:
        for name, table in wanted.items():
            tell(f"Sorting {table.file} by site")
            made = SortedTable(table=table, folder=Path(folder), number=number)
            if _sorted(made, files):
                tables[name] = made
        yield replace(source, tables=tables)


def _tables(source: Source) -> dict[str, ParquetTable]:
    """Those that are read in pieces; a GeoPackage finds rows by their numbers."""
    tables = source.tables if isinstance(source, SiteSet) else {}
    return {name: table for name, table in tables.items() if isinstance(table, ParquetTable)}


def _is_worth(table: ParquetTable, chunks: Sequence[Sequence[str]]) -> bool:
    try:
        with told_of(table.file):
            pieces = table.pieces(stamp(table.path))
    except Refused:
        return False
    return times_read(pieces, chunks) > WORTH * len(pieces.place)


def times_read(pieces: Pieces, chunks: Sequence[Sequence[str]]) -> int:
    """How many pieces are read for the chunks, those that only lie before another one counted."""
    count, last = 0, -1
    behind = dict[int, int]()  # by row group, the part of it that comes next
    for some in chunks:
        for number in pieces.that_hold(some):
            if number == last:
                continue
            last, (group, within) = number, pieces.place[number]
            begun = behind.get(group, 0)
            place = 0 if within is None else within
            count += place + 1 - (begun if begun <= place else 0)
            behind[group] = 0 if within is None else place + 1
    return count


def _sorted(made: SortedTable, files: int) -> bool:
    """Write the files; False where the table can not be read, or is another one by now."""
    table = made.table
    try:
        with told_of(table.file):
            now = stamp(table.path)
        _write(_numbered(made, now), [_place(made.folder, table, k) for k in range(files)])
        with told_of(table.file):
            return stamp(table.path) == now
    except Refused:
        return False


def _numbered(made: SortedTable, now: Stamp) -> Iterator[tuple[Any, Ints]]:
    """Each piece of the table, and the number of the file that each row is for."""
    with told_of(made.file):
        for k in range(len(made.table.pieces(now).place)):
            piece = made.table.piece(k, now)
            yield piece, owners(piece["site"], made.number)


def _write(pieces: Iterator[tuple[Any, Ints]], paths: Sequence[Path]) -> None:
    """Append the rows of each piece to the file that each is for."""
    with ExitStack() as opened:
        streams = list[Any]()
        for piece, number in pieces:
            order = np.argsort(number, kind="stable")
            rows = _written_out(piece.take(pa.array(order)))
            if not streams:
                streams = [opened.enter_context(pa.ipc.new_stream(p, rows.schema)) for p in paths]
            bounds = np.searchsorted(number[order], np.arange(len(paths) + 1))
            for k in np.flatnonzero(np.diff(bounds)).tolist():
                streams[k].write_table(rows.slice(bounds[k], bounds[k + 1] - bounds[k]))


def _written_out(rows: Any) -> Any:
    """Without numbers of words, which each batch of each file would list again."""
    for k, field in enumerate(rows.schema):
        plain = written_out(rows.column(k))
        rows = rows.set_column(k, field.with_type(plain.type), plain)
    return rows


def _place(folder: Path, table: ParquetTable, number: int) -> Path:
    return folder / f"{table.path.stem}-{number}.arrow"


def _rows_in(path: Path) -> Any:
    with pa.memory_map(str(path)) as file, pa.ipc.open_stream(file) as stream:
        return stream.read_all()
