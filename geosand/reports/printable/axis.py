"""Scales from values to places on paper, with round marks."""

from __future__ import annotations

import math

from geosand.columns import frozen
from geosand.reports.classes import round_steps
from geosand.reports.words import grouped


@frozen
class Scale:
    """A straight scale; ``low`` and ``high`` are values, ``start`` and ``end`` places."""

    low: float
    high: float
    start: float
    end: float
    step: float

    @classmethod
    def over(
        cls,
        values: list[float],
        *,
        start: float,
        end: float,
        marks: int = 5,
        tight: bool = False,
    ) -> Scale:
        """A scale that holds zero and all finite values, with about ``marks`` round marks.

        It ends at round marks or, where ``tight``, at the outermost values.
        """
        finite = [v for v in values if math.isfinite(v)]
        low, high = min([0.0, *finite]), max([0.0, *finite])
        if high == low:
            high = 1.0
        step = next(round_steps((high - low) / marks))
        if not tight:
            low = math.floor(low / step + 1e-9) * step
            high = math.ceil(high / step - 1e-9) * step
        return cls(low=low, high=high, start=start, end=end, step=step)

    def at(self, value: float) -> float:
        """Place of a value, kept on the scale."""
        share = (min(max(value, self.low), self.high) - self.low) / (self.high - self.low)
        return self.start + share * (self.end - self.start)

    def marks(self) -> list[float]:
        """The round values from low to high.

        >>> Scale.over([0.0, 9.3], start=0, end=100).marks()
        [0.0, 2.0, 4.0, 6.0, 8.0, 10.0]
        """
        first = math.ceil(self.low / self.step - 1e-9)
        last = math.floor(self.high / self.step + 1e-9)
        return [round(k * self.step, 12) for k in range(first, last + 1)]

    def text(self, value: float) -> str:
        """A mark's label: no more decimals than the step has."""
        decimals = max(0, -math.floor(math.log10(self.step)))
        if abs(self.step * 10**decimals - round(self.step * 10**decimals)) > 1e-6:
            decimals += 1
        return "0" if value == 0 else grouped(value, decimals).replace("-", "−")
