"""The line through rates at several openings: ordinary and generalised least squares as oracles."""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import stats

from geosand.planning.setting import fit_setting
from geosand.planning.setting_line import (
    USUAL,
    Levels,
    RowErrors,
    Within,
    left_open,
    levels_of,
    line_of_differences,
    line_of_levels,
    more_closely,
    within,
)

DRESSING = np.array([0, 0, 0, 2, 2, 5, 7, 7])
OPENING = np.array([2.0, 3.0, 4.0, 2.5, 3.5, 3.0, 2.0, 5.0])
Z = 1 / OPENING


def rows(seed: int, scatter: float = 1.0) -> tuple[np.ndarray, RowErrors]:
    """Rates over openings of a line 0.3 + 0.4·z, dressings off by 8 %, rows by their errors."""
    rng = np.random.default_rng(seed)
    root = rng.normal(0, 0.004, (8, 8)) + np.diag(rng.uniform(0.01, 0.03, 8))
    covariance = root @ root.T
    own = (scatter * root) @ rng.standard_normal(8)
    level = rng.normal(0, 0.03, 8)[DRESSING]
    errors = RowErrors(DRESSING, covariance, rng.uniform(2, 9, 8))
    return 0.3 + 0.4 * Z + level + own, errors


def least_squares(q: np.ndarray, errors: RowErrors) -> sm.regression.linear_model.RegressionResults:
    """A level for each dressing and one slope over z (statsmodels, generalised least squares)."""
    levels = (DRESSING[:, None] == np.unique(DRESSING)).astype(float)
    return sm.GLS(q, np.column_stack([levels, Z]), sigma=errors.covariance).fit()


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("scatter", [0.3, 1.0, 4.0])
def test_differences_within_dressings_are_generalised_least_squares(
    seed: int, scatter: float
) -> None:
    q, errors = rows(seed, scatter)
    found, oracle = within(Z, q, errors), least_squares(q, errors)
    assert found.intercept == pytest.approx(oracle.params[-1], rel=1e-8)
    # rows that scatter more than their errors allow: the variance is as much larger (Birge)
    variance = oracle.normalized_cov_params[-1, -1] * max(1.0, oracle.scale)
    assert 1 / found.information == pytest.approx(variance, rel=1e-8)


def test_both_sides_of_birges_ratio_are_tried() -> None:
    scales = [least_squares(*rows(seed, s)).scale for seed in range(6) for s in (0.3, 1.0, 4.0)]
    assert min(scales) < 1 < max(scales)


def test_degrees_of_freedom_are_those_of_welch_and_satterthwaite() -> None:
    q, errors = rows(1, 0.3)
    inverse = np.linalg.inv(errors.covariance)
    levels = (DRESSING[:, None] == np.unique(DRESSING)).astype(float)
    design = np.column_stack([levels, Z])
    weights = (np.linalg.inv(design.T @ inverse @ design) @ design.T @ inverse)[-1]
    parts = weights**2 * np.diag(errors.covariance)
    expected = parts.sum() ** 2 / (parts**2 / errors.freedom).sum()
    assert within(Z, q, errors).freedom == pytest.approx(expected, rel=1e-8)


def test_rows_at_one_opening_tell_nothing_of_the_intercept() -> None:
    q, errors = rows(2)
    assert within(np.full(8, 0.4), q, errors) == Within(0.0, 0.0, 0.0)
    alone = RowErrors(np.arange(8), errors.covariance, errors.freedom)
    assert within(Z, q, alone) == Within(0.0, 0.0, 0.0)


def test_a_level_is_the_mean_of_its_rows_by_their_variances() -> None:
    q, errors = rows(3)
    level = levels_of(Z, q, errors)
    for k, d in enumerate((0, 2, 5, 7)):
        mine = d == DRESSING
        weights = 1 / np.diag(errors.covariance)[mine]
        assert level.z[k] == pytest.approx(np.average(Z[mine], weights=weights), rel=1e-12)
        assert level.q[k] == pytest.approx(np.average(q[mine], weights=weights), rel=1e-12)


def test_levels_lie_about_an_ordinary_line() -> None:
    level = Levels(Z[:5], np.array([0.52, 0.41, 0.42, 0.46, 0.40]))
    line, oracle = line_of_levels(level), stats.linregress(level.z, level.q)
    assert line.intercept == pytest.approx(oracle.slope, rel=1e-12)
    assert line.u == pytest.approx(oracle.stderr, rel=1e-12)
    assert line.at_origin == pytest.approx(oracle.intercept, rel=1e-12)
    assert (line.freedom, line.freedom_of_scatter) == (3, 3)
    assert line.half_width == pytest.approx(stats.t.ppf(0.975, 3) * oracle.stderr, rel=1e-9)
    left = level.q - oracle.intercept - oracle.slope * level.z
    assert line.scatter == pytest.approx(np.sqrt((left**2).sum() / 3), rel=1e-12)


def test_levels_scatter_about_the_line_of_differences() -> None:
    """Its intercept is known from elsewhere, so that only the slope is taken from the levels."""
    level = Levels(Z[:5], np.array([0.52, 0.41, 0.42, 0.46, 0.40]))
    line = line_of_differences(level, Within(intercept=0.5, information=400.0, freedom=6.0))
    left = level.q - 0.5 * level.z
    assert line.scatter == pytest.approx(np.std(left, ddof=1), rel=1e-12)
    assert (line.u, line.freedom, line.freedom_of_scatter) == (pytest.approx(0.05), 6.0, 4)
    assert line.at_origin == pytest.approx(left.mean(), rel=1e-12)
    plain = line_of_levels(level)
    assert line_of_differences(level, Within(0.0, 0.0, 0.0)) == plain
    # the one whose interval is the narrower
    narrow = min(line, plain, key=lambda one: stats.t.ppf(0.975, one.freedom) * one.u)
    assert more_closely(plain, line) == more_closely(line, plain) == narrow


def test_what_differences_leave_open_is_their_share_of_all_that_is_known() -> None:
    """Least squares of three observations of the intercept, by NumPy: u of the first one's part."""
    level = Levels(np.array([0.2, 0.4, 0.5]), np.array([0.40, 0.45, 0.41]))
    information, scatter = 250.0, 0.03
    u_levels = scatter / np.sqrt(((level.z - level.z.mean()) ** 2).sum())
    u_usual = USUAL * level.q.mean() / level.z.mean()
    for spread, u_known in ((scatter, [u_levels, u_usual]), (np.nan, [u_usual])):
        u = np.array([1 / np.sqrt(information), *u_known])
        share = np.linalg.pinv(1 / u[:, None])[0, 0] / u[0]
        found = left_open(level, Within(0.1, information, 5.0), spread)
        assert found == pytest.approx(share * u[0], rel=1e-12)


def test_an_intercept_that_is_not_kept_stays_open() -> None:
    """Rows of one dressing that hint at an intercept too weakly to keep it."""
    opening, freedom = np.array([2.0, 3.0, 2.5, 2.6]), np.full(4, 3.0)
    errors = RowErrors(np.array([0, 0, 1, 2]), np.diag([0.1, 0.1, 0.1, 0.1]) ** 2, freedom)
    fit = fit_setting(opening, 0.4 * opening, errors)
    assert fit.through_origin
    assert fit.u_intercept_kg_m2 > 0
    alone = RowErrors(np.arange(4), errors.covariance, freedom)
    assert fit_setting(opening, 0.4 * opening, alone).u_intercept_kg_m2 == 0
