"""Column types of every table, and the one way to freeze them."""

from __future__ import annotations

from dataclasses import MISSING, FrozenInstanceError, dataclass, field, fields
from typing import Any, NoReturn, TypeVar, dataclass_transform

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
Strings = NDArray[np.str_]
Dates = NDArray[np.datetime64]
Geometries = NDArray[np.object_]
T = TypeVar("T")


@dataclass_transform(
    frozen_default=True, kw_only_default=True, eq_default=False, field_specifiers=(field,)
)
def frozen(table: type[T]) -> type[T]:
    """A dataclass with slots; values are given by name, once, and it equals itself only.

    ``dataclass(frozen=True)`` writes and compiles three functions for each class, three quarters
    of what a table costs at import, and a run has fifty; these are shared by all.
    """
    made = dataclass(slots=True, kw_only=True, eq=False, repr=False, init=False)(table)
    made.__init__ = _fill  # type: ignore[method-assign, assignment]
    made.__setattr__, made.__delattr__ = _set_once, _keep  # type: ignore[method-assign]
    made.__repr__ = _told  # type: ignore[method-assign]
    return made


@dataclass_transform(
    frozen_default=True, kw_only_default=True, eq_default=False, field_specifiers=(field,)
)
def columns(table: type[T]) -> type[T]:
    """A frozen class whose arrays are columns: equally long, and set read-only.

    >>> @columns
    ... class Pair:
    ...     x: Floats
    ...     y: Floats
    >>> Pair(x=np.zeros(2), y=np.zeros(3))
    Traceback (most recent call last):
    ValueError: Pair: columns of different length: {'x': 2, 'y': 3}
    """
    table.__post_init__ = freeze  # type: ignore[attr-defined]
    return frozen(table)


class Sized:
    """Base of a table of columns: it is as long as its first one."""

    __slots__: tuple[str, ...] = ()

    def __len__(self) -> int:
        return len(getattr(self, self.__slots__[0]))


class Late:
    """Base of a table with a ``functools.cached_property``: what few outputs tell is worked out
    where it is asked for, once. Many sites at a time never ask.
    """


def _fill(table: Any, /, **values: Any) -> None:
    for name, column in table.__dataclass_fields__.items():
        if column.init and name in values:
            value = values.pop(name)
        elif column.default is not MISSING:
            value = column.default
        elif column.default_factory is not MISSING:
            value = column.default_factory()
        elif column.init:
            raise TypeError(f"{type(table).__name__}: {name} is not given")
        else:  # what __post_init__ sets
            continue
        object.__setattr__(table, name, value)
    if values:
        raise TypeError(f"{type(table).__name__}: {', '.join(values)} can not be given")
    if hasattr(table, "__post_init__"):
        table.__post_init__()


def _told(table: Any) -> str:
    values = (f"{name}={getattr(table, name)!r}" for name in table.__dataclass_fields__)
    return f"{type(table).__name__}({', '.join(values)})"


def _set_once(table: Any, name: str, value: Any) -> None:
    if name not in table.__dataclass_fields__ or hasattr(table, name):
        raise FrozenInstanceError(f"{type(table).__name__}.{name} can not be changed")
    object.__setattr__(table, name, value)


def _keep(table: Any, name: str) -> NoReturn:
    raise FrozenInstanceError(f"{type(table).__name__}.{name} can not be deleted")


def freeze(table: Any) -> None:
    """Check that all array columns of a dataclass ``table`` are equally long; set them read-only.

    Call it from ``__post_init__``. Raises ValueError naming the columns that differ.
    """
    size = -1
    for name in table.__dataclass_fields__:
        column = getattr(table, name)
        if isinstance(column, np.ndarray):
            if size not in (-1, len(column)):
                raise ValueError(_different(table))
            size = len(column)
            column.flags.writeable = False


def _different(table: Any) -> str:
    columns = {field.name: getattr(table, field.name) for field in fields(table)}
    lengths = {name: len(col) for name, col in columns.items() if isinstance(col, np.ndarray)}
    return f"{type(table).__name__}: columns of different length: {lengths}"


def distinct(column: NDArray[Any]) -> NDArray[Any]:
    """The values that occur, each once, in order.

    ``np.unique`` by itself would first load ``numpy.ma``, a thirtieth of a short run.
    """
    if column.dtype.kind == "i" and column.ndim == 1:  # a third of the time
        in_order = np.sort(column)
        return in_order[begins(in_order)]
    return np.unique(column, return_index=True)[0]


def beginning_alike(numbers: NDArray[np.uint64]) -> Ints:
    """Rows of numbers of 64 well mixed bits: all that come again, and up to 40 % of the others.

    In less than a fifth of the time of sorting 100,000 of them.
    """
    begun = (numbers >> np.uint64(63 - len(numbers).bit_length())).astype(np.int64)
    return np.flatnonzero(np.bincount(begun).take(begun) > 1)


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
    """The same table, a dataclass or a named tuple, with only ``rows`` of every column.

    ``rows`` are a boolean mask, a slice or indices.

    >>> from typing import NamedTuple
    >>> Pair = NamedTuple("Pair", [("x", Ints), ("size", int)])
    >>> take(Pair(x=np.arange(3), size=7), np.array([0, 2]))
    Pair(x=array([0, 2]), size=7)
    """
    if isinstance(table, tuple):
        return type(table)(*(v[rows] if isinstance(v, np.ndarray) else v for v in table))
    columns = {f.name: getattr(table, f.name) for f in fields(table)}
    return type(table)(
        **{k: v[rows] if isinstance(v, np.ndarray) else v for k, v in columns.items()}
    )


