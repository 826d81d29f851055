"""DXF drawings: lines that close, shared edges, holes, labels, layers."""

import math

import ezdxf
import numpy as np
import pyproj
import pytest
import shapely

from geosand.formats.boundaries import read_boundaries
from geosand.formats.boundaries.drawings.labels import LEVEL
from geosand.formats.boundaries.sites.questions import Choice
from geosand.formats.boundaries.sites.settling import settle
from tests.formats.boundaries.conftest import UTM

X, Y = 560_000.0, 5_906_000.0


def at(points, size=1.0):
    return [((X + a) / size, (Y + b) / size) for a, b in points]


LAYER = {"layer": "GREENS"}


def test_two_outlines_with_one_shared_edge(drawing, read):
    space = drawing.modelspace()
    # a box of 20 by 10 m with a line across: three lines meet at each end of it
    space.add_lwpolyline(at([(10, 0), (0, 0), (0, 10), (10, 10)]), dxfattribs=LAYER)
    space.add_lwpolyline(at([(10, 0), (20, 0), (20, 10), (10, 10)]), dxfattribs=LAYER)
    space.add_line(*at([(10, 0), (10, 10)]), dxfattribs=LAYER)
    for text, x in (("Seven", 5), ("Eight", 15)):
        space.add_text(text, dxfattribs={"insert": (X + x, Y + 5), "layer": "TEXT"})
    found = read(drawing)
    assert sorted(found.features.name) == ["Eight", "Seven"]
    assert list(found.features.kind) == ["green", "green"]
    tally = found.tally
    assert (tally.read, tally.used, tally.joined, tally.labels) == (5, 2, 1, 2)
    assert any("3 lines that share edges or ends make 2 outlines" in f.text for f in found.findings)
    one, two = found.features.geometry
    assert shapely.equals(one.intersection(two).normalize(), shapely.union_all([
        one.boundary.intersection(two.boundary)]).normalize())  # fmt: skip


def test_a_text_belongs_to_the_outline_of_its_own_layer_where_two_run_along_each_other(
    drawing, read
):
    """A collar drawn as two lines, the inner one along its green, whose name stands inside."""
    space = drawing.modelspace()
    inner = at([(0, 0), (20, 0), (20, 20), (0, 20)])
    outer = at([(-1, -1), (21, -1), (21, 21), (-1, 21)])
    for ring in (inner, outer):
        space.add_lwpolyline(ring, close=True, dxfattribs={"layer": "COLLAR"})
    space.add_lwpolyline(inner, close=True, dxfattribs=LAYER)
    space.add_text("Seven", dxfattribs={"insert": (X + 10, Y + 10), **LAYER})
    found = read(drawing, holes=True)
    named = dict(zip(found.features.kind, found.features.name, strict=True))
    assert named["green"] == "Seven"
    areas = dict(zip(found.features.kind, areas_of(found), strict=True))
    assert areas == {"green": pytest.approx(400, abs=2e-3), "collar": pytest.approx(84, abs=2e-3)}


def test_a_line_that_ends_on_an_outline_of_another_layer_is_asked_about(drawing, read):
    """A fairway of 20 by 10 m drawn up to its green: the green's edge is the fourth side."""
    space = drawing.modelspace()
    green = at([(0, 0), (10, 0), (10, 10), (0, 10)])
    space.add_lwpolyline(green, close=True, dxfattribs=LAYER)
    sides = at([(10, 10), (30, 10), (30, 0), (10, 0)])
    space.add_lwpolyline(sides, dxfattribs={"layer": "FAIRWAY"})
    space.add_lwpolyline(at([(0, 0), (-20, 5), (0, 10)]), dxfattribs={"layer": "PATH"})
    found = read(drawing)
    (asked,) = settle(found, Choice()).faults
    assert "its ends are 10.00 m apart, on the edge of LWPOLYLINE" in asked.found
    assert "closed along that edge it is 200." in asked.found
    assert asked.remedy == "--repair closes it along that edge, --accept leaves the line out"
    mended = settle(found, Choice(repair=True))
    assert areas_of(mended.boundaries) == pytest.approx([100, 200], abs=2e-3)
    assert str(mended.mended[0]).startswith("fairway-1: closed along that edge (a line that does")
    left = [item.reason for item in mended.boundaries.tally.left_out]
    assert len(left) == 1 and left[0].startswith("a line that does not close")  # the path
    kept = settle(found, Choice(accept=True)).boundaries
    assert areas_of(kept) == pytest.approx([100], abs=2e-3)


