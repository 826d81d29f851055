"""DXF drawings: curves with their whole area, shared edges, blocks, hatches, labels, units."""

import math

import ezdxf
import numpy as np
import pyproj
import pytest
import shapely
from ezdxf.math import BSpline

from geosand.errors import Refused
from geosand.formats.boundaries import read_boundaries
from geosand.formats.boundaries.curves import bernstein, cubic_enclosed, enclosed, spline_cubics
from geosand.formats.boundaries.drawing_layers import read_dxf
from geosand.formats.boundaries.drawn import Drawn
from geosand.formats.boundaries.labels import LEVEL
from geosand.formats.boundaries.mendable import to_be_closed
from geosand.formats.boundaries.questions import Choice
from geosand.formats.boundaries.settling import settle
from geosand.formats.boundaries.wishes import Wishes

from .conftest import UTM

X, Y = 560_000.0, 5_906_000.0


def at(points, size=1.0):
    return [((X + a) / size, (Y + b) / size) for a, b in points]


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


def whole(area):
    """The larger of 1 ppm and 0.002 m²: what an area may be off."""
    return max(1e-6 * area, 0.002)


@pytest.mark.parametrize("radius", [0.4, 10.0, 13.0, 250.0])
def test_circles_and_ellipses_keep_their_area(drawing, shapes_of, radius):
    space = drawing.modelspace()
    space.add_circle((X, Y), radius)
    space.add_ellipse((X, Y), major_axis=(radius, radius / 2), ratio=0.4)
    circle, ellipse = shapes_of(drawing)
    assert circle.area == pytest.approx(math.pi * radius**2, abs=whole(math.pi * radius**2) / 10)
    area = math.pi * radius**2 * 1.25 * 0.4  # semi-axes of length r·sqrt(1.25) and 0.4 of it
    assert ellipse.area == pytest.approx(area, abs=whole(area) / 10)
    assert len(circle.exterior.coords) < 1000


def test_bulges_arcs_and_mirrored_arcs_keep_their_area(drawing, shapes_of):
    space = drawing.modelspace()
    # a square of 20 m whose right side is a half circle outwards (bulge 1): 400 + 50 pi
    space.add_lwpolyline(
        [(X, Y, 0), (X + 20, Y, 1), (X + 20, Y + 20, 0), (X, Y + 20, 0)], format="xyb", close=True
    )
    # the same inwards, and a heavy polyline of two halves of a circle
    space.add_lwpolyline(
        [(X, Y, 0), (X + 20, Y, -1), (X + 20, Y + 20, 0), (X, Y + 20, 0)], format="xyb", close=True
    )
    space.add_polyline2d([(X, Y, 1), (X + 20, Y, 1)], format="xyb", close=True)
    space.add_circle((-X, Y), 10, dxfattribs={"extrusion": (0, 0, -1)})
    out, inner, two, mirrored = shapes_of(drawing)
    half = math.pi * 50
    assert [out.area, inner.area, two.area, mirrored.area] == pytest.approx(
        [400 + half, 400 - half, 2 * half, 2 * half], abs=5e-4
    )
    assert mirrored.centroid.x == pytest.approx(X)


def _ring_of(control, degree, weights=None):
    """Control points and uniform knots of a periodic spline through its own start."""
    wrapped = [*control, *control[:degree]]
    knots = list(range(len(wrapped) + degree + 1))
    return wrapped, knots, None if weights is None else [*weights, *weights[:degree]]


def _area_by_steps(wrapped, knots, degree, weights):
    """Independent: ezdxf's own evaluation in many steps over the domain, and extrapolated."""
    tool = BSpline(wrapped, order=degree + 1, knots=knots, weights=weights)
    areas = []
    for count in (2000, 4000):
        steps = np.linspace(knots[degree], knots[len(wrapped)] - 1e-12, count + 1)
        areas.append(enclosed(np.array([(p.x, p.y) for p in tool.points(steps)])))
    return abs(areas[1] + (areas[1] - areas[0]) / 3)


