"""GeoJSON as others write it: any CRS in the old ``crs`` member, collections, text sequences."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

from geosand.errors import Fault, Faults, Finding, Refused, refused
from geosand.formats.boundaries.drawn import (
    LON_LAT,
    Drawn,
    Layer,
    attribute,
    heights_said,
    left_open_said,
)
from geosand.formats.boundaries.files.json_places import in_places
from geosand.formats.boundaries.files.json_shapes import DEEPEST, MAKERS, with_shape
from geosand.formats.boundaries.files.other_json import cut_short, other_json, read_other
from geosand.formats.boundaries.words.kinds import recognise
from geosand.formats.csv_table import decode
from geosand.formats.json_text import KEEP_ONE, read_json, twice_told

Json = Any


def read_geojson(path: Path, shown: str, crs_given: bool = False) -> list[Layer]:
    """One layer a CRS. A feature that can not be read keeps its place with the problem.

    ``crs_given`` says that a CRS comes from the user: then the file's own need not be understood.
    """
    found = list[Finding]()
    text = decode(path.read_bytes(), shown, Faults(), found)
    if text is None:
        raise refused(shown, "is no text", remedy="export it again as GeoJSON")
    document = _parse(text, shown)
    if other := other_json(document):
        return read_other(path, shown, other, document)
    features = _features(document, shown)
    try:
        crs = _crs(document, shown)
    except Refused:
        if not crs_given:
            raise
        crs = ""
    folders = _feature_types(features, document)
    things = [
        _drawn(f, k, folder)
        for k, (f, folder) in enumerate(zip(features, folders, strict=True), start=1)
    ]
    layers, stay, told = in_places(features, things, document, shown, crs_given)
    in_place = {thing.place for layer in layers for thing in layer.drawn}
    if stay or not layers:
        rule = "by RFC 7946, 3.1.1, they are above the ellipsoid"
        heights = () if crs else heights_said(stay, rule)
        layer = Layer(name="", drawn=tuple(stay), crs=crs or LON_LAT, assumed=not crs)
        layers = [replace(layer, findings=heights), *layers]
    said = (*told, *_left_open(features, in_place), *(finding.text for finding in found))
    said = (*layers[0].findings, *said, *cut_short(document))
    return [replace(layers[0], findings=said), *layers[1:]]


def _left_open(features: list[Json], in_place: set[str]) -> tuple[str, ...]:
    """Rings that lack their last position were closed: that is said, with the first of them.

    ``in_place`` are those things whose outline is that of their ``place``.
    """
    found = []
    for number, feature in enumerate(features, start=1):
        member = "place" if (who := f"feature {number}") in in_place else "geometry"
        if isinstance(feature, dict) and _is_open(feature.get(member)):
            found.append(who)
    return left_open_said(found, "RFC 7946, 3.1.6")


def _is_open(shape: Json, depth: int = 0) -> bool:
    """Whether a ring in it does not return to its first position."""
    if not isinstance(shape, dict) or depth > DEEPEST:
        return False
    inside, cells = shape.get("geometries"), shape.get("coordinates")
    if isinstance(inside, list):
        return any(_is_open(g, depth + 1) for g in inside)
    if not isinstance(cells, list) or shape.get("type") not in ("Polygon", "MultiPolygon"):
        return False
    parts = cells if shape["type"] == "MultiPolygon" else [cells]
    rings = [r for part in parts if isinstance(part, list) for r in part if isinstance(r, list)]
    return any(
        isinstance(r[0], list) and isinstance(r[-1], list) and r[0][:2] != r[-1][:2]
        for r in rings
        if len(r) > 2
    )


def _parse(text: str, shown: str) -> Json:
    try:
        document, twice = read_json(text)
    except (ValueError, RecursionError) as problem:
        deep = isinstance(problem, RecursionError)
        words = "too deeply nested" if deep else str(problem)[:80]
    else:
        _refuse_twice(twice, shown)
        return document
    # a text after each record separator (RFC 8142), else one a line
    texts = text.split("\x1e") if "\x1e" in text else text.splitlines()
    read = list[tuple[Json, list[tuple[int, str]]]]()
    try:
        for one in filter(str.strip, texts):
            read.append(read_json(one))
    except (ValueError, RecursionError) as problem:
        if read and isinstance(read[0][0], dict):
            words = f"of its texts no. {len(read) + 1} can not be read, {str(problem)[:80]}"
    else:
        if read and all(isinstance(document, dict) for document, _ in read):
            twice = [(n, key) for n, (_, keys) in enumerate(read, start=1) for _, key in keys]
            _refuse_twice(twice, shown)
            return _joined([document for document, _ in read])
    raise refused(shown, f"is not JSON: {words}", remedy="export it again as GeoJSON")


def _joined(documents: list[Json]) -> Json:
    """The texts of a sequence as one; collections that do not share a CRS stay what is no feature.

    Each may be a collection as well as a feature (RFC 8142).
    """
    first = documents[0].get("crs")
    alike = all(document.get("crs") == first for document in documents)
    features = [
        feature
        for document in documents
        for feature in (
            document["features"]
            if alike
            and document.get("type") == "FeatureCollection"
            and isinstance(document.get("features"), list)
            else [document]
        )
    ]
    crs = {"crs": first} if alike and first is not None else {}
    return {"type": "FeatureCollection", "features": features, **crs}


def _refuse_twice(twice: list[tuple[int, str]], shown: str) -> None:
    """Refuse keys that stand twice: which of the two is meant nobody but their writer knows."""
    if twice:
        raise Refused(
            Fault(
                file=shown,
                row=f"feature {number}" if number else None,
                found=twice_told(key),
                remedy=KEEP_ONE,
            )
            for number, key in twice
        )


def _crs(document: Json, shown: str) -> str:
    crs = document.get("crs") if isinstance(document, dict) else None
    if crs is None:
        return ""
    properties = crs.get("properties") if isinstance(crs, dict) else None
    crs_type = crs.get("type") if isinstance(crs, dict) else None
    if crs_type is not None:
        if crs_type == "name" and isinstance(properties, dict):
            return str(properties.get("name", ""))
        if crs_type == "EPSG" and isinstance(properties, dict) and "code" in properties:
            return f"EPSG:{properties['code']}"
    said = "it is a link, which is not followed" if crs_type == "link" else str(crs)[:60]
    found = f"its crs member does not name a CRS: {said}"
    raise refused(shown, found, remedy="say the CRS yourself with --crs")


def _features(document: Json, shown: str) -> list[Json]:
    kind = document.get("type") if isinstance(document, dict) else type(document).__name__
    if kind == "FeatureCollection" and isinstance(document.get("features"), list):
        features: list[Json] = document["features"]
        return features
    if kind == "Feature":
        return [document]
    if isinstance(kind, str) and kind in (*MAKERS, "GeometryCollection"):
        return [{"type": "Feature", "properties": {}, "geometry": document}]
    found = f"is JSON, but {str(kind)[:40]!r} is no GeoJSON"
    if kind is None:
        found = "is JSON, but no GeoJSON: it has no type"
    raise refused(shown, found, allowed="a FeatureCollection", remedy="export it as GeoJSON")


def _feature_types(features: list[Json], document: Json) -> list[str]:
    """Of each feature its type, as JSON-FG says it, where that can tell something; else ""."""
    common = document.get("featureType")
    types = [f.get("featureType", common) if isinstance(f, dict) else None for f in features]
    texts = [each if isinstance(each, str) else "" for each in types]
    several = len(set(texts)) > 1
    return [t if several or recognise(t) not in ("", "other") else "" for t in texts]


def _drawn(feature: Json, number: int, folder: str) -> Drawn:
    place = f"feature {number}"
    if not isinstance(feature, dict) or feature.get("type") != "Feature":
        return Drawn(place=place, problem="it is no Feature (RFC 7946, 3.2)")
    found = feature.get("properties")
    cells = {str(k): attribute(v) for k, v in found.items()} if isinstance(found, dict) else {}
    if cells.get("id") is None and isinstance(feature.get("id"), (str, int)):
        cells["id"] = feature["id"]
    return with_shape(Drawn(place=place, attributes=cells, folder=folder), feature.get("geometry"))