def test_lines_that_end_on_the_course_of_another(drawing, read):
    space = drawing.modelspace()
    # a closed box, and a U whose ends lie 2 cm off the middle of its side: a T without a corner
    space.add_lwpolyline(at([(0, 0), (20, 0), (20, 20), (0, 20)]), close=True, dxfattribs=LAYER)
    space.add_lwpolyline(at([(20.02, 4), (30, 4), (30, 14), (20.02, 14)]), dxfattribs=LAYER)
    found = read(drawing)
    from geosand.areas.crosscheck import grid_areas_m2

    areas = grid_areas_m2(found.features.geometry, UTM)
    assert sorted(areas) == pytest.approx([100.0, 400.0], abs=2e-3)
    assert len(read(drawing, close_tolerance_m=0.01).features) == 1


def test_a_line_across_an_outline_of_lines_makes_two(drawing, read):
    space = drawing.modelspace()
    corners = [(0, 0, 41), (40, 0, 43), (40, 20, 43), (0, 20, 41)]
    for a, b in zip(corners, [*corners[1:], corners[0]], strict=True):
        ends = [(X + x, Y + y, z) for x, y, z in (a, b)]
        space.add_line(*ends, dxfattribs=LAYER)
    space.add_line((X + 20, Y, 42), (X + 20, Y + 20, 42), dxfattribs=LAYER)
    for text, x in (("Left", 5), ("Right", 35)):
        space.add_text(text, dxfattribs={"insert": (X + x, Y + 5), "layer": "TEXT"})
    found = read(drawing)
    table = found.features
    assert sorted(table.name) == ["Left", "Right"]
    assert not found.tally.left_out
    by_name = dict(zip(table.name, table.elevation_m, strict=True))
    assert by_name["Left"] == pytest.approx(41.5)
    assert by_name["Right"] == pytest.approx(42.5)


def test_an_outline_in_another_is_told_to_be_no_hole(drawing, read):
    space = drawing.modelspace()
    space.add_circle((X, Y), 30, dxfattribs={"layer": "WATER"})
    space.add_circle((X, Y), 5, dxfattribs={"layer": "WATER"})
    space.add_circle((X + 20, Y), 2, dxfattribs={"layer": "GREEN"})
    found = read(drawing)
    texts = [f.text for f in found.findings]
    said = "1 outline lies inside another of layer 'WATER': it is a surface of its own, no hole"
    assert said + " (--holes makes holes of such)" in texts
    assert sum("no hole" in text for text in texts) == 1


def ring(radius, east=0.0):
    """A regular 60-gon; its area is 30 r² sin 6°."""
    angle = np.arange(60) * np.pi / 30
    return at(np.column_stack([east + radius * np.cos(angle), radius * np.sin(angle)]))


def gon(radius):
    return 30 * radius**2 * math.sin(math.radians(6))


def areas_of(found):
    from geosand.areas.crosscheck import grid_areas_m2

    return grid_areas_m2(found.features.geometry, UTM).tolist()


def test_outlines_in_others_are_holes_where_that_is_said(drawing, read):
    space = drawing.modelspace()
    for radius in (5, 60, 20):
        space.add_lwpolyline(ring(radius), close=True, dxfattribs={"layer": "FAIRWAY"})
    space.add_lwpolyline(ring(8), close=True, dxfattribs={"layer": "WATER"})
    found = read(drawing, holes=True)
    expected = [gon(5), gon(60) - gon(20), gon(8)]
    assert areas_of(found) == pytest.approx(expected, abs=2e-3)
    said = "1 outline inside another of layer 'FAIRWAY': a hole, as said with --holes"
    assert said in [f.text for f in found.findings]
    tally = found.tally
    assert tally.read == tally.used + tally.joined == 4
    assert areas_of(read(drawing)) == pytest.approx([gon(5), gon(60), gon(20), gon(8)], abs=2e-3)


def test_an_outline_with_a_name_is_no_hole(drawing, read):
    space = drawing.modelspace()
    for radius in (14, 13):
        space.add_lwpolyline(ring(radius), close=True, dxfattribs={"layer": "GREENS"})
    space.add_text("Green 7", dxfattribs={"layer": "TEXT"}).set_placement((X, Y))
    found = read(drawing, holes=True)
    assert found.features.name.tolist() == ["GREENS green-1", "Green 7"]
    said = "--holes is not used: no outline without a name lies in another of its layer"
    assert said in [f.text for f in found.findings]


def test_drawings_in_other_files_are_told(drawing, read):
    space = drawing.modelspace()
    space.add_circle((X, Y), 13, dxfattribs=LAYER)
    drawing.add_xref_def("../plans/course.dxf", "COURSE")
    space.add_blockref("COURSE", (0, 0))
    space.add_blockref("NOWHERE", (0, 0))
    found = read(drawing)
    (left,) = found.tally.left_out
    assert left.reason == "another drawing, '../plans/course.dxf': bind it to this one"
    assert not left.lost
    assert any("damaged in 1 place" in f.text and "INSERT" in f.text for f in found.findings)


