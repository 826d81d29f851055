"""Reconciliation of linear equations against published figures, limits and another route."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import optimize, stats

from geosand.balance.reconciliation.least_squares import (
    Fit,
    chi_square_exceedance,
    family_threshold,
    measurement_test,
    normal_deviate,
    reconciled,
    student_deviate,
)

# Heat exchanger with a by-pass: S. Narasimhan and C. Jordache, Data Reconciliation and Gross Error
# Detection, Gulf 2000, examples 1-1 and 7-1. Streams: feed, through, by, out of both, product.
# Flows and network read in a public collection of benchmark problems; the reconciled flows and the
# statistic of the global test are from memory and agree with the arithmetic.
NETWORK = np.array(
    [
        [1, -1, -1, 0, 0, 0],
        [0, 1, 0, -1, 0, 0],
        [0, 0, 1, 0, -1, 0],
        [0, 0, 0, 1, 1, -1],
    ],
    dtype=float,
)
FLOWS = np.array([101.91, 64.45, 34.65, 64.20, 36.44, 98.88])
RECONCILED = [100.22, 64.50, 35.72, 64.50, 35.72, 100.22]
NOTHING = np.zeros((4, 0))


def test_published_flows_are_reconciled() -> None:
    fit = reconciled(NETWORK @ FLOWS, NETWORK, NOTHING)
    assert np.allclose(FLOWS + fit.epsilon, RECONCILED, atol=0.005)
    assert np.allclose(NETWORK @ (FLOWS + fit.epsilon), 0, atol=1e-10)


def test_published_gross_error_is_found() -> None:
    """Stream 2 reads 4 too high: global test 16.674 over 9.488, and stream 2 is the largest."""
    off = FLOWS + np.array([0, 4.0, 0, 0, 0, 0])
    fit = reconciled(NETWORK @ off, NETWORK, NOTHING)
    assert fit.chi_square == pytest.approx(16.674, abs=5e-4)
    assert fit.degrees_of_freedom == 4
    assert fit.probability == pytest.approx(stats.chi2.sf(16.674, 4), rel=1e-3)
    test = measurement_test(fit, NETWORK)
    assert np.nanargmax(np.abs(test.standardised)) == 1
    assert abs(test.standardised[1]) > family_threshold(6, 0.05)
    # the error is estimated with its sign: true = stated + δ
    assert test.size[1] == pytest.approx(-4.0, abs=0.7)


def test_unmeasured_flow_is_an_unknown() -> None:
    """Without a reading of stream 3 the splitter tells it, and no z is left that could blame it."""
    design = -NETWORK[:, [2]]
    kept = [0, 1, 3, 4, 5]
    stated = NETWORK[:, kept] @ FLOWS[kept]
    fit = reconciled(stated, NETWORK[:, kept], design)
    flows = np.insert(FLOWS[kept] + fit.epsilon, 2, fit.unknown[0])
    assert np.allclose(NETWORK @ flows, 0, atol=1e-9)
    assert fit.degrees_of_freedom == 3
    assert np.isnan(measurement_test(fit, NETWORK[:, [2]]).standardised[0])


def test_same_as_constrained_optimisation() -> None:
    """Correlated errors and three unknowns not below 0, against SciPy's solver."""
    rng = np.random.default_rng(4)
    held = set()
    for _ in range(30):
        errors, design = rng.normal(size=(6, 9)), np.abs(rng.normal(size=(6, 3)))
        residual = errors @ rng.normal(size=9) + design @ rng.uniform(-3, 3, 3)
        fit = reconciled(residual, errors, design)
        root = np.linalg.cholesky(np.linalg.inv(errors @ errors.T)).T
        best, norm = optimize.nnls(root @ design, root @ residual)
        assert np.allclose(fit.unknown, best, atol=1e-8)
        assert fit.chi_square == pytest.approx(norm**2, rel=1e-8)
        assert (fit.epsilon**2).sum() == pytest.approx(fit.chi_square)
        assert np.isnan(fit.u_unknown).tolist() == (best == 0).tolist()
        held.add(int((fit.unknown == 0).sum()))
    assert held >= {0, 1, 2}


def test_statistics_are_normal_without_gross_errors() -> None:
    rng = np.random.default_rng(8)
    draws = rng.normal(size=(4000, 6))
    z, chi = [], []
    for draw in draws:
        fit = reconciled(NETWORK @ (FLOWS * 0 + 100 + draw), NETWORK, NOTHING)
        z.append(measurement_test(fit, NETWORK).standardised)
        chi.append(fit.probability)
    # flows of 100 do not fulfil the network: only the shape of the residual's scatter counts
    assert np.allclose(np.std(z, axis=0), 1, atol=0.04)
    passed = np.mean(
        [
            reconciled(NETWORK @ (np.array(RECONCILED) + d), NETWORK, NOTHING).probability < 0.05
            for d in draws[:2000]
        ]
    )
    assert 0.035 < passed < 0.065


