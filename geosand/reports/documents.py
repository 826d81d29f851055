"""What the machine-readable documents are made of. Missing is null, never NaN."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np

from geosand.columns import Bools, Ints
from geosand.errors import Finding
from geosand.estimates import Estimates
from geosand.reports.words import Units, shown
from geosand.site.tables import NO_DAY

Document = dict[str, Any]
MILLIMETRE, KMH = 1000.0, 3.6
#: By the unit in which a key ends: what turns SI into it, and how the SI column's name ends.
_SCALES = {"mm": (MILLIMETRE, "_m"), "percent": (100.0, ""), "kmh": (KMH, "_m_s")}
_ALL = slice(None)
DUST = 1e-24  #: share of a variance that is rounding: what is left of a source that cancels


def number(value: Any, factor: float = 1.0) -> float | None:
    """A plain float to nine digits; None for what is not finite, or not there."""
    scaled = math.nan if value is None else float(value) * factor
    return float(f"{scaled:.9g}") if math.isfinite(scaled) else None


def si(value: float | None, factor: float = 1.0) -> float:
    """A figure of a document without its factor; nan for null."""
    return math.nan if value is None else value / factor


def told(figure: float | None, measure: str, units: Units, *, unit: bool = True) -> str:
    """A document's figure in the reader's units, ``–`` for null; depths stand there in mm.

    >>> told(0.5, "depth", "us"), told(12.3, "mass", "metric", unit=False), told(None, "mass", "us")
    ('0.020 in', '12', '–')
    """
    return shown(si(figure, MILLIMETRE if measure == "depth" else 1.0), measure, units, unit=unit)


def rows_of(columns: Mapping[str, Iterable[Any]]) -> list[Document]:
    """Rows of a document from whole columns in SI, each figure in the unit that its key ends in.

    >>> rows_of({"id": np.array(["g1"]), "depth_mm": np.array([0.002]), "u_mm": np.array([np.nan])})
    [{'id': 'g1', 'depth_mm': 2.0, 'u_mm': None}]
    """
    told = [_cells(key, column) for key, column in columns.items()]
    return [dict(zip(columns, row, strict=True)) for row in zip(*told, strict=True)]


def _cells(key: str, column: Iterable[Any]) -> Iterable[Any]:
    """Values of a column as JSON has them; a list is one of such values already."""
    if not isinstance(column, np.ndarray):
        return column
    if column.dtype.kind == "f":
        factor, _ = _SCALES.get(key.rpartition("_")[2], (1.0, ""))
        return [number(value, factor) for value in column.tolist()]
    texts: list[Any] = (column.astype(str) if column.dtype.kind == "M" else column).tolist()
    return texts


def columns_of(table: Any, *keys: str, rows: Ints | slice = _ALL) -> dict[str, Any]:
    """Columns of a table by the keys under which they are told: ``low_mm`` is its ``low_m``."""
    columns = {}
    for key in keys:
        stem, _, unit = key.rpartition("_")
        column = getattr(table, stem + _SCALES[unit][1] if unit in _SCALES else key)
        columns[key] = column[rows]
    return columns


def bases(own: Bools, known: Bools) -> list[str | None]:
    """What each figure stands on; None where it is not known."""
    words = np.where(own, "own catches", "other surfaces").tolist()
    return [word if there else None for word, there in zip(words, known.tolist(), strict=True)]


def to_json(document: Document) -> str:
    """Text of a document; refuses NaN."""
    return json.dumps(document, ensure_ascii=False, allow_nan=False, indent=1)


def findings_rows(findings: tuple[Finding, ...] | list[Finding]) -> list[Document]:
    return [{"about": f.about, "topic": f.topic, "text": f.text} for f in findings]


def day_said(day: np.datetime64) -> str | None:
    """The day as text; None where it was not said."""
    return None if np.isnat(day) or day == NO_DAY else str(day)


def budgets(table: Estimates, unit: str = "kg", factor: float = 1.0) -> list[list[Document]]:
    """Sources of each row's uncertainty, largest first, shares summing to 1; none if not measured.

    A source that cancels (water in the catches and in the bulk density measured by them) is none.
    """
    shares, known = table.shares(), np.isfinite(table.value)
    parts = list(table.by_category().items())
    return [
        [
            {"source": name, f"u_{unit}": number(u[k], factor), "share": number(shares[name][k])}
            for name, u in sorted(parts, key=lambda part: -part[1][k])
            if u[k] > 0 and shares[name][k] > DUST
        ]
        if known[k]
        else []
        for k in range(len(table))
    ]
