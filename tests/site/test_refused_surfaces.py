"""What is refused in the boundaries, and with which words."""

from __future__ import annotations

import json

import pytest

from tests.sites import G1, G2, SURFACES, T1, collection, refusal, square, surface

RING = square(*G2, 30.0)["coordinates"][0]
BOW = [RING[k] for k in (0, 2, 1, 3, 0)]
REDRAW = "Draw or export this polygon again."


def second(geometry, **properties):
    """The valid surfaces with another second one."""
    return [SURFACES[0], surface("g2", "green", geometry, **properties), SURFACES[2]]


def polygon(*rings):
    return {"type": "Polygon", "coordinates": list(rings)}


ONE_FAULT = {
    "no id": (
        [*SURFACES, surface(None, "green", square(*T1, 5))],
        "surfaces.geojson, feature 4, id: nothing is written here. Write the id.",
    ),
    "odd id": (
        [*SURFACES, surface("g 4", "lawn", square(*T1, 5))],
        "surfaces.geojson, feature 4, id: 'g 4' can not be used; allowed: letters, digits, _ . and"
        " -.",
    ),
    "id twice": (
        [*SURFACES, surface("g1", "lawn", square(*T1, 5))],
        "surfaces.geojson, feature 4, id: 'g1' is there already (feature 1). Give each surface an"
        " id of its own.",
    ),
    "id is a kind": (
        [*SURFACES, surface("Green", "lawn", square(*T1, 5))],
        "surfaces.geojson, feature 4, id: 'Green' is the name of a kind. A dressing names surfaces"
        " by id or kind, so an id must not be a kind.",
    ),
    "id is a kind of this site": (
        [*SURFACES, surface("crease", "crease", square(*T1, 5))],
        "surfaces.geojson, feature 4, id: 'crease' is the name of a kind. A dressing names surfaces"
        " by id or kind, so an id must not be a kind.",
    ),
    "no kind": (
        [*SURFACES, surface("x", None, square(*T1, 5))],
        "surfaces.geojson, feature 4, kind: nothing is written here. Write the kind.",
    ),
    "kind of two words": (
        [*SURFACES, surface("x", "practice green", square(*T1, 5))],
        "surfaces.geojson, feature 4, kind: 'practice green' can not be used; allowed: one word,"
        " such as green or practice_green.",
    ),
    "around nothing": (
        [*SURFACES, surface("c1", "collar", square(*G1, 22), around="g7")],
        "surfaces.geojson, feature 4, around: 'g7' is not a surface's id in this file. A collar or"
        " surround names the surface that it encloses.",
    ),
    "around itself": (
        [*SURFACES, surface("c1", "collar", square(*G1, 22), around="c1")],
        "surfaces.geojson, feature 4, around: 'c1' is around itself. A collar or surround names the"
        " surface that it encloses.",
    ),
    "target with no unit": (
        second(square(*G2, 30), target=9),
        "surfaces.geojson, target: target does not say its unit. Call it target_m or the like.",
    ),
    "target negative": (
        second(square(*G2, 30), target_mm=-9),
        "surfaces.geojson, feature 2, target_mm: -9 can not be right; allowed: at least 0.",
    ),
    "slope in degrees as text": (
        second(square(*G2, 30), slope_percent="2°"),
        "surfaces.geojson, feature 2, slope_percent: '2°' is not a number; allowed: digits, with a"
        " point as the decimal mark and nothing between thousands. Write the number alone.",
    ),
    "slope in degrees": (
        second(square(*G2, 30), slope_deg=2),
        "surfaces.geojson, slope_deg: 'deg' is no share: use one of percent, ratio.",
    ),
    "elevation beyond all mountains": (
        second(square(*G2, 30), elevation_m=12000),
        "surfaces.geojson, feature 2, elevation_m: 12000 can not be right; allowed: at most 9000.",
    ),
    "null geometry": (
        second(None),
        "surfaces.geojson, feature 2: surface 'g2' has no polygon. Draw it, or delete the feature.",
    ),
    "empty polygon": (
        second(polygon()),
        "surfaces.geojson, feature 2: surface 'g2' has no polygon. Draw it, or delete the feature.",
    ),
    "empty multipolygon": (
        second({"type": "MultiPolygon", "coordinates": []}),
        "surfaces.geojson, feature 2: surface 'g2' has no polygon. Draw it, or delete the feature.",
    ),
    "a line": (
        second({"type": "LineString", "coordinates": RING}),
        f"surfaces.geojson, feature 2: 'LineString' is no Polygon or MultiPolygon. {REDRAW}",
    ),
    "a geometry that is text": (
        second("POLYGON ((0 0, 1 0, 1 1, 0 0))"),
        f"surfaces.geojson, feature 2: 'None' is no Polygon or MultiPolygon. {REDRAW}",
    ),
    "no coordinates": (
        second({"type": "Polygon"}),
        "surfaces.geojson, feature 2: its coordinates are not rings of positions. " + REDRAW,
    ),
    "coordinates one level short": (
        second(polygon(*RING)),
        "surfaces.geojson, feature 2: a ring has 2 positions; at least 4 are needed. " + REDRAW,
    ),
    "coordinates that are text": (
        second(polygon([[str(x), str(y)] for x, y in RING])),
        "surfaces.geojson, feature 2: its coordinates are not positions of numbers. " + REDRAW,
    ),
    "a position of one number": (
        second(polygon([[x] for x, y in RING])),
        "surfaces.geojson, feature 2: its coordinates are not positions of numbers. " + REDRAW,
    ),
    "null in a position": (
        second(polygon([*RING[:2], [None, 47.0], *RING[3:]])),
        "surfaces.geojson, feature 2: its coordinates are not positions of numbers. " + REDRAW,
    ),
    "an integer beyond floats": (
        second(polygon([*RING[:2], [10**400, 47.0], *RING[3:]])),
        "surfaces.geojson, feature 2: its coordinates are not positions of numbers. " + REDRAW,
    ),
    "three positions": (
        second(polygon(RING[:3])),
        "surfaces.geojson, feature 2: a ring has 3 positions; at least 4 are needed. " + REDRAW,
    ),
    "not closed": (
        second(polygon([*RING[:4], [RING[0][0], RING[0][1] + 1e-7]])),
        "surfaces.geojson, feature 2: a ring is not closed: its last position must equal its first."
        f" {REDRAW}",
    ),
    "a million vertices": (
        second(polygon([RING[0]] * 1_000_001)),
        "surfaces.geojson, feature 2: a ring has 1,000,001 vertices; at most 200,000 are read."
        f" {REDRAW}",
    ),
    "a collection of lines": (
        second({"type": "GeometryCollection", "geometries": [{"type": "Point"}]}),
        f"surfaces.geojson, feature 2: a GeometryCollection without sound polygons. {REDRAW}",
    ),
    "a collection with a crossed polygon": (
        second({"type": "GeometryCollection", "geometries": [polygon(BOW), polygon(RING)]}),
        f"surfaces.geojson, feature 2: a GeometryCollection without sound polygons. {REDRAW}",
    ),
    "no feature": (
        [*SURFACES, {"type": "Polygon", "coordinates": [RING]}],
        "surfaces.geojson: 'None' …",
    ),
}
del ONE_FAULT["no feature"]


