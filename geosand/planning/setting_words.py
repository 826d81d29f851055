"""Spreader settings as people write them: the number in "gate 3"."""

from __future__ import annotations

import re
from collections import Counter

import numpy as np

from geosand.columns import Bools, Floats, Strings

_ONE_NUMBER = re.compile(r"([^\d.,+-]*)(\d+(?:[.,]\d+)?)([^\d.,+-]*)", re.ASCII)


def as_numbers(texts: Strings, rows: Bools) -> tuple[Floats, tuple[str, str]]:
    """The number in each text (n,), and the words before and after it that all of them share.

    Among ``rows`` the newest (last) text with a number in it tells the words; a text with other
    words or with several numbers ("2-3") is nan, and so are the other rows.

    >>> as_numbers(np.array(["gate 3", "Gate 4,5", "wide open"]), np.ones(3, dtype=bool))
    (array([3. , 4.5, nan]), ('gate ', ''))
    """
    matches = [_ONE_NUMBER.fullmatch(text.strip()) for text in texts.tolist()]
    out = np.full(len(texts), np.nan)
    family = [(k, m) for k, m in enumerate(matches) if m and rows[k]]
    if not family:
        return out, ("", "")
    newest = family[-1][1]
    same = _plain(newest[1], newest[3])
    first = Counter((m[1], m[3]) for _, m in family if _plain(m[1], m[3]) == same)
    for k, match in family:
        if _plain(match[1], match[3]) == same:
            out[k] = float(match[2].replace(",", "."))
    return out, next(iter(first))


def _plain(before: str, after: str) -> tuple[str, str]:
    return " ".join(before.split()).casefold(), " ".join(after.split()).casefold()
