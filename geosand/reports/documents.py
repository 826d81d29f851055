"""What the machine-readable documents are made of. Missing is null, never NaN."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from typing import Any

import numpy as np

from geosand.columns import Floats
from geosand.errors import Finding
from geosand.estimates import Estimates
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


def to_json(document: Document) -> str:
    """Text of a document; refuses NaN."""
    return json.dumps(document, ensure_ascii=False, allow_nan=False, indent=1)


def findings_rows(findings: tuple[Finding, ...] | list[Finding]) -> list[Document]:
    return [{"about": f.about, "topic": f.topic, "text": f.text} for f in findings]


def day_said(day: np.datetime64) -> str | None:
    """The day as text; None where it was not said."""
    return None if np.isnat(day) or day == NO_DAY else str(day)


def budgets(table: Estimates) -> list[list[Document]]:
    """Sources of each row's uncertainty, masses in kg, largest first; none where not measured."""
    shares, parts = table.shares(), table.by_category()
    return [budget_rows(table, shares, parts, k, "kg") for k in range(len(table))]


def budget_rows(
    table: Estimates,
    shares: Mapping[str, Floats],
    parts: Mapping[str, Floats],
    row: int,
    unit: str,
    factor: float = 1.0,
) -> list[Document]:
    """Sources of one row; ``shares`` (they sum to 1) and ``parts`` are those of the table.

    One that cancels (water in the catches and in the bulk density measured by them) is none.
    """
    if not math.isfinite(table.value[row]):
        return []
    return [
        {"source": name, f"u_{unit}": number(u[row], factor), "share": number(shares[name][row])}
        for name, u in sorted(parts.items(), key=lambda part: -part[1][row])
        if u[row] > 0 and shares[name][row] > DUST
    ]
