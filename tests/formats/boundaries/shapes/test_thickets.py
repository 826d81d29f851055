"""Lines by the thousand that meet or cross: told, and never worked on for minutes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely

from geosand.columns import Floats
from geosand.formats.boundaries.drawn import Drawn
from geosand.formats.boundaries.shapes import closing, faces, mendable, nesting
from geosand.formats.boundaries.words.wishes import Wishes

ONE = np.ones(2)


def line(place: object, points: object) -> Drawn:
    shape = shapely.linestrings(np.array(points, dtype=float))
    return Drawn(place=str(place), folder="GREEN", geometry=shape)


def grid(lines: int) -> list[Drawn]:
    """So many lines each way, a metre apart: they cross in their square."""
    steps = np.arange(lines)
    across = [line(f"a{k}", [(-1, k), (lines, k)]) for k in steps]
    return across + [line(f"u{k}", [(k, -1), (k, lines)]) for k in steps]


def closed(drawn: list[Drawn]) -> list[Drawn]:
    return closing.close_lines(drawn, 0.01, ONE, crossing=True)[0]


@pytest.mark.parametrize(("lines", "surfaces"), [(5, 16), (12, 0)])
def test_lines_that_cross_too_often_are_left_as_lines_and_told(monkeypatch, lines, surfaces):
    """12 lines each way cross 144 times; 40 and two a corner, 136, are allowed here."""
    monkeypatch.setattr(faces, "MOST_MEETINGS", 40)
    found = closed(grid(lines))
    assert sum(d.draws("Polygon") for d in found) == surfaces
    told = [d for d in found if d.problem == faces.THICKET]
    assert len(told) == (0 if surfaces else 2 * lines)


def test_outlines_in_pieces_are_kept_where_other_lines_of_the_layer_are_a_thicket(monkeypatch):
    monkeypatch.setattr(faces, "MOST_MEETINGS", 40)
    corners = [(50, 0), (60, 0), (60, 10), (50, 0)]
    pieces = [line(f"p{k}", corners[k : k + 2]) for k in range(3)]
    found = closed([*grid(16), *pieces])
    assert [shapely.area(d.geometry) for d in found if d.draws("Polygon")] == [50.0]
    assert len(found) == 33


def test_a_thicket_of_several_layers_is_not_closed_together(monkeypatch):
    monkeypatch.setattr(faces, "MOST_MEETINGS", 40)
    things = [replace(d, folder=("GREEN", "TEE")[k % 2]) for k, d in enumerate(grid(12))]
    asked = []
    monkeypatch.setattr(mendable, "shared_faces", lambda *a: asked.append(a) or [])
    assert mendable.to_be_closed(things, ONE, Wishes(), along=True)[0] == []
    assert not asked
    monkeypatch.setattr(faces, "MOST_MEETINGS", 400)
    mendable.to_be_closed(things, ONE, Wishes(), along=True)
    assert asked


@pytest.mark.parametrize(("most", "surfaces"), [(40, 0), (400, 100)])
def test_two_tracks_that_cross_each_other_without_end(monkeypatch, most, surfaces):
    """Each goes up and down, or across and back, and ends on the other."""
    monkeypatch.setattr(faces, "MOST_MEETINGS", most)
    steps = np.arange(11)
    ways = np.column_stack([steps.repeat(2), np.tile([0, 10, 10, 0], 6)[:22]]).astype(float)
    tracks = [line("one", ways), line("other", ways[:, ::-1])]
    found = closing.close_lines(tracks, 0.01, ONE, crossing=False)[0]
    assert sum(d.draws("Polygon") for d in found) == surfaces
    assert surfaces or len(found) == 2


def test_an_open_chain_is_walked_once(monkeypatch):
    walked = []
    walk = closing._walk
    monkeypatch.setattr(closing, "_walk", lambda *a: walked.append(a[0]) or walk(*a))
    chain = [line(k, [(k, k % 2), (k + 1, (k + 1) % 2)]) for k in range(50)]
    assert not any(d.draws("Polygon") for d in closed(chain))
    assert walked == [0, 0]  # ends that meet exactly, and ends that nearly do


def test_places_that_are_the_same_are_looked_at_once(monkeypatch):
    rng = np.random.default_rng(3)
    places: Floats = rng.integers(0, 12, (300, 2)).astype(float)
    places[::7] += 0.01
    expected = faces.clusters(faces.points_of(places), 0.02)
    seen = []
    clusters = faces.clusters
    monkeypatch.setattr(faces, "clusters", lambda s, t: seen.append(len(s)) or clusters(s, t))
    np.testing.assert_array_equal(faces.meeting_places(places, 0.02), expected)
    assert seen == [len(np.unique(places, axis=0))]


def test_the_nearest_other_end_against_all_distances():
    ends = np.random.default_rng(4).integers(0, 30, (80, 2)).astype(float)
    apart = np.hypot(*(ends[:, None] - ends[None]).transpose(2, 0, 1))
    np.fill_diagonal(apart, np.inf)
    np.testing.assert_allclose(closing._nearest_other(ends), apart.min(axis=1))


def test_a_lines_own_other_end_is_no_other_lines():
    """In degrees the two ways to work out the gap differ in their last digit."""
    metres, middle = np.array([66_583.7, 111_277.3]), np.array([9.9, 53.3])
    for end in np.linspace(5.9, 6.2, 40):
        angle = np.linspace(0, end, 40)
        points = middle + 1e-4 * np.column_stack([np.cos(angle), np.sin(angle)])
        (left,) = closing.close_lines([line(end, points)], 0.01, metres, crossing=False)[0]
        assert "would close it" in left.problem


def test_neither_tangles_nor_copies_are_asked_what_they_lie_in(monkeypatch):
    """20,000 random corners took GEOS over a minute, and 3,000 copies of one outline 70 s."""
    tangle = shapely.Polygon(np.random.default_rng(1).uniform(0, 9, (180, 2)))
    around, inner = shapely.box(-1, -1, 10, 10), shapely.box(2, 2, 4, 4)
    asked = []

    class Tree(shapely.STRtree):
        def query(self, shapes, *rest, **more):
            asked.extend(shapes.tolist())
            return super().query(shapes, *rest, **more)

    monkeypatch.setattr(nesting.shapely, "STRtree", Tree)
    shapes = np.array([tangle, around, *[inner] * 9], dtype=object)
    monkeypatch.setattr(nesting, "is_tangled", lambda shape: shape is tangle)
    found = nesting._around(shapes, nesting._same(shapes))
    assert len(asked) == 2
    assert found == [[], [], *[[1]] * 9]
