"""Files of a set: which sites they hold, and the rows of a few sites without reading them all."""

from __future__ import annotations

import json
import re
from bisect import bisect_right
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import accumulate
from pathlib import Path
from typing import Any, Protocol

import numpy as np

from geosand.columns import Ints
from geosand.errors import Fault, Refused
from geosand.portfolio.rows_by_site import SiteRows, split_by_site

WGS84 = re.compile(r"(CRS84h?|EPSG:*(:[\d.]*)?:4326)$", re.IGNORECASE)


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
        raise Refused(Fault(file=file, found=found, remedy="write it again")) from problem


class FileTable(Protocol):
    """One table with a column ``site``."""

    @property
    def file(self) -> str:
        """For messages."""
        ...

    def sites(self) -> tuple[list[str], int]:
        """The sites that it has, and how many rows name none."""
        ...

    def rows_of(self, keys: Sequence[str]) -> SiteRows:
        """The rows of these sites, with the row in the file as the column ``row``."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class ParquetTable:
    """A Parquet or GeoParquet file; row groups without a wanted site are not read."""

    path: Path
    geometry: str  #: its geometry column, "" = none
    texts: tuple[str, ...] = ()  #: columns that are read as different words, each once
    groups: RowGroups | None = None  #: looked at once for all chunks; None = each time

    @property
    def file(self) -> str:
        return self.path.name

    def sites(self) -> tuple[list[str], int]:
        import pyarrow.parquet as pq

        found: dict[str, None] = {}
        without = 0
        with pq.ParquetFile(self.path) as file:
            for group in range(file.num_row_groups):  # the column may be far longer than the list
                known, lacking = _distinct(file.read_row_group(group, columns=["site"])["site"])
                found |= dict.fromkeys(known)
                without += lacking
        return list(found), without

    def rows_of(self, keys: Sequence[str]) -> SiteRows:
        import pyarrow as pa
        import pyarrow.parquet as pq

        with pq.ParquetFile(self.path, read_dictionary=list(self.texts)) as file:
            groups = self.groups
            if groups is None or groups.begun[-1] != file.metadata.num_rows:
                groups = row_groups(file)
            parts, rows = list[Any](), list[Ints]()
            for group in groups.that_may_hold(keys):
                begun, end = groups.begun[group : group + 2].tolist()
                parts.append(file.read_row_group(group))
                rows.append(np.arange(begun + 1, end + 1))
            table = pa.concat_tables(parts or [file.schema_arrow.empty_table()])
        number = np.concatenate([np.zeros(0, dtype=np.int64), *rows])
        table = table.append_column("row", pa.array(number))
        return split_by_site(table, keys, self.geometry)


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
    _needs_site(path.name, schema.names)
    geometry = "geometry" if "geometry" in schema.names else ""
    told = (schema.metadata or {}).get(b"geo")
    if told is not None:
        document = json.loads(told)
        geometry = str(document["primary_column"])
        crs = document["columns"][geometry].get("crs", "OGC:CRS84")
        name = crs if isinstance(crs, str) else _crs_name(crs)
        encoding = str(document["columns"][geometry].get("encoding"))
        _needs_degrees(path.name, name)
        if encoding != "WKB":
            raise Refused(
                Fault(
                    file=path.name,
                    column=geometry,
                    found=f"its geometry is encoded as {encoding}",
                    allowed="WKB",
                    remedy="write it with geometry_encoding WKB",
                )
            )
    with pq.ParquetFile(path) as file:
        groups = row_groups(file)
    of = pa.types
    texts = [c.name for c in schema if of.is_string(c.type) or of.is_large_string(c.type)]
    return ParquetTable(path=path, geometry=geometry, texts=tuple(texts), groups=groups)


def _crs_name(crs: Any) -> str:
    if not isinstance(crs, dict):
        return "unknown"
    identity = crs.get("id")
    if isinstance(identity, dict):
        return f"{identity.get('authority')}:{identity.get('code')}"
    return str(crs.get("name", "unknown"))


@dataclass(frozen=True, slots=True, kw_only=True)
class GeoPackageLayer:
    """A layer of a GeoPackage; only the rows of the wanted sites are read."""

    path: Path
    layer: str

    @property
    def file(self) -> str:
        return f"{self.path.name}, layer {self.layer}"

    def sites(self) -> tuple[list[str], int]:
        return _distinct(self._read(columns=["site"], read_geometry=False)["site"])

    def rows_of(self, keys: Sequence[str]) -> SiteRows:
        listed = ", ".join("'" + key.replace("'", "''") + "'" for key in keys)
        table = self._read(where=f"CAST(site AS TEXT) IN ({listed})", return_fids=True)
        names = {"fid": "row", "OGC_FID": "row"}
        table = table.rename_columns([names.get(n, n) for n in table.column_names])
        geometry = next(
            (n for n in ("wkb_geometry", "geom", "geometry") if n in table.column_names), ""
        )
        return split_by_site(table, keys, geometry)

    def _read(self, **options: Any) -> Any:
        import pyogrio

        return pyogrio.read_arrow(self.path, layer=self.layer, **options)[1]


def geopackage_layers(path: Path, names: Sequence[str]) -> dict[str, FileTable]:
    """The layers of these names; a file of one layer may call it as it likes."""
    import pyogrio

    layers = [str(name) for name, _ in pyogrio.list_layers(path)]
    wanted = {name: name for name in names if name in layers}
    if not wanted and len(names) == len(layers) == 1:
        wanted = {names[0]: layers[0]}
    found: dict[str, FileTable] = {}
    for name, layer in wanted.items():
        table = GeoPackageLayer(path=path, layer=layer)
        told = pyogrio.read_info(path, layer=layer)
        _needs_site(table.file, told["fields"].tolist())
        if told["geometry_type"] is not None:
            _needs_degrees(table.file, _authority(str(told["crs"] or "OGC:CRS84")))
        found[name] = table
    return found


def _authority(crs: str) -> str:
    """``authority:code`` of a reference system said in another way, where it has one."""
    if WGS84.search(crs):
        return crs
    import pyproj

    known = pyproj.CRS.from_user_input(crs).to_authority()
    return ":".join(known) if known else crs


def _needs_site(file: str, columns: Sequence[str]) -> None:
    if "site" not in columns:
        remedy = "add one with the site that each row is of"
        raise Refused(Fault(file=file, found="there is no column site", remedy=remedy))


def _needs_degrees(file: str, crs: str) -> None:
    if not WGS84.search(crs):
        raise Refused(
            Fault(
                file=file,
                found=f"its coordinates are in {crs[:60]}",
                allowed="longitude, latitude in WGS 84 (OGC:CRS84, EPSG:4326)",
                remedy="write it in WGS 84",
            )
        )


def _distinct(column: Any) -> tuple[list[str], int]:
    import pyarrow as pa
    import pyarrow.compute as pc

    values = pc.unique(column.cast(pa.string())).to_pylist()
    known = [v for v in values if v is not None and v.strip()]
    blank = [v for v in values if v is not None and not v.strip()]
    without = int(column.null_count)
    if blank:
        among = pc.is_in(column.cast(pa.string()), pa.array(blank))
        without += int(pc.sum(among).as_py() or 0)
    return known, without
