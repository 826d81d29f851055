"""Map data names no green; the community draws holes from tee to green, with the number as ref.

Source: the community's page on the key golf (hole: "a line from the tee to the green"; ref: the
number of the hole).
"""

import json

import numpy as np
import pytest
import shapely

from geosand.formats.boundaries import read_boundaries
from tests.formats.boundaries.conftest import UTM, blob, feature, to_lon_lat

TEE, GREEN, PRACTICE = blob(0, 0, 5), blob(300, 0, 13), blob(0, 90, 12)
DOUBLE, FAIRWAY = blob(300, 200, 15), shapely.box(560_050, 5_905_980, 560_270, 5_906_020)


def line(*points):
    return shapely.LineString([(560_000 + x, 5_906_000 + y) for x, y in points])


HOLES = {
    "7": line((1, 0), (150, 5), (302, 2)),
    "2": line((1, 300), (301, 201)),
    "11": line((500, 150), (299, 199)),
}


def course(**tags):
    """A hole with its tee, fairway and green, a double green and one to practise on."""
    shapes = [("tee", TEE), ("fairway", FAIRWAY), ("green", GREEN), ("green", DOUBLE)]
    shapes += [("green", PRACTICE), ("bunker", blob(300, 20, 3))]
    rows = [(shape, {"golf": golf}) for golf, shape in shapes]
    rows += [(shape, {"golf": "hole", "ref": ref}) for ref, shape in HOLES.items()]
    rows[2][1].update(tags)
    return rows


def geojson(rows, folder):
    """As the community's tools export it: with the number of the way as the feature's id."""
    made = [feature(to_lon_lat(s), **{"@id": f"way/{k}", **t}) for k, (s, t) in enumerate(rows)]
    path = folder / "course.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": made}))
    return path


def query(rows, folder):
    elements = []
    for k, (shape, tags) in enumerate(rows):
        points = shapely.get_coordinates(to_lon_lat(shape)).tolist()
        there = [{"lon": x, "lat": y} for x, y in points]
        elements.append({"type": "way", "id": k, "geometry": there, "tags": tags})
    path = folder / "course.json"
    path.write_text(json.dumps({"version": 0.6, "elements": elements}))
    return path


def geopackage(rows, folder):
    """As a GIS saves it, on a grid: areas in one layer, lines in another."""
    geopandas = pytest.importorskip("geopandas")
    path = folder / "course.gpkg"
    for layer, sort in (("areas", "Polygon"), ("lines", "LineString")):
        some = [(k, s, t) for k, (s, t) in enumerate(rows) if s.geom_type == sort]
        table = {key: [t.get(key) for _, _, t in some] for key in ("golf", "ref", "name")}
        table["full_id"] = [f"w{k}" for k, _, _ in some]
        shapes = [s if sort == "Polygon" else shapely.MultiLineString([s]) for _, s, _ in some]
        frame = geopandas.GeoDataFrame(table, geometry=shapes, crs=UTM)
        frame.to_file(path, layer=layer, driver="GPKG")
    return path


@pytest.mark.parametrize("write", [geojson, query, geopackage])
def test_what_a_hole_s_line_begins_on_crosses_and_ends_on_bears_its_number(write, tmp_path):
    found = read_boundaries(write(course(), tmp_path))
    named = dict(zip(found.features.id.tolist(), found.features.name.tolist(), strict=True))
    assert {i: n for i, n in named.items() if i[0] in "gtf"} == {
        "tee-7": "Tee 7",
        "fairway-7": "Fairway 7",
        "green-7": "Green 7",
        "green-2-11": "Green 2/11",
    }
    assert len(named) == 6  # the practice green and the bunker keep the numbers of their ways
    assert found.features.kind.tolist().count("green") == 3
    told = "2 greens, 1 tee, 1 fairway are called after their holes, such as 'Green 7'"
    assert told in [f.text for f in found.findings]


@pytest.mark.parametrize(
    ("tags", "ident", "name"),
    [
        ({"ref": "16"}, "green-16", "Green 16"),
        ({"name": "The Loft"}, "way-2", "The Loft"),
        ({"ref": "16", "name": "The Loft"}, "way-2", "The Loft"),
        ({"ref": "16", "@id": "G-07"}, "G-07", "G-07"),
        ({"ref": "16", "@id": 4711}, "green-16", "Green 16"),
    ],
)
def test_what_a_green_itself_says_goes_first(tags, ident, name, tmp_path):
    found = read_boundaries(geojson(course(**tags), tmp_path)).features
    assert (found.id[2], found.name[2]) == (ident, name)


def test_a_column_that_is_asked_for_goes_before_holes(tmp_path):
    found = read_boundaries(geojson(course(), tmp_path), id_column="@id").features
    assert found.id.tolist() == [f"way-{k}" for k in range(6)]