@pytest.mark.parametrize("name", ONE_FAULT)
def test_one_fault_is_told_in_full_and_alone(site_folder, name):
    surfaces, text = ONE_FAULT[name]
    assert refusal(site_folder(surfaces=surfaces, catches=None)) == [text]


WORDS = {
    "a bow": (
        second(polygon(BOW)),
        ["feature 2: the outline of 'g2' crosses or touches itself: Self-intersection[", "Mend"],
    ),
    "a hole outside": (
        second(polygon(RING, square(*G1, 3)["coordinates"][0])),
        ["feature 2: the outline of 'g2' crosses or touches itself: Hole lies outside shell"],
    ),
    "no area": (
        second(polygon([RING[0], RING[1], RING[0], RING[0]])),
        ["feature 2: the outline of 'g2' has a ring of fewer than three corners: "],
    ),
    "metres": (
        second(polygon([[x * 1e4, y * 1e5] for x, y in RING])),
        [
            "feature 2: surface 'g2' lies outside longitude ±180, latitude ±90: from ",
            "export it so",
        ],
    ),
    "the pole": (
        second(square(0.0, 89.95, 30)),
        ["feature 2: surface 'g2' reaches beyond latitude 89.9°", "No turf is kept there"],
    ),
    "across 180 uncut": (
        second(polygon([[179.9, 0], [-179.9, 0], [-179.9, 0.1], [179.9, 0.1], [179.9, 0]])),
        ["surface 'g2' spans more than 180° of longitude", "Cut it at 180° (RFC 7946, 3.1.9)"],
    ),
    "one surface swapped": (
        second(polygon([[y, x] for x, y in RING])),
        ["surfaces lie up to 77.0° apart (farthest near 47, -29.996)", "longitude and latitude"],
    ),
    "a surface of a country": (
        second(square(*G1, 300_000)),
        ["a surface is ", "° wide or high"],
    ),
    "surfaces of a ring of collars": (
        [
            *SURFACES,
            surface("a", "collar", square(*T1, 12), around="b"),
            surface("b", "collar", square(*T1, 14), around="a"),
        ],
        ["feature 4, around: 'a' is around itself", "feature 5, around: 'b' is around itself"],
    ),
    "no surfaces": ([], ["surfaces.geojson: there is no surface in it. Draw the greens first."]),
    "no feature": (
        [*SURFACES, {"type": "Polygon", "coordinates": [RING]}],
        ["surfaces.geojson, feature 4: is no Feature. See RFC 7946, 3.2."],
    ),
}


