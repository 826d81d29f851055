"""Stretches of edges near other edges, beside shapely's own buffers and beside plain sampling."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
import shapely.affinity

from geosand.areas import near_edges as near_edges_module
from geosand.areas.common_edges import shared_edges
from geosand.areas.near_edges import Boxes, Edges, covered_parts, near_edges, stretches_within
from geosand.areas.rings import rings_of

DISTANCE = 0.4


def blob(rng, x, y, radius, corners=60):
    angle = np.arange(corners) * 2 * np.pi / corners
    far = radius * (1 + 0.15 * np.sin(3 * angle + rng.uniform(0, 6)) + rng.normal(0, 0.01, corners))
    return shapely.Polygon(np.column_stack([x + far * np.cos(angle), y + far * np.sin(angle)]))


def test_each_stretch_by_sampling():
    """Points along each edge, told apart by shapely's distance to the other edge."""
    rng = np.random.default_rng(4)
    begin, end, other, other_end = rng.uniform(-1, 1, (4, 400, 2))
    other_end[:20] = other[:20]  # a point
    end[20:40] = begin[20:40] + 2 * (other_end - other)[20:40]  # parallel
    other[40:60] = begin[40:60] + 0.3 * (end - begin)[40:60]
    other_end[40:60] = begin[40:60] + 0.6 * (end - begin)[40:60]  # along it
    start, stop = stretches_within(begin, end, other, other_end, DISTANCE)
    part = (np.arange(500) + 0.5) / 500
    points = shapely.points(begin[:, None] + part[:, None] * (end - begin)[:, None])
    lines = shapely.linestrings(np.stack([other, other_end], axis=1))
    near = shapely.distance(points, lines[:, None]) <= DISTANCE
    assert near.mean(axis=1) == pytest.approx(np.maximum(stop - start, 0), abs=4.1e-3)
    found = (part >= start[:, None]) & (part <= stop[:, None])
    assert (found == near).all()
    assert 100 < (stop > start).sum() < 395


def test_where_an_edge_enters_and_leaves():
    """Across the strip, past a round end, along the very edge, far away beside and before it."""
    begin = np.array([[5, -9], [-9, 3], [0, 0], [0, 90], [-9, 0.0]])
    end = np.array([[5, 11], [11, 3], [10, 0], [9, 90], [-9, 9.0]])
    other, other_end = np.zeros((5, 2)), np.tile([10.0, 0.0], (5, 1))
    start, stop = stretches_within(begin, end, other, other_end, 5.0)
    assert start[:3] == pytest.approx([4 / 20, (9 - 4) / 20, 0])  # a 3-4-5 triangle
    assert stop[:3] == pytest.approx([14 / 20, 1, 1])
    assert not (stop > start)[3:].any()


def test_what_several_stretches_cover_counts_once():
    edge = np.array([2, 2, 2, 5, 5, 9])
    start = np.array([0.0, 0.25, 0.3, 0.0, 0.75, 0.5])
    stop = np.array([0.5, 0.375, 0.75, 0.25, 1.0, 0.5])
    added = covered_parts(edge, start, stop)
    assert added.tolist() == [0.5, 0.0, 0.25, 0.25, 0.25, 0.0]
    assert not len(covered_parts(edge[:0], start[:0], stop[:0]))


def surfaces_beside_others(rng, column):
    surfaces, others = [], []
    for _ in range(40):
        size = rng.uniform(4, 12)
        shell, inner = blob(rng, 0, 0, size), blob(rng, 0, 0, size / 2)
        holed = shapely.Polygon(shell.exterior, [inner.exterior])
        x, y = rng.uniform(-9, 9, 2)
        turned = shapely.affinity.translate(holed if rng.random() < 0.5 else shell, x, y)
        surfaces.append(shapely.union(turned, shapely.Point(60, 0).buffer(3, quad_segs=4)))
        others.append(blob(rng, *rng.uniform(-9, 9, 2), rng.uniform(1, 6)))
    return column(*surfaces), column(*others)


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("compared", [20_000, 0])
def test_lengths_along_outlines_are_those_by_buffers(column, monkeypatch, seed, compared):
    """Each with each or by their boxes: as long as what a finely rounded buffer holds."""
    monkeypatch.setattr(near_edges_module, "_COMPARED", compared)
    surfaces, others = surfaces_beside_others(np.random.default_rng(seed), column)
    rings = rings_of(np.concatenate([surfaces, others]))
    limit = tuple(Boxes(*shapely.bounds(g).T).wider(DISTANCE) for g in (surfaces, others))
    boxes = Boxes.of_rings(rings)
    mine = Edges.of(rings, boxes, np.arange(40, 80), limit[0])
    theirs = Edges.of(rings, boxes, np.arange(40), limit[1])
    box = mine.boxes().within(limit[0].of_rows(mine.row))
    edges, near = near_edges(mine, box, theirs, DISTANCE)
    start, stop = stretches_within(*edges.ends(), *near.ends(), DISTANCE)
    near_by = np.flatnonzero(stop > start)
    order = near_by[np.lexsort((start[near_by], edges.vertex[near_by]))]
    edges, start, stop = edges.of_rows(order), start[order], stop[order]
    long = np.linalg.norm(np.subtract(*edges.ends()), axis=1)
    found = np.bincount(edges.row, covered_parts(edges.vertex, start, stop) * long, 40)
    bands = shapely.buffer(shapely.boundary(surfaces), DISTANCE, quad_segs=200)
    want = shapely.length(shapely.intersection(shapely.boundary(others), bands))
    # a buffer leaves out corners of its outline that are less than a hundredth of it deep
    assert found == pytest.approx(want, rel=2e-3, abs=0.02)
    assert found.sum() == pytest.approx(want.sum(), rel=2e-4)
    assert want.sum() > 40  # they do meet


def test_an_edge_digitised_twice_with_many_vertices(column):
    """More edges than are compared each with each: two circles of 1 and 2 cm apart."""
    inner = shapely.Point(0, 0).buffer(30, quad_segs=200)
    hole = shapely.Point(0, 0).buffer(30.02, quad_segs=170)
    outer = shapely.Point(0, 0).buffer(33, quad_segs=100)
    collar = shapely.Polygon(outer.exterior, [hole.exterior])
    shared = shared_edges(column(collar, inner), np.array([1, 0]), np.zeros(2, dtype=np.int64))
    assert shared.length_m == pytest.approx([hole.length], rel=1e-12)
