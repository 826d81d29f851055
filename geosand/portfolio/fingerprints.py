"""What tells whether the rows of a site changed, whatever else its files hold."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from typing import Any

import numpy as np
import pyarrow as pa

from geosand.columns import Bools, Ints
from geosand.portfolio.arrow_columns import (
    Bytes,
    content_of,
    is_bytes,
    is_list,
    one_array,
    places_of,
    written_out,
)
from geosand.portfolio.rows_by_site import SiteRows
from geosand.tuples import NamedTuple


def fingerprints(tables: Mapping[str, SiteRows], sites: int) -> list[str]:
    """SHA-256 of each site's rows: names, types, what is blank, and all else that they say.

    It is the same whatever other sites are read with it.
    """
    digests = [hashlib.sha256() for _ in range(sites)]
    for name, rows in tables.items():
        _add(digests, name, rows)
    return [digest.hexdigest() for digest in digests]


class _Part(NamedTuple):
    """Something that a column says: what each site says lies from one bound to the next."""

    told: Ints | Bytes | Bools
    bounds: Ints  #: (sites + 1,)
    blanks_of: str = ""  #: name of what is blank where this is True; "" = it says something else


def _add(digests: list[Any], table: str, rows: SiteRows) -> None:
    """The rows of each site to its digest: all that they say, and then what is blank."""
    head, parts, others = f"{table}\0", list[_Part](), list[Any]()
    for name, values in zip(rows.table.column_names, rows.table.columns, strict=True):
        if name in ("site", "row"):
            continue
        array = _plain(values)
        head += f"{name}\0{array.type}\0"
        said = _parts(name, array, rows.bounds)
        if said is None:
            others.append(values)
        else:
            parts += said
    bounds = rows.bounds.tolist()
    for digest, begin, end in zip(digests, bounds, bounds[1:], strict=False):
        if end > begin:
            digest.update(f"{head}{end - begin}\0".encode())
    for part in parts:
        if not part.blanks_of:
            begun = part.bounds.tolist()
            for digest, begin, end in zip(digests, begun, begun[1:], strict=False):
                digest.update(part.told[begin:end])
    for part in parts:
        if part.blanks_of:
            _add_blanks(digests, part)
    for column in others:
        for digest, begin, end in zip(digests, bounds, bounds[1:], strict=False):
            if end > begin:
                digest.update(_stream(column.take(np.arange(begin, end))))


def _add_blanks(digests: list[Any], part: _Part) -> None:
    """Only to sites that have any: a column without blanks may have some where others are read."""
    before = np.append(0, np.cumsum(part.told))[part.bounds]
    for k in np.flatnonzero(np.diff(before)).tolist():
        digests[k].update(f"{part.blanks_of}\0".encode())
        digests[k].update(part.told[part.bounds[k] : part.bounds[k + 1]])


def _plain(values: Any) -> Any:
    """Yes and no as numbers, words as texts: their numbers depend on what was read with them."""
    if pa.types.is_boolean(values.type):
        values = values.cast(pa.int8())
    return one_array(written_out(values))


def _parts(name: str, array: Any, bounds: Ints) -> list[_Part] | None:
    """All that a column says; None where only Arrow can tell.

    Numbers and days are their bits, 0 where blank; of texts and lists come the lengths first, and
    then what they hold.
    """
    blank = array.is_null().to_numpy(zero_copy_only=False) if array.null_count else None
    parts = [] if blank is None else [_Part(told=blank, bounds=bounds, blanks_of=name)]
    inner = list[tuple[str, Any, Ints]]()
    if is_bytes(array.type) or is_list(array.type):
        start = places_of(array)
        size = np.diff(start)
        if blank is not None and size[blank].any():
            return None
        parts.append(_Part(told=size, bounds=bounds))
        if is_bytes(array.type):
            parts.append(_Part(told=content_of(array), bounds=start[bounds]))
        else:
            inner = [(f"{name}[]", array.values, start[bounds])]
    elif pa.types.is_struct(array.type):
        inner = [
            (f"{name}.{field.name}", column, bounds)
            for field, column in zip(array.type, array.flatten(), strict=True)
        ]
    elif (numbers := _as_numbers(array, blank)) is not None:
        parts.append(_Part(told=numbers, bounds=bounds))
    else:
        return None
    for one in inner:
        if (said := _parts(*one)) is None:
            return None
        parts += said
    return parts


def _as_numbers(array: Any, blank: Bools | None) -> Ints | None:
    """The bits of numbers and days (n,), 0 where blank; None for other types."""
    kind = array.type
    if not (pa.types.is_floating(kind) or pa.types.is_integer(kind) or pa.types.is_temporal(kind)):
        return None
    if kind.bit_width not in (8, 16, 32, 64):
        return None
    width = np.dtype(f"i{kind.bit_width // 8}")
    bits = np.frombuffer(array.buffers()[1], width)[array.offset : array.offset + len(array)]
    return bits if blank is None else np.where(blank, width.type(0), bits)


def _stream(column: Any) -> bytes:
    table = pa.table({"column": column}).combine_chunks()
    sink = pa.BufferOutputStream()
    with pa.ipc.new_stream(sink, table.schema) as stream:
        stream.write_table(table)
    content: bytes = sink.getvalue().to_pybytes()
    return content
