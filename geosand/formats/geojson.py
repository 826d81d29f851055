"""GeoJSON (RFC 7946) in: polygons of a boundary edition, points of catches."""

from __future__ import annotations

import json
import re
from typing import Any

import numpy as np
import shapely

from geosand.columns import Floats
from geosand.errors import Faults, Finding
from geosand.formats.csv_table import decode
from geosand.site.read_surfaces import RawEdition
from geosand.site.reading import RawTable, parse_day, quoted

Json = Any
WGS84 = re.compile(r"(CRS84|EPSG:*(:[\d.]*)?:4326)$", re.IGNORECASE)
MAXIMUM_VERTICES = 200_000


def _document(content: bytes, file: str, faults: Faults) -> list[Json]:
    """The features of a FeatureCollection; faults for anything else."""
    text = decode(content, file, faults)
    try:
        document = json.loads(text, parse_constant=_no_constant)
    except (ValueError, RecursionError) as problem:
        start = text.lstrip()[:15].lower()
        html = start.startswith(("<!doctype", "<html"))
        found = "is a web page, not GeoJSON" if html else f"is not JSON: {str(problem)[:80]}"
        faults.add(file, found, remedy="export it again as GeoJSON")
        return []
    if not isinstance(document, dict) or not isinstance(document.get("features"), list):
        kind = document.get("type") if isinstance(document, dict) else type(document).__name__
        faults.add(
            file, f"{quoted(str(kind))} is no FeatureCollection", remedy="export it as GeoJSON"
        )
        return []
    name = _crs_name(document.get("crs"))
    if name and not WGS84.search(name):
        faults.add(
            file,
            f"its coordinates are in {quoted(name)}",
            allowed="longitude, latitude in WGS 84 (RFC 7946, section 4)",
            remedy="export it in WGS 84",
        )
    return [document, *document["features"]]


def _no_constant(name: str) -> float:
    raise ValueError(f"{name} is not a number")


def _crs_name(crs: Json) -> str:
    if isinstance(crs, dict):
        properties = crs.get("properties")
        if isinstance(properties, dict):
            return str(properties.get("name", properties.get("href", "unknown")))
        return str(crs.get("type", "unknown"))
    return "" if crs is None else str(crs)


def _properties(features: list[Json], file: str, faults: Faults) -> tuple[RawTable, list[Json]]:
    """Properties as columns with the feature's number as the row, and the geometries."""
    rows: list[int | str] = []
    properties: list[dict[str, Json]] = []
    geometries: list[Json] = []
    for number, feature in enumerate(features, start=1):
        if not isinstance(feature, dict) or feature.get("type") != "Feature":
            faults.add(file, "is no Feature", row=f"feature {number}", remedy="see RFC 7946, 3.2")
            continue
        found = feature.get("properties")
        cells = dict(found) if isinstance(found, dict) else {}
        if "id" not in cells and isinstance(feature.get("id"), (str, int)):
            cells["id"] = feature["id"]
        rows.append(f"feature {number}")
        properties.append({k: _cell(v) for k, v in cells.items()})
        geometries.append(feature.get("geometry"))
    names = list(dict.fromkeys(name for cells in properties for name in cells))
    columns = {name: [cells.get(name) for cells in properties] for name in names}
    return RawTable(file=file, rows=rows, columns=columns), geometries


def _cell(value: Json) -> Json:
    if value is None or isinstance(value, (str, int, float, bool)):
        return value if not isinstance(value, int) or abs(value) < 2**53 else str(value)
    return json.dumps(value)


def read_edition(
    content: bytes, file: str, faults: Faults, findings: list[Finding]
) -> RawEdition | None:
    """Polygons of one boundary edition; None where the file can not be read at all."""
    document = _document(content, file, faults)
    if not document:
        return None
    head, features = document[0], document[1:]
    table, shapes = _properties(features, file, faults)
    geometry = np.empty(len(shapes), dtype=object)
    for row, shape in enumerate(shapes):
        geometry[row] = _polygons(shape, file, table.rows[row], faults, findings)
    source = head.get("source_crs")
    accuracy = head.get("edge_accuracy_m")
    usable = isinstance(accuracy, (int, float)) and not isinstance(accuracy, bool) and accuracy >= 0
    return RawEdition(
        table=table,
        geometry=geometry,
        valid_from=_valid_from(head, table, file, faults),
        source_crs=source if isinstance(source, str) else "",
        accuracy_m=float(accuracy) if usable else float("nan"),
    )


