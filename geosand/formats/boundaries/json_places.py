"""JSON-FG (OGC 21-045r1): outlines in a CRS that the file names, in a member ``place``.

The member ``geometry`` beside it is in lon/lat, and writers round it to 7 decimals, a centimetre.
"""

from __future__ import annotations

import json
import re
from typing import Any

Json = Any
_SHORT = re.compile(r"\[([A-Za-z0-9_]+):([A-Za-z0-9_.-]+)\]")
_LONG = re.compile(r"https?://www\.opengis\.net/def/crs/([^/]+)/[^/]*/([^/&]+)/?")
_COMPOUND = re.compile(r"https?://www\.opengis\.net/def/crs-compound\?")


def has_place(feature: Json) -> bool:
    """Whether a feature has an outline of its own beside its geometry in lon/lat."""
    place = feature.get("place") if isinstance(feature, dict) else None
    return isinstance(place, dict) and isinstance(place.get("type"), str)


def named_system(feature: Json, document: Json) -> str:
    """The CRS of a feature's ``place``: its own word, else the feature's, else the collection's.

    "" where none is named; a list is a CRS and one of heights.
    """
    for holder in (feature["place"], feature, document):
        named = holder.get("coordRefSys") if isinstance(holder, dict) else None
        if named not in (None, []):
            listed = named if isinstance(named, list) else [named]
            parts = [code for part in listed for code in _codes(part)]
            return "+".join([parts[0], *(part.rpartition(":")[2] for part in parts[1:])])
    return ""


def _codes(named: Json) -> list[str]:
    """Authority and code of one reference, of a compound one those of its parts; else its words.

    A CRS without a code is there itself, as PROJJSON in a member ``value``.
    """
    if isinstance(named, dict) and isinstance(named.get("value"), dict):
        return [json.dumps(named["value"])]
    text = str(named.get("href") if isinstance(named, dict) else named).strip()
    if _COMPOUND.match(text):
        return [f"{match[1]}:{match[2]}" for match in _LONG.finditer(text)] or [text]
    match = _SHORT.fullmatch(text) or _LONG.fullmatch(text)
    return [f"{match[1]}:{match[2]}" if match else text]


def northing_first(crs: Any) -> bool:
    """Whether positions of a ``place`` have northing or latitude first: they follow their CRS.

    The geometries of this package are easting first throughout.
    """
    directions = [axis.direction.lower() for axis in crs.axis_info[:2]]
    return directions == ["north", "east"]
