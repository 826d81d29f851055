"""GeoJSON (RFC 7946) in: polygons of a boundary edition, points of catches."""

from __future__ import annotations

import json
import math
import re
from dataclasses import replace
from itertools import chain
from typing import Any

import numpy as np
import shapely

from geosand.columns import Floats, Geometries
from geosand.errors import Faults, Finding
from geosand.formats.csv_table import MAXIMUM_COLUMNS, decode
from geosand.formats.json_text import KEEP_ONE, read_json, twice_told
from geosand.site.cells import Cell, RawTable, parse_day, parse_number, quoted
from geosand.site.read_surfaces import RawEdition

Json = Any
WGS84 = re.compile(r"(CRS84h?|EPSG:*(:[\d.]*)?:4326|EPSG/0/4326)$", re.IGNORECASE)
MAXIMUM_VERTICES = 200_000
MAXIMUM_EDGE_M = 20.0
MAXIMUM_SHIFT_M = 10_000.0  #: a datum shift that is not known at all is good to some hundred
REDRAW = "draw or export this polygon again"
_NO_NUMBERS = "its coordinates are not positions of numbers"
EXPORT = "export it as GeoJSON, with its features in one collection"


def _document(
    content: bytes, file: str, faults: Faults, findings: list[Finding]
) -> list[Json] | None:
    """The collection and its features; None with a fault for anything else."""
    text = decode(content, file, faults, findings)
    if text is None:
        return None
    try:
        document, twice = read_json(text, _no_constant)
    except (ValueError, RecursionError) as problem:
        faults.add(file, _no_json(text, problem), remedy="export it again as GeoJSON")
        return None
    for number, key in twice:
        row = f"feature {number}" if number else None
        faults.add(file, twice_told(key), row=row, remedy=KEEP_ONE)
    if not isinstance(document, dict) or not isinstance(document.get("features"), list):
        faults.add(file, _no_collection(document), remedy=EXPORT)
        return None
    name = _crs_name(document.get("crs"))
    if name and not WGS84.search(name):
        faults.add(
            file,
            f"its coordinates are in {quoted(name)}",
            allowed="longitude, latitude in WGS 84 (RFC 7946, section 4)",
            remedy="export it in WGS 84",
        )
        return None
    return [document, *document["features"]]


def _no_json(text: str, problem: Exception) -> str:
    start = text.lstrip()[:15].lower()
    if not start:
        return "is empty"
    if start.startswith(("<!doctype", "<html")):
        return "is a web page, not GeoJSON"
    deep = isinstance(problem, RecursionError)
    text = "too deeply nested" if deep else str(problem)[:80]
    return f"is not JSON: {'a number of thousands of digits' if 'limit (' in text else text}"


def _no_collection(document: Any) -> str:
    if isinstance(document, dict) and document.get("type") != "FeatureCollection":
        return f"{quoted(str(document.get('type')))} is no FeatureCollection"
    thing = "its features are no list" if isinstance(document, dict) else "it is no object"
    return f"is no FeatureCollection: {thing}"


def _no_constant(name: str) -> float:
    raise ValueError(f"{name} is not a number")


def _crs_name(crs: Json) -> str:
    if isinstance(crs, dict):
        properties = crs.get("properties")
        if isinstance(properties, dict):
            return str(properties.get("name", properties.get("href", "unknown")))
        return str(crs.get("type", "unknown"))
    return "" if crs is None else str(crs)


def _properties(
    features: list[Json], file: str, faults: Faults, *, with_id: bool
) -> tuple[RawTable, list[Json]]:
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
        if with_id and cells.get("id") is None and isinstance(feature.get("id"), (str, int)):
            cells["id"] = feature["id"]
        rows.append(f"feature {number}")
        properties.append({k: _cell(v) for k, v in cells.items()})
        geometries.append(feature.get("geometry"))
    names = list(dict.fromkeys(name for cells in properties for name in cells))
    if len(names) > MAXIMUM_COLUMNS:
        faults.add(file, f"has {len(names)} properties", allowed=f"at most {MAXIMUM_COLUMNS}")
        return RawTable(file=file, rows=[], columns={}, unreadable=True), []
    columns = {name: [cells.get(name) for cells in properties] for name in names}
    return RawTable(file=file, rows=rows, columns=columns), geometries


def _cell(value: Json) -> Json:
    if value is None or isinstance(value, (str, float, bool)):
        return value
    if isinstance(value, int):
        return value if abs(value) < 2**53 else _whole(value)
    return json.dumps(value)[:2000]


def _whole(value: int) -> str:
    """An integer that no float holds, as text; Python refuses to print very long ones."""
    return str(value) if abs(value) < 10**40 else "an integer of more than 40 digits"