def test_holes_without_a_number_are_called_by_name_and_boxes_of_one_hole_told_apart(tmp_path):
    rows = [(blob(x, 0, 4), {"golf": "tee"}) for x in (0, 30)]
    starts = [line((x, 0), (300, 0)) for x in (0, 30)]
    rows += [(start, {"golf": "hole", "name": "Long Way"}) for start in starts]
    rows += [(blob(300, 0, 12), {"golf": "green"})]
    found = read_boundaries(query(rows, tmp_path)).features
    assert found.id.tolist() == ["tee-long-way", "tee-long-way-2", "green-long-way"]
    assert found.name.tolist() == ["Tee Long Way", "Tee Long Way", "Green Long Way"]


def test_a_fairway_that_two_holes_cross_bears_neither_number(tmp_path):
    across = (line((100, -60), (100, 60)), {"golf": "hole", "ref": "8"})
    found = read_boundaries(geojson([*course(), across], tmp_path)).features
    assert found.id.tolist()[:3] == ["tee-7", "way-1", "green-7"]


def test_corners_that_are_nowhere_do_not_stop_the_others(tmp_path):
    """A file of a GIS can hold infinite corners, at which GEOS raises."""
    rows = course()
    nowhere = [(560_000, 5_906_000), (np.inf, 5_906_020), (560_020, 5_906_000)]
    rows += [(shapely.polygons(nowhere), {"golf": "fairway"})]
    rows += [(line((-50, -50), (np.inf, np.inf)), {"golf": "hole", "ref": "9"})]
    found = read_boundaries(geopackage(rows, tmp_path)).features
    assert found.id.tolist()[:3] == ["tee-7", "fairway-7", "green-7"]


def test_lines_of_another_grid_lend_no_numbers(tmp_path):
    """Numbers of one system on outlines of another would lie anywhere."""
    geopandas = pytest.importorskip("geopandas")
    path = geopackage(course(), tmp_path)
    lines = geopandas.read_file(path, layer="lines").set_crs("EPSG:25833", allow_override=True)
    lines.to_file(path, layer="lines", driver="GPKG")
    found = read_boundaries(path, believe_place=True).features
    assert not any(i.startswith(("green", "tee")) for i in found.id.tolist())


def names_of(rows, folder):
    return read_boundaries(geojson(rows, folder)).features.name.tolist()


@pytest.mark.parametrize(
    ("end", "others", "name"),
    [
        (280, [], "Green 7"),  # 8 m short of it
        (260, [], "way-0"),  # 28 m
        (280, [blob(280, 40, 12)], "way-0"),  # another lies 28 m away
        (280, [blob(280, 55, 12)], "Green 7"),  # 43 m
    ],
)
def test_a_line_that_ends_beside_a_green_names_it_where_no_other_is_near(
    end, others, name, tmp_path
):
    rows = [(shape, {"golf": "green"}) for shape in (blob(300, 0, 12, wobble=0), *others)]
    rows += [(line((0, 0), (end, 0)), {"golf": "hole", "ref": "7"})]
    assert names_of(rows, tmp_path)[0] == name


def test_lines_that_end_beside_a_green_name_none_that_has_a_line_or_a_name(tmp_path):
    hole = (line((0, 0), (300, 0)), {"golf": "hole", "ref": "7"})
    short = (line((600, 0), (320, 0)), {"golf": "hole", "ref": "8"})
    green = (GREEN, {"golf": "green"})
    assert names_of([green, hole, short], tmp_path) == ["Green 7"]
    assert names_of([green, short, (short[0], {**short[1], "ref": "9"})], tmp_path) == ["way-0"]
    named = (GREEN, {"golf": "green", "name": "The Loft"})
    far = (blob(300, 60, 12), {"golf": "green"})  # 40 m away
    assert names_of([named, far, short], tmp_path) == ["The Loft", "way-1"]


def test_tees_in_front_bear_the_number_of_the_hole_whose_line_passes_them(tmp_path):
    places = [(0, 0), (45, 12), (80, -14), (120, 60), (250, 5)]  # far aside, beside the green
    rows = [(blob(x, y, 4, wobble=0), {"golf": "tee"}) for x, y in places]
    rows += [(line((0, 0), (300, 0)), {"golf": "hole", "ref": "7"})]
    names = ["Tee 7", "Tee 7", "Tee 7", "way-3", "way-4"]
    found = read_boundaries(geojson(rows, tmp_path))
    assert found.features.name.tolist() == names
    assert any(
        f.text.endswith("'Tee 7'; 2 of them lie beside the hole's line, within 20 m")
        for f in found.findings
    )
    rows += [(line((300, 30), (0, 30)), {"golf": "hole", "ref": "8"})]  # back beside it
    assert names_of(rows, tmp_path) == names
    rows += [(line((0, 30), (300, 30)), {"golf": "hole", "ref": "9"})]  # 30 m beside it
    assert names_of(rows, tmp_path)[:3] == ["Tee 7", "way-1", "Tee 7"]