@pytest.mark.parametrize("degree", [2, 3, 4])
@pytest.mark.parametrize("weighted", [False, True])
def test_periodic_splines_close_and_keep_their_area(drawing, shapes_of, degree, weighted):
    t = np.linspace(0, 2 * np.pi, 9)[:-1]
    control = np.column_stack(
        [X + (13 + 3 * np.cos(3 * t)) * np.cos(t), Y + (13 + 2 * np.sin(t)) * np.sin(t), 0 * t]
    )
    weights = [1.0, 2.0, 1.0, 0.5, 1.0, 3.0, 1.0, 1.0] if weighted else None
    wrapped, knots, more = _ring_of(control.tolist(), degree, weights)
    spline = drawing.modelspace().add_spline(dxfattribs={"flags": 3})
    spline.dxf.degree = degree
    spline.control_points, spline.knots = wrapped, knots
    if more:
        spline.weights = more
    (shape,) = shapes_of(drawing)
    assert shape.geom_type == "Polygon"
    expected = _area_by_steps(wrapped, knots, degree, more)
    assert shape.area == pytest.approx(expected, abs=5e-4)
    assert len(shape.exterior.coords) < 3000


def test_a_closed_spline_is_a_surface_and_one_by_fit_points_too(drawing, read):
    t = np.linspace(0, 2 * np.pi, 13)
    points = np.column_stack([X + 12 * np.cos(t), Y + 12 * np.sin(t), 0 * t])
    space = drawing.modelspace()
    closed = space.add_spline(dxfattribs={"layer": "GREEN"})
    closed.set_closed([tuple(p) for p in points[:-1]])
    space.add_spline(fit_points=points + np.array([60, 0, 0]), dxfattribs={"layer": "TEE"})
    found = read(drawing)
    assert sorted(found.features.kind) == ["green", "tee"]
    assert not found.tally.left_out


def test_the_area_of_a_cubic_is_exact():
    control = np.random.default_rng(4).normal(size=(20, 4, 2))
    nodes, weights = np.polynomial.legendre.leggauss(6)  # exact up to degree 11
    t = (nodes + 1) / 2
    for points in control:
        p = points - points[0]
        place = bernstein(t) @ p
        slope = np.column_stack([3 * (1 - t) ** 2, 6 * (1 - t) * t, 3 * t**2]) @ np.diff(p, axis=0)
        cross = place[:, 0] * slope[:, 1] - place[:, 1] * slope[:, 0]
        assert cubic_enclosed(points) == pytest.approx(0.25 * (weights * cross).sum(), abs=1e-12)


def test_knots_that_do_not_ascend_are_told():
    knots = [0, 0, 0, 0, 2, 1, 1, 1, 1]
    assert spline_cubics(BSpline(np.zeros((5, 3)), order=4, knots=knots)) is None


def test_pieces_of_a_spline_end_to_end_are_one_curve():
    """Where a knot stands four times the two points at the joint are the same, or it is torn."""
    points = np.array([(0, 0), (0, 1), (1, 1), (1, 0), (1, 0), (1, -1), (2, -1), (2, 0)], float)
    flat = np.column_stack([points, np.zeros(8)])
    knots = [0] * 4 + [1] * 4 + [2] * 4
    found = spline_cubics(BSpline(flat, order=4, knots=knots))
    assert found is not None
    np.testing.assert_allclose(found[:, :, :2], points.reshape(2, 4, 2), atol=1e-12)
    flat[4:, 0] += 0.1
    assert spline_cubics(BSpline(flat, order=4, knots=knots)) is None


def test_a_green_that_closes_along_another_line_is_not_closed_straight():
    """Coarse chords, whose front is drawn as the fairway's end only: a gap of two usual steps."""
    around, front = np.radians(np.linspace(-60, 240, 8)), np.radians(np.linspace(240, 300, 7))
    green, end = (12 * np.column_stack([np.cos(a), np.sin(a)]) for a in (around, front))
    fairway = np.vstack([[-60, -60], end, [60, -60]])
    things = [
        Drawn(place=layer, geometry=shapely.LineString(line), attributes={}, folder=layer)
        for layer, line in (("GREENS", green), ("FAIRWAY", fairway))
    ]
    kept, shapes, _ = to_be_closed(things, np.ones(2), Wishes(), along=True)
    whole = shapely.Polygon(np.vstack([green, end[1:-1]]))
    areas = {d.place: shapely.area(shape) for d, shape in zip(kept, shapes, strict=True)}
    assert areas["GREENS"] == pytest.approx(whole.area, rel=1e-9)