def read_edition(
    content: bytes, file: str, faults: Faults, findings: list[Finding]
) -> RawEdition | None:
    """Polygons of one boundary edition; None where the file can not be read at all."""
    document = _document(content, file, faults, findings)
    if document is None:
        return None
    head, features = document[0], document[1:]
    table, shapes = _properties(features, file, faults, with_id=True)
    geometry = np.empty(len(shapes), dtype=object)
    told: set[int] = set()
    plain = _plain_polygons(shapes)
    if plain is not None:
        geometry, shapes = plain, []
    for row, shape in enumerate(shapes):
        try:
            geometry[row] = _polygons(shape, f"{file}, {table.rows[row]}", findings)
        except _Fault as problem:
            told.add(row)
            faults.add(file, str(problem), row=table.rows[row], remedy=REDRAW)
    return RawEdition(
        table=replace(table, told=frozenset(told)),
        geometry=geometry,
        valid_from=_valid_from(head, table, file, faults, findings),
        source_crs=_text(head, "source_crs"),
        source=_text(head, "source"),
        datum_accuracy_m=_accuracy(head, "datum_accuracy_m", file, faults, MAXIMUM_SHIFT_M),
        accuracy_m=_accuracy(head, "edge_accuracy_m", file, faults),
        edge_bias_m=_accuracy(head, "edge_bias_m", file, faults),
        boundary_accuracy_m=_accuracy(head, "boundary_accuracy_m", file, faults),
    )


def _text(head: dict[str, Json], key: str) -> str:
    value = head.get(key)
    return value if isinstance(value, str) else ""


def _accuracy(
    head: dict[str, Json], key: str, file: str, faults: Faults, most: float = MAXIMUM_EDGE_M
) -> float:
    value = head.get(key)
    if value is None:
        return float("nan")
    number = parse_number(value)
    if number is None or not 0 <= number <= most:
        allowed = f"0 to {most:g} m"
        faults.add(
            file,
            f"{quoted(_cell(value))} can not be right",
            column=key,
            allowed=allowed,
        )
        return float("nan")
    return number


def _valid_from(
    head: dict[str, Json], table: RawTable, file: str, faults: Faults, findings: list[Finding]
) -> np.datetime64:
    named = re.search(r"(\d{4}-\d{2}-\d{2})\.geojson$", file)
    values = {str(v): v for v in table.columns.get("valid_from", []) if v is not None}
    if head.get("valid_from") is not None:
        values = {"": _cell(head["valid_from"])}
    if len(values) > 1:
        found = f"{len(values)} different dates: {', '.join(quoted(v) for v in list(values)[:3])}"
        remedy = "one file is one survey: give each survey a file in editions/"
        faults.add(file, found, column="valid_from", remedy=remedy)
        return np.datetime64("NaT", "D")
    value = next(iter(values.values()), named[1] if named else None)
    if value is None:
        return np.datetime64("NaT", "D")
    day = parse_day(value)
    if day is None:
        found = f"{quoted(value)} is not a date"
        faults.add(file, found, column="valid_from", allowed="2026-04-30")
        return np.datetime64("NaT", "D")
    if named and day != parse_day(named[1]):
        text = f"its name says {named[1]} and its valid_from {day}, which is used"
        findings.append(Finding(about=file, text=text, topic="area"))
    return day


class _Fault(ValueError):
    """What is wrong with one geometry; the caller knows where it stands."""


def _numbers(positions: Json, size: int) -> Floats:
    """The first ``size`` numbers of each position (n, size)."""
    try:
        flat = list(chain.from_iterable(positions))
        lengths = set(map(len, positions))
        if set(map(type, flat)) <= {int, float} and len(lengths) == 1 and min(lengths) >= size:
            return np.array(flat, dtype=np.float64).reshape(len(positions), -1)[:, :size]
        texts = any(isinstance(v, (bool, str)) for p in positions for v in p[:size])
        if not texts and all(len(p) >= size for p in positions):
            return np.array([[float(v) for v in p[:size]] for p in positions]).reshape(-1, size)
    except (TypeError, ValueError, KeyError, OverflowError):
        pass
    raise _Fault(_NO_NUMBERS)


def _ring(ring: Json) -> Floats:
    if not isinstance(ring, list):
        raise _Fault("its coordinates are not rings of positions")
    if len(ring) < 4:
        raise _Fault(f"a ring has {len(ring)} positions; at least 4 are needed")
    if len(ring) > MAXIMUM_VERTICES:
        raise _Fault(f"a ring has {len(ring):,} vertices; at most {MAXIMUM_VERTICES:,} are read")
    points = _numbers(ring, 2)
    if not np.isfinite(points).all():
        raise _Fault("a position is not finite")
    if (points[0] != points[-1]).any():
        raise _Fault("a ring is not closed: its last position must equal its first")
    if all(len(p) > 2 for p in ring):
        heights = _numbers(ring, 3)
        return heights if np.isfinite(heights).all() else points
    return points


