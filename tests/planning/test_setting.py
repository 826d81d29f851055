"""Spreader settings against weighted least squares of statsmodels and against limits."""

from dataclasses import replace

import numpy as np
import pytest
import statsmodels.api as sm

from geosand.planning.choosing import Request, chosen_surfaces
from geosand.planning.dressing import next_dressing
from geosand.planning.setting import fit_setting, settings_for
from geosand.planning.tried_settings import as_numbers, site_setting
from tests.sites import CATCHES

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
    for rates in (OFFSET, OFFSET - 0.7):  # sand that falls when shut, or only from some opening on
        found = fit_setting(X, rates)
        witness = sm.WLS(rates, sm.add_constant(X), weights=1 / X**2).fit()
        assert abs(witness.tvalues[0]) > 5
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


def test_without_an_upper_bound_surfaces_that_get_nothing_divide_by_nothing():
    fit = fit_setting(np.array([1.0, 2.0]), np.array([0.4, 2.4]))  # the slope may be zero
    with np.errstate(all="raise"):
        got = settings_for(fit, np.array([1.0, 0.0]), speed_m_s=1.0)
    assert 0 < got.low[0] < got.setting[0]
    assert got.high[0] == np.inf
    assert np.isnan([got.setting[1], got.low[1], got.high[1]]).all()


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


def test_prediction_intervals_of_a_line_with_an_intercept_hold_too():
    """Known truth: rate = 0.6 + 0.45·x, 4 % scatter, eight dressings; the intercept is found."""
    random = np.random.default_rng(12)
    held, kept, tried = 0, 0, 400
    for _ in range(tried):
        x = random.uniform(1.0, 4.0, 8)
        rate = (0.6 + 0.45 * x) * (1 + 0.04 * random.standard_normal(8))
        fit = fit_setting(x, rate)
        kept += not fit.through_origin
        wanted = (0.6 + 0.45 * 2.5) * (1 + 0.04 * random.standard_normal())
        got = settings_for(fit, np.array([wanted]), speed_m_s=1.0, beyond=1.0)
        held += bool(got.low[0] <= 2.5 <= got.high[0])
    assert kept / tried > 0.95
    assert held / tried >= 0.92


def test_scatter_share_is_what_a_further_dressing_does():
    fit = fit_setting(X, ORIGIN)
    q = ORIGIN / X
    half = 2.5706 * q.std(ddof=1) * np.sqrt(1 + 1 / 6)  # t of 97.5 %, 5 degrees (tables, memory)
    assert fit.scatter_share == pytest.approx(half / q.mean(), rel=1e-4)
    assert np.isnan(fit_setting(X[:1], ORIGIN[:1]).scatter_share)


def test_an_intercept_is_not_kept_where_more_opening_would_give_less_sand():
    """2.5 − 0.4·x within 0.01: the intercept is beyond doubt, and no setting can be read off it."""
    off = np.array([0.01, -0.01, 0.01, -0.01, 0.005, -0.005])
    fit = fit_setting(X, 2.5 - 0.4 * X + off)
    assert fit.through_origin and not fit.rises
    assert fit.slope > 0
    assert "higher settings did not give more sand so far" in fit.said


def test_scatter_share_of_a_line_with_an_intercept_is_of_the_mean_rate():
    """Rate over opening against 1/opening: a least squares line goes through the means of both."""
    fit = fit_setting(X, OFFSET)
    q = OFFSET / X
    left = np.polyfit(1 / X, q, 1, full=True)[1][0]
    half = (
        2.7764 * np.sqrt(left / 4) * np.sqrt(1 + 1 / 6)
    )  # t of 97.5 %, 4 degrees (tables, memory)
    assert fit.scatter_share == pytest.approx(half / q.mean(), rel=1e-4)


def test_extrapolation_stops_at_the_stated_share():
    fit = fit_setting(np.array([2.0, 3.0]), np.array([1.0, 1.5]))
    rates = np.array([0.5 * 3.0 * 1.249, 0.5 * 3.0 * 1.251, 0.5 * 2.0 * 0.751, 0.5 * 2.0 * 0.749])
    got = settings_for(fit, rates, speed_m_s=1.0)
    assert (got.passes > 0).tolist() == [True, True, True, False]
    assert got.passes.tolist()[:3] == [1, 2, 1]
    narrow = settings_for(fit, rates, speed_m_s=1.0, beyond=0.0)
    assert (narrow.passes == 1).tolist() == [False] * 4


