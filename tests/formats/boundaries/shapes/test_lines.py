"""Drawings, survey text and tracks: lines to outlines, and what is said where they do not close."""

import ezdxf
import numpy as np
import pytest
import shapely

from geosand.areas.crosscheck import grid_areas_m2
from geosand.errors import Refused
from geosand.formats.boundaries import read_boundaries
from geosand.formats.boundaries.drawings import layers as drawing_layers
from tests.formats.boundaries.conftest import UTM

X, Y = 560_000.0, 5_906_000.0


def at(points):
    return [(X + a, Y + b) for a, b in points]


@pytest.fixture
def drawing():
    document = ezdxf.new("R2010")
    document.header["$INSUNITS"] = 6
    return document


def save(document, tmp_path):
    document.saveas(tmp_path / "plan.dxf")
    return tmp_path / "plan.dxf"


def test_layers_labels_arcs_and_loose_lines(drawing, tmp_path):
    space = drawing.modelspace()
    layer = {"layer": "GREENS"}
    space.add_lwpolyline(at([(0, 0), (20, 0), (20, 20), (0, 20)]), close=True, dxfattribs=layer)
    space.add_text("7", dxfattribs={"insert": (X + 5, Y + 5), "layer": "TEXT"})
    space.add_lwpolyline(
        at([(40, 0), (50, 0), (50, 9), (40, 9), (40, 0.03)]), dxfattribs={"layer": "Tees"}
    )
    bunker = {"layer": "BUNKER"}
    for a, b in (((60, 0), (70, 0)), ((70, 8), (70, 0)), ((70, 8), (60, 0.02))):
        space.add_line(*at([a, b]), dxfattribs=bunker)
    space.add_circle((X + 100, Y), 10, dxfattribs={"layer": "WATER"})
    space.add_line(*at([(200, 0), (210, 0)]), dxfattribs={"layer": "PATH"})
    found = read_boundaries(save(drawing, tmp_path), crs=UTM)
    table = found.features
    assert sorted(table.kind) == ["bunker", "green", "tee", "water"]
    by_kind = dict(zip(table.kind, table.geometry, strict=True))
    assert table.name[table.kind == "green"][0] == "7"
    areas = grid_areas_m2(np.array([by_kind[k] for k in sorted(by_kind)], dtype=object), UTM)
    # a circle in steps of half a degree is 0.0013 % small
    assert areas == pytest.approx([40.0, 400.0, 90.0, np.pi * 100], rel=5e-3, abs=0.15)
    assert areas[3] == pytest.approx(np.pi * 100, rel=2e-5)
    assert found.tally.joined == 2
    assert found.tally.labels == 1
    (left,) = found.tally.left_out
    assert "a line that does not close: its ends are 10.00 m apart" in left.reason
    tally = found.tally
    assert tally.read == tally.used + tally.joined + tally.labels + len(tally.left_out)
    texts = " ".join(f.text for f in found.findings)
    assert "closed over a gap of 30.0 mm" in texts
    assert "3 lines that meet are one outline" in texts


def test_a_line_that_was_drawn_twice_encloses_nothing(drawing, tmp_path):
    """Beside a triangle of three lines, which is an outline."""
    space, layer = drawing.modelspace(), {"layer": "GREENS"}
    for a, b in (((0, 0), (20, 0)), ((20, 0), (20, 20)), ((20, 20), (0, 0))):
        space.add_line(*at([a, b]), dxfattribs=layer)
    for a, b in (((50, 0), (60, 0)), ((60, 0), (50, 0))):
        space.add_line(*at([a, b]), dxfattribs=layer)
    found = read_boundaries(save(drawing, tmp_path), crs=UTM)
    assert len(found.features) == 1
    assert len(found.tally.left_out) == 2
    assert all("does not close" in item.reason for item in found.tally.left_out)
    assert found.tally.joined == 2


def test_no_tolerance_is_proposed_for_a_closed_polyline_of_two_corners(drawing, tmp_path):
    """Old drawings are full of such; one smaller than the usual was said to close them."""
    line = at([(0, 0), (20, 0)])
    drawing.modelspace().add_lwpolyline(line, close=True, dxfattribs={"layer": "GREENS"})
    (left,) = read_boundaries(save(drawing, tmp_path), crs=UTM).tally.left_out
    assert left.reason == "a line that does not close: it runs out and straight back"


def test_a_single_side_shorter_than_the_tolerance_does_not_run_back(drawing, tmp_path):
    drawing.modelspace().add_line(*at([(0, 0), (3, 0)]), dxfattribs={"layer": "GREENS"})
    found = read_boundaries(save(drawing, tmp_path), crs=UTM, close_tolerance_m=5)
    (left,) = found.tally.left_out
    assert left.reason == "a line that does not close: its ends are 3.00 m apart"


