"""Draws and the intervals read off them, against published Monte Carlo results."""

from __future__ import annotations

import numpy as np
import pytest

from geosand.balance.draws import normal_draws, read_off, student_draws, tail_rank, tails
from geosand.distributions import normal_probability, student_quantile

DRAWS = 100_000


def normal(inputs, draws=DRAWS, seed=1):
    return normal_draws(seed, draws, inputs)


def rectangular(inputs):
    """Of mean 0 and standard deviation 1."""
    return np.sqrt(12.0) * (normal_probability(inputs) - 0.5)


def shortest_interval(values, coverage=0.95):
    """The shortest bounds that hold ``coverage`` of the draws: JCGM 101:2008, 7.7."""
    ordered = np.sort(values)
    inside = int(np.ceil(coverage * len(ordered)))
    start = (ordered[inside:] - ordered[:-inside]).argmin()
    return ordered[start], ordered[start + inside]


def test_sum_of_four_normals():
    # JCGM 101:2008, 9.2.2, table 2: y 0, u 2.00, 95 % ± 3.92
    mean, u, low, high = read_off(normal(4).sum(axis=0, keepdims=True))
    assert mean[0] == pytest.approx(0.0, abs=1e-12)
    assert u[0] == pytest.approx(2.00, abs=1e-12)
    # a bound read off 100,000 draws has a standard error of 0.017
    assert (low[0], high[0]) == pytest.approx((-3.92, 3.92), abs=0.04)


def test_sum_of_four_rectangulars():
    # JCGM 101:2008, 9.2.3, table 3: y 0, u 2.00, 95 % ± 3.88
    _, u, low, high = read_off(rectangular(normal(4)).sum(axis=0, keepdims=True))
    assert u[0] == pytest.approx(2.00, abs=0.005)
    assert (low[0], high[0]) == pytest.approx((-3.88, 3.88), abs=0.03)


def test_logarithm_of_a_rectangular_input():
    # NPL Report DEM-ES-011, 9.2, y = ln x, x between 0.1 and 1.1: Monte Carlo y -0.665, u 0.606,
    # shortest 95 % interval -1.895 to 0.095; the first order gives -0.511 and 0.481
    y = np.log(0.6 + rectangular(normal(1)[0]) / np.sqrt(12.0))
    assert y.mean() == pytest.approx(-0.665, abs=0.002)
    assert y.std() == pytest.approx(0.606, abs=0.002)
    assert shortest_interval(y) == pytest.approx((-1.895, 0.095), abs=0.004)


def test_mass_calibration():
    # JCGM 101:2008, 9.3, from memory: δm 1.2341 mg, u 0.0754, shortest 95 % 1.0834 to 1.3825;
    # the first order gives u 0.0539, as air density and density enter by their product only
    inputs = normal(5)
    flat = rectangular(inputs[2:])
    reference, difference = 100_000 + 0.050 * inputs[0], 1.234 + 0.020 * inputs[1]
    air = 1.20 + 0.20 / np.sqrt(12) * flat[0]
    weight = 8000 + 2000 / np.sqrt(12) * flat[1]
    standard = 8000 + 100 / np.sqrt(12) * flat[2]
    buoyancy = 1 + (air - 1.2) * (1 / weight - 1 / standard)
    found = (reference + difference) * buoyancy - 100_000
    assert found.mean() == pytest.approx(1.234, abs=0.001)
    assert found.std() == pytest.approx(0.0754, abs=0.0005)
    assert shortest_interval(found) == pytest.approx((1.0834, 1.3825), abs=0.005)


@pytest.mark.parametrize(("seed", "draws"), [(1, 10_000), (20260301, 10_001)])
def test_any_sum_of_normal_inputs_has_the_analytic_mean_and_u(seed, draws):
    """To the last digits: the draws are freed from what chance leaves of mean and covariance."""
    effects = np.random.default_rng(seed).normal(size=(40, 23))
    mean, u, low, high = read_off(effects @ normal(23, draws, seed))
    analytic = np.sqrt((effects**2).sum(axis=1))
    assert u == pytest.approx(analytic, rel=1e-12)
    assert mean == pytest.approx(np.zeros(40), abs=1e-12)
    # a bound read off 10,000 independent draws has a standard error of 2.7 % of u
    assert low / analytic == pytest.approx(np.full(40, -1.96), abs=0.1)
    assert high / analytic == pytest.approx(np.full(40, 1.96), abs=0.1)


