"""JSON-FG (OGC 21-045r1): outlines in a CRS that the file names, in members ``place``.

The member ``geometry`` beside it is in lon/lat, and writers round it to 7 decimals, a centimetre.
"""

from __future__ import annotations

import json
import re
from collections import defaultdict
from collections.abc import Sequence
from typing import Any

from geosand.errors import Refused, listed
from geosand.formats.boundaries.drawn import LON_LAT, Drawn, Layer, heights_said
from geosand.formats.boundaries.files.json_shapes import with_shape
from geosand.formats.boundaries.place.layer_system import exchanged, moved
from geosand.formats.boundaries.place.reference_systems import horizontal
from geosand.formats.boundaries.place.whereabouts import middle_of

Json = Any
LONGEST_CODE = 30  #: of a CRS; what is longer is a whole definition, and is told by its name
_SHORT = re.compile(r"\[([A-Za-z0-9_]+):([A-Za-z0-9_.-]+)\]")
_LONG = re.compile(r"https?://www\.opengis\.net/def/crs/([^/]+)/[^/]*/([^/&]+)/?")
_COMPOUND = re.compile(r"https?://www\.opengis\.net/def/crs-compound\?")


def has_place(feature: Json) -> bool:
    """Whether a feature has an outline of its own beside its geometry in lon/lat."""
    place = feature.get("place") if isinstance(feature, dict) else None
    return isinstance(place, dict) and isinstance(place.get("type"), str)


def in_places(
    features: Sequence[Json], things: Sequence[Drawn], document: Json, shown: str, crs_given: bool
) -> tuple[list[Layer], list[Drawn], list[str]]:
    """A layer for each CRS of a ``place``; the things that stay in lon/lat; what is worth knowing.

    ``things`` are all features by their geometry in lon/lat, which is taken where a place has no
    CRS, or one or a shape that is not read. Raises Refused where there is none to take.
    """
    stay, said = list[Drawn](), list[str]()
    elsewhere, unread = defaultdict[str, list[tuple[Drawn, Drawn]]](list), []
    for feature, thing in zip(features, things, strict=True):
        placed = with_shape(thing, feature["place"]) if has_place(feature) else thing
        named = "" if placed is thing else named_system(feature, document)
        if placed is thing or not (named or thing.problem):
            stay.append(thing)
        elif not placed.problem:
            elsewhere[named or LON_LAT].append((placed, thing))
        else:
            stay.append(placed if thing.problem else thing)
            unread += [] if thing.problem else [thing.place]
    layers = []
    for named, pairs in elsewhere.items():
        try:
            layers.append(_in_place(named, pairs, shown, crs_given))
        except Refused:
            if any(thing.geometry is None for _, thing in pairs):
                raise
            stay += [thing for _, thing in pairs]
            said.append(
                f"the members 'place' (JSON-FG) are in {named[:60]!r}, which is not a coordinate"
                " reference system that is known: the outlines in lon/lat are taken"
            )
    if unread:
        said.append(
            f"the member 'place' (JSON-FG) of {listed(unread, 4)} has a shape that is not read:"
            " the outline in lon/lat is taken"
        )
    return layers, stay, said


def _in_place(named: str, pairs: list[tuple[Drawn, Drawn]], shown: str, crs_given: bool) -> Layer:
    """The layer of outlines in the CRS ``named``, each with the same thing in lon/lat.

    What is in lon/lat says about where the others must be.
    """
    drawn = [placed for placed, _ in pairs]
    system, heights = "the CRS that is given", tuple[str, ...]()
    try:
        crs = horizontal(named, shown)
    except Refused:
        if not crs_given:
            raise
    else:
        system = named if len(named) <= LONGEST_CODE else crs.name
        if crs.is_geographic:
            heights = heights_said(drawn, f"{crs.name} says what they are above")
        if northing_first(crs):
            drawn = [moved(placed, exchanged) for placed in drawn]
    told = f"its outlines are taken from their members 'place' (JSON-FG), in {system}"
    beside = [t.geometry for _, t in pairs if t.geometry is not None and not t.geometry.is_empty]
    return Layer(
        name="",
        drawn=tuple(drawn),
        crs=named,
        findings=(told, *heights),
        lon_lat=middle_of(beside) if beside else None,
    )


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
