"""What the machine-readable documents are made of. Missing is null, never NaN."""

from __future__ import annotations

import json
import math
from typing import Any

import numpy as np

from geosand.errors import Finding
from geosand.estimates import Estimates
from geosand.reports.words import Units, shown
from geosand.site.tables import NO_DAY

Document = dict[str, Any]
MILLIMETRE = 1000.0
DUST = 1e-24  #: share of a variance that is rounding: what is left of a source that cancels


def number(value: Any, factor: float = 1.0) -> float | None:
    """A plain float to nine digits; None for what is not finite."""
    scaled = float(value) * factor
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


def figures_of(table: Any, row: int, *names: str) -> Document:
    """Figures of one row of a table, under the names of their columns."""
    return {name: number(getattr(table, name)[row]) for name in names}


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
