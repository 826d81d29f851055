"""Kriging against textbooks and another library."""

from __future__ import annotations

import numpy as np
import pytest
from pykrige.ok import OrdinaryKriging

from geosand.columns import take
from geosand.rates.kriging import (
    Lattices,
    Variogram,
    block_means,
    gathered,
    lattice_kriging,
    within_blocks,
)

# E. H. Isaaks & R. M. Srivastava, An Introduction to Applied Geostatistics, 1989, chapter 12 (from
# memory; the results below recomputed): seven readings, covariance 10·e^(−0.3 h)
ISAAKS = np.array(
    [(61, 139), (63, 140), (64, 129), (68, 128), (71, 140), (73, 141), (75, 128)], float
)
VALUES = np.array([477.0, 696.0, 227.0, 646.0, 606.0, 791.0, 783.0])
EXPONENTIAL = Variogram(model="exponential", nugget=0.0, sill=10.0, range_m=1 / 0.3)
SPHERICAL = Variogram(model="spherical", nugget=0.3, sill=2.0, range_m=12.0)


def point_kriging(points, values, places, variogram):
    """The ground at each place; a new reading there has the nugget's variance on top."""
    return block_means(points, values, places, np.zeros((1, 2)), variogram)


def points_and_values(count, seed):
    rng = np.random.default_rng(seed)
    return rng.uniform(0, 30, (count, 2)), rng.normal(10, 2, count)


def lattice(west, south, side, cells):
    """A square block of equal weights."""
    middle = (np.arange(cells) + 0.5) * side / cells
    weights = np.full((1, cells, cells), cells**-2.0)
    return Lattices((west + middle)[None], (south + middle)[None], weights)


def points_of(block):
    """Points (B, K, 2) of lattices and their weights (B, K)."""
    up, across = block.weights.shape[1:]
    x, y = np.tile(block.x_m, (1, up)), np.repeat(block.y_m, across, axis=1)
    return np.stack([x, y], axis=-1), block.weights.reshape(len(x), -1)


def by_the_book(points, values, block, weights, variogram):
    """Mean and variance of one block of any points, straight from the equations of chapter 12."""

    def apart(a, b):
        return np.hypot(*(a[:, None] - b).transpose(2, 0, 1))

    between = variogram.between(apart(points, points))
    np.fill_diagonal(between, 0.0)
    matrix = np.block([[between, np.ones((len(points), 1))], [np.ones(len(points)), 0.0]])
    right = np.append(variogram.between(apart(points, block)) @ weights, 1.0)
    solution = np.linalg.solve(matrix, right)
    inside = variogram.nugget + weights @ variogram.structure(apart(block, block)) @ weights
    return solution[:-1] @ values, solution @ right - inside


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
    corners = lattice(60.0, 132.0, 10.0, 2)
    found = lattice_kriging(ISAAKS[None], VALUES[None], corners, EXPONENTIAL)
    each = point_kriging(ISAAKS, VALUES, points_of(corners)[0][0], EXPONENTIAL)
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


# Block kriging of the zinc of the Meuse floodplain, as gstat's own tests print it (r-spatial/gstat,
# tests/blockkr.Rout.save): spherical, partial sill 1.34e5, range 800 m, nugget 2.42e4, the 40
# nearest readings, blocks of 40 × 40 m. The readings come with scikit-gstat (R package sp).
ZINC = Variogram(model="spherical", nugget=2.42e4, sill=1.34e5, range_m=800.0)
GAUSS_CENTRES = np.array(
    [
        *((181170.0, 333250.0), (180310.0, 332189.0), (180205.0, 331707.0)),
        *((178673.0, 330066.0), (178770.0, 330675.0), (178270.0, 331075.0)),
    ]
)
GAUSS_MEANS = [268.7576, 663.4915, 251.4606, 532.5776, 664.4039, 565.5436]
GAUSS_VARIANCES = [19447.67, 16991.33, 21579.71, 73807.91, 23589.17, 155113.23]


@pytest.fixture(scope="module")
def meuse():
    """Places (155, 2) and zinc (155,), mg/kg; scikit-gstat's own file, read without the package."""
    import csv
    from importlib.util import find_spec
    from pathlib import Path

    package = find_spec("skgstat")
    assert package is not None and package.origin is not None, "pip install scikit-gstat"
    text = (Path(package.origin).parent / "data" / "samples" / "meuse.txt").read_text()
    rows = list(csv.DictReader(text.splitlines()))
    places = np.array([(float(row["x"]), float(row["y"])) for row in rows])
    return places, np.array([float(row["zinc"]) for row in rows])


