"""Tables of corners, in text and in workbooks: which column tells the outlines apart."""

import numpy as np
import openpyxl
import pytest
import shapely

from geosand.areas.crosscheck import grid_areas_m2
from geosand.formats.boundaries import read_boundaries
from tests.formats.boundaries.conftest import UTM, blob
from tests.formats.boundaries.files.survey_rows import CORNERS, area, walk


def test_lines_told_apart_by_a_string_column(read_rows):
    rows = [f"{n},{e},GRN{' CL' if k == 3 else ''},{s}" for s in (1, 2)
            for k, (n, e) in enumerate(np.array(CORNERS) + 100 * s)]  # fmt: skip
    found = read_rows(["N,E,code,string", *rows])
    assert found.features.id.tolist() == ["grn-1", "grn-2"]
    mixed = [rows[k] for k in (0, 4, 1, 5, 2, 6, 3, 7)]
    assert len(read_rows(mixed, point_order="NEDS").features) == 2


def test_a_word_of_the_table_goes_for_every_string_of_a_code(read_rows):
    rows = walk("{p},{n},{e},{c}", code="2101.7")
    found = read_rows(["P,N,E,D", *rows], kind_pairs=["2101=green"])
    assert found.features.kind.tolist() == ["green"]
    assert not [f for f in found.findings if "decides nothing" in f.text]


RING = [*CORNERS, CORNERS[0]]


@pytest.mark.parametrize(
    ("head", "pattern", "noun"),
    [
        ("id,name,kind,northing,easting,order", "1,{name},{kind},{n},{e},{k}", "tee of old"),
        ("kind,polygon_id,easting,northing", "{kind},{name},{e},{n}", "tee of old"),
        ("Name,Easting,Northing", "{name},{e},{n}", "green"),
        ("Surface,Easting,Northing", "{name},{e},{n}", "green"),
        ("Surface,Easting,Northing", "{name},{e},{n}", "green C"),  # no command to close
        ("Easting Northing Surface", "{e} {n} {name}", "green C"),
        ("Green,Corner,Easting,Northing", "{name},{k},{e},{n}", "green"),
    ],
)
def test_tables_of_corners_go_by_the_column_that_names_each_outline(read_rows, head, pattern, noun):
    """Two surfaces of one kind side by side, each named in every row of it."""
    rows = [
        pattern.format(name=name, kind="green", n=n, e=e + east, k=k)
        for name, east in ((f"North {noun}", 0), (f"South {noun}", 60))
        for k, (n, e) in enumerate(RING)
    ]
    found = read_rows([head, *rows], "corners.csv")
    areas = grid_areas_m2(found.features.geometry, UTM)
    assert areas == pytest.approx([600, 600], abs=2e-3)
    assert found.features.kind.tolist() == ["green", "green"]
    assert found.features.name.tolist() == [f"North {noun}", f"South {noun}"]


def test_numbers_in_a_column_of_greens_are_greens(read_rows):
    rows = [f"{g},{e + 60 * g},{n}" for g in (7, 8) for n, e in RING]
    found = read_rows(["Green,Easting,Northing", *rows], "corners.csv").features
    assert found.id.tolist() == ["green-7", "green-8"]
    assert found.kind.tolist() == ["green", "green"]


@pytest.mark.parametrize("head", ["Green,Name", "Name,Green"])
def test_names_go_before_the_numbers_of_the_greens_that_they_lie_on(read_rows, head):
    pair = "{g},Bunker {g}" if head.startswith("Green") else "Bunker {g},{g}"
    rows = [f"{pair.format(g=g)},{e + 60 * g},{n}" for g in (7, 8) for n, e in RING]
    found = read_rows([f"{head},Easting,Northing", *rows], "corners.csv").features
    assert found.name.tolist() == ["Bunker 7", "Bunker 8"]
    assert found.kind.tolist() == ["bunker", "bunker"]


def test_names_of_points_are_no_outlines(read_rows):
    found = read_rows(["Name,Easting,Northing", *(f"{k},{e},{n}" for k, (n, e) in enumerate(RING))])
    assert not len(found.features)
    assert any("no column holds codes" in told.text for told in found.findings)