@pytest.mark.parametrize(
    ("texts", "numbers", "words"),
    [
        (["3", "3,5", " 4.25 "], [3, 3.5, 4.25], ("", "")),
        (["gate 3", "Gate  4", "gate 5 "], [3, 4, 5], ("gate ", "")),
        (["3 notches", "4 notches"], [3, 4], ("", " notches")),
        (["3", "gate 4"], [np.nan, 4], ("gate ", "")),  # as the newest is written
        (["wide open", "C", ""], [np.nan] * 3, ("", "")),
        (["2-3", "1/2", "-3", "1e3"], [np.nan] * 4, ("", "")),
    ],
)
def test_numbers_in_settings(texts, numbers, words):
    found, around = as_numbers(np.array(texts), np.ones(len(texts), dtype=bool))
    np.testing.assert_array_equal(found, numbers)
    assert around == words


COLUMNS = "dressing,date,surfaces,planned_depth_mm,setting,speed_kmh"


def fitted(worked, name, rows, columns=COLUMNS, **asked):
    dressings = columns + "\n" + "".join(row + "\n" for row in rows)
    ids = [row.split(",")[0] for row in rows]
    catches = [c | {"catch": f"{d}{c['catch']}", "dressing": d} for d in ids for c in CATCHES]
    loads = "load,dressing,count,unit_mass_kg\n" + "".join(f"L{d},{d},52,25\n" for d in ids)
    results = worked(name, dressings=dressings, catches=catches, loads=loads)
    day = np.datetime64("2026-11-01")
    past = results.site, results.areas, results.rates
    return site_setting(*past, spreader="", sand=0, as_of=day, **asked)


def test_settings_that_are_words_are_listed_with_what_they_gave(worked):
    rows = ["D1,2026-04-10,green,0.6,C,5", "D2,2026-04-20,green,0.6,C,5"]
    fit = fitted(worked, "words", [*rows, "D3,2026-04-30,green,0.6,wide open,"])
    assert len(fit.tried) == 0
    assert [(one.setting, one.dressings) for one in fit.by_word] == [("C", 2), ("wide open", 1)]
    assert fit.by_word[0].speed_m_s == pytest.approx(5 / 3.6)
    assert fit.by_word[0].rate_kg_m2 == pytest.approx(0.91, abs=0.02)
    assert np.isnan(fit.by_word[1].speed_m_s)
    assert fit.left_out == ()


def test_numbers_with_the_same_words_are_fitted(worked):
    rows = ["D1,2026-04-10,green,0.6,gate 3,5", "D2,2026-04-20,green,0.6,gate 3,6"]
    fit = fitted(worked, "gates", rows)
    assert fit.words == ("gate ", "")
    np.testing.assert_allclose(fit.tried, [3 * 3.6 / 5, 3 * 3.6 / 6])


@pytest.mark.parametrize("rates", [[1.6, 1.2, 1.0, 0.8], [1.0, 1.0, 1.0, 1.0]])
def test_a_scale_that_does_not_open_with_its_numbers_is_not_read_upside_down(rates):
    """Settings 3 to 6 gave less and less, or the same: 1.4 kg/m² is no case for a higher one."""
    fit = fit_setting(np.array([3.0, 4.0, 5.0, 6.0]), np.array(rates))
    found = settings_for(fit, np.array([1.4, 0.0]), speed_m_s=1.0)
    assert np.isnan(found.setting).all()
    assert found.why.tolist() == [fit.said, ""]
    assert fit.said.startswith("higher settings did not give more sand so far")
    assert np.isnan(fit.scatter_share)
    # openings within a quarter of each other: scatter alone can turn them round
    near = fit_setting(np.array([3.0, 3.3]), np.array([1.0, 0.98]))
    assert settings_for(near, np.array([1.0]), speed_m_s=1.0).passes[0] == 1


def test_a_scale_that_opens_is_seldom_taken_for_one_that_does_not():
    """A crew off by 8 % at settings 3, 4 and 5 of a spreader that gives sand as it opens."""
    random = np.random.default_rng(11)
    opening = np.array([3.0, 4.0, 5.0])
    rates = 0.3 * opening * (1 + 0.08 * random.standard_normal((500, 3)))
    assert sum(not fit_setting(opening, rate).rises for rate in rates) <= 1


def test_too_much_even_where_it_is_shut_needs_no_setting_below_zero():
    fit = fit_setting(np.array([2.0, 3.0, 4.0, 5.0]), np.array([1.8, 2.0, 2.2, 2.4]))
    found = settings_for(fit, np.array([1.0]), speed_m_s=1.0)
    assert (found.needed[0], found.passes[0]) == (0.0, 0)
    assert found.why[0].startswith("needs 0; tried were 2 to 5")


