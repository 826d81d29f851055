"""One small invented course as polygons in lon/lat, and ways to write it as others would."""

import json
from pathlib import Path

import ezdxf
import numpy as np
import pyproj
import pytest
import shapely

from geosand.formats.boundaries import new_site, read_boundaries
from geosand.formats.boundaries.drawings.layers import read_dxf

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


@pytest.fixture
def drawing():
    document = ezdxf.new("R2010")
    document.header["$INSUNITS"] = 6
    return document


@pytest.fixture
def shapes_of(tmp_path):
    """Geometries of a drawing as it is read, before anything is closed or moved."""

    def read(document):
        document.saveas(tmp_path / "d.dxf")
        (layer,) = read_dxf(tmp_path / "d.dxf", "d.dxf")
        return [thing.geometry for thing in layer.drawn]

    return read


@pytest.fixture
def read(tmp_path):
    def reading(document, **wishes):
        document.saveas(tmp_path / "plan.dxf")
        return read_boundaries(tmp_path / "plan.dxf", **{"crs": UTM, **wishes})

    return reading


def square(k, size=0.0004, shift=0.0):
    west = LON + k * 0.001 + shift
    return shapely.box(west, LAT, west + size, LAT + size)


def survey(write_geojson, rows, name="survey.geojson"):
    return read_boundaries(write_geojson(rows, name=name))


FIRST = [
    feature(square(0), id="g1", name="Green 1", kind="green", target_mm=9.5),
    feature(square(1), id="g2", name="Green 2", kind="green"),
    feature(square(2), id="t1", name="Tee 1", kind="tee"),
]


@pytest.fixture
def site(tmp_path, write_geojson):
    folder = tmp_path / "site"
    new_site(folder, survey(write_geojson, FIRST), name="Invented", season_start="2026-03-01")
    return folder


def texts_of(found):
    return [f.text for f in found.findings]
