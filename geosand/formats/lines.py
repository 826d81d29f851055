"""GeoJSON (RFC 7946) out: pass lines to drive, points to lay trays on."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any

from geosand.columns import Floats, Geometries
from geosand.formats.gpx import DECIMALS

NOTHING: Mapping[str, Any] = {}


def lines_geojson(
    lines: Geometries,
    names: Sequence[str],
    surfaces: Sequence[str],
    heading_degree: Sequence[float],
    swath_m: float,
    origin: Mapping[str, Any] = NOTHING,
) -> str:
    """LineStrings in lon/lat with name, surface, heading (as driven best) and swath.

    ``origin`` (what they were made from and with) are foreign members of the collection.
    """
    features = [
        _feature(
            {"name": name, "surface": surface, "heading_deg": heading, "swath_m": swath_m},
            "LineString",
            [[round(v, DECIMALS) for v in point[:2]] for point in line.coords],
        )
        for line, name, surface, heading in zip(lines, names, surfaces, heading_degree, strict=True)
    ]
    return _collection(features, origin)


def points_geojson(
    lon_degree: Floats,
    lat_degree: Floats,
    properties: Sequence[Mapping[str, Any]],
    origin: Mapping[str, Any] = NOTHING,
) -> str:
    """Points (n,) with their properties; ``origin`` as in :func:`lines_geojson`."""
    places = zip(lon_degree.tolist(), lat_degree.tolist(), properties, strict=True)
    features = [
        _feature(dict(values), "Point", [round(lon, DECIMALS), round(lat, DECIMALS)])
        for lon, lat, values in places
    ]
    return _collection(features, origin)


def _feature(properties: dict[str, Any], kind: str, coordinates: Any) -> dict[str, Any]:
    geometry = {"type": kind, "coordinates": coordinates}
    return {"type": "Feature", "properties": properties, "geometry": geometry}


def _collection(features: list[dict[str, Any]], origin: Mapping[str, Any]) -> str:
    members = "".join(
        f"{json.dumps(name)}:{json.dumps(value, ensure_ascii=False)},\n"
        for name, value in origin.items()
    )
    lines = ",\n".join(json.dumps(f, ensure_ascii=False, allow_nan=False) for f in features)
    return f'{{"type":"FeatureCollection",{members}"features":[\n{lines}\n]}}\n'
