"""Edges in common of ground that is cut up: beside lines in common as shapely finds them."""

from __future__ import annotations

import tracemalloc

import numpy as np
import pytest
import shapely

from geosand.areas import common_edges
from geosand.areas.common_edges import shared_edges
from geosand.areas.ownership import precedence_ranks
from geosand.areas.rings import polygons_of, rings_of


def parcels(rng: np.random.Generator, side_m: float = 60.0) -> np.ndarray:
    """Ground cut up without gaps, a pond in a hole, one parcel of two parts, one by itself."""
    spots = shapely.MultiPoint(rng.uniform(-side_m, side_m, (25, 2)))
    window = shapely.box(-side_m, -side_m, side_m, side_m)
    cut = shapely.get_parts(shapely.voronoi_polygons(spots, extend_to=window))
    cut = shapely.intersection(cut, window)
    largest = cut[shapely.area(cut).argmax()]
    pond = shapely.centroid(largest).buffer(1.5)
    lines = shapely.union_all([*shapely.boundary(cut), pond.boundary])  # with a node where any meet
    cut = shapely.get_parts(shapely.polygonize(shapely.get_parts(lines)))
    cut = np.append(cut[shapely.area(cut) > 1], shapely.box(90, 0, 99, 9))
    apart = np.flatnonzero(shapely.disjoint(cut, cut[0]))[0]
    cut[0] = shapely.union(cut[0], cut[apart])
    return np.delete(cut, apart)


@pytest.mark.parametrize("seed", range(4))
def test_each_pair_shares_the_line_it_has_in_common(seed: int) -> None:
    """Also twice over, as two surveys: nothing is shared between them."""
    rng = np.random.default_rng(seed)
    one = parcels(rng)
    shapes = rng.permutation(np.concatenate([one, one]))
    survey = np.zeros(len(shapes), dtype=np.int64)
    for shape in one:
        survey[np.flatnonzero(shapely.equals_identical(shapes, shape))[1]] = 1
    kinds = rng.choice(["green", "lawn"], len(shapes))
    rank = precedence_ranks(kinds, shapely.area(shapes), survey)
    shared = shared_edges(shapes, rank, survey)
    assert (survey[shared.lower] == survey[shared.upper]).all()
    assert (rank[shared.lower] > rank[shared.upper]).all()
    lower, upper = np.nonzero((survey[:, None] == survey) & (rank[:, None] > rank))
    common = shapely.intersection(shapely.boundary(shapes[lower]), shapely.boundary(shapes[upper]))
    found = np.zeros((len(shapes), len(shapes)))
    found[shared.lower, shared.upper] = shared.length_m
    # at corners a little more of the outer edge is within the tolerance
    np.testing.assert_allclose(found[lower, upper], shapely.length(common), atol=0.5)
    assert len(shared.lower) == np.count_nonzero(found) > 60


@pytest.mark.parametrize(("gap_m", "length_m"), [(0.0, 20.0), (0.04, 20.0), (0.06, 0.0)])
def test_edges_are_shared_across_a_gap_below_the_tolerance(gap_m: float, length_m: float) -> None:
    """Two squares of 20 m traced one by one, 5 cm allowed."""
    two = np.array([shapely.box(0, 0, 20, 20), shapely.box(20 + gap_m, 0, 40, 20)])
    found = shared_edges(two, np.array([0, 1]), np.zeros(2, np.int64), 0.05)
    assert found.length_m.sum() == pytest.approx(length_m, abs=0.1)


def test_polygons_of_rings_are_those_they_are_of() -> None:
    shapes = np.array([*parcels(np.random.default_rng(1)), shapely.Polygon(), None], dtype=object)
    assert (shapely.get_type_id(shapes) == 6).any()
    assert (shapely.get_num_interior_rings(shapes) > 0).any()
    again = polygons_of(rings_of(shapes))
    assert shapely.equals_identical(again[:-1], shapes[:-1]).all()
    assert again[-1].is_empty
    assert not len(polygons_of(rings_of(shapes[:0])))


@pytest.mark.parametrize("step_m", [0.343, 0.355, 0.366, 0.61])
def test_a_ring_and_edges_in_common_add_up_alike_whatever_lies_between(step_m: float) -> None:
    """The same to the last digit alone and with another site's ring beside it."""
    hole = shapely.Point(3.3, 3.1).buffer(1.7, quad_segs=8)
    ground = shapely.segmentize(shapely.box(0, 0, 10, 7), step_m).difference(hole)
    beside = shapely.segmentize(shapely.box(10, 0, 12.1, 7), step_m)
    site = np.array([ground, shapely.MultiPolygon([hole, beside])], dtype=object)
    alone = shared_edges(site, np.array([1, 0]), np.zeros(2, dtype=np.int64))
    assert alone.length_m.tolist() == [pytest.approx(hole.length + 7, abs=0.11)]  # at two corners
    both = np.concatenate([site, shapely.transform(site, lambda at: at * 1.1)])
    together = shared_edges(both, np.array([2, 0, 3, 1]), np.array([0, 0, 1, 1]))
    assert together.length_m[0] == alone.length_m[0]


def corona(corners: int, at_m: float, radius_m: float = 20.0) -> np.ndarray:
    """A disc of many corners, and a ring about it, digitised again, 2 mm off."""
    disc = shapely.Point(at_m, 0).buffer(radius_m, quad_segs=corners // 4)
    again = shapely.Point(at_m, 0).buffer(radius_m + 0.002, quad_segs=corners // 4 + 1)
    outside = shapely.Point(at_m, 0).buffer(radius_m + 2)
    return np.array([disc, shapely.Polygon(outside.exterior, [again.exterior])])


@pytest.mark.parametrize("at_once", [1, 7, 50, 100_000])
def test_how_many_edges_are_compared_at_once_does_not_matter(
    monkeypatch: pytest.MonkeyPatch, at_once: int
) -> None:
    shapes = np.concatenate([corona(40, 0), corona(400, 100), corona(40, 200)])
    rank, edition = np.array([0, 1] * 3), np.zeros(6, dtype=np.int64)
    plain = shared_edges(shapes, rank, edition)
    monkeypatch.setattr(common_edges, "_AT_ONCE", at_once)
    found = shared_edges(shapes, rank, edition)
    assert found.lower.tolist() == plain.lower.tolist() == [1, 3, 5]
    np.testing.assert_allclose(found.length_m, plain.length_m, rtol=1e-12)
    if at_once > 40:  # what is not divided is the same to the last digit
        assert found.length_m[[0, 2]].tolist() == plain.length_m[[0, 2]].tolist()
    assert found.length_m[1] == pytest.approx(2 * np.pi * 20.002, rel=1e-4)


def test_outlines_of_very_many_corners_take_little_room() -> None:
    """Each edge of 6 mm has dozens of the other outline within the tolerance."""
    shapes = corona(20_000, 0)
    tracemalloc.start()
    try:
        found = shared_edges(shapes, np.array([0, 1]), np.zeros(2, dtype=np.int64))
        most = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert found.length_m[0] == pytest.approx(2 * np.pi * 20.002, rel=1e-4)
    assert most < 150e6
