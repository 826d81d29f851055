"""``site.toml`` as a document of tables; of several sites each value is a column of all of them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from geosand.columns import Bools
from geosand.errors import Faults
from geosand.site.cells import RawTable
from geosand.site.raw_columns import Column, Texts, written

FILE = "site.toml"


def rows_of(mapping: Mapping[str, Any], place: str, members: int) -> RawTable:
    """A TOML table as a table of one row a site; lists, and tables in it, are texts."""
    cells: dict[str, Column] = {}
    for name, value in mapping.items():
        cells[name] = [str(value)] if isinstance(value, list) else column_of(value)
        if isinstance(value, dict):  # nothing is read from it, which is to be told
            cells[name] = ["a table" if said else None for said in said_by(value, members)]
    number = np.arange(members, dtype=np.int64)
    return RawTable(
        file=FILE, rows=[place] * members, columns=cells, member=number, members=members
    )


def column_of(value: Any) -> Column:
    """What stands behind a key: one value, or already a column with each site's."""
    return value if isinstance(value, (np.ndarray, Texts)) else [value]


def said_by(value: Any, members: int) -> Bools:
    """Which sites have this table or value."""
    if members == 1:
        return np.ones(1, dtype=np.bool_)
    if not isinstance(value, dict):
        return written(column_of(value))
    parts = [said_by(inner, members) for inner in value.values()]
    some: Bools = np.logical_or.reduce([np.zeros(members, dtype=np.bool_), *parts])
    return some


def table_of(value: Any, name: str, members: int, faults: Faults) -> Mapping[str, Any]:
    if isinstance(value, dict):
        return value
    for k in np.flatnonzero(said_by(value, members)).tolist():
        remedy = f"write it as [{name}] with lines below it"
        faults.add(FILE, f"{name} is not a table", remedy=remedy, member=k)
    return {}
