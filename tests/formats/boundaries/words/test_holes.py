"""Which hole a surface is of, by columns and layers: common practice, no published source."""

import json

import pytest

from geosand.formats.boundaries import read_boundaries
from tests.formats.boundaries.conftest import blob, feature, to_lon_lat
from tests.formats.boundaries.drawings.test_drawings import at, ring
from tests.formats.boundaries.kml_files import kml, placemark, square

NINES = ("Red", "Blue", "Par 3")


def course(tmp_path, **columns):
    """Greens and tees of three nines, the last first; columns by a function of nine and hole."""
    rows = []
    for k, nine in enumerate(NINES[::-1]):
        for hole in (3, 1, 2):
            for kind, x in (("green", 300), ("tee", 0)):
                cells = {name: cell(nine, hole) for name, cell in columns.items()}
                shape = to_lon_lat(blob(x + 60 * hole, 200 * k, 9))
                rows.append(feature(shape, kind=kind, **cells))
    path = tmp_path / "course.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": rows}))
    return read_boundaries(path)


@pytest.mark.parametrize("column", ["nine", "Course", "LOOP", "course_nam"])
def test_the_nine_of_a_column_of_its_own_tells_holes_of_one_number_apart(column, tmp_path):
    """By the file's order the first green of Par 3, its third, would be green-1."""
    found = course(tmp_path, hole=lambda _, hole: hole, **{column: lambda nine, _: nine})
    assert found.features.id.tolist()[:4] == [
        "green-par-3-3",
        "tee-par-3-3",
        "green-par-3-1",
        "tee-par-3-1",
    ]
    assert set(found.features.name) == {
        f"{kind} {nine} {hole}" for kind in ("Green", "Tee") for nine in NINES for hole in (1, 2, 3)
    }


def test_folders_of_nines_tell_holes_apart_where_columns_do_not(tmp_path):
    """In one layer: by the file's order the first green of Blue, its second, would be green-1."""
    data = '<ExtendedData><Data name="hole"><value>{}</value></Data></ExtendedData>'
    nines = ""
    for k, nine in enumerate(("Blue", "Red", "Lake")):
        greens = "".join(placemark("", square(10 * k + hole), data.format(hole)) for hole in (2, 1))
        inside = f"<Folder><name>Greens</name>{greens}</Folder>"
        nines += f"<Folder><name>{nine} nine</name>{inside}</Folder>"
    found = read_boundaries(kml(tmp_path, nines)).features
    assert found.id.tolist() == [
        f"green-{nine}-nine-{hole}" for nine in ("blue", "red", "lake") for hole in (2, 1)
    ]


def test_a_column_that_a_shapefile_cut_says_the_hole(tmp_path):
    rows = [
        feature(to_lon_lat(blob(60 * hole, 0, 9)), kind="green", hole_numbe=hole) for hole in (2, 1)
    ]
    path = tmp_path / "course.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": rows}))
    assert read_boundaries(path).features.name.tolist() == ["Green 2", "Green 1"]


def test_a_course_that_is_the_same_everywhere_is_no_part_of_a_name(tmp_path):
    rows = [
        feature(to_lon_lat(blob(60 * hole, 0, 9)), kind="green", hole=hole, course="Lake")
        for hole in (2, 1)
    ]
    path = tmp_path / "course.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": rows}))
    assert read_boundaries(path).features.name.tolist() == ["Green 2", "Green 1"]


@pytest.mark.parametrize("nine", ["Lake", "Bunker Hill"])
def test_the_name_of_a_nine_makes_no_other_kind_of_a_green(nine, tmp_path):
    """Here the old name alone says the kind: a name "Green Lake 1" says none, or a wrong one."""
    rows = [
        feature(to_lon_lat(blob(60 * k, 0, 9)), name="Green", hole=1, nine=which)
        for k, which in enumerate((nine, "Red"))
    ]
    path = tmp_path / "course.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": rows}))
    found = read_boundaries(path).features
    assert found.name.tolist() == [f"Green {nine} 1", "Green Red 1"]
    assert found.kind.tolist() == ["green", "green"]


def test_numbers_of_nines_do_not_run_into_those_of_holes(tmp_path):
    """green-1-2 would be the second of two that are called Green 1."""
    rows = [
        feature(to_lon_lat(blob(60 * (2 * nine + hole), 0, 9)), kind="green", hole=hole, nine=nine)
        for nine in (1, 2)
        for hole in (1, 2)
    ]
    path = tmp_path / "course.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": rows}))
    assert read_boundaries(path).features.id.tolist() == [
        f"green-{nine}.{hole}" for nine in (1, 2) for hole in (1, 2)
    ]