def test_a_gap_beyond_the_tolerance_is_left_open_and_measured(drawing, tmp_path):
    drawing.modelspace().add_lwpolyline(
        at([(40, 0), (50, 0), (50, 9), (40, 9), (40, 0.5)]), dxfattribs={"layer": "Tees"}
    )
    path = save(drawing, tmp_path)
    found = read_boundaries(path, crs=UTM)
    assert not len(found.features)
    assert "its ends are 0.50 m apart" in found.tally.left_out[0].reason
    assert len(read_boundaries(path, crs=UTM, close_tolerance_m=0.6).features) == 1


def test_block_attributes_name_what_they_stand_on(drawing, tmp_path):
    block = drawing.blocks.new("G9")
    block.add_lwpolyline([(0, 0), (15, 0), (15, 15), (0, 12)], close=True)
    insert = drawing.modelspace().add_blockref("G9", (X, Y), dxfattribs={"layer": "0"})
    insert.add_attrib("NAME", "Ninth", (X + 100, Y + 100))
    insert.add_attrib("KIND", "green", (X + 100, Y + 104))
    found = read_boundaries(save(drawing, tmp_path), crs=UTM)
    table = found.features
    assert (table.id[0], table.name[0], table.kind[0]) == ("ninth", "Ninth", "green")


def test_a_drawing_that_gdal_refuses_is_read(drawing, tmp_path):
    space = drawing.modelspace()
    space.add_lwpolyline(at([(0, 0), (20, 0), (20, 20)]), close=True, dxfattribs={"layer": "Grün"})
    space.add_spline(fit_points=[(X, Y, 0), (X + 1, Y + 3, 0), (X + 4, Y + 4, 0)])
    found = read_boundaries(save(drawing, tmp_path), crs=UTM, kind="green")
    assert len(found.features) == 1
    assert found.features.attributes[0] == {}
    assert "does not close" in found.tally.left_out[0].reason


def test_a_damaged_drawing_is_told_not_printed(drawing, tmp_path, capfd):
    space = drawing.modelspace()
    space.add_lwpolyline(at([(0, 0), (20, 0), (20, 20)]), close=True, dxfattribs={"layer": "tee"})
    space.add_spline(fit_points=[(X, Y, 0), (X + 1, Y + 3, 0), (X + 4, Y + 4, 0)])
    path = save(drawing, tmp_path)
    content, at_scale = path.read_bytes(), path.read_bytes().index(b"$LTSCALE")
    path.write_bytes(content[:at_scale] + content[at_scale:].replace(b"1.0", b"1!0", 1))
    found = read_boundaries(path, crs=UTM)
    assert len(found.features) == 1
    assert any("the drawing is damaged in" in f.text for f in found.findings)
    assert "recovered" not in capfd.readouterr().err


def test_umlauts_of_layers_survive_gdal(drawing, tmp_path):
    drawing.modelspace().add_lwpolyline(
        at([(0, 0), (20, 0), (20, 20)]), close=True, dxfattribs={"layer": "Grün green"}
    )
    found = read_boundaries(save(drawing, tmp_path), crs=UTM)
    assert "Grün green" in found.features.place[0]


def test_without_the_extra_a_clear_message(drawing, tmp_path, monkeypatch):
    drawing.modelspace().add_spline(fit_points=[(X, Y, 0), (X + 1, Y + 3, 0), (X + 4, Y + 4, 0)])
    path = save(drawing, tmp_path)
    monkeypatch.setitem(__import__("sys").modules, "ezdxf", None)
    with pytest.raises(Refused, match=r"pip install 'geosand\[cad\]'"):
        read_boundaries(path, crs=UTM)
    assert drawing_layers.NEEDS_EZDXF


@pytest.mark.parametrize(
    ("code", "crs", "text"),
    [
        (0, UTM, "names no unit, and ETRS89 / UTM zone 32N is in m"),
        (4, UTM, "says that it is in mm, which puts it outside the area of its CRS, and ETRS89"),
        (2, "EPSG:2225", "says that it is in international feet \\(0.3048 m\\).* apart"),
    ],
)
def test_the_unit_of_a_drawing_is_asked(drawing, tmp_path, code, crs, text):
    drawing.header["$INSUNITS"] = code
    drawing.modelspace().add_lwpolyline(at([(0, 0), (20, 0), (20, 20)]), close=True)
    with pytest.raises(Refused, match=text) as refusal:
        read_boundaries(save(drawing, tmp_path), crs=crs)
    assert "say with --unit" in str(refusal.value).lower()


