"""Student t and normal distributions against printed tables, closed forms and SciPy."""

import numpy as np
import pytest
from scipy import stats

from geosand.distributions import (
    coverage_factor,
    normal_probability,
    normal_quantile,
    student_probability,
    student_quantile,
)

# NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.2, critical values of Student's t
DEGREES = np.array([1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 12, 15, 20, 30, 60])
COLUMN_0975 = np.array(
    [
        *(12.706, 4.303, 3.182, 2.776, 2.571, 2.447, 2.365, 2.306),
        *(2.262, 2.228, 2.179, 2.131, 2.086, 2.042, 2.000),
    ]
)
COLUMN_095 = {1: 6.314, 2: 2.920, 3: 2.353, 4: 2.132, 5: 2.015, 9: 1.833}
COLUMN_0995 = {1: 63.657, 2: 9.925, 3: 5.841, 4: 4.604, 5: 4.032, 9: 3.250}

# from one degree of freedom to practically infinitely many
REAL_DEGREES = np.array([1, 1.3, 2, 2.5, 3, 5.5, 9, 16, 27.7, 100, 1234.5, 1e5])


def test_printed_table_of_two_sided_95_percent():
    assert student_quantile(0.975, DEGREES) == pytest.approx(COLUMN_0975, abs=5e-4)


@pytest.mark.parametrize(("p", "column"), [(0.95, COLUMN_095), (0.995, COLUMN_0995)])
def test_other_columns_of_the_printed_table(p, column):
    found = student_quantile(p, list(column))
    assert found == pytest.approx(list(column.values()), abs=5.1e-4)


# JCGM 100:2008 (GUM), Table G.2: fraction p between −t and t
@pytest.mark.parametrize(
    ("p", "df", "t"), [(0.6827, 1, 1.84), (0.95, 1, 12.71), (0.9973, 5, 5.51), (0.90, 20, 1.72)]
)
def test_table_g2_of_the_gum(p, df, t):
    assert student_quantile((1 + p) / 2, df) == pytest.approx(t, abs=0.005)


def test_closed_forms_of_one_and_two_degrees_of_freedom():
    p = np.array([1e-30, 1e-9, 0.01, 0.2, 0.499, 0.5, 0.6, 0.975, 0.99975])
    cauchy = np.where(p < 0.5, -1 / np.tan(np.pi * p), np.tan(np.pi * (p - 0.5)))
    assert student_quantile(p, 1) == pytest.approx(cauchy, rel=1e-9, abs=1e-15)
    two = (2 * p - 1) / np.sqrt(2 * p * (1 - p))
    assert student_quantile(p, 2) == pytest.approx(two, rel=1e-10, abs=1e-15)


def test_quantile_agrees_with_scipy():
    central = np.concatenate([np.linspace(0.01, 0.99, 99), [0.995, 0.999, 0.9995]])
    p = (1 + central[:, None]) / 2
    found = student_quantile(p, REAL_DEGREES)
    assert found == pytest.approx(stats.t.ppf(p, REAL_DEGREES), rel=1e-9)
    assert student_quantile(1 - p, REAL_DEGREES) == pytest.approx(-found, rel=1e-9)


def test_quantile_below_one_degree_of_freedom_is_still_useful():
    p = np.array([0.6, 0.9, 0.975])
    assert student_quantile(p, 0.5) == pytest.approx(stats.t.ppf(p, 0.5), rel=1e-6)


def test_probability_agrees_with_scipy_also_far_out():
    t = np.array([-300, -40, -8, -2.0001, -2, -1.9999, -0.3, 0, 0.01, 0.7, 2, 5])[:, None]
    expected = stats.t.cdf(t, REAL_DEGREES)
    seen = expected > 1e-300
    found = student_probability(t, REAL_DEGREES)
    assert found[seen] == pytest.approx(expected[seen], rel=1e-9)


def test_normal_agrees_with_scipy():
    z = np.linspace(-30, 8, 191)
    assert normal_probability(z) == pytest.approx(stats.norm.cdf(z), rel=1e-10)
    p = np.concatenate([np.logspace(-200, -1, 100), np.linspace(0.1, 0.99999, 50)])
    assert normal_quantile(p) == pytest.approx(stats.norm.ppf(p), rel=1e-11)
    # 1.96 stands in every table; more digits from memory
    assert normal_quantile(0.975) == pytest.approx(1.959963984540054, rel=1e-13)


def test_quantile_and_probability_undo_each_other():
    rng = np.random.default_rng(11)
    # the lower tail: 1 − 1e-10 has lost digits that 1e-10 has
    t, df = -np.abs(rng.standard_t(3, 500)), rng.uniform(1, 80, 500)
    assert student_quantile(student_probability(t, df), df) == pytest.approx(t, rel=1e-9)


