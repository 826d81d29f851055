"""One chunk of sites: read, worked out, and sent back as Arrow bytes; the same on any machine."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from geosand.errors import Refused, printable
from geosand.portfolio.rows import Head, Table, refused_row, tables_of
from geosand.portfolio.sources import SiteRead, Source
from geosand.results import Results, work_out
from geosand.site.tables import Site

TABLES = ("sites", "balances", "ledger", "areas", "spreaders")
LAYOUT = 1  #: of the tables; another number makes earlier parts worthless
REFUSED, FAILED = "refused", "failed"


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """What a site's result depends on beside its data."""

    as_of: str | None = None
    maps: bool = False
    units: str | None = None  #: of the maps; None: each site's own

    def fingerprint(self, version: str) -> str:
        """Changes with the version, the layout of the tables and each option."""
        said = [version, LAYOUT, self.as_of, self.maps, self.units if self.maps else None]
        return hashlib.sha256(json.dumps(said).encode()).hexdigest()


@dataclass(frozen=True, slots=True, kw_only=True)
class Chunk:
    """A job: sites of one source, with the fingerprints of those that are already worked out."""

    source: Source
    keys: Sequence[str]
    known: Mapping[str, str]
    options: Options


@dataclass(frozen=True, slots=True, kw_only=True)
class ChunkDone:
    """What comes back: Arrow streams by table, and where each site's rows stand in them."""

    kept: Sequence[str] = ()  #: known before and unchanged
    fingerprints: Mapping[str, str] = field(default_factory=dict)  #: of the sites worked out now
    rows: Mapping[str, Mapping[str, tuple[int, int]]] = field(default_factory=dict)
    tables: Mapping[str, bytes] = field(default_factory=dict)
    maps: Mapping[str, bytes] = field(default_factory=dict)  #: HTML by site


@dataclass(frozen=True, slots=True, kw_only=True)
class _Worked:
    key: str
    tables: Mapping[str, Table]
    page: bytes | None = None


def work_chunk(chunk: Chunk) -> ChunkDone:
    """Read and work out the sites of a chunk. A site that can not be is a row that says why."""
    kept: list[str] = []
    fingerprints: dict[str, str] = {}
    worked: list[_Worked] = []
    for read in chunk.source.read(chunk.keys, dict(chunk.known)):
        if read.site is None and not read.refused:
            kept.append(read.key)
            continue
        one = _one(read, chunk.options)
        worked.append(one)
        # what failed is not known: it is tried again the next time
        failed = one.tables["sites"]["status"][0] == FAILED
        fingerprints[read.key] = "" if failed else read.fingerprint
    if not worked:
        return ChunkDone(kept=kept)
    tables, rows = _joined(worked)
    return ChunkDone(
        kept=kept,
        fingerprints=fingerprints,
        rows=rows,
        tables=tables,
        maps={one.key: one.page for one in worked if one.page is not None},
    )


def _one(read: SiteRead, options: Options) -> _Worked:
    if read.site is None:
        return _not_worked(read.key, read.key, REFUSED, read.refused)
    try:
        day = None if options.as_of is None else np.datetime64(options.as_of, "D")
        results = work_out(read.site, as_of=day)
        page = _map(results, options) if options.maps else None
        return _Worked(key=read.key, tables=tables_of_site(read.key, results), page=page)
    except Refused as refusal:
        return _not_worked(read.key, read.site.name, REFUSED, str(refusal).splitlines())
    except Exception as problem:
        # one site must not end the run of thousands; it is told and tried again the next time
        told = printable(f"{type(problem).__name__}: {problem}"[:500])
        return _not_worked(read.key, read.site.name, FAILED, [told])


def tables_of_site(key: str, results: Results) -> Mapping[str, Table]:
    """The rows of one site."""
    site = results.site
    of_surface = np.zeros(len(site.surfaces), dtype=np.int64)
    of_dressing = np.zeros(len(site.dressings), dtype=np.int64)
    return tables_of(results, head_of([key], [site], [results]), of_surface, of_dressing)


def head_of(keys: Sequence[str], sites: Sequence[Site], results: Sequence[Results]) -> Head:
    """What the tables say of sites beside their figures."""
    ends = [np.datetime64("NaT", "D") if s.season_end is None else s.season_end for s in sites]
    return Head(
        keys=np.array(keys, dtype=np.str_),
        names=np.array([s.name for s in sites], dtype=np.str_),
        season_start=np.array([s.season_start for s in sites], dtype="datetime64[D]"),
        season_end=np.array(ends, dtype="datetime64[D]"),
        as_of=np.array([r.ledger.as_of for r in results], dtype="datetime64[D]"),
        findings=np.array([len(r.findings) for r in results], dtype=np.int64),
    )


def _not_worked(key: str, name: str, status: str, faults: Sequence[str]) -> _Worked:
    return _Worked(key=key, tables={"sites": refused_row(key, name, status, faults)})


def _map(results: Results, options: Options) -> bytes:
    from geosand.mapping.fill import map_view
    from geosand.mapping.page import map_page

    us = (options.units or results.site.units) == "us"
    return map_page(map_view(results, "us" if us else "metric")).encode("utf-8")


def _joined(
    worked: Sequence[_Worked],
) -> tuple[dict[str, bytes], dict[str, dict[str, tuple[int, int]]]]:
    """Sites one below the other in one Arrow stream a table, and the rows of each."""
    import pyarrow as pa

    streams: dict[str, bytes] = {}
    rows: dict[str, dict[str, tuple[int, int]]] = {one.key: {} for one in worked}
    for name in TABLES:
        parts, begun = [], 0
        for one in worked:
            if name in one.tables:
                part = arrow_table(one.tables[name])
                rows[one.key][name] = (begun, len(part))
                begun += len(part)
                parts.append(part)
        if parts:
            sink = pa.BufferOutputStream()
            table = pa.concat_tables(parts).combine_chunks()
            with pa.ipc.new_stream(sink, table.schema) as stream:
                stream.write_table(table)
            streams[name] = sink.getvalue().to_pybytes()
    return streams, rows


def arrow_table(table: Table) -> Any:
    """Columns as an Arrow table: geometries as well-known binary, nan and NaT as nulls."""
    import pyarrow as pa
    import shapely

    columns: dict[str, Any] = {}
    for name, column in table.items():
        if name == "geometry":
            columns[name] = pa.array(shapely.to_wkb(column), pa.binary())
        elif column.dtype.kind == "U":
            columns[name] = pa.array(column.tolist(), pa.string())
        elif column.dtype.kind == "M":
            columns[name] = pa.array(column.astype("datetime64[D]"), pa.date32())
        elif column.dtype.kind == "f":
            columns[name] = pa.array(column, pa.float64(), from_pandas=True)
        else:
            columns[name] = pa.array(column)
    return pa.table(columns)


def lost_chunk(chunk: Chunk, why: str) -> ChunkDone:
    """Rows for sites whose process died each time it worked on them."""
    worked = [_not_worked(key, key, FAILED, [why]) for key in chunk.keys]
    tables, rows = _joined(worked)
    return ChunkDone(fingerprints=dict.fromkeys(chunk.keys, ""), tables=tables, rows=rows)
