"""Cells of a GeoPackage that are of another type than their column.

SQLite keeps them, and the driver hands over what the column promises: it takes the text 9,5 for 9,
"none" for 0, and the number 9.5 in a column of whole numbers for 9.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from geosand.columns import Ints

#: Where a cell is not of its column's type, by NumPy's letter of that: of numbers, of whole ones.
ODD = dict.fromkeys("f", "typeof({0}) IN ('text', 'blob')")
ODD |= dict.fromkeys("iub", "typeof({0}) IN ('text', 'blob', 'real')")
_ASKED = 500  #: columns of one condition, which SQLite takes up to a depth of 1,000


def put_texts(
    path: Path, layer: str, meta: dict[str, Any], columns: list[Any], numbers: Ints
) -> None:
    """Put cells of another type than their column there as texts, in place of what they became.

    ``numbers`` (n,) are those of the rows; a view has none and stays as it is.
    """
    import pyogrio

    info = pyogrio.read_info(path, layer=layer)
    own, declared = info["fid_column"], dict(zip(info["fields"], info["dtypes"], strict=True))
    kinds = [np.dtype(declared[name]).kind for name in meta["fields"]]
    of_numbers = [k for k, kind in enumerate(kinds) if kind in ODD]
    if not (own and of_numbers):
        return
    row = {int(number): k for k, number in enumerate(numbers)}
    for begun in range(0, len(of_numbers), _ASKED):
        some = of_numbers[begun : begun + _ASKED]
        names = [_name(str(meta["fields"][k])) for k in some]
        odd = [ODD[kinds[k]].format(name) for k, name in zip(some, names, strict=True)]
        cells = (
            f"CASE WHEN {o} THEN CAST({n} AS TEXT) END" for o, n in zip(odd, names, strict=True)
        )
        ask = f"SELECT CAST({_name(own)} AS TEXT), {', '.join(cells)} FROM {_name(layer)}"
        sql = f"{ask} WHERE {' OR '.join(odd)}"
        found = pyogrio.raw.read(path, sql=sql, read_geometry=False)[3]
        rows = [row[int(number)] for number in found[0]]
        for k, texts in zip(some, found[1:], strict=True):
            there = [(r, text) for r, text in zip(rows, texts, strict=True) if text is not None]
            if there:
                columns[k] = np.asarray(columns[k], dtype=object)
                for r, text in there:
                    columns[k][r] = text


def _name(name: str) -> str:
    """A name of a table or column in SQL."""
    return '"' + name.replace('"', '""') + '"'