def _valid_from(head: dict[str, Json], table: RawTable, file: str, faults: Faults) -> np.datetime64:
    named = re.search(r"(\d{4}-\d{2}-\d{2})\.geojson$", file)
    values = {str(v) for v in table.columns.get("valid_from", []) if v is not None}
    value = head.get("valid_from") or (values.pop() if len(values) == 1 else None)
    if value is None and named:
        value = named[1]
    if value is None:
        return np.datetime64("NaT")
    day = parse_day(value)
    if day is None:
        faults.add(
            file, f"{quoted(str(value))} is not a date", column="valid_from", allowed="2026-04-30"
        )
        return np.datetime64("NaT")
    return day


def _ring(ring: Json) -> Floats:
    points = np.array([[float(v) for v in p[:3]] + [np.nan] * (3 - len(p)) for p in ring])
    if any(isinstance(v, (bool, str)) for p in ring for v in p[:2]):
        raise ValueError("a position holds text")
    if len(points) < 4:
        raise ValueError(f"a ring has {len(points)} positions; at least 4 are needed")
    if not np.isfinite(points[:, :2]).all():
        raise ValueError("a position is not finite")
    if len(points) > MAXIMUM_VERTICES:
        raise ValueError(f"a ring has {len(points):,} vertices; at most {MAXIMUM_VERTICES:,}")
    if (points[0, :2] != points[-1, :2]).any():
        raise ValueError("a ring is not closed: its last position must equal its first")
    return points if np.isfinite(points[:, 2]).all() else points[:, :2]


def _polygons(
    shape: Json, file: str, row: int | str, faults: Faults, findings: list[Finding]
) -> Any:
    """A shapely Polygon or MultiPolygon; None with a fault for anything else."""
    if shape is None:
        return None
    kind = shape.get("type") if isinstance(shape, dict) else None
    try:
        if kind == "Polygon":
            return _polygon(shape["coordinates"])
        if kind == "MultiPolygon":
            return shapely.multipolygons([_polygon(rings) for rings in shape["coordinates"]])
        if kind == "GeometryCollection":
            parts = [g for g in shape["geometries"] if g.get("type") in ("Polygon", "MultiPolygon")]
            found = [_polygons(part, file, row, faults, findings) for part in parts]
            if parts and all(found):
                text = "only the polygons of a GeometryCollection are used"
                findings.append(Finding(about=f"{file}, {row}", text=text, topic="file"))
                return shapely.union_all(found)
    except (KeyError, TypeError, ValueError, IndexError, AttributeError, OverflowError) as problem:
        text = str(problem) if isinstance(problem, ValueError) else "coordinates are not positions"
        faults.add(file, text[:120], row=row, remedy="draw or export this polygon again")
        return shapely.Polygon()
    faults.add(file, f"{quoted(str(kind))} is no polygon", row=row, allowed="Polygon, MultiPolygon")
    return shapely.Polygon()


def _polygon(rings: Json) -> Any:
    if not rings:
        raise ValueError("a polygon has no ring")
    shell, *holes = [_ring(ring) for ring in rings]
    return shapely.polygons(shell, holes=[shapely.linearrings(h) for h in holes] or None)


def read_points(content: bytes, file: str, faults: Faults) -> tuple[RawTable, Floats, Floats]:
    """Properties and positions of point features; nan where there is no point."""
    document = _document(content, file, faults)
    table, shapes = _properties(document[1:], file, faults)
    position = np.full((len(shapes), 2), np.nan)
    for row, shape in enumerate(shapes):
        if shape is None:
            continue
        try:
            if shape["type"] != "Point":
                raise ValueError(f"{quoted(str(shape['type']))} is no Point")
            lon, lat = shape["coordinates"][:2]
            if isinstance(lon, (bool, str)) or isinstance(lat, (bool, str)):
                raise ValueError("a position holds text")
            position[row] = float(lon), float(lat)
        except (KeyError, TypeError, ValueError, IndexError, OverflowError) as problem:
            text = (
                str(problem) if isinstance(problem, ValueError) else "coordinates are no position"
            )
            faults.add(file, text[:120], row=table.rows[row], allowed="a Point with [lon, lat]")
    return table, position[:, 0], position[:, 1]
