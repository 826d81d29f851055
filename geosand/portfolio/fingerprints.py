"""What tells whether the rows of a site changed, whatever else its files hold."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from typing import Any

import numpy as np

from geosand.columns import Bools, Ints
from geosand.portfolio.set_tables import SiteRows

Bytes = np.ndarray[Any, np.dtype[np.uint8]]
BITS = 63  #: blanks of so many columns in one number


def fingerprints(tables: Mapping[str, SiteRows], sites: int) -> list[str]:
    """SHA-256 of each site's rows: names, types, what is blank, and all else that they say.

    It is the same whatever other sites are read with it.
    """
    digests = [hashlib.sha256() for _ in range(sites)]
    for name, rows in tables.items():
        _add(digests, name, rows)
    return [digest.hexdigest() for digest in digests]


def _add(digests: list[Any], table: str, rows: SiteRows) -> None:
    """The rows of each site to its digest."""
    head, numbers, blanks = f"{table}\0", list[Ints](), list[Bools | None]()
    texts: list[tuple[Bytes, list[int]]] = []
    others: list[Any] = []
    for name, values in zip(rows.table.column_names, rows.table.columns, strict=True):
        if name in ("site", "row"):
            continue
        head += f"{name}\0{values.type}\0"
        array = _one_array(values)
        blank = array.is_null().to_numpy(zero_copy_only=False) if array.null_count else None
        if (text := _as_bytes(array, blank)) is not None:
            start, content = text
            texts.append((content, start[rows.bounds].tolist()))
            numbers.append(np.diff(start))
        elif (fixed := _as_numbers(array, blank)) is not None:
            numbers.append(fixed)
        else:
            others.append(values)
            continue
        blanks.append(blank)
    numbers += [_bits(blanks[k : k + BITS], len(rows.table)) for k in range(0, len(blanks), BITS)]
    matrix = np.stack(numbers, axis=1) if numbers else np.empty((len(rows.table), 0), np.int64)
    bounds = rows.bounds.tolist()
    for k, digest in enumerate(digests):
        begin, end = bounds[k], bounds[k + 1]
        if end == begin:
            continue
        digest.update(f"{head}{end - begin}\0".encode())
        digest.update(matrix[begin:end])
        for content, starts in texts:
            digest.update(content[starts[k] : starts[k + 1]])
        for column in others:
            digest.update(_stream(column.take(np.arange(begin, end))))


def _bits(blanks: list[Bools | None], size: int) -> Ints:
    """One number a row, with a bit for each column in which it is blank."""
    out = np.zeros(size, dtype=np.int64)
    for k, blank in enumerate(blanks):
        if blank is not None:
            out |= blank.astype(np.int64) << k
    return out


def _one_array(values: Any) -> Any:
    import pyarrow as pa

    if pa.types.is_boolean(values.type):
        values = values.cast(pa.int8())
    whole = values.combine_chunks()
    if isinstance(whole, pa.ChunkedArray):
        return whole.chunk(0) if whole.num_chunks else pa.array([], values.type)
    return whole


def _as_bytes(array: Any, blank: Bools | None) -> tuple[Ints, Bytes] | None:
    """Where the bytes of each row of a column of texts begin (n + 1,), and the bytes."""
    import pyarrow as pa

    kind = array.type
    wide = pa.types.is_large_string(kind) or pa.types.is_large_binary(kind)
    if not (wide or pa.types.is_string(kind) or pa.types.is_binary(kind)):
        return None
    _, places, content = array.buffers()
    number = np.dtype(np.int64 if wide else np.int32)
    begun = np.frombuffer(places, number)[array.offset : array.offset + len(array) + 1]
    start: Ints = begun.astype(np.int64)
    if blank is not None and np.diff(start)[blank].any():
        return None
    return start, np.frombuffer(content or b"", np.uint8)


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
    numbers = bits.astype(np.int64)
    if blank is not None:
        numbers[blank] = 0
    return numbers


def _stream(column: Any) -> bytes:
    import pyarrow as pa

    table = pa.table({"column": column}).combine_chunks()
    sink = pa.BufferOutputStream()
    with pa.ipc.new_stream(sink, table.schema) as stream:
        stream.write_table(table)
    content: bytes = sink.getvalue().to_pybytes()
    return content