def test_the_readings_are_those_that_gstat_used(meuse):
    _, zinc = meuse
    assert len(zinc) == 155
    assert zinc.mean() == pytest.approx(469.71613, abs=1e-5)
    logs = np.log(zinc)
    assert (logs.mean(), logs.std(ddof=1)) == pytest.approx((5.8857759, 0.7218811), abs=1e-6)


def block_of_zinc(meuse, centre, step, weight):
    """The block from its 40 nearest readings (by distance to the centre), as nmax = 40 means.

    Its points are ``step`` (k,) from the centre each way, with the products of ``weight`` (k,).
    """
    places, zinc = meuse
    near = np.argsort(np.hypot(*(places - centre).T), kind="stable")[:40]
    x, y = (centre[:, None] + step)[:, None]
    block = Lattices(x, y, np.outer(weight, weight)[None])
    even = np.allclose(np.diff(step, 2), 0.0)  # else not what a lattice works out by itself
    within = None if even else within_blocks(*points_of(block), ZINC)
    return lattice_kriging(places[near][None], zinc[near][None], block, ZINC, within=within)


def test_block_kriging_on_a_grid_of_points_as_gstat(meuse):
    # pred 268.7324, var 19568.76 with points at −15 −5 5 15 m; with the nugget in the block's own
    # covariance the variance would be 1512.5 larger
    step = np.array([-15.0, -5.0, 5.0, 15.0])
    found = block_of_zinc(meuse, GAUSS_CENTRES[0], step, np.full(4, 1 / 4))
    assert found.mean[0] == pytest.approx(268.7324, abs=1e-3)
    assert found.variance[0] == pytest.approx(19568.76, abs=0.1)


@pytest.mark.parametrize("k", range(6))
def test_block_kriging_with_gauss_points_as_gstat(meuse, k):
    node, weight = np.polynomial.legendre.leggauss(4)
    found = block_of_zinc(meuse, GAUSS_CENTRES[k], 20 * node, weight / 2)
    assert found.mean[0] == pytest.approx(GAUSS_MEANS[k], abs=1e-3)
    assert found.variance[0] == pytest.approx(GAUSS_VARIANCES[k], abs=0.01)


def test_blocks_of_one_shape_are_as_each_by_itself(meuse):
    places, zinc = meuse
    offsets = 10.0 * np.array([(-1.0, -1.0), (1.0, -1.0), (-1.0, 1.0), (1.0, 1.0)])
    together = block_means(places, zinc, GAUSS_CENTRES, offsets, ZINC)
    for k, centre in enumerate(GAUSS_CENTRES):
        alone = by_the_book(places, zinc, centre + offsets, np.full(4, 0.25), ZINC)
        assert (together.mean[k], together.variance[k]) == pytest.approx(alone, rel=1e-9)


def test_a_zinc_block_against_pykrige(meuse):
    """PyKrige knows no blocks: its means at the points of a block average to the block's mean."""
    places, zinc = meuse
    near = np.argsort(np.hypot(*(places - GAUSS_CENTRES[1]).T), kind="stable")[:40]
    other = OrdinaryKriging(
        *places[near].T,
        zinc[near],
        variogram_model="spherical",
        variogram_parameters={"psill": ZINC.sill, "range": 800.0, "nugget": ZINC.nugget},
    )
    offsets = 10.0 * np.array([(-1.0, -1.0), (1.0, -1.0), (-1.0, 1.0), (1.0, 1.0)])
    each, _ = other.execute("points", *(GAUSS_CENTRES[1] + offsets).T)
    block = block_of_zinc(meuse, GAUSS_CENTRES[1], np.array([-10.0, 10.0]), np.full(2, 0.5))
    assert block.mean[0] == pytest.approx(float(np.mean(each)), rel=1e-8)


