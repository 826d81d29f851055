"""The area register as a file for other programs: CSV, GeoJSON, GeoPackage or workbook.

Every column carries its unit in its name, numbers are numbers, and the polygons are the ground
that each surface owns, in WGS 84, so that any GIS finds the equal-area figure from them again.
"""

from __future__ import annotations

import csv
import io
import json
import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from geosand.columns import Geometries
from geosand.formats.gdal_options import gdal_options
from geosand.formats.geojson_writing import polygons_geojson
from geosand.formats.result_files import write_result
from geosand.formats.workbook_writing import FORMULA, Sheet, SheetColumn, workbook

Row = Mapping[str, Any]
ENDINGS = (".csv", ".geojson", ".gpkg", ".xlsx")
CHANGE_ENDINGS = (".geojson", ".gpkg")
CHANGE_COLUMNS = ("surface", "kind", "change", "area_m2", "old_survey", "new_survey")
_WORDS = ("id", "name", "kind", "surface", "change", "old_survey", "new_survey")
_UNITS = {
    "metric": {"m2": ("m2", 1.0), "m": ("m", 1.0)},
    "us": {"m2": ("ft2", 0.3048**-2), "m": ("ft", 1 / 0.3048)},
}
#: What is written of a surface: key of the document, words of the workbook's head.
COLUMNS = {
    "id": "id",
    "name": "name",
    "kind": "kind",
    "area_m2": "ground area",
    "u_area_m2": "u of ground area",
    "perimeter_m": "perimeter",
    "drawn_area_m2": "ground area as drawn",
    "geodesic_area_m2": "geodesic area",
    "equal_area_m2": "equal-area",
    "grid_area_m2": "grid area",
    "grid_scale": "grid scale",
    "combined_scale_factor": "combined scale factor",
    "height_factor": "height factor",
    "slope_factor": "slope factor",
    "elevation_m": "elevation",
    "slope_percent": "slope, %",
    "vertices": "vertices",
    "holes": "holes",
    "parts": "parts",
}
#: What GDAL takes for the time at which a layer changed, so that the same areas are the same bytes.
_NO_HOUR = "1980-01-01T00:00:00.000Z"
_LABELS = {"m2": "m²", "m": "m", "ft2": "ft²", "ft": "ft"}


def write_areas(
    path: Path,
    surfaces: Sequence[Row],
    owned: Geometries,
    *,
    units: str,
    notes: Sequence[str] = (),
    sheets: Mapping[str, Sequence[Row]] | None = None,
    origin: Mapping[str, Any] | None = None,
) -> None:
    """Write the register ``surfaces`` (rows of ``areas --json``) by one of the ``ENDINGS``.

    ``owned`` are their polygons in lon/lat. ``units`` "us" writes ft and ft². ``sheets`` are
    further tables and ``notes`` sentences, for a workbook only. ``origin`` (inputs with their
    SHA-256, what made it) goes along in GeoJSON and as metadata of a GeoPackage's layer. The file
    is written whole or not at all. Raises Unwritten where it can not be written.
    """
    ending = path.suffix.lower()
    heads = [_head(name, units) for name in COLUMNS]
    table = [[_value(row.get(name), name, units) for name in COLUMNS] for row in surfaces]
    if ending == ".csv":
        content = _csv([head for head, _ in heads], table)
    elif ending == ".geojson":
        names = [head for head, _ in heads]
        properties = [dict(zip(names, line, strict=True)) for line in table]
        content = polygons_geojson(properties, owned, origin)
    elif ending == ".gpkg":
        content = _geopackage("areas", [head for head, _ in heads], table, owned, origin)
    else:
        first = {"areas": surfaces, **(sheets or {})}
        content = _workbook(first, notes, units)
    write_result(path, content)


def write_changes(
    path: Path,
    features: Sequence[Row],
    *,
    units: str = "metric",
    origin: Mapping[str, Any] | None = None,
) -> None:
    """Write ground gained and lost (rows of ``properties`` and ``geometry``), .geojson or .gpkg.

    ``origin`` and errors are as in :func:`write_areas`.
    """
    shapes = np.array([row["geometry"] for row in features], dtype=object)
    heads = [_head(name, units)[0] for name in CHANGE_COLUMNS]
    table = [
        [_value(row["properties"][name], name, units) for name in CHANGE_COLUMNS]
        for row in features
    ]
    properties = [dict(zip(heads, line, strict=True)) for line in table]
    if path.suffix.lower() == ".gpkg":
        content = _geopackage("changes", heads, table, shapes, origin)
    else:
        content = polygons_geojson(properties, shapes, origin)
    write_result(path, content)