@pytest.mark.parametrize("radius", [1.0, 10.0, 100.0])
@pytest.mark.parametrize(("missing", "asked"), [(1, True), (2, True), (3, False), (5, False)])
def test_an_outline_that_lacks_a_step_or_two_is_asked_about(radius, missing, asked):
    """Of 20 corners round a circle: steps of 2·r·sin 9°, gaps of 2·r·sin(9°·sides missing)."""
    angle = 2 * np.pi * np.arange(21 - missing) / 20
    line = shapely.LineString(radius * np.column_stack([np.cos(angle), np.sin(angle)]))
    thing = Drawn(place="GREENS", geometry=line, attributes={}, folder="GREENS")
    kept, shapes, reasons = to_be_closed([thing], np.ones(2), Wishes(), along=True)
    assert len(kept) == len(shapes) == len(reasons) == asked
    if asked:
        gap = 2 * radius * np.sin(np.pi / 20 * missing)
        assert f"its ends are {gap:.2f} m apart" in reasons[0]


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


@pytest.mark.parametrize("style", [0, 1, 2])
def test_a_hatch_that_crosses_itself_ends_nothing(drawing, read, style):
    crossing = [(X, Y), (X + 20, Y + 20), (X + 20, Y), (X, Y + 20)]
    alone = drawing.modelspace().add_hatch(dxfattribs={"layer": "LAWN", "hatch_style": style})
    alone.paths.add_polyline_path(crossing, is_closed=True)
    islands = drawing.modelspace().add_hatch(dxfattribs={"layer": "LAWN", "hatch_style": style})
    for points in (ring(60), crossing):
        islands.paths.add_polyline_path(points, is_closed=True)
    found = read(drawing)
    reasons = [left.reason for left in found.tally.left_out]
    assert "a hatch of several outlines, one of which crosses itself: draw it anew" in reasons


def test_what_a_hatch_leaves_free_is_a_hole_of_its_outline(drawing, read):
    space = drawing.modelspace()
    fill = space.add_hatch(dxfattribs={"layer": "LAWN", "hatch_style": 0})
    for radius in (30, 5):
        space.add_lwpolyline(ring(radius), close=True, dxfattribs={"layer": "LAWN"})
        fill.paths.add_polyline_path(ring(radius), is_closed=True)
    found = read(drawing)
    assert areas_of(found) == pytest.approx([gon(30) - gon(5)], abs=2e-3)
    reasons = [item.reason.partition(" LW")[0] for item in found.tally.left_out]
    assert sorted(reasons) == ["a hatch over", "the edge of an island in"]


@pytest.mark.parametrize(
    ("style", "area"),
    [(0, gon(30) - gon(15) + gon(10)), (1, gon(30) - gon(15)), (2, gon(30))],
)
def test_styles_of_hatches_and_room_for_texts(drawing, read, style, area):
    """DXF reference, HATCH: group 75 is the style, bit 8 of group 92 marks a box about a text."""
    space = drawing.modelspace()
    fill = space.add_hatch(dxfattribs={"layer": "LAWN", "hatch_style": style})
    for radius in (30, 15, 10):
        fill.paths.add_polyline_path(ring(radius), is_closed=True)
    box = at([(20, 0), (24, 0), (24, 2), (20, 2)])
    fill.paths.add_polyline_path(box, is_closed=True, flags=8)
    assert areas_of(read(drawing)) == pytest.approx([area], abs=2e-3)


def test_areas_of_a_form_that_is_not_read_are_asked_about(drawing, read):
    space = drawing.modelspace()
    space.add_circle((X, Y), 13, dxfattribs=LAYER)
    region = space.add_region(dxfattribs={"layer": "BUNKER"})
    region.sat = ["400 0 1 0 ", "End-of-ACIS-data "]
    (left,) = read(drawing).tally.left_out
    assert left.lost and left.reason == "a REGION, whose form is not read: explode it to lines"


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


def test_blocks_in_blocks_scaled_turned_and_in_rows(drawing, read):
    inner = drawing.blocks.new("DISC")
    inner.add_circle((0, 0), 1)
    outer = drawing.blocks.new("GREEN")
    outer.add_blockref("DISC", (2, 0), dxfattribs={"xscale": 2, "yscale": 2})
    insert = drawing.modelspace().add_blockref(
        "GREEN",
        (X, Y),
        dxfattribs={"xscale": 3, "yscale": 1.5, "rotation": 90, "layer": "0"},
    )
    insert.add_attrib("NAME", "Oval", (X, Y))
    drawing.modelspace().add_blockref(
        "DISC",
        (X + 100, Y),
        dxfattribs={"row_count": 2, "column_count": 3, "row_spacing": 10, "column_spacing": 10},
    )
    found = read(drawing)
    from geosand.areas.crosscheck import grid_areas_m2

    areas = grid_areas_m2(found.features.geometry, UTM)
    oval = found.features.name == "Oval"
    assert areas[oval] == pytest.approx([math.pi * 6 * 3], abs=2e-3)
    assert found.features.kind[oval] == ["green"]  # by the block's own name
    assert areas[~oval] == pytest.approx([math.pi] * 6, abs=2e-3)


