"""Round class limits for pictures of five colours, in the unit that is shown."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from itertools import count

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
