"""Boundary files for ``geosand new``: text that is no outline, outlines that are none, odd places.

All cases are made for this project.
"""

from __future__ import annotations

import gzip
import io
import json
import zipfile
from dataclasses import dataclass
from typing import Any

from tests.bad_input.case import ACCEPTED, FOUND, REFUSED
from tests.sites import LAT, collection, square, surface

LON = 35.0  #: on land: the other tests' site lies in the sea, where a new one is asked about
G, H = square(LON, LAT, 20.0), square(LON + 0.001, LAT, 20.0)
RING = G["coordinates"][0]


@dataclass(frozen=True, slots=True)
class Boundary:
    """A boundary file, the options it is read with, what must happen, part of what is said."""

    name: str
    file: str
    content: str | bytes
    outcome: str
    text: str = ""
    options: tuple[str, ...] = ()


def geojson(*features: Any, **members: Any) -> str:
    return json.dumps(collection(features, **members))


def green(geometry: Any, **properties: Any) -> str:
    return geojson(surface("g1", "green", geometry, **properties))


def polygon(*rings: Any) -> dict[str, Any]:
    return {"type": "Polygon", "coordinates": list(rings)}


def moved(east: float, north: float) -> list[list[float]]:
    return [[x + east, y + north] for x, y in RING]


def kml(*placemarks: str, head: str = '<?xml version="1.0" encoding="UTF-8"?>') -> str:
    inner = "".join(placemarks)
    return f'{head}<kml xmlns="http://www.opengis.net/kml/2.2"><Document>{inner}</Document></kml>'


def placemark(name: str, positions: Any = RING) -> str:
    text = " ".join(",".join(map(str, p)) for p in positions)
    ring = f"<LinearRing><coordinates>{text}</coordinates></LinearRing>"
    shape = f"<Polygon><outerBoundaryIs>{ring}</outerBoundaryIs></Polygon>"
    return f"<Placemark><name>{name}</name>{shape}</Placemark>"


def gpx(positions: Any) -> str:
    points = "".join(f'<trkpt lat="{y}" lon="{x}"/>' for x, y in positions)
    return (
        '<?xml version="1.0"?><gpx version="1.1" creator="t" '
        'xmlns="http://www.topografix.com/GPX/1/1"><trk><name>green</name>'
        f"<trkseg>{points}</trkseg></trk></gpx>"
    )


def zipped(**members: str | bytes) -> bytes:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as archive:
        for name, content in members.items():
            archive.writestr(name.replace("_", "."), content)
    return stream.getvalue()


def survey(*eastings: str) -> str:
    lines = ["point,easting,northing,code"]
    lines += [f"{k},{e},{5_200_000 + 10 * k},green1" for k, e in enumerate(eastings, start=1)]
    return "\n".join(lines) + "\n"