def test_a_label_block_says_what_the_outline_around_it_is(drawing, read):
    drawing.blocks.new("TAG").add_point((0, 0))
    space = drawing.modelspace()
    space.add_lwpolyline(at([(0, 0), (20, 0), (20, 20), (0, 20)]), close=True)
    label = space.add_blockref("TAG", (X + 5, Y + 5), dxfattribs={"layer": "LABELS"})
    label.add_attrib("NAME", "Third", (X + 200, Y))
    label.add_attrib("KIND", "tee", (X + 200, Y))
    found = read(drawing)
    table = found.features
    assert (table.name[0], table.kind[0]) == ("Third", "tee")


def test_hatches_with_islands_and_over_outlines(drawing, read):
    space = drawing.modelspace()
    box = at([(0, 0), (20, 0), (20, 20), (0, 20)])
    space.add_lwpolyline(box, close=True, dxfattribs=LAYER)
    fill = space.add_hatch(dxfattribs=LAYER)
    fill.paths.add_polyline_path(box, is_closed=True)
    island = space.add_hatch(dxfattribs={"layer": "BUNKER"})
    edges = island.paths.add_edge_path()
    edges.add_arc((X + 60, Y), radius=10, start_angle=0, end_angle=180)
    edges.add_line((X + 50, Y), (X + 70, Y))
    hole = island.paths.add_edge_path(flags=16)
    hole.add_arc((X + 60, Y + 4), radius=2, start_angle=0, end_angle=360)
    found = read(drawing)
    from geosand.areas.crosscheck import grid_areas_m2

    areas = dict(zip(found.features.kind, grid_areas_m2(found.features.geometry, UTM), strict=True))
    assert areas["green"] == pytest.approx(400, abs=2e-3)
    assert areas["bunker"] == pytest.approx(math.pi * (50 - 4), abs=2e-3)
    (left,) = found.tally.left_out
    assert left.reason.startswith("a hatch over LWPOLYLINE")


def test_hatch_arcs_drawn_clockwise(drawing, shapes_of):
    hatch = drawing.modelspace().add_hatch()
    edges = hatch.paths.add_edge_path()
    edges.add_line((X, Y), (X + 20, Y))
    edges.add_line((X + 20, Y), (X + 20, Y + 20))
    edges.add_arc((X + 10, Y + 20), radius=10, start_angle=0, end_angle=180, ccw=True)
    edges.add_line((X, Y + 20), (X, Y))
    dent = drawing.modelspace().add_hatch()
    edges = dent.paths.add_edge_path()
    edges.add_line((X, Y), (X + 20, Y))
    edges.add_line((X + 20, Y), (X + 20, Y + 20))
    edges.add_arc((X + 10, Y + 20), radius=10, start_angle=180, end_angle=360, ccw=False)
    edges.add_line((X, Y + 20), (X, Y))
    half = math.pi * 50
    assert [s.area for s in shapes_of(drawing)] == pytest.approx([400 + half, 400 - half], abs=1e-3)


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


UNITS = {1: 0.0254, 2: 0.3048, 4: 0.001, 5: 0.01, 6: 1.0, 14: 0.1, 21: 1200 / 3937}


@pytest.mark.parametrize("code", UNITS)
def test_the_unit_a_drawing_names_is_believed_where_it_fits(drawing, read, code):
    drawing.header["$INSUNITS"] = code
    size = UNITS[code]
    drawing.modelspace().add_circle((X / size, Y / size), 10 / size, dxfattribs=LAYER)
    found = read(drawing)
    from geosand.areas.crosscheck import grid_areas_m2

    (area,) = grid_areas_m2(found.features.geometry, UTM)
    assert area == pytest.approx(math.pi * 100, abs=2e-3)
    vertices = shapely.get_num_coordinates(found.features.geometry[0])
    assert 90 < vertices < 300  # as fine on the ground in every unit
    said = [f.text for f in found.findings if "it is converted" in f.text]
    assert len(said) == (code != 6)
    # the user's word comes first
    with pytest.raises(Refused, match="is no place in"):
        read(drawing, unit="km")