def test_a_course_in_other_capitals_is_the_same_one(tmp_path):
    rows = [
        feature(to_lon_lat(blob(60 * k, 0, 9)), kind="green", hole=1, course=course)
        for k, course in enumerate(("Old", "OLD"))
    ]
    path = tmp_path / "course.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": rows}))
    assert read_boundaries(path).features.name.tolist() == ["Green 1", "Green 1"]


def test_one_folder_around_all_is_no_nine(tmp_path):
    data = '<ExtendedData><Data name="hole"><value>{}</value></Data></ExtendedData>'
    places = enumerate((1, 1, 1, 2))
    greens = "".join(placemark("", square(k), data.format(hole)) for k, hole in places)
    inside = f"<Folder><name>Greens</name>{greens}</Folder>"
    found = read_boundaries(kml(tmp_path, f"<Folder><name>Export</name>{inside}</Folder>"))
    assert found.features.name.tolist()[3] == "Green 2"
    assert any("3 greens are of hole '1'" in f.text for f in found.findings)


def test_numbers_of_holes_that_three_nines_share_are_told_where_they_name_nothing(tmp_path):
    found = course(tmp_path, hole=lambda _, hole: hole)
    (told,) = [f.text for f in found.findings if "numbers of holes" in f.text]
    assert told.startswith("3 greens are of hole '3'") and "a column nine" in told


@pytest.mark.parametrize("cell", ["Par 3", "May 12", "Sept 4", "12-Dec"])
def test_a_par_or_a_day_is_no_hole(cell, tmp_path):
    """A spreadsheet makes a day of 5/12, two holes that share a green."""
    rows = [feature(to_lon_lat(blob(0, 0, 9)), kind="green", hole=cell)]
    path = tmp_path / "course.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": rows}))
    assert read_boundaries(path).features.name.tolist() == ["green-1"]


@pytest.mark.parametrize(
    ("layers", "names"),
    [
        (("RED-2-GREEN", "RED-1-GREEN", "BLUE-1-GREEN"), ("RED 2", "RED 1", "BLUE 1")),
        (("H07_GREEN", "H03_GREEN"), ("7", "3")),
        (("GREEN 2", "Green_Hole_1"), ("2", "1")),
        (("C-GREEN-02", "C-GREEN-01"), ("2", "1")),
    ],
)
def test_a_layer_for_each_hole_names_its_green(layers, names, drawing, read):
    space = drawing.modelspace()
    for k, layer in enumerate(layers):
        space.add_lwpolyline(ring(10, 60 * k), close=True, dxfattribs={"layer": layer})
    found = read(drawing)
    assert found.features.name.tolist() == [f"Green {name}" for name in names]
    slugs = [f"green-{name.lower().replace(' ', '-')}" for name in names]
    assert found.features.id.tolist() == slugs
    assert any("are called after their layers" in f.text for f in found.findings)


@pytest.mark.parametrize("layers", [("C-GREENS-07",), ("C-GREENS-07", "C-GREENS-08")])
def test_a_number_in_the_layer_of_many_greens_is_no_hole(layers, drawing, read):
    """One layer for all, or its like for further ones; and a text in it still names each."""
    space = drawing.modelspace()
    for layer_at, layer in enumerate(layers):
        for k in range(3):
            points = ring(10, 60 * k + 300 * layer_at)
            space.add_lwpolyline(points, close=True, dxfattribs={"layer": layer})
    place = at([(60, 0)])[0]
    space.add_text("Loft", dxfattribs={"insert": place, "layer": "TEXT"})
    names = read(drawing).features.name.tolist()
    assert names[:3] == ["C-GREENS-07 green-1", "Loft", "C-GREENS-07 green-2"]


@pytest.mark.parametrize("word", ["LEVEL", "PHASE", "REV", "SHEET", "COLOR", "v"])
def test_what_drawings_are_numbered_by_is_no_hole(word, drawing, read):
    space = drawing.modelspace()
    for k in (3, 4):
        points = ring(10, 60 * k)
        space.add_lwpolyline(points, close=True, dxfattribs={"layer": f"GREEN_{word}_{k}"})
    assert read(drawing).features.id.tolist() == ["green-1", "green-2"]


def test_the_number_of_the_only_layer_of_greens_is_no_hole(drawing, read):
    drawing.modelspace().add_lwpolyline(ring(10), close=True, dxfattribs={"layer": "C-GREENS-07"})
    assert read(drawing).features.id.tolist() == ["green-1"]


def test_a_name_of_two_known_kinds_is_not_taken_for_a_misspelt_third(drawing, read):
    drawing.modelspace().add_lwpolyline(ring(10), close=True, dxfattribs={"layer": "GREEN Lake 1"})
    (told,) = [f.text for f in read(drawing).findings if "is not known" in f.text]
    assert "did you mean" not in told
