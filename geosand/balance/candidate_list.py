"""A list of inputs that can be off, filled one by one."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from geosand.columns import Floats


@dataclass(slots=True)
class CandidateList:
    """Rows of :class:`geosand.balance.reconciliation_candidates.Candidates`, in order."""

    rows: list[tuple[str, str, bool, float, Floats, float, float, dict[str, float]]] = field(
        default_factory=list
    )

    def add(
        self,
        name: str,
        direction: Floats,
        *,
        unit: str,
        stated: float,
        lowest: float,
        highest: float,
        persists: bool = True,
        errors: dict[str, float] | None = None,
    ) -> None:
        """Note an input, unless it does nothing to any equation."""
        if np.any(direction != 0):
            row = (name, unit, persists, stated, direction, lowest, highest, errors or {})
            self.rows.append(row)