def test_a_grid_of_crossing_lines_counts_right(drawing, read):
    space = drawing.modelspace()
    for k in range(4):
        space.add_line(*at([(10 * k, -5), (10 * k, 35)]), dxfattribs=LAYER)
        space.add_line(*at([(-5, 10 * k), (35, 10 * k)]), dxfattribs=LAYER)
    found = read(drawing)
    assert len(found.features) == 9
    tally = found.tally
    assert tally.read == tally.used + tally.joined + tally.labels + len(tally.left_out) == 8


def test_loose_lines_that_meet_nothing_stay_lines(drawing, read):
    space = drawing.modelspace()
    for k in range(3):
        space.add_line(*at([(0, 10 * k), (30, 10 * k)]), dxfattribs={"layer": "contours"})
    found = read(drawing)
    assert len(found.tally.left_out) == 3
    assert all("does not close" in item.reason for item in found.tally.left_out)


def test_heights_of_three_dimensional_polylines(drawing, read):
    corners = [(X, Y, 41.0), (X + 20, Y, 42.0), (X + 20, Y + 20, 43.0), (X, Y + 20, 42.0)]
    drawing.modelspace().add_polyline3d(corners, close=True, dxfattribs=LAYER)
    drawing.modelspace().add_lwpolyline(
        at([(50, 0), (60, 0), (60, 10)]), close=True, dxfattribs={"elevation": 38.5, **LAYER}
    )
    found = read(drawing)
    assert sorted(found.features.elevation_m) == pytest.approx([38.5, 42.0])


def test_centred_and_long_texts_are_taken_where_they_are_set(drawing, read):
    space = drawing.modelspace()
    for x in (0, 30):
        box = at([(x, 0), (x + 6, 0), (x + 6, 6), (x, 6)])
        space.add_lwpolyline(box, close=True, dxfattribs=LAYER)
    text = space.add_text("A very long name", height=2)
    text.set_placement((X + 3, Y + 3), align=ezdxf.enums.TextEntityAlignment.MIDDLE_CENTER)
    space.add_mtext("{\\fArial|b1;Practice}\\Pgreen", dxfattribs={"insert": (X + 33, Y + 3)})
    space.add_text("scale 1:500", dxfattribs={"insert": (X + 90, Y + 90)})
    found = read(drawing)
    assert sorted(found.features.name) == ["A very long name", "Practice green"]
    (left,) = found.tally.left_out
    assert left.reason == "a text that lies in no outline"


def test_layers_that_are_switched_off_are_read_and_said(drawing, read):
    drawing.layers.add("OLD GREEN").off()
    box = at([(0, 0), (20, 0), (20, 20)])
    drawing.modelspace().add_lwpolyline(box, close=True, dxfattribs={"layer": "OLD GREEN"})
    found = read(drawing)
    assert len(found.features) == 1
    assert any("switched off, and are read: 'OLD GREEN'" in f.text for f in found.findings)


def test_things_that_are_no_outlines_are_counted(drawing, read):
    space = drawing.modelspace()
    space.add_lwpolyline(at([(0, 0), (20, 0), (20, 20)]), close=True, dxfattribs=LAYER)
    space.add_linear_dim(base=(X, Y - 2), p1=(X, Y), p2=(X + 20, Y)).render()
    space.add_ray((X, Y), (1, 0))
    found = read(drawing)
    reasons = [item.reason for item in found.tally.left_out]
    assert reasons == ["DIMENSION is no outline", "RAY is no outline"]
    assert found.tally.read == 3
    assert not any(item.lost for item in found.tally.left_out)


def test_a_drawing_only_the_other_reader_takes(drawing, tmp_path, monkeypatch):
    from geosand.formats.boundaries.drawings import entities as drawing_entities

    def broken(path):
        raise RuntimeError("no such table")

    monkeypatch.setattr(drawing_entities, "_document", broken)
    space = drawing.modelspace()
    space.add_lwpolyline(at([(0, 0), (20, 0), (20, 20)]), close=True, dxfattribs=LAYER)
    drawing.saveas(tmp_path / "a.dxf")
    assert len(read_boundaries(tmp_path / "a.dxf", crs=UTM).features) == 1