def test_each_input_keeps_its_normal_distribution():
    """Chance alone leaves a standard error of 0.049 at z = 2.6, 0.027 at 1.96, 0.0125 at 0."""
    probability = np.array([0.005, 0.025, 0.25, 0.5, 0.75, 0.975, 0.995])
    found = np.quantile(normal(16, 10_000), probability, axis=1)
    expected = student_quantile(probability, np.inf)
    off = np.abs(found - expected[:, None]).max(axis=1)
    assert (off < [0.04, 0.015, 0.006, 0.005, 0.006, 0.015, 0.04]).all()


def test_student_draws_are_its_quantiles():
    z = normal(1)[0]
    freedom = np.array([1.0, 1.5, 3.0, 4.7, 19.0, 1000.0, np.inf])
    expected = student_quantile(normal_probability(z), freedom[:, None])
    found = student_draws(z, freedom)
    assert np.abs(found[:2] / expected[:2] - 1).max() < 1e-6
    assert np.abs(found[2:] / expected[2:] - 1).max() < 1e-9


def test_student_draws_of_four_degrees_of_freedom():
    # Student's t of 4 degrees of freedom has variance 2, its 97.5 % quantile is 2.776 (NIST)
    inputs = normal(4, 10_000)
    t = student_draws(inputs[0], np.array([4.0]))[0]
    assert np.quantile(t, 0.975) == pytest.approx(2.776, abs=0.03)
    assert t.var() == pytest.approx(2.0, rel=0.03)
    # by chance alone 0.01: what is left is of the few farthest draws
    assert np.abs(np.corrcoef(np.vstack([t, inputs[1:]]))[0, 1:]).max() < 0.01


def test_draws_are_seeded_and_do_not_depend_on_how_many_inputs_there_are():
    assert np.array_equal(normal(3, 1000), normal(3, 1000))
    assert not np.array_equal(normal(3, 1000), normal(3, 1000, seed=2))
    assert normal(20, 1000)[:3] == pytest.approx(normal(3, 1000), abs=1e-12)


def test_fewer_draws_than_inputs_are_refused():
    with pytest.raises(ValueError, match="draws: found 30; at least 64 for 3 inputs"):
        normal(3, draws=30)


@pytest.mark.parametrize("draws", [101, 1000, 10_000])
@pytest.mark.parametrize("shape", ["normal", "skewed", "two", "same"])
def test_intervals_are_those_of_all_draws_in_order(draws, shape):
    """Against numpy.quantile, also where few draws are far from the mean, or none."""
    values = np.random.default_rng(3).normal(size=(11, draws))
    values = {
        "normal": values,
        "skewed": np.exp(3 * values),
        "two": np.sign(values) + 1e-3 * values,
        "same": np.full_like(values, 4.0),
    }[shape]
    mean, u, low, high = read_off(values)
    assert mean == pytest.approx(values.mean(axis=1), rel=1e-12)
    assert u == pytest.approx(values.std(axis=1, ddof=1), rel=1e-12)
    expected = np.quantile(values, [0.025, 0.975], axis=1)
    assert low == pytest.approx(expected[0], rel=1e-12)
    assert high == pytest.approx(expected[1], rel=1e-12)


def test_single_precision_is_far_below_chance():
    """Of a mass of 600 ± 30: chance leaves a hundredth of u in a bound, rounding 1e-5."""
    values = 600 + 30 * normal(5, 10_000)
    single, double = read_off(values.astype(np.float32)), read_off(values)
    for mine, theirs in zip(single, double, strict=True):
        assert mine.dtype == np.float64
        assert mine == pytest.approx(theirs, abs=30e-5)


def test_student_draws_of_one_number_of_degrees_do_not_depend_on_the_others():
    z = normal(1, 10_001)[0]
    together = student_draws(z, np.array([2.5, 4.0, 30.0]))
    assert np.array_equal(together[1:2], student_draws(z, np.array([4.0])))


def test_tails_do_not_depend_on_what_is_thought_of_middle_and_u():
    values = np.random.default_rng(4).normal(size=(3, 2000))
    rank, _ = tail_rank(2000)
    ordered = np.sort(values, axis=1)[:, [rank, rank + 1, -2 - rank, -1 - rank]]
    for middle, u in ((0.0, 1.0), (0.5, 1.0), (-3.0, 0.1), (0.0, 50.0)):
        assert np.array_equal(tails(values, rank, np.full(3, middle), np.full(3, u)), ordered)
