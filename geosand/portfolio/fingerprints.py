"""What tells whether the rows of a site changed, whatever else its files hold."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from typing import Any

import numpy as np

from geosand.columns import Bools, Ints
from geosand.portfolio.arrow_columns import (
    Bytes,
    content_of,
    is_bytes,
    one_array,
    places_of,
    written_out,
)
from geosand.portfolio.rows_by_site import SiteRows


def fingerprints(tables: Mapping[str, SiteRows], sites: int) -> list[str]:
    """SHA-256 of each site's rows: names, types, what is blank, and all else that they say.

    It is the same whatever other sites are read with it.
    """
    digests = [hashlib.sha256() for _ in range(sites)]
    for name, rows in tables.items():
        _add(digests, name, rows)
    return [digest.hexdigest() for digest in digests]


def _add(digests: list[Any], table: str, rows: SiteRows) -> None:
    """The rows of each site to its digest: numbers and lengths of texts, texts, what is blank."""
    bounds = rows.bounds.tolist()
    head, fixed, texts = f"{table}\0", list[Any](), list[tuple[Bytes, list[int]]]()
    blanks, others = dict[str, Bools](), list[Any]()
    for name, values in zip(rows.table.column_names, rows.table.columns, strict=True):
        if name in ("site", "row"):
            continue
        array = _plain(values)
        head += f"{name}\0{array.type}\0"
        blank = array.is_null().to_numpy(zero_copy_only=False) if array.null_count else None
        if (start := _starts(array, blank)) is not None:
            fixed.append(np.diff(start))
            texts.append((content_of(array), start[rows.bounds].tolist()))
        elif (numbers := _as_numbers(array, blank)) is not None:
            fixed.append(numbers)
        else:
            others.append(values)
            continue
        if blank is not None:
            blanks[name] = blank
    for digest, begin, end in zip(digests, bounds, bounds[1:], strict=False):
        if end == begin:
            continue
        digest.update(f"{head}{end - begin}\0".encode())
        for column in fixed:
            digest.update(column[begin:end])
    for content, starts in texts:
        for digest, begin, end in zip(digests, starts, starts[1:], strict=False):
            digest.update(content[begin:end])
    for name, blank in blanks.items():
        for k in np.flatnonzero(np.bincount(rows.member()[blank])).tolist():
            digests[k].update(f"{name}\0".encode())
            digests[k].update(blank[bounds[k] : bounds[k + 1]])
    for column in others:
        for digest, begin, end in zip(digests, bounds, bounds[1:], strict=False):
            if end > begin:
                digest.update(_stream(column.take(np.arange(begin, end))))


def _plain(values: Any) -> Any:
    """Yes and no as numbers, words as texts: their numbers depend on what was read with them."""
    import pyarrow as pa

    if pa.types.is_boolean(values.type):
        values = values.cast(pa.int8())
    return one_array(written_out(values))


def _starts(array: Any, blank: Bools | None) -> Ints | None:
    """Where the bytes of each row of a column of texts begin (n + 1,); None for other columns."""
    if not is_bytes(array.type):
        return None
    start = places_of(array)
    return None if blank is not None and np.diff(start)[blank].any() else start


def _as_numbers(array: Any, blank: Bools | None) -> Ints | None:
    """The bits of numbers and days (n,), 0 where blank; None for other types."""
    import pyarrow as pa

    kind = array.type
    if not (pa.types.is_floating(kind) or pa.types.is_integer(kind) or pa.types.is_temporal(kind)):
        return None
    if kind.bit_width not in (8, 16, 32, 64):
        return None
    width = np.dtype(f"i{kind.bit_width // 8}")
    bits = np.frombuffer(array.buffers()[1], width)[array.offset : array.offset + len(array)]
    return bits if blank is None else np.where(blank, width.type(0), bits)


def _stream(column: Any) -> bytes:
    import pyarrow as pa

    table = pa.table({"column": column}).combine_chunks()
    sink = pa.BufferOutputStream()
    with pa.ipc.new_stream(sink, table.schema) as stream:
        stream.write_table(table)
    content: bytes = sink.getvalue().to_pybytes()
    return content