def test_many_degrees_of_freedom_become_normal():
    p = np.array([0.6, 0.9, 0.999])
    z = normal_quantile(p)
    # leading term of the difference: Abramowitz & Stegun 26.7.5, (z³ + z)/(4ν)
    assert student_quantile(p, 1e6) - z == pytest.approx((z**3 + z) / 4e6, rel=1e-3)
    assert student_quantile(p, np.inf) == pytest.approx(z, rel=1e-15)


def test_ends_and_missing_values():
    with np.errstate(all="raise", under="ignore"):
        ends = student_quantile([0, 1, 0.5, np.nan], [[1.0], [0.3], [np.inf], [np.nan]])
        far = student_probability([-np.inf, np.inf, -1e300], [[1.0], [np.inf]])
    assert ends[:3, 0].tolist() == [-np.inf] * 3
    assert ends[:3, 1].tolist() == [np.inf] * 3
    assert ends[:3, 2].tolist() == [0] * 3
    assert np.isnan(ends[:3, 3]).all()
    assert np.isnan(ends[3]).all()
    assert far == pytest.approx(np.array([[0, 1, 0], [0, 1, 0]]), abs=1e-140)


def test_near_the_middle_no_digits_are_lost():
    # density of one degree of freedom at 0 is 1/π
    assert student_probability(1e-9, 1) - 0.5 == pytest.approx(1e-9 / np.pi, abs=1e-16)
    assert student_quantile(0.5 + 2**-40, 1) == pytest.approx(np.pi * 2**-40, rel=1e-9)


def test_scalars_and_shapes():
    assert student_quantile(0.975, 10).shape == ()
    assert student_quantile(np.full((2, 1), 0.9), np.ones(3)).shape == (2, 3)
    assert student_probability([], 3.0).shape == (0,)


@pytest.mark.parametrize(
    ("coverage", "rel"), [(0.5, 1e-13), (0.9, 1e-13), (0.95, 1e-13), (0.99, 1e-13), (0.999, 1e-12)]
)
def test_coverage_factor_is_the_quantile(coverage: float, rel: float) -> None:
    # at, between and beside the ends of its polynomials, which are eighths of 1/ν
    ends = 8 / np.arange(1, 9)
    nu = np.concatenate(
        [ends, ends * (1 + 1e-9), 1 / np.linspace(1e-12, 1, 3001), [1, 1e16, np.inf]]
    )
    exact = student_quantile(0.5 + coverage / 2, nu)
    np.testing.assert_allclose(coverage_factor(coverage, nu), exact, rtol=2e-13)
    assert stats.t.ppf(0.5 + coverage / 2, nu) == pytest.approx(exact, rel=1e-9)
    assert np.isnan(coverage_factor(coverage, np.array([[3.0, np.nan]]))).tolist() == [
        [False, True]
    ]


def test_a_row_does_not_depend_on_the_others() -> None:
    """Bit by bit: neither how many sums run beside it nor when their search ends."""
    rng = np.random.default_rng(4)
    nu, p, t = rng.uniform(0.5, 40, 60), rng.uniform(0.001, 0.999, 60), rng.uniform(-5, 5, 60)
    for rows in (slice(0, 1), slice(7, 9), slice(20, 45)):
        some = np.s_[rows]
        assert (student_quantile(p[some], nu[some]) == student_quantile(p, nu)[some]).all()
        assert (student_probability(t[some], nu[some]) == student_probability(t, nu)[some]).all()
        larger = np.maximum(nu, 1)
        alone = coverage_factor(0.95, larger[some])
        assert (alone == coverage_factor(0.95, larger)[some]).all()
    alike = np.full(3, 7.5)
    expected = student_probability(t[0], np.array([7.5, 3.0]))[0]
    assert (student_probability(t[0], alike) == expected).all()


def test_refusals_name_what_was_found():
    with pytest.raises(ValueError, match=r"probability: found 97\.5; allowed is 0 to 1"):
        student_quantile(97.5, 3)
    with pytest.raises(ValueError, match=r"degrees of freedom: found 0; they must be above 0"):
        student_probability(1.0, [3, 0])


@pytest.mark.parametrize(
    ("cv_percent", "half_percent", "catches"),
    [(15, 10, 12), (20, 10, 18), (25, 10, 27), (30, 10, 38), (38.6, 10, 60), (20, 5, 64)],
)
def test_catches_for_a_mean_to_a_relative_half_width(
    cv_percent: float, half_percent: float, catches: int
) -> None:
    """Smallest n with t(0.975, n - 1)·CV/√n at most E, from the table of Student's t above.

    The rule with 1.96 in place of t is two or three catches short.
    """
    n = np.arange(2, 200)
    half = student_quantile(0.975, n - 1.0) * cv_percent / np.sqrt(n)
    assert int(n[half <= half_percent][0]) == catches
    plain = int(np.ceil((1.959964 * cv_percent / half_percent) ** 2))
    assert catches - plain in (2, 3)
