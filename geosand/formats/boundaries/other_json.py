"""JSON of other formats: TopoJSON, the answers of feature services and of map queries."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import Any

from geosand.formats.boundaries.drawn import LON_LAT, Layer, refused
from geosand.formats.boundaries.gdal_layers import read_with_gdal
from geosand.formats.boundaries.map_elements import layer_of_elements

Json = Any
CURVES = re.compile(rb'"curve(Rings|Paths)"')  #: members of a feature service's shapes with arcs


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
        layers = read_with_gdal(path, shown, other)
        return [replace(layer, crs=layer.crs or LON_LAT, assumed=True) for layer in layers]
    if CURVES.search(path.read_bytes()):
        found = "has true curves (curveRings), which are not read"
        raise refused(shown, found, remedy="ask for it with returnTrueCurves=false")
    said = cut_short(document)
    return [
        replace(layer, findings=(*layer.findings, *said))
        for layer in read_with_gdal(path, shown, other)
    ]


def cut_short(document: Json) -> tuple[str, ...]:
    """What a feature service says of an answer that it ended at its limit."""
    parts = [document, document.get("properties")] if isinstance(document, dict) else []
    if any(isinstance(part, dict) and part.get("exceededTransferLimit") is True for part in parts):
        return (
            "the service ended its answer at its limit (exceededTransferLimit): surfaces are"
            " missing; ask for them in parts",
        )
    return ()
