"""JSON of other formats: TopoJSON, the answers of feature services and of map queries."""

from __future__ import annotations

import contextlib
import json
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

from geosand.errors import refused
from geosand.formats.boundaries.drawn import LON_LAT, Layer
from geosand.formats.boundaries.files.gdal_layers import read_with_gdal
from geosand.formats.boundaries.files.map_elements import layer_of_elements
from geosand.formats.json_text import as_cell
from geosand.site.cells import quoted

Json = Any
CURVES = re.compile(rb'"curve(Rings|Paths)"')  #: members of a feature service's shapes with arcs

_NESTED = ("features", "geometry", "rings", "paths", "points")  #: members that hold positions


def other_json(document: Json) -> str:
    """What a document is that is no GeoJSON, by members that tell the usual ones; else ""."""
    keys = set(document) if isinstance(document, dict) else set[str]()
    if "type" in keys:
        return "TopoJSON" if document["type"] == "Topology" else ""
    if "elements" in keys and isinstance(document["elements"], list):
        return "elements"
    service = "features" in keys and keys & {"geometryType", "spatialReference"}
    return "feature service" if service else ""


def read_other(path: Path, shown: str, other: str, document: Json) -> list[Layer]:
    """Layers of JSON of another format. TopoJSON names no CRS: it is lon/lat by custom."""
    if other == "elements":
        return [layer_of_elements(document, shown)]
    if other == "TopoJSON":
        _refuse_lost_arcs(document, shown)
        layers = read_with_gdal(path, shown, other)
        return [replace(layer, crs=layer.crs or LON_LAT, assumed=True) for layer in layers]
    if CURVES.search(path.read_bytes()):
        found = "has true curves (curveRings), which are not read"
        raise refused(shown, found, remedy="ask for it with returnTrueCurves=false")
    if _says(document, "hasZ") or _says(document, "hasM"):
        size = 3 if _says(document, "hasZ") else 2
        with contextlib.suppress(RecursionError):  # what nests so deep the driver refuses
            path.write_text(json.dumps(_without_measures(document, size)), encoding="utf-8")
    said = cut_short(document)
    return [
        replace(layer, findings=(*layer.findings, *said))
        for layer in read_with_gdal(path, shown, other)
    ]


def _refuse_lost_arcs(document: Json, shown: str) -> None:
    """Refuse arcs that are not in the file: the driver would draw their outlines without them.

    An arc is a line of positions, and -1 is arc 0 backwards (TopoJSON 1.0, 2.1.3 and 2.1.4).
    """
    arcs = document.get("arcs")
    listed = arcs if isinstance(arcs, list) else []
    there = {n for k, arc in enumerate(listed) if _is_arc(arc) for n in (k, ~k)}
    objects = document.get("objects")  # by names, which "arcs" may be
    waiting = [*objects.values()] if isinstance(objects, dict) else []
    numbers = list[Json]()
    while waiting:
        part = waiting.pop()
        if isinstance(part, dict):
            numbers.append(part.get("arcs", []))
            waiting += [part[key] for key in part if key not in ("arcs", "properties")]
        elif isinstance(part, list):
            waiting += part
    while numbers:
        number = numbers.pop()
        if isinstance(number, list):
            numbers += number
        elif type(number) is not int or number not in there:
            found = f"an outline is made of arc {quoted(as_cell(number))}, which is not in the file"
            raise refused(shown, found, remedy="export it again")


def _is_arc(arc: Json) -> bool:
    return isinstance(arc, list) and all(
        isinstance(place, list) and len(place) > 1 and {*map(type, place[:2])} <= {int, float}
        for place in arc
    )


def _says(document: Json, key: str) -> bool:
    """Whether a feature service says something of its answer or of a shape in it."""
    features = document["features"] if isinstance(document["features"], list) else []
    shapes = (f.get("geometry") for f in features if isinstance(f, dict))
    return any(isinstance(part, dict) and part.get(key) is True for part in (document, *shapes))


def _without_measures(cells: Json, size: int) -> Json:
    """The same with positions of ``size`` numbers: measures are null or "NaN" where none was taken.

    The driver takes a shape with such for none, and a measure without a height for the height.
    """
    if isinstance(cells, dict):
        return {k: _without_measures(v, size) if k in _NESTED else v for k, v in cells.items()}
    if not isinstance(cells, list) or not cells:
        return cells
    if isinstance(cells[0], (list, dict)):
        return [_without_measures(cell, size) for cell in cells]
    kept = cells[:size]
    return kept if all(isinstance(cell, (int, float)) for cell in kept) else kept[:2]


def cut_short(document: Json) -> tuple[str, ...]:
    """What a feature service says of an answer that it ended at its limit."""
    parts = [document, document.get("properties")] if isinstance(document, dict) else []
    if any(isinstance(part, dict) and part.get("exceededTransferLimit") is True for part in parts):
        return (
            "the service ended its answer at its limit (exceededTransferLimit): surfaces are"
            " missing; ask for them in parts",
        )
    return ()
