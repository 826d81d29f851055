"""Degrees as people write them: with minutes and seconds, and a letter for the side."""

from __future__ import annotations

import re

_SIDE = r"\s*([NSEW]?)\s*"
_SECONDS = r"(\d{1,2}(?:[.,]\d*)?)"
_DMS = re.compile(
    rf"{_SIDE}([+-]?)(\d{{1,3}})[°º˚:\sd-]\s*(\d{{1,2}})['′’:\sm-]\s*{_SECONDS}"
    rf"\s*(?:\"|″|''|”|′′|’’)?{_SIDE}",
    re.IGNORECASE,
)
_DM = re.compile(
    rf"{_SIDE}([+-]?)(\d{{1,3}})[°º˚:\sd]\s*{_SECONDS}\s*['′’m]?{_SIDE}", re.IGNORECASE
)
#: In words or small letters: a capital S behind seconds is the south.
_WORDS = re.compile(
    rf"{_SIDE}([+-]?)(\d{{1,3}})\s*(?:deg\.?|d)\s*(\d{{1,2}})\s*(?:min\.?|m)\s*{_SECONDS}"
    rf"\s*(?:sec\.?|s){_SIDE}"
)
_DECIMAL = re.compile(r"\s*([+-]?\d{1,3}(?:\.\d*)?)\s*°?\s*([NSEW]?)\s*", re.IGNORECASE)


def degrees_of(text: str) -> float | None:
    """Degrees of ``53°18'00.5"N``, ``-0:07:12.3``, ``9°54.6'E`` or ``53.3 N``; None for others.

    >>> degrees_of("53°15'00.0\\"S"), degrees_of("9 54 0 E"), degrees_of("53 70 0")
    (-53.25, 9.9, None)
    >>> degrees_of("53-15-00.0S"), degrees_of("E 9°54.0'"), degrees_of("53 15.0")
    (-53.25, 9.9, None)
    >>> degrees_of("1 deg 30 min 36 sec W"), degrees_of("1d30m36s"), degrees_of("1d30m36S")
    (-1.51, 1.51, -1.51)
    """
    for form in (_WORDS, _DMS, _DM):
        match = form.fullmatch(text)
        if match is None:
            continue
        before, sign, whole, *parts, after = match.groups()
        if form is _DM and not (before or after or "°" in text):
            continue  # two numbers, which may be anything
        minutes, seconds = (float(part.replace(",", ".")) for part in (*parts, "0")[:2])
        if minutes >= 60 or seconds > 60 or (before and after):  # 59.999…" is often written 60
            return None
        size = int(whole) + minutes / 60 + seconds / 3600
        return -size if sign == "-" or (before or after).upper() in ("S", "W") else size
    if (match := _DECIMAL.fullmatch(text)) and ("°" in text or match[2]):
        size = float(match[1])
        return -abs(size) if match[2].upper() in ("S", "W") else size
    return None