def test_two_directions_alike_are_not_told_apart() -> None:
    fit = reconciled(np.array([3.0, 3.1]), np.eye(2), np.zeros((2, 0)))
    test = measurement_test(fit, np.array([[1.0, -7.0, 1.0], [1.0, -7.0, 0.0]]))
    assert test.likeness[0, 1] == pytest.approx(-1)
    assert abs(test.likeness[0, 2]) == pytest.approx(np.sqrt(0.5))


@pytest.mark.parametrize("freedom", [1, 2, 3, 8, 31])
def test_chi_square_tail(freedom: int) -> None:
    x = np.array([0.0, 0.3, 4.0, 30.0, 90.0])
    mine = [chi_square_exceedance(v, freedom) for v in x]
    assert np.allclose(mine, stats.chi2.sf(x, freedom), rtol=1e-10, atol=1e-300)


@pytest.mark.parametrize("whole", [1, 2, 3, 8])
@pytest.mark.parametrize("of_scale", [1.3, 4.0, 7.7, 300.0])
def test_tail_of_a_chi_square_over_an_estimated_variance(whole: int, of_scale: float) -> None:
    x = np.array([0.0, 0.3, 4.0, 30.0, 90.0])
    mine = [chi_square_exceedance(v, whole, of_scale) for v in x]
    assert np.allclose(mine, stats.f.sf(x / whole, whole, of_scale), rtol=1e-8)


def test_normal_deviates_are_as_probable_as_t() -> None:
    """Against SciPy, and where no tail is left that a double could hold."""
    z = np.array([-3.0, -1.96, 1.0, 2.5, 3.0])
    for freedom in (3.0, 4.5, 10.0, np.inf):
        few = np.full(5, freedom)
        t = np.copysign(stats.t.isf(stats.norm.sf(np.abs(z)), freedom), z)
        found = normal_deviate(t, few)
        assert np.allclose(found, z, atol=0.06)
        assert (np.abs(found) <= np.abs(z) + 0.003).all()
        back = [float(student_deviate(one, few[:1])[0]) for one in found]
        assert back == pytest.approx(t.tolist())
    assert normal_deviate(np.array([200.0]), np.array([np.inf]))[0] == pytest.approx(200.0)


def means(draws: list[np.ndarray]) -> Fit:
    """Means that are to be one unknown mean, each with the u and the freedom of its own draws."""
    u = [float(one.std(ddof=1)) / np.sqrt(len(one)) for one in draws]
    freedom = np.array([len(one) - 1.0 for one in draws])
    mean = np.array([one.mean() for one in draws])
    return reconciled(mean, np.diag(u), np.ones((len(draws), 1)), freedom)


def test_two_means_are_the_test_of_welch() -> None:
    """Variances estimated from few: SciPy's t test of unequal variances."""
    rng = np.random.default_rng(3)
    for _ in range(20):
        one, other = 10 + rng.normal(0, 1, 4), 10 + rng.normal(0, 3, 6)
        known = stats.ttest_ind(one, other, equal_var=False)
        fit = means([one, other])
        assert fit.probability == pytest.approx(known.pvalue, rel=1e-6)
        test = measurement_test(fit, np.array([[1.0], [0.0]]))
        assert test.freedom[0] == pytest.approx(known.df)
        assert test.size[0] / test.u_size[0] == pytest.approx(-known.statistic)
        assert abs(test.standardised[0]) == pytest.approx(
            stats.norm.isf(known.pvalue / 2), abs=0.06
        )


def test_several_means_of_few_draws_keep_the_level() -> None:
    """Six means of four draws each: below 5 % were 28 and 29 of 100 by normal quantiles."""
    rng = np.random.default_rng(5)
    limit = family_threshold(6, 0.05)
    chi, largest = [], []
    for _ in range(2000):
        fit = means([10 + rng.normal(0, 1 + k, 4) for k in range(6)])
        chi.append(fit.probability < 0.05)
        largest.append(np.abs(measurement_test(fit, np.eye(6)).standardised).max() > limit)
    assert 0.03 < np.mean(chi) < 0.09
    assert 0.03 < np.mean(largest) < 0.09


def test_family_keeps_its_level() -> None:
    """Šidák's rule against draws: the largest of 20 passes it 5 times in a hundred."""
    rng = np.random.default_rng(1)
    largest = np.abs(rng.normal(size=(40_000, 20))).max(axis=1)
    assert np.mean(largest > family_threshold(20, 0.05)) == pytest.approx(0.05, abs=0.004)


def test_an_equation_without_error_is_refused() -> None:
    with pytest.raises(ValueError, match=r"equations \[1\] have no uncertainty"):
        reconciled(np.ones(2), np.array([[1.0], [0.0]]), np.zeros((2, 0)))
