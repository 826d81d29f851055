"""One small invented course as polygons in lon/lat, and ways to write it as others would."""

import json
from pathlib import Path

import numpy as np
import pyproj
import pytest
import shapely

LON, LAT = 9.9, 53.3  # UTM zone 32 north, within its width; an invented place
UTM = "EPSG:25832"


def blob(east, north, radius, corners=24, wobble=0.15, hole=False):
    """A green-like outline in metres around a place in UTM 32."""
    x0, y0 = 560_000.0, 5_906_000.0
    t = np.linspace(0, 2 * np.pi, corners, endpoint=False)
    r = radius * (1 + wobble * np.cos(3 * t + east))
    shell = np.column_stack([x0 + east + r * np.cos(t), y0 + north + r * np.sin(t)])
    if not hole:
        return shapely.Polygon(shell)
    inner = np.column_stack([x0 + east + 2 * np.cos(t), y0 + north + 2 * np.sin(t)])[::-1]
    return shapely.Polygon(shell, [inner])


def to_lon_lat(shape, crs=UTM):
    move = pyproj.Transformer.from_crs(crs, "OGC:CRS84", always_xy=True)
    return shapely.transform(shape, lambda p: np.column_stack(move.transform(*p.T)))


@pytest.fixture
def course():
    """id, name, kind, polygon in UTM 32: a hole, a multipolygon, an umlaut."""
    two = shapely.MultiPolygon([blob(200, 0, 6), blob(230, 0, 7)])
    return [
        ("g1", "Grün 1", "green", blob(0, 0, 13)),
        ("g2", "Green 2", "green", blob(80, 0, 14, hole=True)),
        ("t2", "Tees 2", "tee", two),
        ("f1", "Fairway 1", "fairway", blob(40, 120, 45)),
    ]


@pytest.fixture
def write_geojson(tmp_path):
    def write(features, name="in.geojson", **head):
        document = {"type": "FeatureCollection", **head, "features": features}
        path = tmp_path / name
        path.write_text(json.dumps(document), encoding="utf-8")
        return path

    return write


def feature(geometry, **properties):
    shape = json.loads(shapely.to_geojson(geometry)) if geometry is not None else None
    return {"type": "Feature", "properties": properties, "geometry": shape}


@pytest.fixture
def course_file(course, write_geojson) -> Path:
    rows = [feature(to_lon_lat(g), id=i, name=n, kind=k) for i, n, k, g in course]
    return write_geojson(rows)
