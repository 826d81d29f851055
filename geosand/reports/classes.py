"""Round limits of classes for pictures of five colours, round scales, in the unit that is shown."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from itertools import count

from geosand.columns import frozen
from geosand.reports.words import grouped

CLASSES = 5
_MANTISSAS = (1.0, 2.0, 2.5, 5.0)


def round_steps(least: float) -> Iterator[float]:
    """Round step widths in rising order, none below ``least``: 1, 2, 2.5 and 5 times 10ⁿ.

    >>> steps = round_steps(0.3)
    >>> [next(steps) for _ in range(4)]
    [0.5, 1.0, 2.0, 2.5]
    """
    for power in count(math.floor(math.log10(least))):
        for mantissa in _MANTISSAS:
            step = float(f"{mantissa}e{power}")
            if step >= least * (1 - 1e-9):
                yield step


def rising_breaks(
    values: Iterable[float], *, decimals: int, from_zero: bool = False
) -> list[float]:
    """Four limits between five classes of equal round width for ``values``.

    Values are in the shown unit; ``decimals`` is what the unit is shown with, and no limit needs
    more. The outer classes are open, so of ten and more values a twentieth at either end does not
    stretch them. No class is narrower than a twentieth of the values, as depths are seldom known
    more closely, and values that lie close together get the classes in the middle. Empty where
    there is nothing to classify.

    >>> rising_breaks([0.62, 0.71, 0.98], decimals=2)
    [0.7, 0.8, 0.9, 1.0]
    >>> rising_breaks([4.97], decimals=2)
    [4.5, 4.75, 5.0, 5.25]
    """
    shown = sorted(value for value in values if math.isfinite(value))
    if not shown:
        return []
    spare = math.ceil(len(shown) / 20) if len(shown) >= 10 else 0
    shown = shown[spare : len(shown) - spare]
    low, high = (0.0 if from_zero else shown[0]), shown[-1]
    least = max((high - low) / CLASSES, 10.0**-decimals, abs(high) / 20)
    for step in round_steps(least):
        start = math.floor(low / step + 1e-9) * step
        if not from_zero:
            spare = CLASSES - 1 - math.floor((high - start) / step + 1e-9)
            start -= step * min(max(spare // 2, 0), math.floor(max(start, 0.0) / step + 1e-9))
        round_enough = step == round(step, decimals)
        if round_enough and start + CLASSES * step >= high * (1 - 1e-9):
            return [round(start + step * k, decimals) for k in range(1, CLASSES)]
    raise AssertionError("unreachable: the steps rise without end")


def balanced_breaks(values: Iterable[float], *, decimals: int) -> list[float]:
    """Four limits -3t, -t, t, 3t around zero, with t round and the largest value below 5t.

    >>> balanced_breaks([-0.4, 2.1], decimals=2)
    [-1.5, -0.5, 0.5, 1.5]
    """
    shown = [abs(value) for value in values if math.isfinite(value)]
    if not shown:
        return []
    for step in round_steps(max(max(shown) / CLASSES, 10.0**-decimals)):
        if step == round(step, decimals):
            return [round(k * step, decimals) for k in (-3, -1, 1, 3)]
    raise AssertionError("unreachable: the steps rise without end")


def class_of(value: float, breaks: list[float]) -> int:
    """Number of the class, 0 to 4; a value on a limit belongs to the upper class."""
    return sum(value >= limit for limit in breaks)


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
        cls, values: list[float], *, start: float, end: float, marks: int = 5, tight: bool = False
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