def test_lines_called_hole_7_name_greens_that_have_no_name_or_id(tmp_path):
    rows = [(GREEN, {"kind": "green"}), (DOUBLE, {"kind": "green", "id": "12"})]
    rows += [(shape, {"name": f"Hole {number}"}) for number, shape in HOLES.items()]
    made = [feature(to_lon_lat(shape), **cells) for shape, cells in rows]
    path = tmp_path / "course.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": made}))
    found = read_boundaries(path).features
    assert found.id.tolist() == ["green-7", "12"]  # nobody knows that 12 is no number of theirs
    rows = [(GREEN, {"golf": "green"}), (HOLES["7"], {"golf": "hole", "name": "Hole 7"})]
    assert names_of(rows, tmp_path) == ["Green 7"]
    # an outline of all its ground is no line from tee to green
    around = shapely.LineString(shapely.get_coordinates(blob(160, 0, 140, wobble=0)))
    rows = [(GREEN, {"golf": "green"}), (around, {"name": "Hole 7"})]
    assert "Green 7" not in names_of(rows, tmp_path)


@pytest.mark.parametrize("end", [(273, 0), (265, 0), (300, 30), (300, 35)])
def test_metres_beside_a_line_are_the_same_with_the_axes_exchanged(end, tmp_path):
    """A green of 12 m round 300 m east; a degree of longitude is 0.60 of one of latitude there."""
    rows = [(blob(300, 0, 12, wobble=0), {"golf": "green"})]
    rows += [(line((0, 0), end), {"golf": "hole", "ref": "7"})]
    expected = names_of(rows, tmp_path)
    path = tmp_path / "course.geojson"
    document = json.loads(path.read_text())
    for found in document["features"]:
        ring = found["geometry"]["coordinates"]
        for position in ring[0] if found["geometry"]["type"] == "Polygon" else ring:
            position[:2] = position[1::-1]
    path.write_text(json.dumps(document))
    assert read_boundaries(path, swap_axes=True).features.name.tolist() == expected
    assert expected == ["Green 7" if end in [(273, 0), (300, 30)] else "way-0"]


@pytest.mark.parametrize(
    ("column", "cells"),
    [
        ("Hole_No", [10.0, 2.0]),
        ("hole", ["10", "02"]),
        ("HOLE", ["Hole 10", "hole 2"]),
        ("Bahn", [10, 2]),
    ],
)
def test_a_column_says_the_hole_where_nothing_else_names_a_surface(column, cells, tmp_path):
    """Numbers in the order of the file would be taken for those of the holes."""
    rows = [feature(to_lon_lat(PRACTICE), kind="green", Id=0)]
    for sort, x in (("green", 300), ("tee", 0)):
        for k, cell in enumerate(cells):
            tags = {"kind": sort, "Id": 0, column: cell}
            rows.append(feature(to_lon_lat(blob(x, 200 * k, 5)), **tags))
    path = tmp_path / "course.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": rows}))
    found = read_boundaries(path)
    named = ["green-1", "green-10", "green-2", "tee-10", "tee-2"]
    assert found.features.id.tolist() == named
    assert found.features.name.tolist()[1:3] == ["Green 10", "Green 2"]
    told = "2 greens, 2 tees are called after their holes, such as 'Green 10'"
    assert told in [f.text for f in found.findings]


def test_the_first_hole_keeps_its_number_from_what_has_none(tmp_path):
    rows = [feature(to_lon_lat(PRACTICE), kind="green")]
    rows += [feature(to_lon_lat(GREEN), kind="green", hole=1)]
    path = tmp_path / "course.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": rows}))
    assert read_boundaries(path).features.id.tolist() == ["green-2", "green-1"]


def test_a_name_that_says_only_the_kind_is_none_where_a_column_says_the_hole(tmp_path):
    holes = ((GREEN, "Green", 10), (PRACTICE, "GREENS", 2), (TEE, "The Loft", 10))
    holes += ((FAIRWAY, "Bunker", 10),)  # its name contradicts its kind, and stays to be seen
    holes += ((blob(300, 200, 9), "Green 5", 4),)  # its name says more than its kind
    kinds = ("green", "green", "tee", "fairway", "green")
    rows = [
        feature(to_lon_lat(shape), kind=sort, name=name, hole=hole)
        for (shape, name, hole), sort in zip(holes, kinds, strict=True)
    ]
    path = tmp_path / "course.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": rows}))
    found = read_boundaries(path).features
    assert found.id.tolist()[:3] == ["green-10", "green-2", "the-loft"]
    assert found.name.tolist()[3:] == ["Bunker", "Green 5"]


