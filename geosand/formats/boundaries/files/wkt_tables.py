"""Tables with shapes: CSV of a GIS, a database or an open data portal.

Shapes are well-known text or hex binary (OGC 06-103r4), or GeoJSON (RFC 7946).
"""

from __future__ import annotations

import csv
import json
import re
from collections import defaultdict
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from geosand.errors import Faults, Finding
from geosand.formats.boundaries.drawn import (
    LON_LAT,
    MAXIMUM_BYTES,
    Drawn,
    Layer,
    attribute,
    crs_beside,
    left_open_said,
)
from geosand.formats.boundaries.files.json_shapes import BadShape, geometry_of
from geosand.formats.boundaries.files.survey_heads import says_places
from geosand.formats.csv_table import SEPARATORS, read_csv
from geosand.site.cells import as_text, is_blank

#: Heads of a column that holds shapes; of its first row ``holds_shapes`` looks for one.
HEADS = (
    *("wkt", "wkt_geom", "_wkt", "geom", "geometry", "the_geom", "shape"),
    *("geo shape", "geo_shape", "geojson"),
)
_SHAPE = re.compile(
    rb"(polygon|surface)\s*z?m?\s*\(|\b0[01](?:[0-9a-f]{2}){40,}"
    rb'|"type"+\s*:\s*"+(multi)?polygon"',
    re.IGNORECASE,
)
#: What stands in no other table, whatever the head says.
_AREA = re.compile(rb"polygon\s*z?m?\s*\(\(+\s*[-\d.]", re.IGNORECASE)
#: Lines may be closed, and of points it is told that they are no areas.
_LINE = re.compile(rb"linestring\s*z?m?\s*\(+\s*[-\d.]", re.IGNORECASE)
_NO_AREA = re.compile(rb"(linestring|point)\s*z?m?\s*\(+\s*[-\d.]", re.IGNORECASE)
_BINARY = re.compile(r"0[01](?:[0-9a-f]{2})+", re.IGNORECASE)  #: well-known binary in hex
_CODE = re.compile(r"\s*SRID\s*=\s*(\d{1,9})\s*;", re.IGNORECASE)  # of a database's own form
_SEPARATOR = re.compile(rb'"?sep=', re.IGNORECASE)  # a line that spreadsheets put first
#: How a text begins that is nothing but shapes.
_BARE = re.compile(
    rb"\s*(srid\s*=\s*\d+\s*;\s*)?(multi)?(polygon\s*z?m?\s*\(\(|linestring\s*z?m?\s*\()",
    re.IGNORECASE,
)


def holds_shapes(start: bytes) -> bool:
    """Whether a table that begins so has a column of shapes, or a text nothing but shapes."""
    if _BARE.match(start):
        return True
    first, _, rest = start.partition(b"\n")
    if _SEPARATOR.match(first):  # the heads are in the next line
        first = rest.partition(b"\n")[0]
    heads = re.split(rb"\s*[,;|\t\"\r]+\s*", first.lower())
    if any(name.encode() in heads for name in HEADS):
        # points with their places in columns as well may be a survey's corners of outlines
        surveyed = says_places([head.decode(errors="replace") for head in heads])
        others = _LINE if surveyed else _NO_AREA
        return (_SHAPE.search(start) or others.search(start)) is not None
    return _AREA.search(start) is not None and _AREA.search(first) is None


def read_wkt_table(path: Path, shown: str) -> list[Layer]:
    """Rows by the CRS that they name, else that of a .prj beside. Raises Refused for no table."""
    faults, findings = Faults(), list[Finding]()
    before = csv.field_size_limit(MAXIMUM_BYTES)
    content = path.read_bytes()
    if _BARE.match(content):  # a shape begins with a letter behind the brackets of the one before
        shapes = re.split(rb"(?<=\))[\s,;]*(?=[a-zA-Z])", content.strip())
        rows = (b'%d,"%s"' % (k, b" ".join(s.split())) for k, s in enumerate(shapes, start=1))
        content = b"\n".join((b"number,wkt", *rows))
    try:
        # no table of records is written with upright strokes
        table = read_csv(content, shown, faults, findings, separators=SEPARATORS + "|")
    finally:
        csv.field_size_limit(before)
    faults.refuse()
    column = max(table.columns, key=lambda name: _shapes_in(name, table.columns[name]))
    others = {name: cells for name, cells in table.columns.items() if name != column}
    beside = crs_beside(path)
    layers: dict[str, list[Drawn]] = defaultdict(list)
    left_open = []
    for k, (row, cell) in enumerate(zip(table.rows, table.columns[column], strict=True)):
        text = "" if is_blank(cell) else as_text(cell).strip()
        named = _CODE.match(text)
        in_json = text.startswith("{")
        read = _shape_of_json if in_json else _shape
        shape, problem = read(text[named.end() :] if named else text)
        code = int(named[1]) if named else int(shapely.get_srid(shape))
        left_open += [f"row {row}"] if problem is _OPEN else []
        thing = Drawn(
            place=f"row {row}",
            geometry=shape,
            attributes={name: attribute(cells[k]) for name, cells in others.items()},
            problem="" if problem is _OPEN else problem,
        )
        layers[f"EPSG:{code}" if code > 0 else beside or LON_LAT * in_json].append(thing)
    said = (*(f.text for f in findings), *left_open_said(left_open, "OGC 06-103r4, 6.1.7"))
    return [
        Layer(
            name="",
            drawn=tuple(drawn),
            crs=crs,
            assumed=crs == LON_LAT,
            findings=said if k == 0 else (),
        )
        for k, (crs, drawn) in enumerate(layers.items())
    ]


def _shapes_in(name: str, cells: Sequence[Any]) -> tuple[int, int, bool]:
    """How many cells hold areas, how many other shapes, whether the head says so: the largest."""
    texts = [as_text(cell).encode() for cell in cells if not is_blank(cell)]
    areas, others = (sum(s.search(t) is not None for t in texts) for s in (_SHAPE, _NO_AREA))
    return areas, others, name.lower() in HEADS


def _shape_of_json(text: str) -> tuple[Any, str]:
    """The shape of a geometry of GeoJSON, and why there is none."""
    try:
        return geometry_of(json.loads(text)), ""
    except BadShape as problem:
        return None, str(problem)
    except (ValueError, RecursionError):
        return None, f"its GeoJSON can not be read ({text[:30]!r})"


_OPEN = "closed"


def _shape(text: str) -> tuple[Any, str]:
    """The shape that a text says, and why there is none; _OPEN where a ring was closed."""
    if not text.strip():
        return None, "it has no geometry"
    try:
        with np.errstate(invalid="ignore", over="ignore"):
            made = shapely.from_wkb if _BINARY.fullmatch(text) else shapely.from_wkt
            shape = made(text, on_invalid="ignore")
            closed = made(text, on_invalid="fix") if shape is None else None
    except NotImplementedError:
        kind = text.partition("(")[0].strip()
        return None, f"it has arcs ({kind[:30]}): export it as GeoPackage"
    shape, problem = (shape, "") if closed is None else (closed, _OPEN)
    if shape is None:
        return None, f"its WKT can not be read ({text[:30]!r})"
    if not np.isfinite(shapely.get_coordinates(shape)).all():
        return None, "a coordinate is not finite"
    return shape, "it is empty" if shape.is_empty else problem