def test_without_any_speed_it_is_taken_as_the_same_each_time(worked):
    rows = ["D1,2026-04-10,green,0.6,3,", "D2,2026-04-20,green,0.6,3.5,"]
    fit = fitted(worked, "still", rows)
    assert not fit.speeds_said
    assert fit.tried.tolist() == [3.0, 3.5]
    assert "no speed is on record: taken as the same each time" in fit.said
    mixed = fitted(worked, "mixed", [*rows, "D3,2026-04-30,green,0.6,4,5"])
    assert mixed.tried.tolist() == [4 * 3.6 / 5]
    assert mixed.left_out == ("D1, D2 are not used: their speeds are not said",)
    rows = [row.replace("D", "") for row in (*rows, "D3,2026-04-30,green,0.6,4,5")]
    bare = fitted(worked, "bare", rows)
    assert bare.left_out == ("dressings 1, 2 are not used: their speeds are not said",)


def test_a_plan_without_any_speed_tells_the_setting_that_gave_as_much(worked):
    head = "dressing,date,surfaces,planned_depth_mm,setting\n"
    results = worked(dressings=f"{head}D1,2026-04-10,green,0.6,3\n")
    row = chosen_surfaces(results.site, results.ledger, ["green"])
    area = results.areas.area_m2[row]
    mean = (results.rates.rate.value * area).sum() / area.sum()
    depth = mean / results.rates.density.value[0]
    asked = Request(row=row, sand=0, spreader="", depth_m=depth, assurance=0.9)
    plan = next_dressing(results.balance, results.ledger, asked)
    assert np.isnan(plan.speed_m_s)
    assert plan.settings.setting == pytest.approx([3.0, 3.0], rel=0.02)


def test_a_setting_that_was_never_set_is_refused_though_its_opening_was(worked):
    """Setting 3 at 6 km/h is as open as 6 at 12 km/h, and nobody has ever set 6."""
    fit = fitted(worked, "once", ["D1,2026-04-10,green,0.6,3,6", "D2,2026-04-20,green,0.6,3,6"])
    same = np.array([fit.slope * fit.tried[0]])
    assert settings_for(fit, same, speed_m_s=6 / 3.6).setting[0] == pytest.approx(3.0)
    fast = settings_for(fit, same, speed_m_s=12 / 3.6)
    assert np.isnan(fast.setting[0])
    assert fast.why[0] == "needs 6; tried was 3 at other speeds, and 25 % beyond is allowed"
    near = settings_for(fit, same, speed_m_s=7.4 / 3.6)
    assert near.setting[0] == pytest.approx(3.7)
    # twice over, each time half as much: opening and setting must both be within reach
    twice = settings_for(fit, 2 * same, speed_m_s=6 / 3.6)
    assert (twice.setting[0], twice.passes[0]) == (pytest.approx(3.0), 2)


def test_half_the_swath_takes_half_the_setting(worked):
    """What runs out lies on half the ground: 3 on 6 m and 1.5 on 3 m gave the same rate."""
    rows = ["D1,2026-04-10,green,0.6,3,6,6", "D2,2026-04-20,green,0.6,1.5,6,3"]
    for swath, setting in ((6.0, 3.0), (3.0, 1.5)):
        fit = fitted(worked, f"lanes{swath:.0f}", rows, f"{COLUMNS},swath_m", swath_m=swath)
        assert fit.scatter == pytest.approx(0.0, abs=1e-9)
        again = settings_for(fit, fit.slope * fit.tried[:1], speed_m_s=6 / 3.6)
        assert again.setting[0] == pytest.approx(setting)
    # one without a swath is taken as driven at the one that is planned
    some = ["D1,2026-04-10,green,0.6,3,6,", "D2,2026-04-20,green,0.6,3,6,6"]
    fit = fitted(worked, "some", some, f"{COLUMNS},swath_m", swath_m=6.0)
    np.testing.assert_allclose(fit.tried, [3 * 3.6 / 6] * 2)


def test_an_interval_holds_its_setting_however_little_is_told():
    """Where the intercept is told so badly that no sand at all would fit, 0 is the lower limit."""
    fit = fit_setting(X, ORIGIN)
    rates = fit.slope * np.linspace(1.0, 3.0, 9)
    for u in (0.0, 0.01, 0.03, 0.05, 0.07, 0.1, 0.2, 1.0):
        loose = replace(fit, u_intercept_kg_m2=u, freedom_of_intercept=1.0, middle=1 / X.mean())
        found = settings_for(loose, rates, speed_m_s=2.0)
        assert (found.low >= 0).all()
        assert (found.low <= found.setting).all()
        assert (found.setting <= found.high).all()
    assert not found.low.any()