def test_a_drawing_without_crs_is_asked(drawing, tmp_path):
    drawing.modelspace().add_lwpolyline(at([(0, 0), (20, 0), (20, 20)]), close=True)
    with pytest.raises(Refused, match="does not say in which coordinate reference system"):
        read_boundaries(save(drawing, tmp_path))


WALK = """\
1,5906000.0,560000.0,40.0,GRN 7 ST
2,5906000.0,560020.0,40.5,GRN 7
3,5906050.0,560000.0,39.0,BKR 1
4,5906020.0,560020.0,41.0,GRN 7
5,5906050.0,560010.0,39.0,BKR 1
6,5906020.0,560000.0,40.5,GRN 7 CL
7,5906060.0,560005.0,39.0,BKR 1 CL
8,5906100.0,560100.0,38.0,TREE
9,5906000.0,560100.0,40.0,FWY
10,5906000.0,560150.0,40.0,FWY
11,5906050.0,560150.0,40.0,FWY
"""


def test_line_work_by_code_and_sequence(tmp_path):
    (tmp_path / "walk.txt").write_text(WALK)
    found = read_boundaries(tmp_path / "walk.txt", crs=UTM, point_order="PNEZD")
    table = found.features
    assert table.id.tolist() == ["grn-7", "bkr-1"]
    assert table.kind.tolist() == ["green", "bunker"]
    assert table.elevation_m[0] == pytest.approx(np.mean([40, 40.5, 41, 40.5]))
    assert len(shapely.get_coordinates(table.geometry[0])) == 5
    left = {item.name: item.reason for item in found.tally.left_out}
    assert left["TREE"] == "a point"
    assert "does not close" in left["FWY"]


def test_the_order_is_asked_when_said_nowhere(tmp_path):
    (tmp_path / "walk.txt").write_text(WALK)
    with pytest.raises(Refused) as refusal:
        read_boundaries(tmp_path / "walk.txt", crs=UTM)
    text = str(refusal.value)
    assert "the order of its columns is said nowhere (first row: 1, 5906000.0, 560000.0" in text
    assert "PNEZD and PENZD are usual" in text
    with pytest.raises(Refused, match="the point order 'PNQ' can not be used"):
        read_boundaries(tmp_path / "walk.txt", crs=UTM, point_order="PNQ")


@pytest.mark.parametrize(
    ("header", "separator"),
    [("Easting;Northing;Code;Elev;Pt", ";"), ("pt\ty\tx\tz\tdesc", "\t"), ("E N D", " ")],
)
def test_any_order_by_header(tmp_path, header, separator):
    columns = [c.lower() for c in header.split(separator)]
    names = {"easting": 2, "e": 2, "x": 2, "northing": 1, "n": 1, "y": 1, "elev": 3, "z": 3,
             "pt": 0, "code": 4, "desc": 4, "d": 4}  # fmt: skip
    rows = [line.split(",") for line in WALK.splitlines()[:6] if "GRN" in line]
    body = [separator.join(r[names[c]].replace(" ", ".") for c in columns) for r in rows]
    (tmp_path / "w.csv").write_text("\ufeff" + "\n".join(["# a note", header, *body]), "utf-8")
    found = read_boundaries(tmp_path / "w.csv", crs=UTM)
    assert len(found.features) == 1
    assert shapely.bounds(found.features.geometry[0])[1] == pytest.approx(53.3, abs=0.05)


def test_bad_rows_are_told_together(tmp_path):
    (tmp_path / "w.csv").write_text("P,N,E,Z,D\n1,5906000;0,560000,1,G\n2,,560000,1,G\n")
    with pytest.raises(Refused) as refusal:
        read_boundaries(tmp_path / "w.csv", crs=UTM)
    text = str(refusal.value)
    assert "w.csv, row 2, northing: '5906000;0' is not a number" in text
    assert "w.csv, row 3, northing: no number is written here" in text


def test_a_track_in_two_segments_that_does_not_close(tmp_path):
    points = "".join(f'<trkpt lat="{53.3 + a}" lon="{9.9 + b}"/>' for a, b in
                     [(0, 0), (0, 4e-4), (4e-4, 4e-4), (4e-4, 0), (3e-5, 0)])  # fmt: skip
    (tmp_path / "t.gpx").write_text(
        f"<gpx><trk><name>tee</name><trkseg>{points}</trkseg></trk></gpx>"
    )
    found = read_boundaries(tmp_path / "t.gpx")
    assert "its ends are 3.33 m apart" in found.tally.left_out[0].reason
    closed = read_boundaries(tmp_path / "t.gpx", close_tolerance_m=5)
    assert closed.features.kind.tolist() == ["tee"]