def test_two_columns_are_told_by_their_one_mark(read_rows):
    found = read_rows(["Easting,Northing", *(f"{e},{n}" for n, e in RING)])
    assert str(found.tally).startswith("5 read")
    assert not any("is not a number" in left.reason for left in found.tally.left_out)


def workbook(tmp_path, sheets):
    book = openpyxl.Workbook()
    book.remove(book.active)
    for title, rows, merged in sheets:
        sheet = book.create_sheet(title)
        for row in rows:
            sheet.append(row)
        for cells in merged:
            sheet.merge_cells(cells)
    book.save(tmp_path / "survey.xlsx")
    return tmp_path / "survey.xlsx"


def test_heads_merged_over_two_rows_are_read(tmp_path):
    head = [["Survey"], ["Point", "Coordinates (m)", None, "Code"], [None, "Easting", "Northing"]]
    rows = [[k, e, n, "Green 7"] for k, (n, e) in enumerate(RING)]
    path = workbook(tmp_path, [("Points", head + rows, ["A2:A3", "B2:C2", "D2:D3"])])
    found = read_boundaries(path, crs=UTM)
    assert found.features.name.tolist() == ["Green 7"]
    assert area(found) == pytest.approx(600, abs=2e-3)


def test_sheets_of_corners_without_codes_are_outlines_of_their_own(tmp_path):
    sheets = [
        (name, [["Easting", "Northing"], *([e + east, n] for n, e in RING)], [])
        for name, east in (("Green B", 0), ("Tee 7", 60))
    ]
    found = read_boundaries(workbook(tmp_path, sheets), crs=UTM)
    assert found.features.name.tolist() == ["Green B", "Tee 7"]
    assert found.features.kind.tolist() == ["green", "tee"]


def test_a_sheet_of_stations_beside_one_with_codes_is_no_outline(tmp_path):
    points = [["Point", "Easting", "Northing", "Code"]]
    points += [[k, e, n, "Green 7"] for k, (n, e) in enumerate(RING)]
    stations = [["Point", "Easting", "Northing"], *([k, e, n] for k, (n, e) in enumerate(RING))]
    path = workbook(tmp_path, [("Points", points, []), ("Stations", stations, [])])
    found = read_boundaries(path, crs=UTM)
    assert found.features.name.tolist() == ["Green 7"]
    assert any("no column holds codes" in told.text for told in found.findings)


@pytest.mark.parametrize("head", ["nom", "nombre", "nome", "naam", "namn", "navn"])
def test_columns_that_name_outlines_in_other_languages(tmp_path, head):
    rows = [
        f"Green {k};green;{x:.4f};{y:.4f}"
        for k, shape in enumerate((blob(0, 0, 13), blob(60, 0, 9)), start=1)
        for x, y in shapely.get_coordinates(shape).tolist()
    ]
    (tmp_path / "a.csv").write_text("\n".join([f"{head};kind;E;N", *rows]) + "\n")
    found = read_boundaries(tmp_path / "a.csv", crs=UTM).features
    assert found.name.tolist() == ["Green 1", "Green 2"]


@pytest.mark.parametrize("head", ["Line", "Linie", "ligne", "línea", "LIJN"])
def test_a_column_of_lines_tells_outlines_of_one_code_apart(read_rows, head):
    rows = [f"{n},{e + 50 * k},green,{k}" for k in (1, 2) for n, e in [*CORNERS, CORNERS[0]]]
    found = read_rows([f"N,E,Code,{head}", *rows])
    assert grid_areas_m2(found.features.geometry, UTM) == pytest.approx([600, 600], abs=2e-3)


@pytest.mark.parametrize("head", ["Line", "Ligne"])
def test_a_column_of_lines_that_numbers_the_rows_tells_nothing_apart(head, read_rows):
    rows = [f"{n},{e},green,{k}" for k, (n, e) in enumerate([*CORNERS, CORNERS[0]], start=1)]
    found = read_rows([f"N,E,Code,{head}", *rows])
    assert grid_areas_m2(found.features.geometry, UTM) == pytest.approx([600], abs=2e-3)
    assert f"its column is not read: '{head}'" in [finding.text for finding in found.findings]
