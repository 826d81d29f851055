"""Curves of drawings keep their area: circles, arcs, splines."""

import math

import numpy as np
import pytest
import shapely
from ezdxf.math import BSpline

from geosand.formats.boundaries import read_boundaries
from geosand.formats.boundaries.drawings.curves import (
    bernstein,
    cubic_enclosed,
    enclosed,
    spline_cubics,
)
from geosand.formats.boundaries.drawings.layers import read_dxf
from geosand.formats.boundaries.drawn import Drawn
from geosand.formats.boundaries.shapes.mendable import to_be_closed
from geosand.formats.boundaries.sites.questions import Choice
from geosand.formats.boundaries.sites.settling import settle
from geosand.formats.boundaries.words.wishes import Wishes
from tests.formats.boundaries.conftest import UTM
from tests.formats.boundaries.drawings.test_drawings import LAYER, X, Y, areas_of, at, polyline


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


def test_corners_that_only_steer_a_fitted_curve_are_none(tmp_path):
    frame = at([(0, 0), (40, 0), (40, 30), (0, 30)])
    turn = np.linspace(0, 2 * np.pi, 40, endpoint=False)
    fitted = at(np.column_stack([20 + 14 * np.cos(turn), 15 + 9 * np.sin(turn)]))
    path = polyline(tmp_path, [*frame, *fitted], [16] * 4 + [8] * 40, closed=1 + 4)
    found = read_boundaries(path, crs=UTM, unit="m")
    assert not len(found.broken)
    (layer,) = read_dxf(path, "r12.dxf", 1.0)
    assert layer.drawn[0].geometry.area == pytest.approx(shapely.Polygon(fitted).area)
