"""The demo's surfaces and random polygons with holes through every format: their areas stay.

A vertex may cost 1 mm² of area, or what the table says and why. Areas are plane ones in the UTM
zone of the site on both sides: the noise of geodesic areas (2e-3 m²) is larger than what is tested.
"""

import json
import zipfile
from pathlib import Path

import ezdxf
import geopandas
import numpy as np
import pytest
import shapely

from geosand.formats.boundaries import read_boundaries

DEMO = Path(__file__).parents[3] / "data/demo_site/surfaces.geojson"
LON_LAT, EXACT = "EPSG:4326", 1e-6
KINDS = ("green", "tee", "bunker", "fairway", "lawn", "pitch")


@pytest.fixture(scope="module")
def demo():
    frame = geopandas.read_file(DEMO)[["id", "kind", "geometry"]]
    return frame.to_crs(frame.estimate_utm_crs())


@pytest.fixture(scope="module")
def random_shapes(demo):
    """Star-shaped outlines of 5 to 400 corners beside the demo, half of them with a hole or two."""
    chance = np.random.default_rng(20261125)
    west, south, _, _ = demo.total_bounds
    shapes = []
    for number in range(40):
        corners = int(chance.integers(5, 400))
        t = np.sort(chance.uniform(0, 2 * np.pi, corners))
        t += np.linspace(0, 1e-3, corners)
        radius = chance.uniform(4, 60)
        r = radius * chance.uniform(0.7, 1.0, corners)
        middle = np.array([west + 200 * (number % 8), south - 300 - 200 * (number // 8)])
        shell = middle + np.column_stack([r * np.cos(t), r * np.sin(t)])
        shape = shapely.Polygon(shell)
        for k in range(number % 3):
            hole = shapely.Point(middle[0] + radius * 0.25 * (2 * k - 1), middle[1]).buffer(
                radius * 0.1
            )
            if shapely.contains_properly(shape, hole):
                shape = shapely.difference(shape, hole)
        shapes.append(shape)
    columns = {"id": [f"r{k}" for k in range(40)], "kind": [KINDS[k % 6] for k in range(40)]}
    return geopandas.GeoDataFrame(columns, geometry=shapes, crs=demo.crs)


def by_driver(driver, ending, **options):
    def write(frame, folder):
        path = folder / f"c.{ending}"
        frame.to_file(path, driver=driver, **options)
        return path

    return write


def zipped_shapefile(frame, folder):
    (folder / "inner").mkdir()
    frame.to_file(folder / "inner/c.shp")
    with zipfile.ZipFile(folder / "c.zip", "w") as archive:
        for path in sorted((folder / "inner").iterdir()):
            archive.write(path, f"survey/{path.name}")
    return folder / "c.zip"


def kml(frame, folder):
    frame.rename(columns={"id": "name"}).to_file(folder / "c.kml", driver="LIBKML")
    return folder / "c.kml"


def kmz(frame, folder):
    inner = kml(frame, folder)
    with zipfile.ZipFile(folder / "c.kmz", "w") as archive:
        archive.write(inner, "files/doc.kml")
    return folder / "c.kmz"


def old_geojson(frame, folder):
    rows = json.loads(frame.to_json(drop_id=True, to_wgs84=False))
    code = frame.crs.to_epsg()
    rows["crs"] = {"type": "name", "properties": {"name": f"urn:ogc:def:crs:EPSG::{code}"}}
    (folder / "c.geojson").write_text(json.dumps(rows))
    return folder / "c.geojson"


def dxf(frame, folder):
    document = ezdxf.new("R2010")
    document.header["$INSUNITS"] = 6
    for kind, shape in zip(frame.kind, frame.geometry, strict=True):
        points = shapely.get_coordinates(shape.exterior)[:-1]
        style = {"layer": kind.upper()}
        document.modelspace().add_lwpolyline(points, close=True, dxfattribs=style)
    document.saveas(folder / "c.dxf")
    return folder / "c.dxf"


def survey_text(decimals):
    def write(frame, folder):
        lines, number = ["P,N,E,D"], 0
        for made, shape in zip(frame.id, frame.geometry, strict=True):
            ring = shapely.get_coordinates(shape.exterior)[:-1]
            for k, (x, y) in enumerate(ring.tolist()):
                number += 1
                mark = " CL" if k == len(ring) - 1 else ""
                lines.append(f"{number},{y:.{decimals}f},{x:.{decimals}f},{made}{mark}")
        (folder / "c.txt").write_text("\n".join(lines))
        return folder / "c.txt"

    return write


def gpx(frame, folder):
    parts = []
    for made, shape in zip(frame.id, frame.geometry, strict=True):
        points = "".join(
            f'<trkpt lat="{y!r}" lon="{x!r}"/>'
            for x, y in shapely.get_coordinates(shape.exterior).tolist()
        )
        parts.append(f"<trk><name>{made}</name><trkseg>{points}</trkseg></trk>")
    (folder / "c.gpx").write_text(f"<gpx>{''.join(parts)}</gpx>")
    return folder / "c.gpx"


BOTH, DEGREES, PLANE = (LON_LAT, None), (LON_LAT,), (None,)
#: name: writer, in which CRS, holes kept, m² a vertex that may be lost, why it is more than 1 mm².
FORMATS = {
    "GeoJSON": (by_driver("GeoJSON", "geojson"), DEGREES, True, EXACT, ""),
    "GeoJSON with crs member": (old_geojson, BOTH, True, EXACT, ""),
    "GeoJSON of 7 decimals": (
        by_driver("GeoJSON", "geojson", RFC7946="YES"), DEGREES, True, 0.02,
        "7 decimals of a degree are steps of 11 mm, times edges of up to 60 m",
    ),
    "GeoJSON, a line each": (
        by_driver("GeoJSONSeq", "geojsonl"), DEGREES, True, 0.02,
        "its writer rounds to 7 decimals of a degree, 11 mm",
    ),
    "GeoPackage": (by_driver("GPKG", "gpkg"), BOTH, True, EXACT, ""),
    "FlatGeobuf": (by_driver("FlatGeobuf", "fgb"), BOTH, True, EXACT, ""),
    "Shapefile": (by_driver("ESRI Shapefile", "shp"), BOTH, True, EXACT, ""),
    "zipped Shapefile": (zipped_shapefile, BOTH, True, EXACT, ""),
    "GML": (by_driver("GML", "gml"), BOTH, True, EXACT, ""),
    "KML": (kml, DEGREES, True, EXACT, ""),
    "KMZ": (kmz, DEGREES, True, EXACT, ""),
    "GPX": (gpx, DEGREES, False, EXACT, "tracks have no holes: outlines alone"),
    "DXF": (dxf, PLANE, False, EXACT, "outlines have no holes: outlines alone"),
    "survey text": (survey_text(9), PLANE, False, EXACT, "walks have no holes: outlines alone"),
    "survey text to the mm": (
        survey_text(3), PLANE, False, 0.002,
        "half a millimetre of each corner, times edges of up to 60 m",
    ),
}  # fmt: skip
CASES = [(name, crs) for name, row in FORMATS.items() for crs in row[1]]


@pytest.mark.parametrize("which", ["demo", "random_shapes"])
@pytest.mark.parametrize(("name", "crs"), CASES, ids=[f"{n}, {c or 'UTM'}" for n, c in CASES])
def test_areas_stay(name, crs, which, request, tmp_path):
    frame = request.getfixturevalue(which)
    write, _, holes, per_vertex_m2, why = FORMATS[name]
    assert bool(why) == (per_vertex_m2 > EXACT or not holes)  # a larger loss needs its reason
    if not holes:
        frame = frame.set_geometry([shapely.Polygon(s.exterior) for s in frame.geometry])
    path = write(frame.to_crs(crs) if crs else frame, tmp_path)
    plain = path.suffix in (".dxf", ".txt")
    found = read_boundaries(path, crs=str(frame.crs) if plain else None, kind_column=None)
    assert found.tally.used == len(frame), name
    back = geopandas.GeoSeries(found.features.geometry, crs=LON_LAT).to_crs(frame.crs)
    rows = {made: k for k, made in enumerate(found.features.id)}
    order = range(len(frame)) if path.suffix == ".dxf" else [rows[made] for made in frame.id]
    areas = shapely.area(back.to_numpy()[list(order)])
    corners = shapely.get_num_coordinates(frame.geometry.to_numpy())
    off = np.abs(areas - shapely.area(frame.geometry.to_numpy()))
    worst = int((off / corners).argmax())
    said = f"{name}: {off[worst]:.2e} m² of {areas[worst]:.1f} m², {corners[worst]} vertices. {why}"
    assert (off <= per_vertex_m2 * corners).all(), said
