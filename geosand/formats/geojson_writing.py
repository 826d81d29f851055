"""GeoJSON (RFC 7946) out: polygons, pass lines to drive, points to lay trays on."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np
import shapely

from geosand.columns import Floats, Geometries
from geosand.formats.gpx import DECIMALS

NOTHING: Mapping[str, Any] = {}


def rounded(shapes: Geometries) -> Geometries:
    """Polygons (n,) in lon/lat to nine decimals, outer rings counter-clockwise (RFC 7946, 3.1.6).

    A polygon that rounding would make cross itself keeps all its digits.
    """
    full = shapely.force_2d(shapes)
    short = shapely.transform(full, lambda points: np.round(points, DECIMALS) + 0.0)  # no -0.0
    written: Geometries = np.where(shapely.is_valid(short), short, full)
    return np.asarray(shapely.orient_polygons(written))


def polygons_geojson(
    properties: Sequence[Mapping[str, Any]],
    shapes: Geometries,
    origin: Mapping[str, Any] | None = None,
) -> bytes:
    """Polygons (n,) in lon/lat with their properties, as :func:`rounded`; empty ones are null.

    ``origin`` is as in :func:`lines_geojson`.
    """
    written = rounded(shapes)
    empty = shapely.is_missing(written) | shapely.is_empty(written)
    features = (
        _feature(dict(cells), None if none else shapely.geometry.mapping(shape))
        for cells, shape, none in zip(properties, written, empty, strict=True)
    )
    return _collection(features, origin or NOTHING).encode("utf-8")


def lines_geojson(
    lines: Geometries,
    names: Sequence[str],
    surfaces: Sequence[str],
    heading_degree: Sequence[float],
    swath_m: float,
    origin: Mapping[str, Any] = NOTHING,
) -> str:
    """LineStrings in lon/lat with name, surface, heading (as driven best) and swath.

    ``origin`` (what they were made from and with) are foreign members of the collection (RFC 7946,
    section 6.1).
    """
    features = [
        _feature(
            {"name": name, "surface": surface, "heading_deg": heading, "swath_m": swath_m},
            {
                "type": "LineString",
                "coordinates": [[round(v, DECIMALS) for v in point[:2]] for point in line.coords],
            },
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
        _feature(
            dict(values),
            {"type": "Point", "coordinates": [round(lon, DECIMALS), round(lat, DECIMALS)]},
        )
        for lon, lat, values in places
    ]
    return _collection(features, origin)


def _feature(properties: dict[str, Any], geometry: dict[str, Any] | None) -> dict[str, Any]:
    return {"type": "Feature", "properties": properties, "geometry": geometry}


def _collection(features: Iterable[dict[str, Any]], origin: Mapping[str, Any]) -> str:
    """A line a foreign member, a line a feature."""
    members = "".join(
        f"{json.dumps(name)}: {json.dumps(value)},\n"  # names of files may be no UTF-8
        for name, value in origin.items()
    )
    lines = ",\n".join(json.dumps(f, ensure_ascii=False, allow_nan=False) for f in features)
    return f'{{"type": "FeatureCollection",\n{members}"features": [\n{lines}\n]}}\n'
