"""``surfaces.geojson`` and the points of ``catches.geojson``. All cases are made here."""

from __future__ import annotations

import json

from tests.bad_input.case import ACCEPTED, FOUND, REFUSED, Case
from tests.bad_input.spoiled import COLLECTION, nested, ring, with_surface
from tests.sites import G1, LAT, LON, SURFACES, catch, collection, square, surface

CASES = (
    Case("no surfaces file", {"surfaces": None}, REFUSED, "surfaces.geojson: the file is missing"),
    Case("an empty surfaces file", {"surfaces": ""}, REFUSED, "surfaces.geojson: is empty"),
    Case(
        "a web page",
        {"surfaces": "<!DOCTYPE html><html></html>"},
        REFUSED,
        "is a web page, not GeoJSON",
    ),
    Case(
        "a file cut off", {"surfaces": COLLECTION[:-40]}, REFUSED, "surfaces.geojson: is not JSON"
    ),
    Case("nested 100,000 deep", {"surfaces": nested(100_000)}, REFUSED, "too deeply nested"),
    Case(
        "a single Feature",
        {"surfaces": json.dumps(SURFACES[0])},
        REFUSED,
        "is no FeatureCollection",
    ),
    Case("a list", {"surfaces": "[]"}, REFUSED, "is no FeatureCollection"),
    Case("no features", {"surfaces": []}, REFUSED, "there is no surface in it"),
    Case(
        "NaN in a position",
        {"surfaces": COLLECTION.replace("-30.0", "NaN", 1)},
        REFUSED,
        "surfaces.geojson",
    ),
    Case(
        "1e400 in a position",
        {"surfaces": COLLECTION.replace("47.0", "1e400", 1)},
        REFUSED,
        "surfaces.geojson",
    ),
    Case(
        "heights whose sum no number holds",
        with_surface(
            surface(
                "g1", "green", ring(*([*p, 1e308] for p in square(*G1, 20.0)["coordinates"][0]))
            )
        ),
        REFUSED,
        "feature 1: its corners are inf m high in the mean, which can not be right",
    ),
    Case(
        "null geometry",
        with_surface(surface("g1", "green", None)),
        REFUSED,
        "surfaces.geojson, feature 1",
    ),
    Case(
        "an empty polygon",
        with_surface(surface("g1", "green", {"type": "Polygon", "coordinates": []})),
        REFUSED,
        "surfaces.geojson, feature 1",
    ),
    Case(
        "a point",
        with_surface(surface("g1", "green", {"type": "Point", "coordinates": [LON, LAT]})),
        REFUSED,
        "surfaces.geojson, feature 1",
    ),
    Case(
        "a line",
        with_surface(
            surface(
                "g1",
                "green",
                {"type": "LineString", "coordinates": [[LON, LAT], [LON, LAT + 1e-4]]},
            )
        ),
        REFUSED,
        "surfaces.geojson, feature 1",
    ),
    Case(
        "a GeometryCollection with a polygon",
        with_surface(
            surface(
                "g1",
                "green",
                {
                    "type": "GeometryCollection",
                    "geometries": [square(*G1, 20.0), {"type": "Point", "coordinates": [LON, LAT]}],
                },
            )
        ),
        FOUND,
        "only the polygons of a GeometryCollection are used",
    ),
    Case(
        "three positions",
        with_surface(surface("g1", "green", ring((LON, LAT), (LON, LAT + 1e-4), (LON, LAT)))),
        REFUSED,
        "a ring has 3 positions; at least 4 are needed",
    ),
    Case(
        "an unclosed ring",
        with_surface(surface("g1", "green", ring(*square(*G1, 20.0)["coordinates"][0][:-1]))),
        REFUSED,
        "a ring is not closed: its last position must equal its first",
    ),
    Case(
        "a bow-tie",
        with_surface(
            surface(
                "g1",
                "green",
                ring(
                    (LON, LAT),
                    (LON + 3e-4, LAT + 3e-4),
                    (LON + 3e-4, LAT),
                    (LON, LAT + 3e-4),
                    (LON, LAT),
                ),
            )
        ),
        REFUSED,
        "the outline of 'g1' crosses or touches itself",
    ),
    Case(
        "a ring without ground",
        with_surface(
            surface("g1", "green", ring((LON, LAT), (LON, LAT + 1e-4), (LON, LAT), (LON, LAT)))
        ),
        REFUSED,
        "surfaces.geojson, feature 1",
    ),
    Case(
        "the other winding",
        with_surface(surface("g1", "green", ring(*square(*G1, 20.0)["coordinates"][0][::-1]))),
        ACCEPTED,
    ),
    Case(
        "texts in a position",
        with_surface(surface("g1", "green", ring(("x", "y"), ("x", "y"), ("x", "y"), ("x", "y")))),
        REFUSED,
        "are not positions of numbers",
    ),
    Case(
        "grid metres",
        with_surface(
            surface(
                "g1",
                "green",
                ring((500000, 5200000), (500020, 5200000), (500020, 5200020), (500000, 5200000)),
            )
        ),
        REFUSED,
        "These are not lon/lat degrees in WGS 84",
    ),
    Case(
        "swapped axes beyond 90",
        {
            "surfaces": [
                surface(
                    "g1",
                    "green",
                    ring((40, -100), (40.0002, -100), (40.0002, -100.0002), (40, -100)),
                )
            ]
        },
        REFUSED,
        "swapped",
    ),
    Case(
        "at the pole",
        {"surfaces": [surface("g1", "green", square(0.0, 89.95, 20.0))], "catches": None},
        REFUSED,
        "reaches beyond latitude 89.9",
    ),
    Case(
        "over the antimeridian",
        {
            "surfaces": [
                surface(
                    "g1",
                    "green",
                    ring(
                        (179.9999, 10),
                        (-179.9999, 10),
                        (-179.9999, 10.0002),
                        (179.9999, 10.0002),
                        (179.9999, 10),
                    ),
                )
            ],
            "catches": None,
        },
        REFUSED,
        "spans more than 180° of longitude",
    ),
    Case(
        "a crs member in metres",
        {
            "surfaces": collection(
                SURFACES,
                crs={"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::32630"}},
            )
        },
        REFUSED,
        "its coordinates are in",
    ),
    Case(
        "a crs member for WGS 84",
        {
            "surfaces": collection(
                SURFACES,
                crs={"type": "name", "properties": {"name": "urn:ogc:def:crs:OGC:1.3:CRS84"}},
            )
        },
        ACCEPTED,
    ),
    Case(
        "the same id twice",
        with_surface(surface("g2", "green", square(*G1, 20.0))),
        REFUSED,
        "'g2'",
    ),
    Case(
        "no id",
        with_surface(surface(None, "green", square(*G1, 20.0))),
        REFUSED,
        "surfaces.geojson, feature 1, id",
    ),
    Case(
        "an id with a blank",
        with_surface(surface("g 1", "green", square(*G1, 20.0))),
        REFUSED,
        "'g 1' can not be used",
    ),
    Case(
        "an id that is a path",
        with_surface(surface("../g1", "green", square(*G1, 20.0))),
        REFUSED,
        "can not be used",
    ),
    Case(
        "an id that is a kind",
        with_surface(surface("green", "green", square(*G1, 20.0))),
        REFUSED,
        "green",
    ),
    Case("no kind", with_surface(surface("g1", None, square(*G1, 20.0))), REFUSED, "kind"),
    Case(
        "an unknown kind",
        {"surfaces": [*SURFACES, surface("x1", "greenn", square(LON, LAT + 0.006, 20.0))]},
        FOUND,
        "greenn",
    ),
    Case(
        "the same polygon twice",
        {"surfaces": [*SURFACES, surface("g3", "green", square(*G1, 20.0))]},
        FOUND,
        "it is the same polygon as g1",
    ),
    Case(
        "a green of one square millimetre",
        with_surface(surface("g1", "green", square(*G1, 0.001))),
        FOUND,
        "its whole area is",
    ),
    Case(
        "a green as large as a county",
        with_surface(surface("g1", "green", square(*G1, 40_000.0))),
        FOUND,
        "is unusual for a green",
    ),
    Case(
        "200,001 vertices",
        {
            "surfaces": [
                surface(
                    "g1",
                    "green",
                    ring(*[(LON + 1e-9 * (n % 7), LAT + 1e-9 * n) for n in range(200_001)]),
                )
            ],
            "catches": None,
        },
        REFUSED,
        "vert",
    ),
    Case(
        "six decimals",
        with_surface(
            surface(
                "g1",
                "green",
                ring(
                    (-30.00013, 46.99991),
                    (-29.99987, 46.99991),
                    (-29.99987, 47.00009),
                    (-30.00013, 47.00009),
                    (-30.00013, 46.99991),
                ),
            )
        ),
        FOUND,
        "decimals",
    ),
    Case(
        "a slope of 1000 %",
        with_surface(surface("g1", "green", square(*G1, 20.0), slope_percent=1000)),
        REFUSED,
        "slope_percent",
    ),
    Case(
        "an elevation of 20 km",
        with_surface(surface("g1", "green", square(*G1, 20.0), elevation_m=20000)),
        REFUSED,
        "elevation_m",
    ),
    Case(
        "two surfaces in one place",
        {"surfaces": [*SURFACES, surface("g3", "green", square(G1[0] + 1e-5, G1[1], 20.0))]},
        FOUND,
        "g3",
    ),
    Case(
        "three numbers and more in a position",
        with_surface(
            surface(
                "g1",
                "green",
                ring(*[(*p, 12.0, 1, 2) for p in square(*G1, 20.0)["coordinates"][0]]),
            )
        ),
        ACCEPTED,
        "",
    ),
    Case(
        "4,000 properties",
        with_surface(
            surface("g1", "green", square(*G1, 20.0), **{f"p{n}": n for n in range(4000)})
        ),
        REFUSED,
        "properties",
    ),
    Case(
        "catches as lines",
        {
            "catches": collection(
                [
                    {
                        "type": "Feature",
                        "properties": {"catch": "c1"},
                        "geometry": {
                            "type": "LineString",
                            "coordinates": [[LON, LAT], [LON, LAT + 1e-4]],
                        },
                    }
                ]
            )
        },
        REFUSED,
        "catches.geojson, feature 1",
    ),
    Case(
        "catches without geometry",
        {
            "catches": collection(
                [
                    {
                        "type": "Feature",
                        "properties": {
                            k: v for k, v in catch(1).items() if k not in ("lon", "lat")
                        },
                        "geometry": None,
                    }
                ]
            )
        },
        REFUSED,
        "catches.geojson, feature 1",
    ),
)
