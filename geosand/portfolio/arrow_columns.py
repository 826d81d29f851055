"""What lies in the buffers of an Arrow column."""

from __future__ import annotations

from typing import Any

import numpy as np
import pyarrow as pa

from geosand.columns import Ints

Bytes = np.ndarray[Any, np.dtype[np.uint8]]


def one_array(values: Any) -> Any:
    """A column as one Arrow array, whatever pieces it was read in."""
    pieces = [piece for piece in values.chunks if len(piece)]
    if len(pieces) == 1:  # as it is: a copy would take memory anew
        return pieces[0]
    return pa.concat_arrays(pieces) if pieces else pa.array([], values.type)


def without_views(table: Any) -> Any:
    """The table with views of texts and bytes written out, as Arrow can not take rows of them."""
    plain = {"string_view": pa.large_string(), "binary_view": pa.large_binary()}
    for k, field in enumerate(table.schema):
        if kind := plain.get(str(field.type)):
            table = table.set_column(k, field.with_type(kind), table.column(k).cast(kind))
    return table


def in_words(values: Any) -> Any:
    """A column of texts as different words and the number of each row's; None for other columns."""
    kind = values.type
    coded = pa.types.is_dictionary(kind)
    kind = kind.value_type if coded else kind
    if not (pa.types.is_string(kind) or pa.types.is_large_string(kind)):
        return None
    if coded:
        return one_array(values.unify_dictionaries())
    return one_array(values).dictionary_encode()


def written_out(values: Any) -> Any:
    """A column of different words and the number of each row's as the words in all rows."""
    kind = values.type
    return values.cast(kind.value_type) if pa.types.is_dictionary(kind) else values


def cells_in(column: Any) -> list[Any]:
    """The cells of a column; bytes that are no UTF-8 as halves of signs, which no reader takes."""
    try:
        cells: list[Any] = column.to_pylist()
    except UnicodeDecodeError:
        raw = column.cast(pa.large_binary()).to_pylist()
        cells = [None if c is None else c.decode("utf-8", "surrogateescape") for c in raw]
    return cells


def is_bytes(kind: Any) -> bool:
    """True for columns of texts or of binary that are not of one length."""
    of = pa.types
    texts: bool = of.is_string(kind) or of.is_large_string(kind)
    return texts or of.is_binary(kind) or of.is_large_binary(kind)


def is_list(kind: Any) -> bool:
    """True for lists that are not of one length."""
    return bool(pa.types.is_list(kind) or pa.types.is_large_list(kind))


def places_of(array: Any) -> Ints:
    """Where the bytes, or members, of each row begin, and the last end (n + 1,), as stored."""
    of, kind = pa.types, array.type
    wide = of.is_large_list(kind) or of.is_large_string(kind) or of.is_large_binary(kind)
    number = np.dtype(np.int64 if wide else np.int32)
    places = array.buffers()[1]
    if places is None:  # Arrow may leave them out where there are no rows
        return np.zeros(len(array) + 1, dtype=number)
    return np.frombuffer(places, number)[array.offset : array.offset + len(array) + 1]


def content_of(array: Any) -> Bytes:
    """The bytes of all rows."""
    return np.frombuffer(array.buffers()[2] or b"", np.uint8)