def test_the_variance_of_a_block_is_that_of_its_errors():
    """Fields are drawn with the covariance itself; readings add the nugget."""
    rng = np.random.default_rng(3)
    points, _ = points_and_values(6, 4)
    block = lattice(5, 5, 15, 6)
    every = np.concatenate([points, points_of(block)[0][0]])
    gap = np.hypot(*(every[:, None] - every).transpose(2, 0, 1))
    root = np.linalg.cholesky(SPHERICAL.sill - SPHERICAL.structure(gap) + 1e-9 * np.eye(len(every)))
    draws = 4000
    field = 10 + rng.normal(size=(draws, len(every))) @ root.T
    read = field[:, :6] + rng.normal(0, np.sqrt(SPHERICAL.nugget), (draws, 6))
    found = lattice_kriging(
        np.tile(points, (draws, 1, 1)), read, take(block, np.zeros(draws, dtype=int)), SPHERICAL
    )
    error = found.mean - field[:, 6:].mean(axis=1)
    # a variance from 4000 draws is known within 2.2 %
    assert error.var() == pytest.approx(found.variance[0], rel=0.07)
    assert error.mean() == pytest.approx(0.0, abs=4 * error.std() / np.sqrt(draws))


@pytest.mark.parametrize("model", ["spherical", "exponential", "linear"])
def test_lattices_are_as_their_points_one_by_one(model):
    """Of other steps and numbers of points each way, with some of no weight, and one of one."""
    rng = np.random.default_rng(8)
    variogram = Variogram(model=model, nugget=0.3, sill=2.0, range_m=12.0)
    blocks, across, up = 9, 7, 5
    x = rng.uniform(0, 9, (blocks, 1)) + rng.uniform(0.2, 3, (blocks, 1)) * np.arange(across)
    y = rng.uniform(0, 9, (blocks, 1)) + rng.uniform(0.2, 3, (blocks, 1)) * np.arange(up)
    weights = rng.uniform(size=(blocks, up, across)) * (
        rng.uniform(size=(blocks, up, across)) > 0.4
    )
    weights[3], weights[3, 0, 0] = 0.0, 1.0
    x[3], y[3] = 4.0, 5.0
    weights /= weights.sum(axis=(1, 2), keepdims=True)
    points, values = rng.uniform(0, 20, (blocks, 6, 2)), rng.normal(10, 1, (blocks, 6))
    block = Lattices(x, y, weights)
    every, flat = points_of(block)
    assert block.within(variogram) == pytest.approx(
        within_blocks(every, flat, variogram), rel=1e-12
    )
    found = lattice_kriging(points, values, block, variogram)
    columns = zip(points, values, every, flat, strict=True)
    mean, variance = np.array([by_the_book(*one, variogram) for one in columns]).T
    assert found.mean == pytest.approx(mean, rel=1e-11)
    assert found.variance == pytest.approx(variance, rel=1e-9)
    # a block by itself is worked out as beside others, to the last digit
    alone = lattice_kriging(points[4:5], values[4:5], take(block, np.array([4])), variogram)
    assert (alone.mean[0], alone.variance[0]) == (found.mean[4], found.variance[4])


@pytest.mark.parametrize("model", ["spherical", "exponential"])
@pytest.mark.parametrize("range_m", [5.0, 12.0, 30.0])
@pytest.mark.parametrize("catches", [3, 8, 20])
def test_a_dozen_points_a_side_stand_for_a_surface(model, range_m, catches):
    """The variance of a block of 25 m a side is within 2 % of that with a hundred times as many."""
    variogram = Variogram(model=model, nugget=0.002, sill=0.008, range_m=range_m)
    rng = np.random.default_rng(catches)
    points, values = rng.uniform(0, 25, (1, catches, 2)), rng.normal(1, 0.1, (1, catches))
    coarse, fine = (
        lattice_kriging(
            points, values, Lattices(side, side, np.full((1, cells, cells), cells**-2)), variogram
        )
        for cells in (12, 120)
        for side in [(np.arange(cells)[None] + 0.5) * 25 / cells]
    )
    assert coarse.variance[0] == pytest.approx(fine.variance[0], rel=0.02)
    assert coarse.mean[0] == pytest.approx(fine.mean[0], rel=0.002)


def test_without_structure_the_mean_is_the_plain_one_and_its_variance_the_nugget_over_n():
    points, values = points_and_values(8, 6)
    pure = Variogram(model="spherical", nugget=4.0, sill=0.0, range_m=5.0)
    found = lattice_kriging(points[None], values[None], lattice(0, 0, 30, 4), pure)
    assert found.mean[0] == pytest.approx(values.mean(), rel=1e-12)
    assert found.variance[0] == pytest.approx(4.0 / 8, rel=1e-12)


def test_catches_in_a_cluster_count_for_less():
    points = np.array([[5.0, 5.0], [5.2, 5.0], [5.0, 5.2], [25.0, 25.0]])
    block = lattice(0, 0, 30, 6)
    share = [
        lattice_kriging(points[None], row[None], block, SPHERICAL).mean[0] for row in np.eye(4)
    ]
    assert sum(share) == pytest.approx(1.0)
    assert share[3] > 1.5 * max(share[:3])