@pytest.mark.parametrize(
    ("code", "text"),
    [(0, "names no unit, and"), (1, "says that it is in inches, which puts it outside the area")],
)
def test_a_unit_that_does_not_fit_is_asked(drawing, read, code, text):
    drawing.header["$INSUNITS"] = code
    drawing.modelspace().add_circle((X, Y), 10, dxfattribs=LAYER)
    with pytest.raises(Refused) as refusal:
        read(drawing)
    assert text in str(refusal.value)
    assert len(read(drawing, unit="m").features) == 1


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
    from geosand.formats.boundaries import drawing_entities

    def broken(path):
        raise RuntimeError("no such table")

    monkeypatch.setattr(drawing_entities, "_document", broken)
    space = drawing.modelspace()
    space.add_lwpolyline(at([(0, 0), (20, 0), (20, 20)]), close=True, dxfattribs=LAYER)
    drawing.saveas(tmp_path / "a.dxf")
    assert len(read_boundaries(tmp_path / "a.dxf", crs=UTM).features) == 1


@pytest.mark.parametrize("radius", [5.0, 15.0, 150.0])
def test_a_line_that_ends_on_an_arc_between_its_chords_keeps_the_area(drawing, read, radius):
    """Not drawn to the nearest corner of the chords, up to 5 cm off: 0.1 % of a small surface."""
    space, rng = drawing.modelspace(), np.random.default_rng(int(radius))
    for k in range(6):
        start = float(rng.uniform(0, np.pi))
        end = start + float(rng.uniform(0.2, 1.5))
        middle = (k * 10 * radius, 0.0)

        def polar(angle, far, middle=middle):
            return (middle[0] + far * math.cos(angle), middle[1] + far * math.sin(angle))

        space.add_circle(at([middle])[0], radius, dxfattribs=LAYER)
        sides = [polar(start, radius), polar(start, 2 * radius), polar(end, 2 * radius)]
        line = at([*sides, polar(end, radius)])
        space.add_lwpolyline(line, dxfattribs={"layer": f"FAIRWAY {k}"})
        drawing.layers.add(f"FAIRWAY {k}")
        # triangle of the far chord less the sector of the circle
        expected = (2 * radius) ** 2 / 2 * math.sin(end - start) - radius**2 / 2 * (end - start)
        found = settle(read(drawing), Choice(repair=True)).boundaries
        area = areas_of(found)[k + 1 + k]
        assert area == pytest.approx(expected, abs=whole(expected) + 2e-6 * radius**2)


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


def test_parts_of_blocks_count_each(drawing, read):
    """Entities of blocks have no handles: their places are told apart, and the tally adds up."""
    block = drawing.blocks.new("SPOT")
    block.add_circle((0, 0), 1.0)
    block.add_circle((5, 0), 1.0)
    space = drawing.modelspace()
    for k in range(2):
        space.add_blockref("SPOT", at([(20 * k, 0)])[0], dxfattribs={"layer": "BUNKER"})
    found = read(drawing)
    assert (found.tally.read, found.tally.used, found.tally.surfaces) == (4, 4, 4)
    assert len(set(found.features.place.tolist())) == 4
    assert all(p.startswith("CIRCLE in INSERT ") for p in found.features.place)


@pytest.mark.parametrize(
    ("frame", "kept", "said"),
    [
        ([(-1, -1), (41, 41)], 1, ""),
        ([(0, 0), (40, 40)], 1, ""),
        ([(-1, -1), (20, 20)], 0, "the clip of its block (XCLIP) cuts through it"),
        ([(10, 10), (20, 20)], 0, "the clip of its block (XCLIP) cuts through it"),
        ([(50, 50), (90, 90)], 0, "outside the clip of its block"),
    ],
)
def test_blocks_that_are_clipped(drawing, read, frame, kept, said):
    from ezdxf.xclip import XClip

    block = drawing.blocks.new("PLAN")
    block.add_lwpolyline([(0, 0), (40, 0), (40, 40), (0, 40)], close=True)
    insert = drawing.modelspace().add_blockref("PLAN", (X, Y), dxfattribs={"layer": "FAIRWAY"})
    XClip(insert).set_block_clipping_path(frame)
    found = read(drawing)
    assert len(found.features) == kept
    left = [(item.reason, item.lost) for item in found.tally.left_out]
    if kept:
        assert left == []
        return
    ((reason, lost),) = left
    assert reason.startswith(said)
    assert lost == ("cuts" in said)  # what is cut was drawn as an area: it is asked about


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


