"""Pairs of near boxes against a comparison of each with each (shapely 2, GEOS)."""

import numpy as np
import pytest
import shapely

from geosand.areas import near_pairs as module
from geosand.areas.near_pairs import near_each_other, near_pairs


@pytest.mark.parametrize("beside", [module._BESIDE, -1])
@pytest.mark.parametrize("distance", [0.0, 3.0])
@pytest.mark.parametrize("scale", [1.0, 1e-5, 1e6])
def test_no_pair_is_lost(monkeypatch, beside: int, distance: float, scale: float) -> None:
    """By sorting, and by a tree as where many boxes are beside each other."""
    monkeypatch.setattr(module, "_BESIDE", beside)
    rng = np.random.default_rng(5)
    corner = rng.uniform(-50, 50, (300, 2)) * scale
    boxes = np.hstack([corner, corner + rng.uniform(0, 8, (300, 2)) * scale])
    boxes[7] = np.nan
    key = rng.integers(0, 4, 300) * 1000
    left, right = near_pairs(boxes, key, boxes[:120], key[:120], distance * scale)
    shapes = shapely.box(*boxes.T)
    apart = shapely.distance(shapes[:, None], shapes[None, :120])
    same = key[:, None] == key[None, :120]
    expected = {tuple(pair) for pair in np.argwhere(same & (apart <= distance * scale)).tolist()}
    found = list(zip(left.tolist(), right.tolist(), strict=True))
    assert expected <= set(found)
    assert found == sorted(set(found))
    assert (key[left] == key[right]).all()
    one, other = near_each_other(boxes, key, distance * scale)
    each = {(a, b) for a, b in zip(one.tolist(), other.tolist(), strict=True) if b < 120}
    assert {(a, b) for a, b in expected if a < b} <= each <= set(found)
    assert (one < other).all()
    assert sorted(set(zip(one.tolist(), other.tolist(), strict=True))) == list(
        zip(one.tolist(), other.tolist(), strict=True)
    )
    wide = shapely.box(*(boxes + np.array([-1, -1, 1, 1]) * distance * scale * 1.01).T)
    assert shapely.distance(wide[left], shapes[right]).max() <= 1e-6 * scale


@pytest.mark.parametrize("beside", [module._BESIDE, -1])
def test_boxes_with_a_side_in_common_meet(monkeypatch, beside: int) -> None:
    """Equal sides and boxes of no width; keys below nought and far apart."""
    monkeypatch.setattr(module, "_BESIDE", beside)
    boxes = np.array([[0, 0, 1, 1], [1, 0, 2, 1], [0, 1, 1, 2], [1, 1, 1, 1], [5, 5, 6, 6.0]])
    key = np.array([-7, -7, -7, -7, 10**9])
    left, right = near_pairs(boxes, key, boxes, key)
    apart = shapely.distance(*np.meshgrid(*[shapely.box(*boxes.T)] * 2))
    expected = np.argwhere((apart == 0) & (key[:, None] == key))
    assert np.column_stack([left, right]).tolist() == expected.tolist()
    assert len(expected) == 17
    each = np.column_stack(near_each_other(boxes, key))
    assert each.tolist() == expected[expected[:, 0] < expected[:, 1]].tolist()
    # all pairs of the first four meet in longitude, at a common side too
    assert (module.beside(boxes, key).sum(), module.beside(boxes, key)[4]) == (6, 0)


def test_nothing_is_near_nothing() -> None:
    none, keys = np.empty((0, 4)), np.empty(0, dtype=np.int64)
    assert [len(rows) for rows in near_pairs(none, keys, none, keys)] == [0, 0]
    assert [len(rows) for rows in near_each_other(none, keys)] == [0, 0]