def ragged(starts: Ints, counts: Ints) -> tuple[Ints, Ints]:
    """Owner and position of each member of runs of ``counts`` (n,) rows from ``starts`` (n,) on.

    >>> [column.tolist() for column in ragged(np.array([5, 0]), np.array([2, 3]))]
    [[0, 0, 1, 1, 1], [5, 6, 0, 1, 2]]
    """
    owner = np.repeat(np.arange(len(counts)), counts)
    place = np.repeat(starts - np.cumsum(counts) + counts, counts)
    place += np.arange(len(place))
    return owner, place


def begins(column: NDArray[Any]) -> Bools:
    """Whether each row (n,) is another than the one before it, as the first one is.

    >>> begins(np.array([4, 4, 7])).tolist()
    [True, False, True]
    """
    new = np.empty(len(column), dtype=np.bool_)
    new[:1] = True
    np.not_equal(column[1:], column[:-1], out=new[1:])
    return new


def joined_labels(count: int, one: Ints, other: Ints) -> Ints:
    """The lowest number (count,) that chains of the pairs join each number to.

    >>> joined_labels(4, np.array([3]), np.array([1])).tolist()
    [0, 1, 2, 1]
    """
    label = np.arange(count)
    while True:
        lower = label.copy()
        np.minimum.at(lower, one, label[other])
        np.minimum.at(lower, other, label[one])
        lower = lower[lower]
        if (lower == label).all():
            return label
        label = lower


FEW = 4096  #: rows that are gathered before one has looked whether they had to be


def alike(column: Floats, rows: Ints) -> Floats:
    """``column[rows]`` to multiply by: of many rows of one and the same number, that alone.

    >>> alike(np.array([0.1, 0.1]), np.zeros(5000, dtype=int)).tolist()
    [0.1]
    >>> alike(np.array([0.1, 0.2]), np.array([0, 1, 1])).tolist()
    [0.1, 0.2, 0.2]
    """
    if len(rows) > FEW and (column == column[0]).all():
        return column[:1]
    return column.take(rows)


class Runs:
    """Rows put into runs by the group (n,) that each is of, 0 to ``size`` - 1, to sum columns.

    A sum depends on the rows of its group and their order alone, as with ``bincount``; where they
    stand together anyhow, this takes a fifth of its time.
    """

    __slots__ = ("first", "order", "present", "size")

    def __init__(self, group: Ints, size: int) -> None:
        self.size, self.order = size, None
        self.first = begins(group).nonzero()[0]
        self.present = group.take(self.first)
        if np.count_nonzero(self.present[1:] < self.present[:-1]):
            self.order = np.argsort(group, kind="stable")
            group = group[self.order]
            self.first = begins(group).nonzero()[0]
            self.present = group.take(self.first)

    def sums(self, column: Floats) -> Floats:
        """Sum (…, size) by group of a column (n,) or of a table of them; 0 where it has no row.

        The column itself where every row is a group of its own.
        """
        if self.order is not None:
            column = column.take(self.order, axis=-1)
        if len(self.first) < column.shape[-1]:
            column = np.add.reduceat(column, self.first, axis=-1)
        return self.of_all(column, 0.0)

    def extremes(self, column: Floats) -> tuple[Floats, Floats]:
        """Least and largest value (size,) of each group; nan where it has no row."""
        if not len(self.first):
            return self.of_all(column, np.nan), self.of_all(column, np.nan)
        if self.order is not None:
            column = column.take(self.order)
        least, most = (end.reduceat(column, self.first) for end in (np.minimum, np.maximum))
        return self.of_all(least, np.nan), self.of_all(most, np.nan)

    def first_rows(self) -> Ints:
        """Where the first row of each group that has any stands."""
        return self.first if self.order is None else self.order.take(self.first)

    def firsts(self, column: Floats) -> tuple[Floats, Ints]:
        """Value (size,) of each group's first row, nan without one; groups where others differ."""
        if self.order is not None:
            column = column.take(self.order)
        other = begins(column)
        other[self.first] = False
        first = self.of_all(column.take(self.first), np.nan)
        if not np.count_nonzero(other):
            return first, self.present[:0]
        return first, self.present.take(np.searchsorted(self.first, other.nonzero()[0]) - 1)

    def rise(self, column: Ints) -> bool:
        """Whether a column (n,) rises from row to row of each group, the rows being in order."""
        rises = column[:-1] < column[1:]
        rises[self.first[1:] - 1] = True
        return bool(np.count_nonzero(rises) == len(rises))

    def of_all(self, found: Floats, empty: float) -> Floats:
        """What was found (…, k) of the groups that have rows, with ``empty`` of the others."""
        if len(self.present) == self.size:
            return found
        every = np.full((*found.shape[:-1], self.size), empty)
        every[..., self.present] = found
        return every
