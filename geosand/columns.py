"""Column types of every table, and the one way to freeze them."""

from __future__ import annotations

from dataclasses import fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
Strings = NDArray[np.str_]
Dates = NDArray[np.datetime64]
Geometries = NDArray[np.object_]


def freeze(table: Any) -> None:
    """Check that all array columns of a dataclass ``table`` are equally long; set them read-only.

    Call it from ``__post_init__``. Raises ValueError naming the columns that differ.
    """
    columns = {f.name: getattr(table, f.name) for f in fields(table)}
    arrays = {name: col for name, col in columns.items() if isinstance(col, np.ndarray)}
    lengths = {name: len(col) for name, col in arrays.items()}
    if len(set(lengths.values())) > 1:
        raise ValueError(f"{type(table).__name__}: columns of different length: {lengths}")
    for column in arrays.values():
        column.flags.writeable = False


def distinct(column: NDArray[Any], axis: int | None = None) -> NDArray[Any]:
    """The values (or with axis 0 the rows) that occur, each once, in order.

    ``np.unique`` by itself would first load ``numpy.ma``, a thirtieth of a short run.
    """
    return np.unique(column, axis=axis, return_index=True)[0]


def ratio(above: Floats | Ints | float, below: Floats | Ints, empty: float = np.nan) -> Floats:
    """above / below row by row; ``empty`` where ``below`` is 0 or not known.

    >>> ratio(np.array([1.0, 1.0]), np.array([4.0, 0.0])).tolist()
    [0.25, nan]
    """
    known = np.isfinite(below) & (np.asarray(below) != 0)
    shape = np.broadcast_shapes(np.shape(above), np.shape(below))
    out: Floats = np.divide(above, below, out=np.full(shape, empty), where=known)
    return out


def take(table: Any, rows: Any) -> Any:
    """The same table with only ``rows`` (a boolean mask or indices) of every column."""
    columns = {f.name: getattr(table, f.name) for f in fields(table)}
    return type(table)(
        **{k: v[rows] if isinstance(v, np.ndarray) else v for k, v in columns.items()}
    )
