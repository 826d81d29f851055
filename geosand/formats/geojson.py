"""GeoJSON (RFC 7946) in: the surfaces of a boundary edition, catches as points."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import numpy as np

from geosand.errors import Faults, Finding, listed
from geosand.formats.csv_table import MAXIMUM_COLUMNS, decode
from geosand.formats.geojson_shapes import ShapeFault, plain_polygons, polygons_of, position_of
from geosand.formats.json_text import KEEP_ONE, as_cell, read_json, twice_told
from geosand.site.cells import Cell, RawTable, parse_day, parse_number, quoted
from geosand.site.editions import RawEdition

Json = Any
WGS84 = re.compile(r"(CRS84h?|EPSG:*(:[\d.]*)?:4326|EPSG/0/4326)$", re.IGNORECASE)
MAXIMUM_EDGE_M = 20.0
MAXIMUM_SHIFT_M = 10_000.0  #: a datum shift that is not known at all is good to some hundred
REDRAW = "draw or export this polygon again"
EXPORT = "export it as GeoJSON, with its features in one collection"


def _document(
    content: bytes, file: str, faults: Faults, findings: list[Finding]
) -> tuple[dict[str, Json], list[Json]] | None:
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
    return document, document["features"]


def _no_json(text: str, problem: Exception) -> str:
    """Why a text is no JSON, in words that help who has the file."""
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
        properties.append({k: as_cell(v) for k, v in cells.items()})
        geometries.append(feature.get("geometry"))
    names = list(dict.fromkeys(name for cells in properties for name in cells))
    if len(names) > MAXIMUM_COLUMNS:
        faults.add(file, f"has {len(names)} properties", allowed=f"at most {MAXIMUM_COLUMNS}")
        return RawTable(file=file, unreadable=True), []
    columns = {name: [cells.get(name) for cells in properties] for name in names}
    unreadable = bool(features) and not rows  # such as JSON of another kind
    return RawTable(file=file, rows=rows, columns=columns, unreadable=unreadable), geometries


def read_edition(
    content: bytes, file: str, faults: Faults, findings: list[Finding]
) -> RawEdition | None:
    """Polygons of one boundary edition; None where the file can not be read at all."""
    document = _document(content, file, faults, findings)
    if document is None:
        return None
    head, features = document
    table, shapes = _properties(features, file, faults, with_id=True)
    geometry = np.empty(len(shapes), dtype=object)
    told: set[int] = set()
    plain = plain_polygons(shapes)
    if plain is not None:
        geometry, shapes = plain, []
    for row, shape in enumerate(shapes):
        try:
            geometry[row] = polygons_of(shape, f"{file}, {table.rows[row]}", findings)
        except ShapeFault as problem:
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
    """A text in the head of a collection; "" where it says none."""
    value = head.get(key)
    return value if isinstance(value, str) else ""


def _accuracy(
    head: dict[str, Json], key: str, file: str, faults: Faults, most: float = MAXIMUM_EDGE_M
) -> float:
    """An accuracy (m) in the head of a collection; nan where it says none, or with a fault."""
    value = head.get(key)
    if value is None:
        return float("nan")
    number = parse_number(value)
    if number is None or not 0 <= number <= most:
        found = f"{quoted(as_cell(value))} can not be right"
        faults.add(file, found, column=key, allowed=f"0 to {most:g} m")
        return float("nan")
    return number


def _valid_from(
    head: dict[str, Json], table: RawTable, file: str, faults: Faults, findings: list[Finding]
) -> np.datetime64:
    """From which day an edition holds, by its head, its rows or its name; NaT = not said."""
    named = re.search(r"(\d{4}-\d{2}-\d{2})\.geojson$", file)
    values = {str(v): v for v in table.columns.get("valid_from", []) if v is not None}
    if head.get("valid_from") is not None:
        values = {"": as_cell(head["valid_from"])}
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


def _apart(said: float | None, at: Cell) -> bool:
    """Whether a longitude or latitude beside a point is none of it: by over 2 m or so."""
    return said is not None and isinstance(at, float) and abs(said - at) > 2e-5


def read_points(content: bytes, file: str, faults: Faults, findings: list[Finding]) -> RawTable:
    """Properties of point features, with their positions as columns ``lon`` and ``lat``."""
    document = _document(content, file, faults, findings)
    if document is None:
        return RawTable(file=file, unreadable=True)
    table, shapes = _properties(document[1], file, faults, with_id=False)
    position: list[tuple[Cell, Cell]] = []
    told: set[int] = set()
    for row, shape in enumerate(shapes):
        try:
            position.append(position_of(shape))
        except ShapeFault as problem:
            position.append((None, None))
            told.add(row)
            remedy = "give a Point with [lon, lat]"
            faults.add(file, str(problem), row=table.rows[row], remedy=remedy)
    lon, lat = ([p[k] for p in position] for k in (0, 1))
    for name, own in (("lon", lon), ("lat", lat)):
        said = zip(table.rows, map(parse_number, table.columns.get(name, ())), own, strict=False)
        if far := [str(row) for row, cell, at in said if _apart(cell, at)]:
            one = len(far) == 1
            rest = "says another {} than its point" if one else "say another {} than their points"
            text = f"{listed(far, 8)} {rest.format(name)}, which count{'s' * one}"
            findings.append(Finding(about=file, text=text, topic="file"))
    columns = {**table.columns, "lon": lon, "lat": lat} if table.rows else {}
    return replace(table, columns=columns, told=frozenset(told))