def test_an_outline_with_sides_shorter_than_the_tolerance(drawing, tmp_path):
    """A rectangle of lines with its corner cut over 30 and 20 mm, round a green in a fairway."""
    space, layer = drawing.modelspace(), {"layer": "Hole 1"}
    for half in (40, 2):
        west, south, east, north = 10 - half, 5 - half, 10 + half, 5 + half
        box = [(west, south), (east, south), (east, north), (west, north)]
        space.add_lwpolyline(at(box), close=True, dxfattribs=layer)
    corners = at([(0, 0), (20, 0), (20, 10), (0.03, 10), (0, 9.98)])
    for a, b in zip(corners, corners[1:] + corners[:1], strict=True):
        space.add_line(a, b, dxfattribs=layer)
    found = read_boundaries(save(drawing, tmp_path), crs=UTM)
    assert not found.tally.left_out
    areas = sorted(grid_areas_m2(found.features.geometry, UTM))
    assert areas == pytest.approx([16, 200 - 0.03 * 0.02 / 2, 6400], rel=5e-7)


def test_an_open_line_of_corners_that_was_drawn_twice_encloses_nothing(drawing, tmp_path):
    """There and back it would be a ring without an area."""
    for _ in range(2):
        course = at([(0, 0), (20, 0), (20, 20), (0, 20), (0, 0.6)])
        drawing.modelspace().add_lwpolyline(course, dxfattribs={"layer": "GREENS"})
    found = read_boundaries(save(drawing, tmp_path), crs=UTM)
    assert not len(found.features)
    assert len(found.tally.left_out) == 2
    assert all("its ends are 0.60 m apart" in item.reason for item in found.tally.left_out)


def test_a_leader_on_an_outline_that_was_drawn_twice_makes_no_sliver(drawing, tmp_path):
    """Where its end is set on one of two equal lines, a triangle of 1e-10 m² lies between them."""
    space, layer = drawing.modelspace(), {"layer": "GREENS"}
    corners = at([(0, 0), (20, 7.3), (13.1, 27), (-7, 19.9)])
    for _ in range(2):
        space.add_lwpolyline(corners[:3], dxfattribs=layer)
        space.add_lwpolyline([*corners[2:], corners[0]], dxfattribs=layer)
    for share in (0.13, 0.31, 0.57, 0.83):
        foot = (X + 20 * share, Y + 7.3 * share)
        space.add_line(foot, (foot[0] + 3, foot[1] - 5), dxfattribs=layer)
    found = read_boundaries(save(drawing, tmp_path), crs=UTM)
    assert len(found.features) == 1


def test_outlines_left_open_that_cross_make_no_net(drawing, tmp_path):
    """Two squares of 20 m, of which the ends are 0.5 m apart, overlap: none of their parts."""
    for shift in (0, 12):
        corners = [(0, 0), (20, 0), (20, 20), (0, 20), (0, 0.5)]
        run = at([(x + shift, y + shift) for x, y in corners])
        drawing.modelspace().add_lwpolyline(run, dxfattribs={"layer": "BUNKER"})
    path = save(drawing, tmp_path)
    found = read_boundaries(path, crs=UTM)
    assert not len(found.features)
    reasons = [item.reason for item in found.tally.left_out]
    assert len(reasons) == 2
    assert all("its ends are 0.50 m apart" in reason for reason in reasons)
    closed = read_boundaries(path, crs=UTM, close_tolerance_m=0.6).features
    assert grid_areas_m2(closed.geometry, UTM) == pytest.approx([400, 400], rel=1e-6)


@pytest.mark.parametrize("pieces", [1, 3])
def test_an_approach_up_to_a_round_green_is_asked_about_in_one_line_or_three(
    pieces, drawing, tmp_path
):
    """In three lines it was left out as lines that do not close, without a question."""
    space = drawing.modelspace()
    space.add_circle((X, Y), 11, dxfattribs={"layer": "GREEN"})
    points = at([(-11, 0), (-11, -30), (11, -30), (11, 0)])
    for k in range(pieces):
        run = points if pieces == 1 else points[k : k + 2]
        space.add_lwpolyline(run, dxfattribs={"layer": "APPROACH"})
    found = read_boundaries(save(drawing, tmp_path), crs=UTM)
    (why,) = found.broken_why
    assert ", on the edge of " in why and "CIRCLE" in why
    assert found.broken.kind.tolist() == ["approach"]
    (area,) = grid_areas_m2(found.broken.geometry, UTM)
    assert area == pytest.approx(22 * 30 - np.pi * 11**2 / 2, rel=1e-4)
