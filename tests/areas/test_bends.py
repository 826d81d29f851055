"""What chords leave out of round outlines.

Oracles: segments of a circle in closed form, and outlines of Fourier series whose true area is
known, digitised with errors of known size.
"""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from geosand.areas.bends import round_edges_m2
from geosand.areas.plane import Plane

PLACE = shapely.box(9.9, 53.3, 9.901, 53.301)
PLANE = Plane.around(np.array([PLACE], dtype=object))


def lon_lat(*flat: shapely.Geometry) -> np.ndarray:
    column = np.empty(len(flat), dtype=object)
    column[:] = [
        shapely.transform(shape, lambda points: np.column_stack(PLANE.inverse(*points.T)))
        for shape in flat
    ]
    return column


def gon(corners: int, radius: float = 13.0) -> np.ndarray:
    t = np.linspace(0, 2 * np.pi, corners, endpoint=False)
    return radius * np.column_stack([np.cos(t), np.sin(t)])


@pytest.mark.parametrize("corners", [9, 12, 20, 72])
def test_segments_of_a_circle(corners):
    """What an inscribed polygon lacks, to the square of the turn; either way round."""
    lacking = np.pi * 13.0**2 - shapely.Polygon(gon(corners)).area
    turn = 2 * np.pi / corners
    for points in (gon(corners), gon(corners)[::-1]):
        (more,) = round_edges_m2(lon_lat(shapely.Polygon(points)))
        assert more == pytest.approx(lacking, rel=0.3 * turn**2 + 1e-5)


def test_a_hole_that_is_round_has_more_too():
    shell = shapely.box(-20, -20, 20, 20)
    ring = shell.difference(shapely.Polygon(gon(12)))
    (whole, holed) = round_edges_m2(lon_lat(shapely.Polygon(gon(12)), ring))
    assert holed == pytest.approx(-whole, rel=1e-9) and whole > 20


@pytest.mark.parametrize(
    "shape",
    [
        shapely.box(0, 0, 30, 8),
        shapely.Polygon(gon(6)),  # turns of 60° are corners
        shapely.Polygon([(0, 0), (30, 0), (30, 20), (12, 20), (12, 8), (0, 8)]),
        shapely.Polygon([(0, 0), (15, 0.5), (30, 0), (30, 8), (15, 8.5), (0, 8)]),  # single bends
    ],
)
def test_straight_sides_have_no_more(shape):
    assert round_edges_m2(lon_lat(shape)) == pytest.approx([0.0], abs=1e-9)


@pytest.mark.parametrize(
    ("middle", "radius"),
    [
        (shapely.LineString([(0, 0), (270, 0)]), 15.0),  # a fairway with round ends
        (shapely.box(3, 3, 27, 7), 3.0),  # a tee with round corners
    ],
)
def test_long_sides_between_round_corners_are_straight(middle, radius):
    """Only the quarter circles lack their segments."""
    drawn, fine = (middle.buffer(radius, quad_segs=n) for n in (8, 200))
    (more,) = round_edges_m2(lon_lat(drawn))
    assert more == pytest.approx(fine.area - drawn.area, rel=0.2)


def outline(draw: np.random.Generator) -> np.ndarray:
    """A green of 13 m mean radius, 2000 points."""
    t = np.linspace(0, 2 * np.pi, 2000, endpoint=False)
    r = np.ones(2000)
    for k in range(2, 6):
        r += 0.18 / k * (draw.normal() * np.cos(k * t) + draw.normal() * np.sin(k * t))
    return 13.0 * (r / r.mean())[:, None] * np.column_stack([np.cos(t), np.sin(t)])


@pytest.mark.parametrize(("spacing", "share"), [(1, 0.001), (2, 0.0039), (3, 0.0087), (4, 0.0155)])
@pytest.mark.parametrize("vertex", [0.0, 0.05])
def test_greens_digitised_with_corners_some_metres_apart(spacing, share, vertex):
    """The mean that 60 of them lack of their area, and what is estimated for it."""
    draw = np.random.default_rng(spacing)
    lacking, more = [], []
    for _ in range(60):
        true = outline(draw)
        along = np.cumsum(np.hypot(*(np.roll(true, -1, axis=0) - true).T))
        count = round(along[-1] / spacing)
        at = np.searchsorted(along, (np.arange(count) + draw.uniform()) / count * along[-1])
        drawn = shapely.Polygon(true[at % 2000] + draw.normal(0, vertex, (count, 2)))
        area = shapely.Polygon(true).area
        lacking.append((area - drawn.area) / area)
        more.append(round_edges_m2(lon_lat(drawn))[0] / area)
    assert np.mean(lacking) == pytest.approx(share, rel=0.1, abs=4e-4)
    assert np.mean(more) == pytest.approx(np.mean(lacking), rel=0.1, abs=6e-4)


def test_edges_that_another_outline_has_too_are_left_out():
    """A disc of 16 corners beside its half: the half's arcs are the disc's, either way round."""
    disc, half = gon(16), gon(16)[:9]
    shapes = lon_lat(*(shapely.Polygon(points) for points in (disc, half, half[::-1], gon(32))))
    whole = round_edges_m2(shapes[:1])[0]
    for beside, left in ((0, 0.0), (1, 0.5), (2, 0.5), (3, 1.0)):
        (more,) = round_edges_m2(shapes[:1], shapes[beside : beside + 1])
        assert more == pytest.approx(left * whole, rel=1e-4, abs=1e-9)
    # only the same surface of the other column counts
    assert round_edges_m2(shapes[[0, 3]], shapes[[3, 0]])[0] == pytest.approx(whole)


def test_no_surfaces_and_empty_ones():
    assert round_edges_m2(np.empty(0, dtype=object)).tolist() == []
    assert round_edges_m2(np.array([shapely.Polygon()], dtype=object)).tolist() == [0.0]
