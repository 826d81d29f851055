"""Pairs of near boxes against a comparison of each with each (shapely 2, GEOS)."""

import numpy as np
import pytest
import shapely

from geosand.areas.near_pairs import near_pairs


@pytest.mark.parametrize("distance", [0.0, 3.0])
@pytest.mark.parametrize("scale", [1.0, 1e-5, 1e6])
def test_no_pair_is_lost(distance: float, scale: float) -> None:
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
    wide = shapely.box(*(boxes + np.array([-1, -1, 1, 1]) * distance * scale * 1.01).T)
    assert shapely.distance(wide[left], shapes[right]).max() <= 1e-6 * scale


def test_nothing_is_near_nothing() -> None:
    none, keys = np.empty((0, 4)), np.empty(0, dtype=np.int64)
    assert [len(rows) for rows in near_pairs(none, keys, none, keys)] == [0, 0]
