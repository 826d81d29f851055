"""Kriging against textbooks and another library."""

from __future__ import annotations

import numpy as np
import pytest
from pykrige.ok import OrdinaryKriging

from geosand.rates.kriging import Variogram, block_kriging, point_kriging, within_blocks

# E. H. Isaaks & R. M. Srivastava, An Introduction to Applied Geostatistics, 1989, chapter 12 (from
# memory; the results below recomputed): seven readings, covariance 10·e^(−0.3 h)
ISAAKS = np.array(
    [(61, 139), (63, 140), (64, 129), (68, 128), (71, 140), (73, 141), (75, 128)], float
)
VALUES = np.array([477.0, 696.0, 227.0, 646.0, 606.0, 791.0, 783.0])
EXPONENTIAL = Variogram(model="exponential", nugget=0.0, sill=10.0, range_m=1 / 0.3)
SPHERICAL = Variogram(model="spherical", nugget=0.3, sill=2.0, range_m=12.0)


def points_and_values(count, seed):
    rng = np.random.default_rng(seed)
    return rng.uniform(0, 30, (count, 2)), rng.normal(10, 2, count)


def lattice(west, south, side, cells):
    middle = (np.arange(cells) + 0.5) * side / cells
    x, y = np.meshgrid(west + middle, south + middle)
    return np.stack([x.ravel(), y.ravel()], axis=1)[None], np.full((1, cells**2), 1 / cells**2)


def test_example_3_2_of_kitanidis():
    # P. K. Kitanidis, Introduction to Geostatistics, 1997, example 3.2, as in PyKrige's tests:
    # estimate 1.6364, variance of a reading 0.4201
    points = np.array([[9.7, 47.6], [43.8, 24.6]])
    linear = Variogram(model="linear", nugget=0.1, sill=0.006, range_m=1.0)
    found = point_kriging(points, np.array([1.22, 2.822]), np.array([[18.8, 67.9]]), linear)
    assert found.mean[0] == pytest.approx(1.6364, rel=1e-4)
    assert found.variance[0] + linear.nugget == pytest.approx(0.4201, rel=1e-4)


def test_example_of_isaaks_and_srivastava():
    # chapter 12: weights .173 .318 .129 .086 .151 .057 .086, estimate 592.7, variance 8.96
    place = np.array([[65.0, 137.0]])
    found = point_kriging(ISAAKS, VALUES, place, EXPONENTIAL)
    assert found.mean[0] == pytest.approx(592.7, abs=0.05)
    assert found.variance[0] == pytest.approx(8.96, abs=0.005)
    weights = [point_kriging(ISAAKS, row, place, EXPONENTIAL).mean[0] for row in np.eye(7)]
    expected = [0.173, 0.318, 0.129, 0.086, 0.151, 0.057, 0.086]
    assert weights == pytest.approx(expected, abs=0.001)


def test_a_block_is_the_mean_of_its_points_and_surer_than_any():
    # chapter 13 of the same: the block of four points; variance recomputed, 2.66623
    corners = np.array([(62.5, 134.5), (62.5, 139.5), (67.5, 134.5), (67.5, 139.5)])
    found = block_kriging(
        ISAAKS[None], VALUES[None], corners[None], np.full((1, 4), 0.25), EXPONENTIAL
    )
    each = point_kriging(ISAAKS, VALUES, corners, EXPONENTIAL)
    assert found.mean[0] == pytest.approx(588.9393, abs=1e-4)
    assert found.mean[0] == pytest.approx(each.mean.mean(), abs=1e-9)
    assert found.variance[0] == pytest.approx(2.66623, abs=1e-5)
    assert found.variance[0] < each.variance.min()


@pytest.mark.parametrize("seed", [1, 2])
@pytest.mark.parametrize("nugget", [0.0, 0.3])
def test_points_against_pykrige(seed, nugget):
    points, values = points_and_values(15, seed)
    places = np.random.default_rng(seed + 10).uniform(0, 30, (20, 2))
    mine = Variogram(model="spherical", nugget=nugget, sill=2.0, range_m=12.0)
    other = OrdinaryKriging(
        *points.T,
        values,
        variogram_model="spherical",
        variogram_parameters={"psill": 2.0, "range": 12.0, "nugget": nugget},
    )
    mean, variance = other.execute("points", *places.T)
    found = point_kriging(points, values, places, mine)
    assert found.mean == pytest.approx(np.asarray(mean), rel=1e-8)
    assert found.variance + nugget == pytest.approx(np.asarray(variance), rel=1e-8)


