"""Draws and the intervals read off them, against published Monte Carlo results."""

from __future__ import annotations

import numpy as np
import pytest

from geosand.balance.draws import (
    Draws,
    normal_shape,
    rectangular_shape,
    shortest_interval,
    standard_draws,
    student_shape,
    symmetric_interval,
)
from geosand.distributions import student_quantile

DRAWS = 100_000


def drawn(shapes, draws=DRAWS, seed=1):
    return standard_draws(np.random.default_rng(seed), draws, shapes)


def test_sum_of_four_normals():
    # JCGM 101:2008, 9.2.2, table 2: y 0, u 2.00, 95 % ± 3.92
    total = drawn([normal_shape] * 4).sum(axis=1, keepdims=True)
    low, high = symmetric_interval(total)
    assert total.mean() == pytest.approx(0.0, abs=1e-3)
    assert total.std() == pytest.approx(2.00, abs=0.002)
    # a bound read off 100,000 draws has a standard error of 0.017
    assert (low[0], high[0]) == pytest.approx((-3.92, 3.92), abs=0.04)


def test_sum_of_four_rectangulars():
    # JCGM 101:2008, 9.2.3, table 3: y 0, u 2.00, 95 % ± 3.88
    total = drawn([rectangular_shape] * 4).sum(axis=1, keepdims=True)
    low, high = symmetric_interval(total)
    assert total.std() == pytest.approx(2.00, abs=0.005)
    assert (low[0], high[0]) == pytest.approx((-3.88, 3.88), abs=0.03)


def test_logarithm_of_a_rectangular_input():
    # NPL Report DEM-ES-011, 9.2, y = ln x, x between 0.1 and 1.1: Monte Carlo y -0.665, u 0.606,
    # shortest 95 % interval -1.895 to 0.095; the first order gives -0.511 and 0.481
    x = 0.6 + drawn([rectangular_shape]) / np.sqrt(12.0)
    y = np.log(x)
    low, high = shortest_interval(y)
    assert y.mean() == pytest.approx(-0.665, abs=0.002)
    assert y.std() == pytest.approx(0.606, abs=0.002)
    assert (low[0], high[0]) == pytest.approx((-1.895, 0.095), abs=0.004)


def test_mass_calibration():
    # JCGM 101:2008, 9.3, from memory: δm 1.2341 mg, u 0.0754, shortest 95 % 1.0834 to 1.3825;
    # the first order gives u 0.0539, as air density and density enter by their product only
    columns = drawn([normal_shape] * 2 + [rectangular_shape] * 3).T
    reference, difference = 100_000 + 0.050 * columns[0], 1.234 + 0.020 * columns[1]
    air = 1.20 + 0.20 / np.sqrt(12) * columns[2]
    weight = 8000 + 2000 / np.sqrt(12) * columns[3]
    standard = 8000 + 100 / np.sqrt(12) * columns[4]
    buoyancy = 1 + (air - 1.2) * (1 / weight - 1 / standard)
    found = (reference + difference) * buoyancy - 100_000
    low, high = shortest_interval(found[:, None])
    assert found.mean() == pytest.approx(1.234, abs=0.001)
    assert found.std() == pytest.approx(0.0754, abs=0.0005)
    assert (low[0], high[0]) == pytest.approx((1.0834, 1.3825), abs=0.005)


def test_columns_keep_their_distribution_and_are_uncorrelated():
    shapes = [normal_shape, student_shape(4.0), rectangular_shape, normal_shape]
    table = drawn(shapes, draws=10_000)
    # by chance alone 0.01; between normal columns next to nothing is left
    correlation = np.abs(np.corrcoef(table.T) - np.eye(4))
    assert correlation.max() < 0.008
    assert correlation[0, 3] < 0.001
    # Student's t of 4 degrees of freedom has variance 2, its 97.5 % quantile is 2.776 (NIST)
    assert np.quantile(table[:, 1], 0.975) == pytest.approx(2.776, abs=0.002)
    assert table[:, 1].var() == pytest.approx(2.0, rel=0.02)
    assert np.sort(table[:, 1])[[0, -1]].sum() == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize("count", [6, 7])
def test_student_shape_is_the_quantile(count):
    middles = (np.arange(count) + 0.5) / count
    assert student_shape(3.0)(middles) == pytest.approx(student_quantile(middles, 3.0), abs=1e-12)


def test_draws_are_seeded():
    shapes = [normal_shape] * 3
    assert np.array_equal(drawn(shapes, 1000), drawn(shapes, 1000))
    assert not np.array_equal(drawn(shapes, 1000), drawn(shapes, 1000, seed=2))


def test_fewer_draws_than_inputs_are_refused():
    with pytest.raises(ValueError, match="draws: found 3; at least one more than 3 inputs"):
        drawn([normal_shape] * 3, draws=3)


def test_shortest_interval_of_a_skewed_result_lies_lower_and_is_shorter():
    skewed = np.exp(drawn([normal_shape]))
    low, high = symmetric_interval(skewed)
    shortest = shortest_interval(skewed)
    assert shortest[1] - shortest[0] < high - low
    assert shortest[0] < low


def test_one_source_of_two_figures_is_one_realisation():
    table = Draws(columns={("tray", np.inf): np.array([1.0, -2.0])}, draws=2)
    both = table.times({"tray": np.array([3.0, -1.0])})
    assert both.tolist() == [[3.0, -1.0], [-6.0, 2.0]]
