"""Ways to spoil the small valid site of ``tests.sites``: one cell, one key, one feature."""

from __future__ import annotations

import io
import json
from collections.abc import Sequence
from typing import Any

from tests.sites import (
    CATCHES,
    DRESSINGS,
    LOADS,
    SURFACES,
    TOML,
    catch,
    collection,
    table,
)


def csv_text(rows: Sequence[dict[str, Any]], separator: str = ",") -> str:
    """Rows as CSV text."""
    return table(rows, separator)


def with_catch(k: int = 1, **changes: Any) -> list[dict[str, Any]]:
    """The six catches, catch ``k`` with changes."""
    return [catch(n, **(changes if n == k else {})) for n in range(1, 7)]


def all_catches(**changes: Any) -> list[dict[str, Any]]:
    """The six catches, each with changes."""
    return [catch(n, **changes) for n in range(1, 7)]


def each(change: Any) -> list[dict[str, Any]]:
    """The six catches, each changed by a function of it."""
    return [c | change(c) for c in CATCHES]


def settings(old: str, new: str) -> str:
    """``site.toml`` with one text changed."""
    assert old in TOML
    return TOML.replace(old, new)


def workbook(**sheets: Sequence[Sequence[Any]]) -> bytes:
    """A workbook of these sheets."""
    from openpyxl import Workbook

    book = Workbook()
    book.remove(book.worksheets[0])
    for name, rows in sheets.items():
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(list(row))
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def cells_of(text: str) -> list[list[Any]]:
    """CSV text as cells, numbers as numbers."""
    lines = [line.split(",") for line in text.strip().splitlines()]
    return [lines[0]] + [[as_number(cell) for cell in line] for line in lines[1:]]


def as_number(cell: str) -> Any:
    """A float where the text is one."""
    try:
        return float(cell)
    except ValueError:
        return cell


CATCH_ROWS = cells_of(csv_text(CATCHES))
CATCH_HEAD = csv_text(CATCHES[:1]).split("\n")[0] + "\n"
COLLECTION = json.dumps(collection(SURFACES))
BOOK = {"dressings": cells_of(DRESSINGS), "loads": cells_of(LOADS), "catches": CATCH_ROWS}
NO_CSV: dict[str, Any] = {"dressings": None, "loads": None, "catches": None}
EXTRA_LOAD = LOADS + "L2,D1,1,25,0.25,1\n"


def in_workbook(**changes: Any) -> dict[str, Any]:
    """The valid site with its records in a workbook, sheets changed."""
    return {**NO_CSV, "files": {"records.xlsx": workbook(**{**BOOK, **changes})}}


def with_surface(*features: Any) -> dict[str, Any]:
    """The valid site with other features in place of its first green."""
    return {"surfaces": [*features, *SURFACES[1:]]}


def ring(*positions: Any) -> dict[str, Any]:
    """A Polygon of one ring."""
    return {"type": "Polygon", "coordinates": [[list(p) for p in positions]]}


def nested(levels: int) -> str:
    """A collection nested that deep."""
    return '{"type":"FeatureCollection","features":' + "[" * levels + "]" * levels + "}"
