"""Columns of whole numbers made small for the page, as its script reads them.

A number is kept as its difference from the one before it, in printable characters of five bits (the
published "encoded polyline" scheme); a blank stands for no number. A figure is kept as the whole
number of small steps that reads, in every system of units, as the figure itself.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

import numpy as np

from geosand.columns import Floats, Ints
from geosand.mapping.words import UNITS, as_script, number

#: Steps in which the page holds figures of a quantity, SI: finer than any unit shows them.
STEPS = {"depth": 1e-8, "mass": 1e-3, "rate": 1e-5, "area": 1e-4, "length": 1e-5, "share": 1e-5}
#: Factors and decimals under which a share is shown: as a percentage, with one decimal or none.
_SHARES = ((100.0, "%", 1), (100.0, "%", 0))
NONE = " "


def encode_differences(whole: Ints, counts: Ints | None = None) -> list[str]:
    """Each whole number as its own run of characters, five bits a character, low bits first.

    ``counts``: how many of the numbers go together in one run; else each has its own.

    >>> encode_differences(np.array([-17998321]))  # -179.98321 degree at 1e-5: the scheme's example
    ['`~oia@']
    """
    zigzag = np.where(whole < 0, ~(whole << 1), whole << 1)
    longest = max(1, -(-int(zigzag.max(initial=0)).bit_length() // 5))
    shifted = zigzag[:, None] >> (5 * np.arange(longest))
    used = shifted > 0
    used[:, 0] = True
    shifted &= 31
    shifted[:, :-1] += 32 * used[:, 1:]  # another character follows
    text = (shifted[used] + 63).astype(np.uint8).tobytes().decode("ascii")
    ends = np.cumsum(used.sum(axis=1))
    ends = (ends if counts is None else ends[np.cumsum(counts) - 1]).tolist()
    return [text[a:b] for a, b in zip([0, *ends], ends, strict=False)]


def encode_column(whole: Sequence[int | None]) -> str:
    """A column as one text; what is missing at its end is left out.

    >>> encode_column([3, None, 3, 2, None])
    'E ?@'
    """
    given = np.array([value for value in whole if value is not None], dtype=np.int64)
    steps = iter(encode_differences(np.diff(given, prepend=0)))
    return "".join(NONE if value is None else next(steps) for value in whole).rstrip(NONE)


def whole_steps(
    values: Sequence[float | None] | Floats, quantity: str, step: float | None = None
) -> list[int | None]:
    """Figures as whole numbers of steps, so that the page shows of each what it would show itself.

    None where there is no finite figure. Figures are cut off to the step below; one that lies
    within a step of where the shown digits change takes the step on its own side of that.
    ``step``: another than the quantity's own.

    >>> whole_steps([0.00619123, None, 0.000844999], "depth")
    [619123, None, 84499]
    """
    step = step or STEPS[quantity]
    exact = np.array(values, dtype=np.float64)
    there = np.isfinite(exact)
    exact = np.where(there, exact, 0.0)
    whole = np.trunc(exact / step)
    near = np.zeros(len(exact), dtype=bool)
    for factor, _, decimals in _shown(quantity):
        scale = factor * 10.0**decimals
        near |= np.abs(np.abs(exact) * scale % 1.0 - 0.5) <= max(1.01 * step * scale, 5e-4)
    for k in np.flatnonzero(near & there).tolist():
        whole[k] = _alike(float(exact[k]), int(whole[k]), quantity, step)
    pairs = zip(whole.astype(np.int64).tolist(), there.tolist(), strict=True)
    return [value if given else None for value, given in pairs]


def _shown(quantity: str) -> Iterable[tuple[float, str, int]]:
    """Factor, unit and decimals in every way in which a quantity is shown."""
    return _SHARES if quantity == "share" else (units[quantity] for units in UNITS.values())


def _alike(exact: float, whole: int, quantity: str, step: float) -> int:
    """The step at or beside ``whole`` that reads as the exact figure; itself where none does.

    Farther out where it counts as a half and the next steps, or their floats, are a little less.
    """
    wanted = _texts(exact, quantity, number)
    out = -1 if exact < 0 else 1
    beside = (whole, *(whole + k * out for k in (1, -1, 2, 3, 4, 5, 6)))
    return next((k for k in beside if _texts(k * step, quantity, as_script) == wanted), whole)


def _texts(value: float, quantity: str, written: Callable[[float, int], str]) -> list[str]:
    """A figure in every way in which it is shown."""
    return [written(value * factor, decimals) for factor, _, decimals in _shown(quantity)]
