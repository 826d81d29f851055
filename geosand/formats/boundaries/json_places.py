"""JSON-FG (OGC 21-045r1): outlines in a CRS that the file names, in a member ``place``.

The member ``geometry`` beside it is in lon/lat, and writers round it to 7 decimals, a centimetre.
"""

from __future__ import annotations

import re
from typing import Any

Json = Any
_SHORT = re.compile(r"\[([A-Za-z0-9_]+):([A-Za-z0-9_.-]+)\]")
_LONG = re.compile(r"https?://www\.opengis\.net/def/crs/([^/]+)/[^/]*/([^/]+)")


def has_place(feature: Json) -> bool:
    """Whether a feature has an outline of its own beside its geometry in lon/lat."""
    return isinstance(feature, dict) and isinstance(feature.get("place"), dict)


def named_system(feature: Json, document: Json) -> str:
    """The CRS of a feature's ``place``: its own word, else the feature's, else the collection's.

    "" where none is named; a list is a CRS and one of heights.
    """
    for holder in (feature["place"], feature, document):
        named = holder.get("coordRefSys") if isinstance(holder, dict) else None
        if named is not None:
            parts = [_code(part) for part in (named if isinstance(named, list) else [named])]
            return "+".join([parts[0], *(part.rpartition(":")[2] for part in parts[1:])])
    return ""


def _code(named: Json) -> str:
    """Authority and code of one reference, or its words as they are."""
    href = named.get("href") if isinstance(named, dict) else named
    text = str(href).strip()
    match = _SHORT.fullmatch(text) or _LONG.fullmatch(text)
    return f"{match[1]}:{match[2]}" if match else text


def northing_first(crs: Any) -> bool:
    """Whether positions of a ``place`` have northing or latitude first: they follow their CRS.

    The geometries of this package are easting first throughout.
    """
    directions = [axis.direction.lower() for axis in crs.axis_info[:2]]
    return directions == ["north", "east"]
