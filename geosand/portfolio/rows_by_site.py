"""Rows of a table of a set, one site after the other."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from geosand.columns import Ints
from geosand.portfolio.arrow_columns import in_words, written_out


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class SiteRows:
    """Rows of some sites, one site after the other, each in the file's order."""

    table: Any  #: an Arrow table; its geometry column is called ``geometry``
    bounds: Ints  #: (sites + 1,) where the rows of each site begin

    def of(self, number: int) -> Any:
        """The rows of one site as an Arrow table."""
        begin, end = self.bounds[number : number + 2].tolist()
        return self.table.slice(begin, end - begin)

    def member(self) -> Ints:
        """The number of the site that each row is of."""
        return np.repeat(np.arange(len(self.bounds) - 1), np.diff(self.bounds))


def rows_among(table: Any, keys: Sequence[str]) -> Any:
    """The rows of the wanted sites, in the order in which they stand."""
    return _taken(table, np.flatnonzero(owners(table["site"], _places(keys)) >= 0))


def split_by_site(table: Any, keys: Sequence[str], geometry: str) -> SiteRows:
    """The rows of the wanted sites; the geometry column called ``geometry``."""
    names = ["geometry" if n == geometry else n for n in table.column_names]
    table = _as_python_has_them(table.rename_columns(names))
    owner = owners(table["site"], _places(keys))
    rows = np.flatnonzero(owner >= 0)
    rows = rows[np.argsort(owner[rows], kind="stable")]
    bounds = np.searchsorted(owner[rows], np.arange(len(keys) + 1))
    return SiteRows(table=_taken(table, rows), bounds=bounds)


def _places(keys: Sequence[str]) -> dict[str, int]:
    return {key: number for number, key in enumerate(keys)}


def owners(sites: Any, place: Mapping[str, int]) -> Ints:
    """The number that ``place`` has for the site that each row is of; -1 for others."""
    coded = coded_sites(sites)
    number = np.array([*(place.get(word, -1) for word in coded.dictionary.to_pylist()), -1])
    owner: Ints = number[coded.indices.fill_null(-1).to_numpy(zero_copy_only=False)]
    return owner


def coded_sites(sites: Any) -> Any:
    """The column ``site`` as different names and the number of each row's, whatever its type."""
    coded = in_words(sites)
    coded = in_words(written_out(sites).cast(pa.string())) if coded is None else coded
    return pa.DictionaryArray.from_arrays(coded.indices.cast(pa.int64()), coded.dictionary)


def _taken(table: Any, rows: Ints) -> Any:
    if (np.diff(rows) == 1).all():
        return table.slice(int(rows[0]) if len(rows) else 0, len(rows))
    return table.take(pa.array(rows))


def _as_python_has_them(table: Any) -> Any:
    """Decimals as floats, as no reader tells them from texts; times to the microsecond.

    Python's own times know nothing finer; without pandas such a cell could not be told. Days that
    they do not know, after the year 9999, become texts.
    """
    for number, field in enumerate(table.schema):
        coded = pa.types.is_dictionary(field.type)
        written = field.type.value_type if coded else field.type
        if pa.types.is_decimal(written) and field.name != "site":
            steps = [pa.string(), pa.float64()]  # at once, one in seven is off in its last digit
        elif written == pa.duration("ns"):
            steps = [pa.duration("us")]
        elif pa.types.is_timestamp(written) and written.unit == "ns":
            steps = [pa.timestamp("us", written.tz)]
        elif _beyond_python(table.column(number), written):
            steps = [pa.string()]
        else:
            continue
        column = table.column(number)
        for kind in (written, *steps):
            column = column.cast(kind, safe=False)
        table = table.set_column(number, field.name, column)
    return table


def _beyond_python(column: Any, kind: Any) -> bool:
    """True for a column of days or times of which Python has no word for one."""
    if not (pa.types.is_timestamp(kind) or pa.types.is_date(kind)):
        return False
    try:
        pc.min_max(column.cast(kind)).as_py()
    except (OverflowError, ValueError):
        return True
    return False