def test_the_variance_of_a_block_is_that_of_its_errors():
    """Fields are drawn with the covariance itself; readings add the nugget."""
    rng = np.random.default_rng(3)
    points, _ = points_and_values(6, 4)
    block, weights = lattice(5, 5, 15, 6)
    every = np.concatenate([points, block[0]])
    gap = np.hypot(*(every[:, None] - every).transpose(2, 0, 1))
    root = np.linalg.cholesky(SPHERICAL.sill - SPHERICAL.structure(gap) + 1e-9 * np.eye(len(every)))
    draws = 4000
    field = 10 + rng.normal(size=(draws, len(every))) @ root.T
    read = field[:, :6] + rng.normal(0, np.sqrt(SPHERICAL.nugget), (draws, 6))
    found = block_kriging(
        np.tile(points, (draws, 1, 1)),
        read,
        np.tile(block, (draws, 1, 1)),
        np.tile(weights, (draws, 1)),
        SPHERICAL,
        within=np.full(draws, within_blocks(block, weights, SPHERICAL)[0]),
    )
    error = found.mean - field[:, 6:].mean(axis=1)
    # a variance from 4000 draws is known within 2.2 %
    assert error.var() == pytest.approx(found.variance[0], rel=0.07)
    assert error.mean() == pytest.approx(0.0, abs=4 * error.std() / np.sqrt(draws))


def test_many_blocks_in_one_call_are_as_one_by_one():
    rng = np.random.default_rng(5)
    points, values = rng.uniform(0, 20, (4, 5, 2)), rng.normal(10, 1, (4, 5))
    blocks = rng.uniform(0, 20, (4, 7, 2))
    weights = rng.dirichlet(np.ones(7), 4)
    together = block_kriging(points, values, blocks, weights, SPHERICAL)
    for k in range(4):
        alone = block_kriging(
            points[k : k + 1], values[k : k + 1], blocks[k : k + 1], weights[k : k + 1], SPHERICAL
        )
        assert together.mean[k] == pytest.approx(alone.mean[0], rel=1e-12)
        assert together.variance[k] == pytest.approx(alone.variance[0], rel=1e-12)


def test_without_structure_the_mean_is_the_plain_one_and_its_variance_the_nugget_over_n():
    points, values = points_and_values(8, 6)
    block, weights = lattice(0, 0, 30, 4)
    pure = Variogram(model="spherical", nugget=4.0, sill=0.0, range_m=5.0)
    found = block_kriging(points[None], values[None], block, weights, pure)
    assert found.mean[0] == pytest.approx(values.mean(), rel=1e-12)
    assert found.variance[0] == pytest.approx(4.0 / 8, rel=1e-12)


def test_catches_in_a_cluster_count_for_less():
    points = np.array([[5.0, 5.0], [5.2, 5.0], [5.0, 5.2], [25.0, 25.0]])
    block, weights = lattice(0, 0, 30, 6)
    share = [
        block_kriging(points[None], row[None], block, weights, SPHERICAL).mean[0]
        for row in np.eye(4)
    ]
    assert sum(share) == pytest.approx(1.0)
    assert share[3] > 1.5 * max(share[:3])


def test_turning_moving_and_scaling_change_nothing_or_only_the_scale():
    points, values = points_and_values(7, 7)
    block, weights = lattice(3, 4, 10, 5)
    first = block_kriging(points[None], values[None], block, weights, SPHERICAL)
    turn = np.array([[0.6, 0.8], [-0.8, 0.6]])
    again = block_kriging(
        (points @ turn + 500.0)[None], 3 * values[None], block @ turn + 500.0, weights, SPHERICAL
    )
    assert again.mean == pytest.approx(3 * first.mean)
    assert again.variance == pytest.approx(first.variance)


def test_two_catches_at_one_place():
    points, values = np.array([[1.0, 1.0], [1.0, 1.0], [9.0, 2.0]]), np.array([8.0, 12.0, 10.0])
    block, weights = lattice(0, 0, 10, 4)
    exact = Variogram(model="spherical", nugget=0.0, sill=2.0, range_m=12.0)
    for variogram in (SPHERICAL, exact):
        found = block_kriging(points[None], values[None], block, weights, variogram)
        assert found.mean[0] == pytest.approx(10.0, abs=1e-5)
        assert found.variance[0] > 0


def test_wrong_weights_and_variograms_are_refused():
    block, weights = lattice(0, 0, 10, 2)
    with pytest.raises(ValueError, match="weights: those of each block must sum to 1"):
        block_kriging(np.zeros((1, 1, 2)), np.ones((1, 1)), block, 2 * weights, SPHERICAL)
    with pytest.raises(ValueError, match="the range must be above 0"):
        Variogram(model="spherical", nugget=0.0, sill=1.0, range_m=0.0)
    with pytest.raises(ValueError, match="allowed are spherical, exponential, linear"):
        Variogram(model="gaussian", nugget=0.0, sill=1.0, range_m=1.0)  # type: ignore[arg-type]
