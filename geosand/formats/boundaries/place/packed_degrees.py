"""Degrees with minutes and seconds run together: controllers write 51.3045 for 51°30'45".

Read as plain degrees such a site lies up to 0.4° off and is about a third as wide. Digits alone can
not always tell: of plain degrees of one compact site about one set in ten has no pair over 59 by
chance. So where all pairs of digits could be minutes and seconds, it is asked.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np

from geosand.columns import Floats
from geosand.errors import refused
from geosand.formats.boundaries.place.whereabouts import distance_km, place_words
from geosand.site.cells import quoted

PLAIN, PACKED = "degrees", "dms"  #: what --unit says of them
WORDS = {"degrees": PLAIN, "degree": PLAIN, "deg": PLAIN, "decimal_degrees": PLAIN}
WORDS |= {"dms": PACKED, "d.mmss": PACKED, "dd.mmss": PACKED, "ddd.mmss": PACKED}
FEWEST = 3  #: points of an outline
_NUMBER = re.compile(r"([+-]?)(\d{1,3})(?:[.,](\d*))?")
_FINE = 6  #: decimals: of d.mmss these are hundredths of a second, 0.3 m; coarser is no survey
_NEAR_KM = 2.0  #: of a place that is known: a site lies there, and not at several times that


def unpacked(texts: Sequence[str]) -> Floats | None:
    """Degrees (n,) of numbers read as d.mmss; None where one of them can not be such.

    >>> unpacked(["51.3045", "-0.0730", "7"]).round(6).tolist()
    [51.5125, -0.125, 7.0]
    >>> unpacked(["51.3060"]) is None
    True
    """
    degrees = []
    for text in texts:
        match = _NUMBER.fullmatch(text.strip())
        if match is None:
            return None
        digits = (match[3] or "").ljust(4, "0")
        minutes, seconds = int(digits[:2]), float(f"{digits[2:4]}.{digits[4:]}0")
        if minutes > 59 or seconds >= 60:
            return None
        size = int(match[2]) + minutes / 60 + seconds / 3600
        degrees.append(-size if match[1] == "-" else size)
    return np.array(degrees)


def degrees_meant(
    lon: Sequence[str],
    lat: Sequence[str],
    said: str | None,
    near: tuple[float, float] | None,
    shown: str,
) -> tuple[Floats, Floats] | None:
    """Longitudes and latitudes where the numbers are d.mmss; None where they are plain degrees.

    ``said`` is the user's word. Raises Refused where it can not hold, or nobody said which of two.
    """
    packed_lon, packed_lat = unpacked(lon), unpacked(lat)
    if packed_lon is None or packed_lat is None:
        if said == PACKED:
            wrong = next(t for t in (*lat, *lon) if unpacked([t]) is None)
            found = f"{quoted(wrong)} is no number of degrees, minutes and seconds"
            remedy = f"say --unit {PLAIN} if they are degrees"
            raise refused(shown, found, allowed="51.3045 and such", remedy=remedy)
        return None
    if said is not None:
        return (packed_lon, packed_lat) if said == PACKED else None
    fine = max(len(text.strip().partition(".")[2]) for text in lat) >= _FINE
    plain_lon, plain_lat = (np.array([float(t.replace(",", ".")) for t in x]) for x in (lon, lat))
    legal = np.abs(plain_lon).max() <= 180 and np.abs(plain_lat).max() <= 90
    if len(lat) < FEWEST or not fine or not legal:
        return None
    plain, packed = (_middle(plain_lon, plain_lat), _middle(packed_lon, packed_lat))
    if near is not None and distance_km(plain, near) < min(_NEAR_KM, distance_km(packed, near) / 4):
        return None
    widths = (_across_m(plain_lon, plain_lat), _across_m(packed_lon, packed_lat))
    raise refused(
        shown,
        "its numbers can be degrees, or minutes and seconds run together behind the point"
        f" (51.3045 for 51°30'45\"): as degrees the points lie at {place_words(*plain)} over"
        f" {widths[0]:,.0f} m, else at {place_words(*packed)} over {widths[1]:,.0f} m",
        allowed=f"{PLAIN}, {PACKED}",
        remedy=f"say with --unit which they are: --unit {PLAIN} or --unit {PACKED}",
    )


def _middle(lon: Floats, lat: Floats) -> tuple[float, float]:
    return float((lon.min() + lon.max()) / 2), float((lat.min() + lat.max()) / 2)


def _across_m(lon: Floats, lat: Floats) -> float:
    """Distance from corner to corner of the box around points (n,)."""
    corners = (float(lon.min()), float(lat.min())), (float(lon.max()), float(lat.max()))
    return 1000 * distance_km(*corners)
