"""An outline that crosses itself has several areas; each against its closed form."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
import shapely
from click import Choice

from geosand.areas.crossings import METHODS, figures_m2, figures_text, mended
from geosand.areas.ellipsoid import ellipsoid_areas_m2
from geosand.areas.plane import Plane
from geosand.cli.importing import CROSSINGS

PLANE = Plane(longitude_deg=-2.8, latitude_deg=56.0)


def polygon(*corners, holes=()):
    """A polygon drawn in metres, as lon/lat."""
    shape = shapely.Polygon(corners, holes)
    return PLANE.to_lonlat(np.array([shape], dtype=object))[0]


def test_bow_tie_is_half_or_double():
    """A square of 20 m with two corners exchanged: two triangles of 100 m², or 400 m²."""
    bow = polygon((0, 0), (20, 20), (20, 0), (0, 20))
    expected = {"loops": 200, "even-odd": 200, "largest": 100, "uncrossed": 400}
    assert figures_m2(bow) == pytest.approx(expected, rel=1e-6)


def test_unequal_bow_tie():
    """Edges (0,0)-(30,20) and (30,0)-(0,10) cross at x = 10, 2/3 of 10: triangles by hand."""
    bow = polygon((0, 0), (30, 20), (30, 0), (0, 10))
    left, right = 10 * 10 / 2, 20 * 20 / 2  # base on x = 0 and x = 30, crossing at (10, 20/3)
    whole = (10 + 20) / 2 * 30  # the trapezium with its corners in order
    figures = figures_m2(bow)
    assert figures["loops"] == pytest.approx(left + right, rel=1e-5)
    assert figures["largest"] == pytest.approx(right, rel=1e-5)
    assert figures["uncrossed"] == pytest.approx(whole, rel=1e-5)


def test_ground_gone_round_twice_is_counted_or_not():
    """A 20 m square whose outline turns in at a corner and goes round a 10 m square in it again."""
    twice = polygon((0, 0), (20, 0), (20, 20), (0, 20), (0, 0), (10, 0), (10, 10), (0, 10))
    figures = figures_m2(twice)
    assert figures["loops"] == pytest.approx(400, rel=1e-6)
    assert figures["even-odd"] == pytest.approx(300, rel=1e-6)


def test_small_loop_of_a_slip():
    """Two corners near (20, 10) taken in the wrong order leave a loop of little area."""
    turn = [(20, 10), (20.2, 10.3), (20.2, 10.1), (20, 10.4)]
    slip = polygon((0, 0), (20, 0), *turn, (20, 20), (0, 20))
    figures = figures_m2(slip)
    assert max(figures.values()) - min(figures.values()) < 0.2
    assert figures["largest"] == pytest.approx(400, abs=0.2)


def test_a_hole_around_its_shell_is_the_shell():
    """As readers make of rings that run the wrong way round."""
    outer, inner = [(0, 0), (9, 0), (9, 9), (0, 9)], [(3, 3), (5, 3), (5, 5), (3, 5)]
    right, wrong = polygon(*outer, holes=[inner]), polygon(*inner, holes=[outer])
    (area,) = ellipsoid_areas_m2(np.array([right]))
    figures = figures_m2(wrong)
    assert set(figures) == {"loops", "even-odd", "largest"}
    assert list(figures.values()) == pytest.approx([area] * 3)


@pytest.mark.parametrize("seed", range(30))
def test_against_another_library_way(seed):
    """Of one shell whose edges only cross, GEOS's MakeValid (linework) is the even-odd rule."""
    shape = polygon(*np.random.default_rng(200 + seed).uniform(0, 50, (8, 2)))
    column = np.array([shapely.make_valid(shape, method="linework")], dtype=object)
    expected = ellipsoid_areas_m2(column)[0]
    assert figures_m2(shape)["even-odd"] == pytest.approx(expected, rel=1e-6, abs=0.01)


def test_hole_outside_its_shell():
    hole = [(30, 0), (30, 10), (40, 10), (40, 0)]
    shape = polygon((0, 0), (20, 0), (20, 20), (0, 20), holes=[hole])
    figures = figures_m2(shape)
    assert figures["loops"] == pytest.approx(400, rel=1e-6)
    assert figures["even-odd"] == pytest.approx(500, rel=1e-6)


@pytest.mark.parametrize("seed", range(20))
def test_uncrossed_keeps_every_corner(seed):
    rng = np.random.default_rng(seed)
    corners = rng.uniform(0, 50, (9, 2))
    made = mended(polygon(*corners), "uncrossed")
    assert shapely.is_valid(made)
    before = np.sort(PLANE.forward(*shapely.get_coordinates(polygon(*corners))[:-1].T), axis=1)
    after = np.sort(PLANE.forward(*shapely.get_coordinates(made)[:-1].T), axis=1)
    np.testing.assert_allclose(after, before, atol=1e-6)
    assert len(made.exterior.coords) == 10


@pytest.mark.parametrize("seed", range(20))
def test_every_method_is_valid_or_says_nothing(seed):
    corners = np.random.default_rng(100 + seed).uniform(0, 50, (12, 2))
    shapes = {name: mended(polygon(*corners), name) for name in METHODS}
    assert all(shape is None or shapely.is_valid(shape) for shape in shapes.values())
    areas = figures_m2(polygon(*corners))
    assert areas["largest"] <= areas["loops"] * (1 + 1e-9)
    assert areas["even-odd"] <= areas["loops"] * (1 + 1e-9)
    hull = shapely.area(shapely.convex_hull(shapely.multipoints(corners)))
    assert max(areas.values()) <= hull * (1 + 1e-6)


def test_no_area_has_no_figure():
    flat = polygon((0, 0), (10, 0), (20, 0))
    assert figures_m2(flat) == {}
    assert mended(flat, "loops") is None


def test_words():
    assert figures_text({"loops": 20.01, "even-odd": 20.02}) == "20.0 m² however it is mended"
    text = figures_text({"loops": 8.0, "even-odd": 4.0, "largest": 4.0, "uncrossed": 12.0})
    assert text == "8.00 m² by loops, 4.00 m² by even-odd or largest, 12.0 m² by uncrossed"
    with pytest.raises(KeyError):
        mended(polygon((0, 0), (1, 0), (1, 1)), "guess")


def test_the_console_knows_the_same_methods():
    assert tuple(METHODS) == CROSSINGS
    assert list(itertools.islice(METHODS, 1)) == ["loops"]
    assert Choice(CROSSINGS).convert("loops", None, None) in METHODS