def _head(name: str, units: str) -> tuple[str, str]:
    """Name of a column and its words for a workbook, in the reader's units."""
    words = COLUMNS.get(name, name)
    for si, (unit, _) in _UNITS[units].items():
        if name.endswith(f"_{si}"):
            stem = name.removesuffix(f"_{si}")
            words = COLUMNS.get(name, stem.replace("_", " "))
            return f"{stem}_{unit}", f"{words}, {_LABELS[unit]}"
    return name, words.replace("_percent", ", %").replace("_", " ")


def _value(value: Any, name: str, units: str) -> Any:
    """A cell in the reader's units; None stays None."""
    if not isinstance(value, float):
        return value
    if not math.isfinite(value):
        return None
    for si, (_, factor) in _UNITS[units].items():
        if name.endswith(f"_{si}"):
            return float(f"{value * factor:.9g}")
    return value


def _csv(heads: Sequence[str], table: Sequence[Sequence[Any]]) -> bytes:
    """UTF-8 with a mark by which spreadsheets know it, comma, one row a surface.

    Ids stay as they are: their letters can not make a formula that reaches out of its cell.
    """
    stream = io.StringIO(newline="")
    writer = csv.writer(stream, lineterminator="\r\n")
    writer.writerow(heads)
    for line in table:
        cells = ["" if cell is None else cell for cell in line]
        writer.writerow([cells[0], *[_harmless(cell) for cell in cells[1:]]])
    return b"\xef\xbb\xbf" + stream.getvalue().encode("utf-8")


def _harmless(cell: Any) -> Any:
    """Text that a spreadsheet would take for a formula, with an apostrophe before it."""
    return f"'{cell}" if isinstance(cell, str) and cell.startswith(FORMULA) else cell


def _geopackage(
    layer: str,
    heads: Sequence[str],
    table: Sequence[Sequence[Any]],
    shapes: Geometries,
    origin: Mapping[str, Any] | None,
) -> bytes:
    """One layer of MultiPolygons; a surface that owns no ground has no geometry."""
    import geopandas

    there = ~(shapely.is_missing(shapes) | shapely.is_empty(shapes))
    several = np.full(len(shapes), None, dtype=object)
    pieces, owner = shapely.get_parts(shapely.force_2d(shapes[there]), return_index=True)
    if len(pieces):
        several[np.flatnonzero(there)] = shapely.multipolygons(pieces, indices=owner)
    columns = {head: [line[k] for line in table] for k, head in enumerate(heads)}
    measured = [head for head in heads if head not in _WORDS]
    frame = geopandas.GeoDataFrame(columns, geometry=several, crs="EPSG:4326")
    # a column of nothing but null, or of nothing at all, has no type by itself
    frame = frame.astype(dict.fromkeys(measured, float)).astype(
        {head: str for head in heads if head in _WORDS}
    )
    stream = io.BytesIO()  # in memory: a full disk is then told by the one writer of files
    said = {name: json.dumps(value) for name, value in (origin or {}).items()}
    with gdal_options(OGR_CURRENT_DATE=_NO_HOUR):
        frame.to_file(
            stream,
            layer=layer,
            driver="GPKG",
            geometry_type="MultiPolygon",
            layer_metadata=said or None,
        )
    return stream.getvalue()


def _workbook(sheets: Mapping[str, Sequence[Row]], notes: Sequence[str], units: str) -> bytes:
    """A sheet a table, heads with units, first row and column in sight; last a sheet of notes."""
    made = [
        _sheet(title, list(COLUMNS) if title == "areas" else list(rows[0]), rows, units)
        for title, rows in sheets.items()
        if rows
    ]
    head = SheetColumn(head="notes", long=True)
    rows = [[note] for note in notes]
    made.append(Sheet(title="notes", columns=[head], rows=rows, frozen=0))
    return workbook(made)


def _sheet(title: str, names: Sequence[str], rows: Sequence[Row], units: str) -> Sheet:
    columns = [SheetColumn(head=_head(name, units)[1], format=_format(name)) for name in names]
    cells = [[_value(row.get(name), name, units) for name in names] for row in rows]
    return Sheet(title=title, columns=columns, rows=cells)


def _format(name: str) -> str:
    if name.endswith("_m2"):
        return "#,##0.0"
    if name.endswith(("_m", "_percent", "sigmas")):
        return "0.00"
    return "0.000000" if name.endswith(("factor", "scale")) else ""
