"""Parquet and GeoParquet files of a set, of which only the row groups that are needed are read."""

from __future__ import annotations

import json
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import accumulate
from pathlib import Path
from typing import Any

import numpy as np

from geosand.columns import Ints
from geosand.errors import Fault, Refused
from geosand.portfolio.arrow_columns import without_views
from geosand.portfolio.arrow_geometries import BINARY, LAYOUTS, is_encoded
from geosand.portfolio.rows_by_site import SiteRows, split_by_site
from geosand.portfolio.set_tables import (
    HELD,
    Stamp,
    distinct_sites,
    needs_degrees,
    needs_site,
    stamp,
)

#: of the geometry of these tables; of others it is not looked at
ENCODINGS = {"surfaces": (BINARY, "polygon", "multipolygon"), "catches": (BINARY, "point")}


@dataclass(frozen=True, slots=True, kw_only=True)
class ParquetTable:
    """A Parquet or GeoParquet file; row groups without a wanted site are not read."""

    path: Path
    geometry: str  #: its geometry column, "" = none
    texts: tuple[str, ...] = ()  #: columns that are read as different words, each once

    @property
    def file(self) -> str:
        return self.path.name

    def sites(self) -> tuple[list[str], int]:
        import pyarrow.parquet as pq

        found: dict[str, None] = {}
        without = 0
        with pq.ParquetFile(self.path) as file:
            for group in range(file.num_row_groups):  # the column may be far longer than the list
                known, lacking = distinct_sites(
                    file.read_row_group(group, columns=["site"])["site"]
                )
                found |= dict.fromkeys(known)
                without += lacking
        return list(found), without

    def rows_of(self, keys: Sequence[str]) -> SiteRows:
        import pyarrow as pa

        now = stamp(self.path)
        groups = _row_groups(self.path, now)
        parts, rows = list[Any](), list[Ints]()
        for group in groups.that_may_hold(keys):
            begun, end = groups.begun[group : group + 2].tolist()
            parts.append(_row_group(self, now, group))
            rows.append(np.arange(begun + 1, end + 1))
        if not parts:
            parts = [_metadata(self.path, now).schema.to_arrow_schema().empty_table()]
        number = np.concatenate([np.zeros(0, dtype=np.int64), *rows])
        table = pa.concat_tables(parts).append_column("row", pa.array(number))
        return split_by_site(table, keys, self.geometry)


# What chunks that follow each other ask again of a file, until it is changed: many row groups take
# longer to know than one of them to read, and of few each holds the sites of several chunks.


@lru_cache(maxsize=HELD)
def _metadata(path: Path, stamp: Stamp) -> Any:
    import pyarrow.parquet as pq

    return pq.read_metadata(path)


@lru_cache(maxsize=HELD)
def _row_groups(path: Path, stamp: Stamp) -> RowGroups:
    import pyarrow.parquet as pq

    with pq.ParquetFile(path, metadata=_metadata(path, stamp)) as file:
        return row_groups(file)


@lru_cache(maxsize=HELD)
def _row_group(table: ParquetTable, stamp: Stamp, number: int) -> Any:
    import pyarrow.parquet as pq

    known, texts = _metadata(table.path, stamp), list(table.texts)
    with pq.ParquetFile(table.path, metadata=known, read_dictionary=texts) as file:
        group = without_views(file.read_row_group(number))
    if table.geometry:
        group[table.geometry].validate(full=True)  # its lists are trusted from here on
    return group


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class RowGroups:
    """Which sites the row groups of a file may hold, by what its statistics say of each."""

    begun: Ints  #: (groups + 1,) where the rows of each begin
    least: Sequence[str]  #: the first of their sites, in order, of those groups that say so
    most: Sequence[str]  #: the greatest last site of that group and all before it
    last: Sequence[str]  #: the last site of each
    number: Ints  #: of each of these groups
    unsaid: Ints  #: numbers of all others: they may hold any

    def that_may_hold(self, keys: Sequence[str]) -> list[int]:
        """Numbers of the groups that may hold any of the sites, in order."""
        wanted = set(self.unsaid.tolist())
        for key in keys:
            place = bisect_right(self.least, key)
            while place > 0 and self.most[place - 1] >= key:
                place -= 1
                if self.last[place] >= key:
                    wanted.add(int(self.number[place]))
        return sorted(wanted)


def row_groups(file: Any) -> RowGroups:
    """What a Parquet file says of its row groups."""
    import pyarrow as pa

    kind = file.schema_arrow.field("site").type
    leaves = [file.schema.column(k).path for k in range(len(file.schema.names))]
    index = leaves.index("site")  # a column of several parts counts as many
    text = pa.types.is_string(kind) or pa.types.is_large_string(kind)
    sizes, unsaid = list[int](), list[int]()
    said: list[tuple[str, str, int]] = []
    for number in range(file.num_row_groups):
        group = file.metadata.row_group(number)
        sizes.append(group.num_rows)
        statistics = group.column(index).statistics
        if text and statistics is not None and statistics.has_min_max:
            said.append((statistics.min, statistics.max, number))
        else:
            unsaid.append(number)
    said.sort()
    return RowGroups(
        begun=np.cumsum([0, *sizes]),
        least=[least for least, _, _ in said],
        most=list(accumulate((last for _, last, _ in said), max)),
        last=[last for _, last, _ in said],
        number=np.array([number for _, _, number in said], dtype=np.int64),
        unsaid=np.array(unsaid, dtype=np.int64),
    )


def parquet_table(path: Path) -> ParquetTable:
    """A Parquet file of a set. Raises Refused for one that can not be used."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    try:
        schema = pq.read_schema(path)
    except (OSError, pa.ArrowException) as problem:
        found = f"is no Parquet file: {str(problem)[:80]}"
        raise Refused(Fault(file=path.name, found=found, remedy="write it again")) from problem
    needs_site(path.name, schema.names)
    geometry = "geometry" if "geometry" in schema.names else ""
    told, encoding = (schema.metadata or {}).get(b"geo"), BINARY
    if told is not None:
        document = json.loads(told)
        geometry = str(document["primary_column"])
        column = document["columns"][geometry]
        crs, encoding = column.get("crs", "OGC:CRS84"), str(column.get("encoding"))
        needs_degrees(path.name, crs if isinstance(crs, str) else _crs_name(crs))
    geometry = geometry if geometry in schema.names else ""
    if geometry:
        _needs_encoding(path, schema.field(geometry), encoding)
    of = pa.types
    texts = [c.name for c in schema if of.is_string(c.type) or of.is_large_string(c.type)]
    return ParquetTable(path=path, geometry=geometry, texts=tuple(texts))


def _crs_name(crs: Any) -> str:
    if not isinstance(crs, dict):
        return "unknown"
    identity = crs.get("id")
    if isinstance(identity, dict):
        return f"{identity.get('authority')}:{identity.get('code')}"
    return str(crs.get("name", "unknown"))


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
    raise Refused(
        Fault(file=path.name, column=column.name, found=found, allowed=allowed, remedy=remedy)
    )
