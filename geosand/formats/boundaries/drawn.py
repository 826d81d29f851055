"""What a file draws, before it is known where it lies and what it is."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path, PurePosixPath
from typing import Any

import numpy as np
import shapely

from geosand.site.cells import Cell

LON_LAT = "OGC:CRS84"
MAXIMUM_BYTES = 200_000_000
MAXIMUM_FEATURES = 200_000
NOT_WHOLE = "it is not whole in the file"  #: of what is no surface of a kind
MAXIMUM_RING = 200_000  #: vertices of one ring; the site reader takes no more either


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """One thing as the file has it, in the file's own coordinates."""

    place: str  #: where it stands, for messages: ``layer 'Greens', feature 3``
    geometry: Any = None  #: any shapely geometry, heights kept; None with ``problem`` or nothing
    attributes: Mapping[str, Cell] = field(default_factory=dict)
    folder: str = ""  #: layer or folder, with those above it: ``Hole 1``
    name: str = ""  #: what the format itself calls its name
    problem: str = ""  #: why there is no geometry

    def draws(self, *sorts: str) -> bool:
        """Whether it has a geometry of one of these sorts."""
        return self.geometry is not None and self.geometry.geom_type in sorts


@dataclass(frozen=True, slots=True, kw_only=True)
class Layer:
    """Things that share one coordinate reference system."""

    name: str
    drawn: tuple[Drawn, ...]
    crs: str = ""  #: as the file states it; "" = it does not
    assumed: bool = False  #: ``crs`` is the format's rule, not the file's own word
    closes_lines: bool = False  #: lines that meet are outlines (drawings, tracks, line work)
    asks_unit: bool = False  #: the format does not tie its numbers to a unit
    unit: str = ""  #: unit that the drawing itself names, see ``UNITS_M``
    heads_xy: bool = False  #: its heads say x and y only: in some CRS x runs north
    findings: tuple[str, ...] = ()
    links: tuple[str, ...] = ()  #: addresses of other files that it draws on
    lon_lat: tuple[float, float] | None = None  #: where outlines beside its own say that it lies


def finite(layer: Layer) -> Layer:
    """The layer without outlines of which a corner is no number: it would cost the others theirs.

    Drivers and arcs hand over such.
    """
    shapes = [thing.geometry for thing in layer.drawn]
    places, of = shapely.get_coordinates(shapes, return_index=True)
    odd = set(of[~np.isfinite(places).all(axis=1)].tolist())
    if not odd:
        return layer
    problem = "a coordinate is not finite"
    drawn = (
        replace(thing, geometry=None, problem=problem) if k in odd else thing
        for k, thing in enumerate(layer.drawn)
    )
    return replace(layer, drawn=tuple(drawn))


def heights_said(drawn: Iterable[Drawn], rule: str) -> tuple[str, ...]:
    """A note on heights of a format in lon/lat, where there are any; ``rule``: what they are above.

    100 m is about how far the sea level's surface lies from the ellipsoid at most; it changes a
    ground area by (1 + 100/6371000)², 0.003 %.
    """
    shapes = [thing.geometry for thing in drawn if thing.geometry is not None]
    if not any(bool(np.any(shapely.get_coordinates(s, include_z=True)[:, 2] > 0)) for s in shapes):
        return ()
    return (
        f"its heights are kept as elevations; {rule}. Sea level and ellipsoid lie up to 100 m"
        " apart, which is 0.003 % of an area",
    )


def left_open_said(places: Sequence[str], rule: str) -> tuple[str, ...]:
    """A note on rings that lack their last position and were closed, where there are any."""
    if not places:
        return ()
    who = "1 outline does" if len(places) == 1 else f"{len(places)} outlines do"
    ends = "its end is" if len(places) == 1 else "their ends are"
    first = places[0] if len(places) == 1 else f"the first is {places[0]}"
    return (
        f"{who} not return to the first corner ({first}; {rule}): {ends} joined to it by"
        " a straight line. Check that no corner is missing",
    )


def crs_beside(path: Path) -> str:
    """The CRS in a .prj beside a file, as WKT or as "EPSG:27700"; "" without."""
    file = path.with_suffix(".prj")
    text = file.read_text(encoding="utf-8", errors="replace").strip() if file.is_file() else ""
    return text if text.startswith(("PROJ", "GEOG", "COMPD", "BOUND", "EPSG:")) else ""


def plain_name(path: str) -> str:
    """Last part of a path, whichever separator was used."""
    return PurePosixPath(path.replace("\\", "/")).name


def attribute(value: Any) -> Cell:
    """A value of any driver as a plain cell; nan, missing and a written <Null> are None."""
    if value is None or isinstance(value, (str, bool)):
        return None if value == "<Null>" else value
    if hasattr(value, "item"):  # GML can repeat an element: then it is an array
        value = value.item() if value.size == 1 else value.tolist()
    if isinstance(value, (int, float)):
        return None if isinstance(value, float) and math.isnan(value) else value
    if isinstance(value, (dict, list)):
        return json.dumps(value)[:2000]
    return None if value is None else str(value)