def test_turning_moving_and_scaling_change_nothing_or_only_the_scale():
    points, values = points_and_values(7, 7)
    block = lattice(3, 4, 10, 5)
    first = lattice_kriging(points[None], values[None], block, SPHERICAL)
    turned = Lattices(500.0 - block.y_m, 500.0 + block.x_m, block.weights.transpose(0, 2, 1))
    quarter = np.array([[0.0, 1.0], [-1.0, 0.0]])
    again = lattice_kriging((points @ quarter + 500.0)[None], 3 * values[None], turned, SPHERICAL)
    assert again.mean == pytest.approx(3 * first.mean)
    assert again.variance == pytest.approx(first.variance)


def test_two_catches_at_one_place():
    points, values = np.array([[1.0, 1.0], [1.0, 1.0], [9.0, 2.0]]), np.array([8.0, 12.0, 10.0])
    block = lattice(0, 0, 10, 4)
    exact = Variogram(model="spherical", nugget=0.0, sill=2.0, range_m=12.0)
    for variogram in (SPHERICAL, exact):
        found = lattice_kriging(points[None], values[None], block, variogram)
        assert found.mean[0] == pytest.approx(10.0, abs=1e-5)
        assert found.variance[0] > 0


@pytest.mark.parametrize(("east", "north"), [(30.0, 8.0), (5.0, 40.0), (20.0, 0.0), (0.0, 0.0)])
def test_gathered_readings_keep_all_that_was_read(east, north):
    rng = np.random.default_rng(5)
    points, values = rng.uniform(0, 1, (1234, 2)) * (east, north), rng.normal(10, 2, 1234)
    few = gathered(points, values, 100)
    assert 80 <= len(few.values) <= 100
    assert few.together.sum() == 1234
    assert few.together.min() >= 10
    assert few.together.max() <= 18
    for column, gathered_one in ((values, few.values), *zip(points.T, few.points_m.T, strict=True)):
        total = (gathered_one * few.together).sum()
        assert total == pytest.approx(column.sum(), rel=1e-12, abs=1e-9)
    same = gathered(points[:100], values[:100], 100)
    assert np.array_equal(same.values, values[:100])
    assert (same.together == 1).all()


def test_readings_at_one_place_are_as_their_mean():
    """Exactly: three at each place, one by one and gathered, with the nugget shared by three."""
    rng = np.random.default_rng(6)
    places, block = rng.uniform(0, 30, (8, 2)), lattice(5, 5, 15, 6)
    values = rng.normal(10, 2, (8, 3))
    points = np.repeat(places, 3, axis=0)
    every = lattice_kriging(points[None], values.reshape(1, -1), block, SPHERICAL)
    few = lattice_kriging(
        places[None], values.mean(axis=1)[None], block, SPHERICAL, together=np.full((1, 8), 3.0)
    )
    assert few.mean == pytest.approx(every.mean, rel=1e-9)
    assert few.variance == pytest.approx(every.variance, rel=1e-9)


@pytest.mark.parametrize("side", [(28.0, 28.0), (60.0, 12.0)])
@pytest.mark.parametrize(("nugget", "sill", "range_m"), [(25, 25, 15.0), (100, 25, 4.0)])
def test_gathered_readings_against_all_of_them(side, nugget, sill, range_m):
    """Scatter of 5 and 10 % beside each other: the variance is as large, or larger by up to 3 %."""
    rng = np.random.default_rng(7)
    points = rng.uniform(0, 1, (1400, 2)) * side
    trend = np.sin(points[:, 0] / 6) * np.cos(points[:, 1] / 5)
    values = 100 + 8 * trend + rng.normal(0, np.sqrt(nugget), 1400)
    variogram = Variogram(model="spherical", nugget=nugget, sill=sill, range_m=range_m)
    x, y = ((np.arange(12) + 0.5) * length / 12 for length in side)
    block = Lattices(x[None], y[None], np.full((1, 12, 12), 1 / 144))
    every = lattice_kriging(points[None], values[None], block, variogram)
    places, means, together = (column[None] for column in gathered(points, values, 1000))
    few = lattice_kriging(places, means, block, variogram, together=together)
    assert 0.995 <= few.variance[0] / every.variance[0] < 1.03
    assert abs(few.mean[0] - every.mean[0]) < 0.5 * np.sqrt(every.variance[0])
