"""Figures as people read them: two or three digits, the unit said once, an interval beside."""

from __future__ import annotations

import math
import re
from typing import Literal

from geosand.units import SHOWN

Units = Literal["metric", "us"]
MISSING = "–"
NO_DRESSING = "No dressing is recorded yet: they go into dressings.csv, or into records.xlsx."


def shown(value: float, measure: str, units: Units, *, unit: bool = True) -> str:
    """An SI value in the reader's units, ``–`` where there is none."""
    factor, label, decimals = SHOWN[units][measure]
    if not math.isfinite(value):
        return MISSING
    text = f"{value * factor:,.{decimals}f}".replace(",", "\u202f").replace("-", "−")
    if float(text.replace("\u202f", "").replace("−", "-")) == 0:
        text = text.replace("−", "")
    return f"{text} {label}" if unit else text


def label_of(measure: str, units: Units) -> str:
    """The unit's label for a column's head."""
    return SHOWN[units][measure][1]


def percent(share: float | None) -> str:
    """A share as a whole percentage."""
    if share is None or not math.isfinite(share):
        return MISSING
    return f"{share * 100:.0f} %".replace("-", "−")


def between(low: float, high: float, measure: str, units: Units) -> str:
    """An interval in the reader's units, without the unit."""
    if not (math.isfinite(low) and math.isfinite(high)):
        return MISSING
    texts = (shown(low, measure, units, unit=False), shown(high, measure, units, unit=False))
    return f"{texts[0]} to {texts[1]}"


def chance(probability: float) -> str:
    """A probability as a whole percentage; never a certainty that no measurement gives."""
    if probability > 0.99:
        return "> 99 %"
    return percent(probability)


def signed_percent(change: float) -> str:
    """A change with its sign, one decimal."""
    return f"{change:+.1f}".replace("-", "−")


def listed(names: list[str], most: int = 6) -> str:
    """Up to ``most`` names and how many more."""
    more = f" and {len(names) - most} more" if len(names) > most else ""
    return ", ".join(names[:most]) + more


_NUMBER = r"−?[0-9]+(?:[,\u202f][0-9]{3})*(?:\.[0-9]+)?"
_METRIC = (
    rf"(?<![\w./,])(?:({_NUMBER}) (to|±) )?({_NUMBER}) (mm|cm|m²|kg|km|m)(?![\w/²³])(?! \(−?\d)"
)
_QUOTED = r"(?<!\w)'[^']*'(?!\w)"  # what somebody wrote, told as it stands
_MEASURES = {
    **{"mm": "depth", "cm": "span", "m": "length", "km": "distance"},
    **{"m²": "area", "kg": "mass"},
}


def in_words_of(text: str, units: Units) -> str:
    """A metric sentence; for a reader of US units with their figure behind each that has none.

    >>> in_words_of("drawn 10.0 m², taped at 2.5 m; 12 ± 3 kg missing, 4 m (13.1 ft)", "us")
    'drawn 10.0 m² (108 ft²), taped at 2.5 m (8.2 ft); 12 ± 3 kg (26 ± 7 lb) missing, 4 m (13.1 ft)'
    >>> in_words_of("50 to 3000 m² are usual", "us"), in_words_of("3 m", "metric")
    ('50 to 3000 m² (538 to 32\u202f292 ft²) are usual', '3 m')
    >>> in_words_of("the file's 5 m: '5 kg' is not a number", "us")
    "the file's 5 m (16.4 ft): '5 kg' is not a number"
    >>> in_words_of("survey to ± 2 cm", "us")
    'survey to ± 2 cm (0.8 in)'
    >>> in_words_of("it lies 1,200 km away", "us")
    'it lies 1,200 km (745.6 mi) away'
    """
    return re.sub(f"{_QUOTED}|{_METRIC}", _us_behind, text) if units == "us" else text


def _us_behind(found: re.Match[str]) -> str:
    first, joint, last, unit = found.groups()
    if unit is None:
        return found[0]
    measure = _MEASURES[unit]
    figures = [
        shown(_plain(text) / SHOWN["metric"][measure][0], measure, "us", unit=False)
        for text in (first, last)
        if text
    ]
    return f"{found[0]} ({f' {joint} '.join(figures)} {label_of(measure, 'us')})"


def _plain(text: str) -> float:
    return float(re.sub("[,\u202f]", "", text).replace("−", "-"))


#: Not taken from the locale: the same page everywhere.
_MONTHS = (
    *("January", "February", "March", "April", "May", "June"),
    *("July", "August", "September", "October", "November", "December"),
)


def written_day(iso: str) -> str:
    """An ISO date in words.

    >>> written_day("2026-09-01")
    '1 September 2026'
    """
    year, month, day = iso.split("-")
    return f"{int(day)} {_MONTHS[int(month) - 1]} {year}"