def test_corners_that_only_steer_a_fitted_curve_are_none(tmp_path):
    frame = at([(0, 0), (40, 0), (40, 30), (0, 30)])
    turn = np.linspace(0, 2 * np.pi, 40, endpoint=False)
    fitted = at(np.column_stack([20 + 14 * np.cos(turn), 15 + 9 * np.sin(turn)]))
    path = polyline(tmp_path, [*frame, *fitted], [16] * 4 + [8] * 40, closed=1 + 4)
    found = read_boundaries(path, crs=UTM, unit="m")
    assert not len(found.broken)
    (layer,) = read_dxf(path, "r12.dxf", 1.0)
    assert layer.drawn[0].geometry.area == pytest.approx(shapely.Polygon(fitted).area)


def test_letters_outside_the_code_page(tmp_path):
    path = polyline(tmp_path, at(np.array([[0, 0], [9, 0], [9, 9.0]])), [0] * 3, "GR\\U+00DCN")
    found = read_boundaries(path, crs=UTM, unit="m")
    assert found.features.kind.tolist() == ["green"]
    assert "'GRÜN' is taken as green (1 surface)" in [f.text for f in found.findings]


def test_too_little_memory_is_no_fault_of_the_drawing(drawing, shapes_of, monkeypatch):
    def full(path):
        raise MemoryError

    monkeypatch.setattr("geosand.formats.boundaries.drawing_entities._document", full)
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


#: As Autodesk's dictionaries of coordinate systems write it, cut to what ezdxf looks at.
NAMED_CRS = """<?xml version="1.0" encoding="UTF-16" standalone="no" ?>
<Dictionary version="1.0" xmlns="http://www.osgeo.org/mapguide/coordinatesystem">
<ProjectedCoordinateSystem id="ETRS89.UTM-32N"><Axis uom="METER">
<CoordinateSystemAxis><AxisOrder>1</AxisOrder><AxisAbbreviation>FIRST</AxisAbbreviation>
</CoordinateSystemAxis></Axis></ProjectedCoordinateSystem>
<Alias id="CODE" type="CoordinateSystem"><Namespace>EPSG Code</Namespace></Alias></Dictionary>"""


def placed_drawing(points, design, reference, north=(0, 1), sort=1, code="25832", first="E"):
    document = ezdxf.new("R2010", units=6)
    document.modelspace().add_lwpolyline(points, close=True, dxfattribs={"layer": "GREENS"})
    geodata = document.modelspace().new_geodata()
    definition = NAMED_CRS.replace("CODE", code).replace("FIRST", first)
    geodata.setup_local_grid(
        design_point=design, reference_point=reference, north_direction=north, crs=definition
    )
    geodata.dxf.coordinate_type = sort
    return document


def middle(found):
    (here,) = shapely.centroid(
        shapely.transform(
            found.features.geometry,
            pyproj.Transformer.from_crs("OGC:CRS84", UTM, always_xy=True).transform,
            interleaved=False,
        )
    )
    return [here.x, here.y]


SQUARE = [(0, 0), (20, 0), (20, 24), (0, 24)]


@pytest.mark.parametrize(
    ("points", "design", "reference", "north", "sort"),
    [
        (at(SQUARE), (X, Y), (X, Y), (0, 1), 1),
        (at(SQUARE), (0, 0), (1, 1), (0, 1), 2),
        (SQUARE, (0, 0), (X, Y), (0, 1), 1),
        ([(x + 7, y + 5) for x, y in SQUARE], (7, 5), (X, Y), (0, 1), 1),
        ([(-y, x) for x, y in SQUARE], (0, 0), (X, Y), (-1, 0), 1),  # north is to the left
    ],
)
def test_a_drawing_that_names_its_crs_is_placed_by_it(read, points, design, reference, north, sort):
    """DXF reference, GEODATA: of a local grid, the design point is at the reference point."""
    found = read(placed_drawing(points, design, reference, north, sort), crs=None)
    assert middle(found) == pytest.approx([X + 10, Y + 12], abs=1e-3)
    assert any("GEODATA" in told.text for told in found.findings)


def test_the_users_crs_goes_before_a_drawings_own(read):
    document = placed_drawing(at(SQUARE), (X, Y), (500_000, Y))
    assert middle(read(document)) == pytest.approx([X + 10, Y + 12], abs=1e-3)


@pytest.mark.parametrize(
    "odd", [{"code": "none"}, {"first": "N"}, {"sort": 3}, {"code": "2264"}, {"code": "999999"}]
)
def test_a_place_that_is_not_understood_is_asked(read, odd):
    with pytest.raises(Refused, match="does not say in which coordinate reference system"):
        read(placed_drawing(SQUARE, (0, 0), (X, Y), **odd), crs=None)