@pytest.mark.parametrize("column", ["name", "Title", "surface"])
def test_a_column_of_kinds_by_the_user_says_them_also_of_what_is_called_after_its_hole(
    column, tmp_path
):
    shapes = (GREEN, PRACTICE, blob(300, 200, 9))
    rows = [
        feature(to_lon_lat(shape), hole=hole, **{"name": "Green", column: "Green"})
        for hole, shape in enumerate(shapes, start=1)
    ]
    path = tmp_path / "course.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": rows}))
    found = read_boundaries(path, kind_column=column).features
    assert found.name.tolist() == ["Green 1", "Green 2", "Green 3"]
    assert set(found.kind) == {"green"}


@pytest.mark.parametrize(
    ("cell", "name"),
    [
        ("7/16", "Green 7/16"),  # a double green
        ("02 & 11", "Green 2/11"),
        ("Red 3", "Green Red 3"),  # one of three nines
        ("B04", "Green B4"),
        ("H07", "Green 7"),
        ("Holes 2/16", "Green 2/16"),
        ("Bahn Nr. 7", "Green 7"),
        ("3.0", "Green 3"),  # text of a table whose other rows have no hole
        ("10-18", "Green 10-18"),  # rather a range
        ("Green 7", "Green 7"),
    ],
)
def test_a_column_of_holes_says_two_of_a_double_green_and_the_nine(cell, name, tmp_path):
    """Not in the file's order, by which the first without a name would be green-1."""
    shapes = (GREEN, PRACTICE)
    rows = [
        feature(to_lon_lat(shape), kind="green", hole=hole)
        for shape, hole in zip(shapes, (cell, "9"), strict=True)
    ]
    path = tmp_path / "course.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": rows}))
    assert read_boundaries(path).features.name.tolist() == [name, "Green 9"]


@pytest.mark.parametrize("cell", [0, None, "", "yes", 250, "1.5", "2021"])
def test_what_is_no_number_of_a_hole_names_nothing(cell, tmp_path):
    rows = [feature(to_lon_lat(GREEN), kind="green", hole=cell)]
    path = tmp_path / "course.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": rows}))
    assert read_boundaries(path).features.name.tolist() == ["green-1"]


def test_a_column_that_says_the_same_of_three_greens_is_no_number_of_a_hole(tmp_path):
    rows = [feature(to_lon_lat(blob(300, 200 * k, 9)), kind="green", hole=1) for k in range(3)]
    rows += [feature(to_lon_lat(blob(0, 200, 5)), kind="tee", hole=1)]
    path = tmp_path / "course.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": rows}))
    ids = ["green-1", "green-2", "green-3", "tee-1"]
    assert read_boundaries(path).features.id.tolist() == ids
    assert read_boundaries(path).features.name.tolist() == ids


def test_many_tees_of_many_holes_are_told_in_few_lines(tmp_path):
    rows = [
        feature(to_lon_lat(blob(40 * k, 200 * hole, 5)), kind="tee", hole=hole)
        for hole in range(1, 10)
        for k in range(4)
    ]
    path = tmp_path / "course.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": rows}))
    told = [found.text for found in read_boundaries(path).findings]
    assert sum("surfaces are called" in text for text in told) == 5
    assert "4 more names are those of several surfaces" in told


def test_a_layer_of_each_hole_says_it(tmp_path):
    geopandas = pytest.importorskip("geopandas")
    path = tmp_path / "course.gpkg"
    for layer, y in (("Hole 01", 0), ("Hole_10", 100), ("Hole 2", 200)):
        shapes = [blob(300, y, 13), blob(0, y, 5)]
        frame = geopandas.GeoDataFrame({"type": ["Green", "Tee"]}, geometry=shapes, crs=UTM)
        frame.to_file(path, layer=layer, driver="GPKG")
    found = read_boundaries(path).features
    assert set(found.name) == {f"{sort} {k}" for sort in ("Green", "Tee") for k in (1, 10, 2)}
    ids = dict(zip(found.place.tolist(), found.id.tolist(), strict=True))
    assert {place.split("'")[1]: made for place, made in ids.items() if "green" in made} == {
        "Hole 01": "green-1",
        "Hole_10": "green-10",
        "Hole 2": "green-2",
    }


def test_what_an_editor_has_not_sent_in_has_a_number_below_zero(tmp_path):
    rows = course()
    path = query(rows, tmp_path)
    document = json.loads(path.read_text())
    for element in document["elements"]:
        element["id"] = -100 - element["id"]
    path.write_text(json.dumps(document))
    found = read_boundaries(path).features
    assert found.id.tolist()[:3] == ["tee-7", "fairway-7", "green-7"]