def test_outlines_that_two_layers_close_together_are_asked_about(drawing, read):
    """The front of the green is drawn once, as its own line; its back is drawn as the collar's."""
    space = drawing.modelspace()
    for layer in ("FAIRWAY", "COLLAR"):
        drawing.layers.add(layer)
    sides = at([(-10, 0), (-20, -60), (20, -60), (10, 0)])
    space.add_lwpolyline(sides, dxfattribs={"layer": "FAIRWAY"})
    space.add_arc(at([(0, 0)])[0], 10, 180, 360, dxfattribs=LAYER)
    space.add_arc(at([(0, 0)])[0], 10, 0, 180, dxfattribs={"layer": "COLLAR"})
    found = read(drawing)
    asked = sorted(fault.found for fault in settle(found, Choice()).faults)
    assert [text.partition(":")[0] for text in asked] == ["fairway-1", "green-1"]
    assert "its ends are 20.00 m apart, on the edge of ARC" in asked[0]
    mended = settle(found, Choice(repair=True)).boundaries
    half = math.pi * 50
    assert areas_of(mended) == pytest.approx([1800 - half, 2 * half], abs=2e-3)
    tally = mended.tally
    assert tally.read == tally.used + len(tally.left_out) == 3
    kept = settle(found, Choice(accept=True)).boundaries
    assert len(kept.features) == 0


def test_lines_of_other_layers_that_only_cross_close_nothing(drawing, read):
    """Contours over an open line of a fairway: none of their meshes is the fairway."""
    space = drawing.modelspace()
    drawing.layers.add("CONTOUR")
    line = at([(0, 0), (40, 0), (40, 40), (0, 30)])
    space.add_lwpolyline(line, dxfattribs={"layer": "FAIRWAY"})
    for k in range(8):
        ends = at([(-20, 5 * k - 3), (60, 5 * k + 2)])
        space.add_line(*ends, dxfattribs={"layer": "CONTOUR"})
        space.add_line(*at([(5 * k, -20), (5 * k + 3, 60)]), dxfattribs={"layer": "CONTOUR"})
    assert settle(read(drawing), Choice()).faults == ()


def test_invisible_things_are_told(drawing, read):
    space = drawing.modelspace()
    space.add_circle((X, Y), 10, dxfattribs=LAYER)
    space.add_circle((X + 50, Y), 10, dxfattribs={**LAYER, "invisible": 1})
    found = read(drawing)
    assert len(found.features) == 2
    text = "1 of its things is invisible in the drawing, and read all the same"
    assert text in [f.text for f in found.findings]


def polyline(tmp_path, corners, flags, layer="GREEN", closed=1):
    """A drawing of release 12, as small programs write it: entities and nothing else."""
    lines = ["0", "SECTION", "2", "ENTITIES", "0", "POLYLINE", "8", layer, "66", "1"]
    lines += ["70", str(closed)]
    for (x, y), flag in zip(corners, flags, strict=True):
        lines += ["0", "VERTEX", "8", layer, "10", repr(float(x)), "20", repr(float(y))]
        lines += ["70", str(flag)]
    lines += ["0", "SEQEND", "8", layer, "0", "ENDSEC", "0", "EOF", ""]
    (tmp_path / "r12.dxf").write_text("\n".join(lines))
    return tmp_path / "r12.dxf"


def test_letters_outside_the_code_page(tmp_path):
    path = polyline(tmp_path, at(np.array([[0, 0], [9, 0], [9, 9.0]])), [0] * 3, "GR\\U+00DCN")
    found = read_boundaries(path, crs=UTM, unit="m")
    assert found.features.kind.tolist() == ["green"]
    assert "'GRÜN' is taken as green (1 surface)" in [f.text for f in found.findings]


def test_too_little_memory_is_no_fault_of_the_drawing(drawing, shapes_of, monkeypatch):
    def full(path):
        raise MemoryError

    monkeypatch.setattr("geosand.formats.boundaries.drawings.entities._document", full)
    with pytest.raises(MemoryError):
        shapes_of(drawing)


def test_levels_written_in_an_outline_are_no_part_of_its_name(drawing, read):
    space = drawing.modelspace()
    for x, layer in ((0, "GREENS"), (60, "TEES")):
        corners = at([(x, 0), (x + 20, 0), (x + 20, 30), (x, 30)])
        space.add_lwpolyline(corners, close=True, dxfattribs={"layer": layer})
    for k, text in enumerate(("52.37", "Green 7", "52,41", "52.37")):
        space.add_text(text).set_placement((X + 5, Y + 5 + k))
    for _ in range(2):  # alone it is a name, also where it is written twice
        space.add_text("17.1").set_placement((X + 65, Y + 5))
    found = read(drawing)
    assert found.features.name.tolist() == ["Green 7", "17.1"]
    assert found.tally.labels == 3
    assert [item.reason for item in found.tally.left_out] == [LEVEL] * 3


def middle(found):
    (here,) = shapely.centroid(
        shapely.transform(
            found.features.geometry,
            pyproj.Transformer.from_crs("OGC:CRS84", UTM, always_xy=True).transform,
            interleaved=False,
        )
    )
    return [here.x, here.y]