GRID = ("--crs", "EPSG:32630")
TEXT = (
    Boundary("plain", "a.geojson", green(G), ACCEPTED),
    Boundary("one feature", "a.geojson", json.dumps(surface("g1", "green", G)), ACCEPTED),
    Boundary("a byte order mark", "a.geojson", "\ufeff" + green(G), ACCEPTED),
    Boundary("UTF-16", "a.geojson", green(G).encode("utf-16"), ACCEPTED),
    Boundary("a line a feature", "a.geojsonl", json.dumps(surface("g1", "green", G)), ACCEPTED),
    Boundary(
        "Latin-1",
        "a.geojson",
        green(G, name="Gr#n").replace("#", "\xfc").encode("latin-1"),
        FOUND,
        "is not UTF-8; it is read as Windows-1252",
    ),
    Boundary("packed by gzip", "a.geojson", gzip.compress(green(G).encode()), REFUSED, "no text"),
    Boundary("empty", "a.geojson", "", REFUSED, "is empty"),
    Boundary("a number", "a.geojson", "3", REFUSED, "is no GeoJSON"),
    Boundary("null", "a.geojson", "null", REFUSED, "is no GeoJSON"),
    Boundary("of an app", "a.json", '{"holes": [{"green": []}]}', REFUSED, "it has no type"),
    Boundary("a list of types", "a.json", '{"type": ["Feature"]}', REFUSED, "is no GeoJSON"),
    Boundary("topologies", "a.geojson", '{"type":"Topology"}', REFUSED, "Failed to read TopoJSON"),
    Boundary("no feature", "a.geojson", geojson(), REFUSED, "no surface in it"),
    Boundary("text behind", "a.geojson", green(G) + "x", REFUSED, "is not JSON: Extra data"),
    Boundary("deep", "a.geojson", "[" * 100_000, REFUSED, "too deeply nested"),
    Boundary("a web page", "a.geojson", "<!DOCTYPE html><p>Sign in", REFUSED, "is a web page"),
    Boundary("a page named KML", "a.kml", "<html><p>Sign in</p></html>", REFUSED, "a web page"),
    Boundary("a program named KML", "a.kml", b"MZ\x90\0" + bytes(60), REFUSED, "not whole XML"),
    Boundary("a drawing not to be read", "a.dwg", b"AC1032" + bytes(60), REFUSED, "Save it as DXF"),
    Boundary("a printed plan", "a.pdf", b"%PDF-1.7\n", REFUSED, "is of no known format"),
    Boundary("text named DXF", "a.dxf", "hello", REFUSED, "a.dxf: can not be read"),
    Boundary("text named GeoPackage", "a.gpkg", "hello", REFUSED, "is no gpkg file"),
    Boundary("a database's head", "a.gpkg", b"SQLite format 3\0", REFUSED, "no GeoPackage"),
    Boundary("a Shapefile's third", "a.shp", b"\0\0\x27\x0a" + bytes(96), REFUSED, ".shx"),
    Boundary("half a FlatGeobuf", "a.fgb", b"fgb\x03fgb\0" + b"\xff" * 90, REFUSED, "no layer"),
)
MARKUP = (
    Boundary("KML", "a.kml", kml(placemark("green")), ACCEPTED),
    Boundary("KML without a placemark", "a.kml", kml(), REFUSED, "no surface in it"),
    Boundary("KML cut off", "a.kml", kml(placemark("green"))[:300], REFUSED, "is not whole XML"),
    Boundary(
        "KML that says another encoding than it has",
        "a.kml",
        kml(placemark("Grün")).encode("latin-1"),
        REFUSED,
        "is not whole XML",
    ),
    Boundary(
        "KML in UTF-7",
        "a.kml",
        kml(placemark("green"), head='<?xml version="1.0" encoding="UTF-7"?>'),
        REFUSED,
        "is XML in 'utf-7'; allowed: utf-8",
    ),
    Boundary(
        "KML with markup in a name",
        "a.kml",
        kml(placemark("<![CDATA[<script>alert(1)</script> green]]>")),
        FOUND,
        "'<script>alert(1)</script> green' is taken as green",
    ),
    Boundary(
        "KML without numbers", "a.kml", kml(placemark("g", ["xy"] * 4)), REFUSED, "not numbers"
    ),
    Boundary("KML of two corners", "a.kml", kml(placemark("g", RING[:2])), REFUSED, "3 are needed"),
    Boundary("KMZ", "a.kmz", zipped(doc_kml=kml(placemark("green"))), ACCEPTED),
    Boundary("KMZ in KMZ", "a.kmz", zipped(a_kmz=zipped(doc_kml="x")), REFUSED, "holds a.kmz"),
    Boundary("GPX", "a.gpx", gpx(RING), ACCEPTED),
    Boundary("GPX of nan", "a.gpx", gpx([("nan", "nan")] * 4), REFUSED, "are not finite"),
    Boundary("GPX of nothing", "a.gpx", gpx([("", "")] * 4), REFUSED, "are not numbers"),
    Boundary(
        "GPX with decimal commas", "a.gpx", gpx([("-30,1", "47,2")] * 4), REFUSED, "not numbers"
    ),
)
PROPERTIES = (
    Boundary("an id as a number", "a.geojson", geojson(surface(5, "green", G)), ACCEPTED),  # type: ignore[arg-type]
    Boundary(
        "an id of 5,000 letters", "a.geojson", geojson(surface("x" * 5000, "green", G)), FOUND, "id"
    ),
    Boundary(
        "an id twice",
        "a.geojson",
        geojson(surface("g", "green", G), surface("g", "green", H)),
        FOUND,
        "g-2: its id in the file is 'g'",
    ),
    Boundary(
        "ids that differ in case",
        "a.geojson",
        geojson(surface("g", "green", G), surface("G", "green", H)),
        FOUND,
        "G-2: its id in the file is 'G'",
    ),
    Boundary(
        "half a letter",
        "a.geojson",
        green(G).replace('"g1"', '"\\ud800"'),
        FOUND,
        "green-1: its id in the file is '·'",
    ),
    Boundary(
        "a kind that is a table",
        "a.geojson",
        geojson(surface("g", {"a": 1}, G)),  # type: ignore[arg-type]
        FOUND,
        "is not known; it is kept as other",
    ),
    Boundary(
        "a slope in words",
        "a.geojson",
        green(G, slope_percent="steep"),
        FOUND,
        "g1: its slope_percent 'steep' is not a number: it is left out",
    ),
    Boundary(
        "a target with its unit",
        "a.geojson",
        green(G, target_mm="9 mm"),
        FOUND,
        "g1: its target_mm '9 mm' is not a number: it is left out",
    ),
    Boundary("a target that is null", "a.geojson", green(G, target_mm=None), ACCEPTED),
    Boundary("a negative target", "a.geojson", green(G, target_mm=-5), REFUSED, "can not be right"),
    Boundary("a height in space", "a.geojson", green(G, elevation_m=1e9), REFUSED, "at most 9000"),
    Boundary(
        "around nothing",
        "a.geojson",
        geojson(surface("c", "collar", G, around="zz")),
        FOUND,
        "its column around names 'zz', which is no surface here",
    ),
)
GEOMETRY = (
    Boundary("1e400", "a.geojson", green(G).replace("35.0", "-1e400", 1), REFUSED, "not finite"),
    Boundary("4,400 digits", "a.geojson", green(G).replace("47.", "9" * 4400, 1), REFUSED, ""),
    Boundary("text for numbers", "a.geojson", green(polygon([["a", "b"]] * 4)), REFUSED, "text"),
    Boundary("true for numbers", "a.geojson", green(polygon([[True, False]] * 4)), REFUSED, "text"),
    Boundary("null for positions", "a.geojson", green(polygon([None] * 4)), REFUSED, "positions"),
    Boundary("numbers for rings", "a.geojson", green(polygon(1, 2, 3)), REFUSED, "positions"),
    Boundary("no ring", "a.geojson", green(polygon()), REFUSED, "it is empty"),
    Boundary(
        "a circle", "a.geojson", green({"type": "Circle"}), REFUSED, "'Circle' is no geometry"
    ),
    Boundary(
        "a bow-tie",
        "a.geojson",
        green(polygon([RING[0], RING[2], RING[1], RING[3], RING[0]])),
        REFUSED,
        "the boundary crosses itself at lon",
    ),
    Boundary(
        "a hole elsewhere",
        "a.geojson",
        green(polygon(RING, H["coordinates"][0])),
        REFUSED,
        "a hole lies outside its surface",
    ),
    Boundary(
        "a hole as large as the whole",
        "a.geojson",
        green(polygon(RING, RING)),
        REFUSED,
        "it has no area",
    ),
    Boundary(
        "the same ground twice",
        "a.geojson",
        geojson(surface("g", "green", G), surface("h", "green", G)),
        REFUSED,
        "it is the same polygon as g",
    ),
    Boundary("0.1 mm", "a.geojson", green(square(LON, LAT, 1e-4)), REFUSED, "0.000 m²"),
)
PLACES = (
    Boundary("swapped axes", "a.geojson", green(polygon(moved(0, 48))), REFUSED, "look swapped"),
    Boundary("370 degrees", "a.geojson", green(polygon(moved(400, 0))), REFUSED, "of a grid"),
    Boundary("the pole", "a.geojson", green(square(0.0, 89.99, 20.0)), REFUSED, "of latitude"),
    Boundary(
        "two continents",
        "a.geojson",
        geojson(surface("g", "green", G), surface("h", "green", square(100.0, 10.0, 20.0))),
        REFUSED,
        "surfaces lie up to 32.5° apart",
    ),
    Boundary(
        "over the antimeridian",
        "a.geojson",
        green(polygon([[179.9999, -16.8], [-179.9999, -16.8], [180, -16.79], [179.9999, -16.8]])),
        FOUND,
        "crosses the antimeridian: cut at 180°",
    ),
    Boundary(
        "a system of the moon",
        "a.geojson",
        geojson(
            surface("g", "green", G), crs={"type": "name", "properties": {"name": "MOON:2000"}}
        ),
        REFUSED,
        "'MOON:2000' is not a coordinate reference system",
    ),
    Boundary("a CRS that is an address", "a.csv", survey("500000"), REFUSED, "is not a coordinate",
             ("--crs", "http://127.0.0.1:9/x")),
    Boundary("a CRS that is a file", "a.csv", survey("500000"), REFUSED, "is not a coordinate",
             ("--crs", "/etc/hostname")),
    Boundary("a place that is none", "a.geojson", green(G), REFUSED, "999 999 is no place",
             ("--near", "999", "999")),
    Boundary("nowhere", "a.geojson", green(G), REFUSED, "nan nan is no place",
             ("--near", "nan", "nan")),
    Boundary("no CRS", "a.csv", survey("500000", "500020", "500030"), REFUSED, "does not say"),
    Boundary("nan", "a.csv", survey("nan", "500020"), REFUSED, "'nan' is not a number", GRID),
    Boundary(
        "thousands",
        "a.csv",
        survey("500000").replace(",", ";").replace("500000", "500.000,5"),
        REFUSED,
        "has thousands separators",
        GRID,
    ),
)  # fmt: skip
CASES = (*TEXT, *MARKUP, *PROPERTIES, *GEOMETRY, *PLACES)
