"""Spreader settings against weighted least squares of statsmodels and against limits."""

import numpy as np
import pytest
import statsmodels.api as sm

from geosand.planning.setting import fit_setting, settings_for

# openings (setting per m/s) and rates with an offset that a line through the origin can not have
X = np.array([1.0, 1.3, 1.7, 2.0, 2.6, 3.1])
OFFSET = np.array([0.91, 1.03, 1.30, 1.42, 1.71, 2.02])
ORIGIN = np.array([0.52, 0.63, 0.86, 0.98, 1.33, 1.53])


def test_intercept_is_kept_only_where_the_data_support_it():
    assert not fit_setting(X, OFFSET).through_origin
    assert fit_setting(X, ORIGIN).through_origin
    assert fit_setting(X[:2], OFFSET[:2]).through_origin
    assert fit_setting(np.full(5, 2.0), OFFSET[:5]).through_origin


def test_fit_is_that_of_weighted_least_squares():
    found = fit_setting(X, OFFSET)
    witness = sm.WLS(OFFSET, sm.add_constant(X), weights=1 / X**2).fit()
    assert found.intercept_kg_m2 == pytest.approx(witness.params[0])
    assert found.slope == pytest.approx(witness.params[1])
    assert found.scatter == pytest.approx(np.sqrt(witness.scale))
    plain = fit_setting(X, ORIGIN)
    witness = sm.WLS(ORIGIN, X, weights=1 / X**2).fit()
    assert plain.slope == pytest.approx(witness.params[0])
    assert plain.scatter == pytest.approx(np.sqrt(witness.scale))


@pytest.mark.parametrize("rates", [OFFSET, ORIGIN])
def test_interval_ends_where_the_prediction_interval_just_holds_the_rate(rates):
    """The bounds go back through statsmodels' own prediction interval."""
    fit = fit_setting(X, rates)
    asked = np.array([1.2])
    got = settings_for(fit, asked, speed_m_s=2.0)
    assert got.low[0] < got.setting[0] < got.high[0]
    design = (lambda x: sm.add_constant(x, has_constant="add")) if not fit.through_origin else None
    matrix = design(X) if design else X
    model = sm.WLS(rates, matrix, weights=1 / X**2).fit()
    for bound, side in ((got.low[0], "obs_ci_upper"), (got.high[0], "obs_ci_lower")):
        x = np.array([bound / 2.0])
        frame = model.get_prediction(design(x) if design else x, weights=1 / x**2)
        assert frame.summary_frame(alpha=0.05)[side].iloc[0] == pytest.approx(1.2, rel=1e-6)


def test_one_dressing_gives_the_plain_ratio_and_says_so():
    fit = fit_setting(np.array([2.0]), np.array([1.0]))
    got = settings_for(fit, np.array([1.1, 0.0]), speed_m_s=1.5)
    assert got.setting[0] == pytest.approx(2.2 * 1.5)
    assert np.isnan(got.low[0])
    assert np.isnan(got.setting[1])
    assert got.passes.tolist() == [1, 0]
    assert got.why.tolist() == ["", ""]
    assert "plain ratio to the one dressing" in fit.said


def test_what_was_never_tried_is_refused_or_split_into_passes():
    fit = fit_setting(np.array([2.0, 2.0, 2.0]), np.array([1.0, 1.02, 0.98]))
    got = settings_for(fit, np.array([1.2, 1.3, 2.2, 0.5]), speed_m_s=1.0)
    assert got.passes.tolist() == [1, 0, 2, 0]
    assert got.setting[2] == pytest.approx(2.2)
    assert got.why[1] == ("needs 2.6; tried was 2 at this speed, and 25 % beyond is allowed")
    assert np.isnan(got.setting[3])


def test_nothing_tried_gives_no_setting():
    got = settings_for(fit_setting(np.zeros(0), np.zeros(0)), np.array([1.0]), speed_m_s=1.0)
    assert np.isnan(got.setting[0])
    assert got.why[0] == "no past dressing tells the setting"


def test_prediction_intervals_hold_the_truth_as_often_as_they_say():
    """Known truth: 400 spreaders of slope 0.5 and 5 % scatter, five dressings each."""
    random = np.random.default_rng(11)
    held = 0
    for _ in range(400):
        x = random.uniform(1.0, 3.0, 5)
        fit = fit_setting(x, 0.5 * x * (1 + 0.05 * random.standard_normal(5)))
        next_rate = 0.5 * 2.0 * (1 + 0.05 * random.standard_normal())
        got = settings_for(fit, np.array([next_rate]), speed_m_s=1.0, beyond=1.0)
        held += bool(got.low[0] <= 2.0 <= got.high[0])
    assert 0.92 <= held / 400 <= 0.98