@pytest.mark.parametrize("name", WORDS)
def test_words_of_a_refusal(site_folder, name):
    surfaces, words = WORDS[name]
    found = refusal(site_folder(surfaces=surfaces, catches=None))
    for word in words:
        assert word in " ".join(found)
    assert len(found) <= 2


DOCUMENTS = {
    "empty": (b"", "surfaces.geojson: is empty. Export it again as GeoJSON."),
    "a web page": (
        b"\n<!DOCTYPE html><html><body>Sign in</body></html>",
        "surfaces.geojson: is a web page, not GeoJSON. Export it again as GeoJSON.",
    ),
    "cut off": (
        json.dumps(collection(SURFACES))[:-20].encode(),
        "surfaces.geojson: is not JSON: ",
    ),
    "deeply nested": (
        b"[" * 200_000,
        "surfaces.geojson: is not JSON: too deeply nested. Export it again as GeoJSON.",
    ),
    "deeply nested features": (
        b'{"type":"FeatureCollection","features":' + b"[" * 200_000,
        "surfaces.geojson: is not JSON: too deeply nested.",
    ),
    "NaN": (
        json.dumps(collection(SURFACES)).replace("47.0", "NaN").encode(),
        "surfaces.geojson: is not JSON: ",
    ),
    "a list": (
        b"[1, 2]",
        "surfaces.geojson: is no FeatureCollection: it is no object. Export it as GeoJSON, with its"
        " features in one collection.",
    ),
    "a bare polygon": (
        json.dumps(square(*G1, 20)).encode(),
        "surfaces.geojson: 'Polygon' is no FeatureCollection.",
    ),
    "a picture": (b"\x89PNG\r\n\x1a\n\0\0\0", "surfaces.geojson: is not a text file."),
    "in a projection": (
        json.dumps(
            collection(
                SURFACES,
                crs={"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::32626"}},
            )
        ).encode(),
        "surfaces.geojson: its coordinates are in 'urn:ogc:def:crs:EPSG::32626'; allowed:"
        " longitude, latitude in WGS 84 (RFC 7946, section 4). Export it in WGS 84.",
    ),
    "an integer of 5000 digits": (
        b'{"features": ' + b"1" * 5000 + b"}",
        "surfaces.geojson: is not JSON",
    ),
}


@pytest.mark.parametrize("name", DOCUMENTS)
def test_an_unreadable_boundary_file_is_the_only_fault(site_folder, name):
    content, words = DOCUMENTS[name]
    found = refusal(site_folder(surfaces=content))
    assert len(found) == 1
    assert found[0].startswith(words)


def test_a_missing_boundary_file_is_the_only_fault(site_folder):
    assert refusal(site_folder(surfaces=None)) == [
        "surfaces.geojson: the file is missing. It holds the surfaces' polygons."
    ]


def test_members_of_the_collection_are_checked(site_folder):
    surfaces = collection(SURFACES, valid_from="spring", edge_accuracy_m=-1)
    assert refusal(site_folder(surfaces=surfaces)) == [
        "surfaces.geojson, valid_from: 'spring' is not a date; allowed: 2026-04-30.",
        "surfaces.geojson, edge_accuracy_m: '-1' can not be right; allowed: 0 to 20 m.",
    ]


def test_features_of_two_surveys_in_one_file_are_refused(site_folder):
    dated = [
        surface("g1", "green", square(*G1, 20), valid_from="2024-02-01"),
        surface("g2", "green", square(*G2, 30), valid_from="2025-02-01"),
    ]
    assert refusal(site_folder(surfaces=dated)) == [
        "surfaces.geojson, valid_from: 2 different dates: '2024-02-01', '2025-02-01'. One file is"
        " one survey: give each survey a file in editions/."
    ]


def test_far_too_many_properties_are_refused(site_folder):
    many = [surface("g1", "green", square(*G1, 20), **{f"p{k}": k for k in range(400)})]
    found = refusal(site_folder(surfaces=many))
    assert found == ["surfaces.geojson: has 402 properties; allowed: at most 300."]
