"""Outlines out as ``surfaces.geojson``: RFC 7946, nine decimals, right-hand rule, one line each."""

from __future__ import annotations

import json
import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from geosand.errors import Finding, printable
from geosand.formats.boundaries.tables import Boundaries, Outlines
from geosand.formats.geojson_writing import rounded
from geosand.site.cells import Cell, as_text, is_blank, parse_number, quoted

#: Further columns of the site folder that a boundary file may carry; DBF cuts names at ten letters.
NUMBERS = ("target_mm", "elevation_m", "slope_percent")

#: What a survey may say of its own accuracy, in the head of its file; words for each.
ACCURACIES = {
    "edge_accuracy_m": "edge",
    "edge_bias_m": "edge bias",
    "boundary_accuracy_m": "vertex",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class SurfaceRow:
    """One feature of the file: its properties and its polygon in lon/lat."""

    properties: Mapping[str, Cell]
    geometry: Any


def rows_of(outlines: Outlines) -> list[SurfaceRow]:
    """A row for each outline, with what its attributes say in the site folder's own columns."""
    made = _only_ones(outlines)
    for k in range(len(outlines)):
        stated = outlines.attributes[k].get("id")
        if not is_blank(stated):
            made[as_text(stated)] = str(outlines.id[k])
    rows = []
    for k in range(len(outlines)):
        cells: dict[str, Cell] = {
            "id": str(outlines.id[k]),
            "name": str(outlines.name[k]),
            "kind": str(outlines.kind[k]),
        }
        attributes = {str(key).lower(): v for key, v in outlines.attributes[k].items()}
        around = attributes.get("around")
        if not is_blank(around):  # whether there is such a surface is looked at before writing
            cells["around"] = made.get(as_text(around), as_text(around))
        for name in NUMBERS:
            number = parse_number(_stated(attributes, name))
            if number is not None:
                cells[name] = number
        if math.isfinite(outlines.elevation_m[k]):
            cells["elevation_m"] = round(float(outlines.elevation_m[k]), 3)
        rows.append(SurfaceRow(properties=cells, geometry=outlines.geometry[k]))
    return rows


def _stated(attributes: Mapping[str, Any], name: str) -> Any:
    """What attributes (names in lower case) say of one of NUMBERS."""
    return attributes.get(name, attributes.get(name[:10]))


def unread_numbers(outlines: Outlines) -> list[Finding]:
    """What stands in columns that the site folder has too, and is no number: it is left out."""
    found = []
    for made, cells in zip(outlines.id.tolist(), outlines.attributes, strict=True):
        attributes = {str(key).lower(): value for key, value in cells.items()}
        for name in NUMBERS:
            cell = _stated(attributes, name)
            # tables of floats hold nan for nothing
            empty = is_blank(cell) or (isinstance(cell, float) and math.isnan(cell))
            if not empty and parse_number(cell) is None:
                text = f"its {name} {quoted(as_text(cell))} is not a number: it is left out"
                found.append(Finding(about=made, text=text, topic="area"))
    return found


def _only_ones(outlines: Outlines) -> dict[str, str]:
    """Id of each surface whose name no other bears: a collar may name its green so."""
    names = outlines.name.tolist()
    often = Counter(names)
    pairs = zip(names, outlines.id.tolist(), strict=True)
    return {name: made for name, made in pairs if often[name] == 1}


def head_of(boundaries: Boundaries | None, valid_from: str | None) -> dict[str, Any]:
    """Foreign members of the collection: from when it holds, and where it came from."""
    head: dict[str, Any] = {}
    if valid_from is not None:
        head["valid_from"] = valid_from
    if boundaries is not None:
        head["source_crs"] = boundaries.source_crs
        head["source"] = printable(boundaries.file)  # names of files may be no text
        if math.isfinite(boundaries.datum_accuracy_m):
            head["datum_accuracy_m"] = boundaries.datum_accuracy_m
    return head


def surfaces_bytes(head: Mapping[str, Any], rows: Sequence[SurfaceRow]) -> bytes:
    """The whole file."""
    start = {"type": "FeatureCollection", **head}
    lines = []
    shapes = np.array([row.geometry for row in rows], dtype=object)
    for row, shape in zip(rows, shapely.to_geojson(rounded(shapes)), strict=True):
        cells = json.dumps(dict(row.properties), ensure_ascii=False, allow_nan=False)
        lines.append(f'{{"type":"Feature","properties":{cells},"geometry":{shape}}}')
    begin = json.dumps(start, ensure_ascii=False, allow_nan=False)[:-1]
    return (f'{begin}, "features":[\n' + ",\n".join(lines) + "\n]}\n").encode()
