"""Edges in common, vertex by vertex, beside a plain dictionary of edges."""

from __future__ import annotations

from collections import defaultdict
from itertools import pairwise

import numpy as np
import pytest
import shapely

from geosand.areas import matched_edges as module
from geosand.areas.matched_edges import (
    Matched,
    edge_numbers,
    matched_edges,
    ring_numbers,
    same_rings,
    whole_rings,
)
from geosand.areas.rings import Rings, rings_of


def drawn(column):
    """Two surveys of a map of squares with a hole and its filling, and one square by itself."""
    squares = [
        shapely.box(10 * i, 10 * j, 10 * i + 10, 10 * j + 10) for i in range(5) for j in (0, 1)
    ]
    cut = [shapely.segmentize(square, 2.5) for square in squares]
    pond = shapely.segmentize(shapely.Point(25, 5).buffer(3), 0.2)
    cut[4] = cut[4].difference(pond)
    pond = shapely.Polygon(np.roll(shapely.get_coordinates(pond)[:-1][::-1], 5, axis=0))
    one = [*cut, pond, shapely.box(80, 0, 90, 10)]
    shapes = column(*one, *one[:4], shapely.Polygon(), None)
    return shapes, np.array([*[0] * len(one), 1, 1, 1, 1, 1, 1])


def by_dictionary(shapes, edition, rank):
    """Length of each pair (lower, upper), from the ends of every edge to a micrometre."""
    owners = defaultdict(list)
    for row, shape in enumerate(shapes):
        for ring in shapely.get_rings(shape) if shape is not None else ():
            corners = np.rint(shapely.get_coordinates(ring) * 1e6).astype(int).tolist()
            for ends in pairwise(corners):
                owners[edition[row], tuple(sorted(map(tuple, ends)))].append(row)
    length = defaultdict(float)
    for (_, (one, other)), rows in owners.items():
        for first, second in pairwise(rows):
            pair = sorted((first, second), key=lambda row: -rank[row])
            length[tuple(pair)] += np.hypot(*np.subtract(one, other)) * 1e-6
    return dict(sorted(length.items()))


def matched(rings: Rings, rank: np.ndarray, edition: np.ndarray) -> Matched:
    """All edges compared."""
    return matched_edges(rings, rank, edition, whole_rings(rings, edition))


@pytest.mark.parametrize("mixed", [False, True])
@pytest.mark.parametrize("numbers", ["all", "few", "one"])
def test_pairs_are_those_of_a_dictionary(column, monkeypatch, numbers, mixed):
    """Also where numbers of different edges are the same by chance: often, or all of them."""
    if numbers != "all":
        divisor = 7 if numbers == "few" else 1
        monkeypatch.setattr(
            module,
            "edge_numbers",
            lambda *a: edge_numbers(*a) % np.uint64(divisor) << np.uint64(40),
        )
        monkeypatch.setattr(module, "same_rings", lambda *a: np.empty((2, 0), dtype=np.int64))
    shapes, edition = drawn(column)
    if mixed:
        order = np.random.default_rng(5).permutation(len(shapes))
        shapes, edition = shapes[order], edition[order]
    rank = np.random.default_rng(1).permutation(len(shapes))
    rings = rings_of(shapes)
    found = matched(rings, rank, edition)
    expected = by_dictionary(shapes, edition, rank)
    assert list(zip(found.lower.tolist(), found.upper.tolist(), strict=True)) == list(expected)
    assert found.length_m == pytest.approx(list(expected.values()), rel=1e-7)
    along = np.zeros(len(shapes))
    for pair, length in expected.items():
        along[list(pair)] += length
    assert found.along_m == pytest.approx(along, rel=1e-7)
    assert found.length_of(found.lower, found.upper).tolist() == found.length_m.tolist()
    assert found.length_of(np.array([0, 11]), np.array([11, 0])).tolist() == [0, 0]
    assert edition[found.lower].tolist() == edition[found.upper].tolist()


def test_an_edge_knows_whose_it_is_too(column):
    squares = column(shapely.box(0, 0, 1, 1), shapely.box(1, 0, 2, 1), shapely.box(5, 0, 6, 1))
    rings = rings_of(squares)
    found = matched(rings, np.arange(3), np.zeros(3, dtype=np.int64))
    x = rings.position[:, 0]
    edges = np.setdiff1d(np.arange(len(x)), rings.last)
    common = (x[edges] == 1) & (x[edges + 1] == 1)
    assert found.common[edges].tolist() == common.tolist()
    assert common.sum() == 2


def test_nothing_in_common(column):
    for shapes in (column(), column(None, shapely.Polygon()), column(shapely.box(0, 0, 1, 1))):
        rings, rank = rings_of(shapes), np.arange(len(shapes))
        found = matched(rings, rank, rank * 0)
        assert not len(found.lower) and not found.along_m.any()
        assert found.length_of(rank, rank).tolist() == [0.0] * len(rank)


def test_rings_drawn_either_way_from_any_corner(column):
    corners = np.random.default_rng(2).integers(-(10**9), 10**9, (12, 2))
    shell = shapely.box(-2e9, -2e9, 2e9, 2e9)
    turned = np.roll(corners[::-1], 5, axis=0)
    other = corners + np.where(np.arange(12) == 3, 1, 0)[:, None]
    shapes = column(
        shapely.Polygon(shell.exterior, [corners]),
        shapely.Polygon(turned),
        shapely.Polygon(other),
        shapely.Polygon(corners),
    )
    for edition, expected in (
        ([0, 0, 0, 1], [(1, 2)]),
        ([0, 0, 0, 0], []),
        ([0, 1, 0, 1], [(2, 4)]),
    ):
        rings = rings_of(shapes)
        numbers = edge_numbers(rings, 1.0)
        assert (numbers[rings.last] == 0).all()
        pairs = zip(*same_rings(rings, rings.sum_edges(numbers), np.array(edition)), strict=True)
        assert [tuple(sorted(map(int, pair))) for pair in pairs] == expected


def test_numbers_are_of_places_not_of_signs_or_digits_beyond(column):
    """-0.0 is 0.0; to a unit, places that round to the same multiple of it are one."""
    corners = np.array([(0.0, 0.0), (3.0, 0.0), (3.0, 2.0), (-4.0, 5.0)])
    minus = np.where(corners == 0, -0.0, corners)
    near = corners + np.array([(0.04, -0.04), (0.02, 0.03), (-0.04, 0.01), (0.0, 0.04)])
    far = corners + np.array([(0.06, 0), (0, 0), (0, 0), (0, 0)])
    rings = rings_of(column(*map(shapely.Polygon, (corners, minus, near, far))))
    exact, rounded = edge_numbers(rings).reshape(4, 5), edge_numbers(rings, 0.1).reshape(4, 5)
    assert (exact[0] == exact[1]).all() and not (exact[0, :4] == exact[2, :4]).any()
    assert (rounded[0] == rounded[1]).all() and (rounded[0] == rounded[2]).all()
    assert (rounded[0] == rounded[3]).tolist() == [False, True, True, False, True]
    assert ring_numbers(rings).tolist() == rings.sum_edges(exact.ravel()).tolist()
    assert not len(ring_numbers(rings_of(column())))