def _plain_polygons(shapes: list[Json]) -> Geometries | None:
    """All at once, where all are polygons of closed rings in two dimensions; else None.

    What is wrong, or less plain, is found by a look at each.
    """
    if not shapes or not all(isinstance(s, dict) and s.get("type") == "Polygon" for s in shapes):
        return None
    try:
        rings = [ring for shape in shapes for ring in shape["coordinates"]]
        positions = list(chain.from_iterable(rings))
        flat = list(chain.from_iterable(positions))
        if set(map(type, flat)) != {float} or set(map(len, positions)) != {2}:
            return None
        size = np.array([len(ring) for ring in rings])
        parts = np.array([len(shape["coordinates"]) for shape in shapes])
    except (TypeError, KeyError):
        return None
    kinds = set(map(type, rings)) | set(map(type, positions))
    points = np.array(flat, dtype=np.float64).reshape(-1, 2)
    end = np.cumsum(size)
    closed = size.min() >= 4 and (points[end - size] == points[end - 1]).all()
    if kinds != {list} or not closed or not parts.all() or size.max() > MAXIMUM_VERTICES:
        return None
    if not np.isfinite(points).all():
        return None
    offsets = np.append(0, end), np.append(0, np.cumsum(parts))
    return np.asarray(shapely.from_ragged_array(shapely.GeometryType.POLYGON, points, offsets))


def _polygons(shape: Json, place: str, findings: list[Finding]) -> Any:
    """A shapely Polygon or MultiPolygon, None for null; _Fault for anything else."""
    if shape is None:
        return None
    kind = shape.get("type") if isinstance(shape, dict) else None
    if kind == "Polygon":
        return _polygon(shape.get("coordinates"))
    if kind == "MultiPolygon":
        rings = shape.get("coordinates")
        if not isinstance(rings, list):
            raise _Fault("its coordinates are not polygons")
        return shapely.MultiPolygon([_polygon(r) for r in rings])
    parts = shape.get("geometries") if kind == "GeometryCollection" else None
    if isinstance(parts, list):
        wanted = ("Polygon", "MultiPolygon")
        kept = [p for p in parts if isinstance(p, dict) and p.get("type") in wanted]
        found = [_polygons(part, place, findings) for part in kept]
        if found and all(shapely.is_valid(found)):
            text = "only the polygons of a GeometryCollection are used"
            if len(kept) < len(parts):
                findings.append(Finding(about=place, text=text, topic="file"))
            return shapely.union_all(found)
        raise _Fault("a GeometryCollection without sound polygons")
    raise _Fault(f"{quoted(_cell(kind))} is no Polygon or MultiPolygon")


def _polygon(rings: Json) -> Any:
    if not isinstance(rings, list):
        raise _Fault("its coordinates are not rings of positions")
    if not rings:
        return shapely.Polygon()
    shell, *holes = [_ring(ring) for ring in rings]
    return shapely.Polygon(shell, holes)


def read_points(content: bytes, file: str, faults: Faults, findings: list[Finding]) -> RawTable:
    """Properties of point features, with their positions as columns ``lon`` and ``lat``."""
    document = _document(content, file, faults, findings)
    if document is None:
        return RawTable(file=file, rows=[], columns={}, unreadable=True)
    table, shapes = _properties(document[1:], file, faults, with_id=False)
    position: list[tuple[Cell, Cell]] = []
    told: set[int] = set()
    for row, shape in enumerate(shapes):
        try:
            position.append(_position(shape))
        except _Fault as problem:
            position.append((None, None))
            told.add(row)
            remedy = "give a Point with [lon, lat]"
            faults.add(file, str(problem), row=table.rows[row], remedy=remedy)
    lon, lat = ([p[k] for p in position] for k in (0, 1))
    columns = {**table.columns, "lon": lon, "lat": lat}
    return replace(table, columns=columns, told=frozenset(told))


def _position(shape: Json) -> tuple[Cell, Cell]:
    if shape is None:
        return None, None
    if not isinstance(shape, dict) or shape.get("type") != "Point":
        kind = shape.get("type") if isinstance(shape, dict) else shape
        raise _Fault(f"{quoted(_cell(kind))} is no Point")
    place = shape.get("coordinates")
    if not isinstance(place, list) or len(place) < 2 or not {*map(type, place[:2])} <= {int, float}:
        raise _Fault(_NO_NUMBERS)
    try:
        lon, lat = map(float, place[:2])
    except OverflowError:
        raise _Fault(_NO_NUMBERS) from None
    if not (math.isfinite(lon) and math.isfinite(lat)):
        raise _Fault("a position is not finite")
    return lon, lat
