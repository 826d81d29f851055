"""Surface rates by random effects: published data, matrix BLUP, REML, limits and simulation."""

import numpy as np
import pytest

from geosand.distributions import student_quantile
from geosand.rates.groups import group_mean_sd
from tests.rates.by_catch import surface_rates

# Yields of six batches of an intermediate of dyestuff: Davies 1947, as in Box & Tiao 1973 and in
# data set Dyestuff of the R package lme4 (data read in several public copies).
DYESTUFF = np.array(
    [
        [1545, 1440, 1440, 1520, 1580],
        [1540, 1555, 1490, 1560, 1495],
        [1595, 1550, 1605, 1510, 1560],
        [1445, 1440, 1595, 1465, 1545],
        [1595, 1630, 1515, 1635, 1625],
        [1520, 1455, 1450, 1480, 1445],
    ],
    float,
)


def rates_of(dressings, dressed=None, spreader=None, **options):
    """Surface rates of dressings given as {surface: catches}; ``dressed`` adds other surfaces."""
    dressed = dressed or [sorted(d) for d in dressings]
    rows = [(g, s, y) for g, d in enumerate(dressings) for s, c in d.items() for y in c]
    return surface_rates(
        y=np.array([r[2] for r in rows], float),
        group=np.array([r[0] for r in rows], int),
        surface=np.array([r[1] for r in rows], int),
        spreader=np.array([-1] * len(dressings) if spreader is None else spreader, int),
        dressed_group=np.repeat(np.arange(len(dressed)), [len(d) for d in dressed]),
        dressed_surface=np.array([s for d in dressed for s in d], int),
        **options,
    )


def test_dyestuff_with_no_prior_is_the_analysis_of_variance():
    found = rates_of([dict(enumerate(DYESTUFF))], weight=0)
    d = found.dressings
    # REML in lme4: 1764.05, 2451.25 and mean 1527.5 (balanced, so equal to ANOVA); read in a public
    # test that quotes lme4
    assert d.sigma_b[0] ** 2 == pytest.approx(1764.05, abs=0.005)
    assert d.sigma_e[0] ** 2 == pytest.approx(2451.25, abs=0.005)
    assert d.mu[0] == pytest.approx(1527.5, abs=1e-9)
    # standard error of the mean and batch effects in lme4's documentation: from memory
    assert d.u_mu[0] == pytest.approx(19.38, abs=0.005)
    effects = [-17.60685, 0.39126, 28.56223, -23.08454, 56.73319, -44.99529]
    # lme4 iterates, so its last digits are its own: the ratio of variances to 1e-5
    assert found.value - 1527.5 == pytest.approx(effects, rel=1e-4)


def test_default_rule_worked_by_hand():
    # means 1.1 and 0.8, so d² = (0.08·0.95)² = 0.005776; SSW 0.02 on 2 degrees of freedom:
    # σe² = (0.011552 + 0.02)/4; σb² = (0.011552 + 0.045 − 0.5·0.007888)/3
    d = rates_of([{0: [1.0, 1.2], 1: [0.8, 0.8]}], dressed=[[0, 1, 2]]).dressings
    assert d.sigma_e[0] ** 2 == pytest.approx(0.007888, rel=1e-9)
    assert d.sigma_b[0] ** 2 == pytest.approx(0.052608 / 3, rel=1e-9)
    assert (d.degrees_of_freedom[0], d.surfaces_caught[0], d.catches[0]) == (3, 2, 4)
    assert d.freedom_e[0] == 4
    assert not d.inseparable[0]
    assert not d.pooled[0]


def test_one_catch_on_each_surface_can_not_tell_the_two_apart():
    # mean 1, d² = 0.0064, variance 0.04: (2·0.0064 + 2·¾·0.04)/4
    found = rates_of([{0: [1.0], 1: [0.8], 2: [1.2]}, {0: [1.0]}], dressed=[[0, 1, 2], [0, 1]])
    d = found.dressings
    assert d.inseparable.tolist() == [True, False]
    assert d.sigma_b**2 == pytest.approx([0.0182, 0.0064], rel=1e-12)
    assert d.sigma_e**2 == pytest.approx([0.0182, 0.0064], rel=1e-12)
    # with equal components each catch counts for half
    assert found.weight == pytest.approx([0.5, 0.5, 0.5, 0.5, 0.0])
    assert found.value == pytest.approx([1.0, 0.9, 1.1, 1.0, 1.0])


def test_other_dressings_of_the_spreader_replace_the_default():
    told = {0: [1.0, 1.2], 1: [0.8, 0.8]}  # as above: σ̂e² 0.007888, ȳ 0.95
    single = {0: [2.0]}
    d = rates_of([single, told, single, single], spreader=[7, 7, -1, 3]).dressings
    assert d.pooled.tolist() == [True, False, False, False]
    # (0.0128 + 0.02/0.9025)/4 and (0.0128 + 0.041056/0.9025)/3, times the mean 2 squared
    assert d.sigma_e[0] ** 2 == pytest.approx(4 * 0.0087401662, rel=1e-7)
    assert d.sigma_b[0] ** 2 == pytest.approx(4 * 0.0194304709, rel=1e-7)
    assert d.sigma_e[2:] == pytest.approx(0.16)
    assert d.sigma_b[2:] == pytest.approx(0.16)
    # a dressing whose spreader has no other tells itself nothing, and single catches tell nothing
    alone = rates_of([told]).dressings
    assert d.sigma_e[1] == pytest.approx(alone.sigma_e[0], rel=1e-14)
    assert d.sigma_b[1] == pytest.approx(alone.sigma_b[0], rel=1e-14)


def test_others_with_one_catch_a_surface_count_three_quarters_to_both():
    # variance 0.04 about mean 1 on 2 degrees of freedom: prior² = (0.0128 + 2·0.03)/4 for both
    others = {0: [1.0], 1: [0.8], 2: [1.2]}
    d = rates_of([{0: [1.0]}, others], spreader=[0, 0]).dressings
    assert d.sigma_e[0] ** 2 == pytest.approx(0.0182, rel=1e-12)
    assert d.sigma_b[0] ** 2 == pytest.approx(0.0182, rel=1e-12)


def test_others_count_for_eight_degrees_of_freedom_at_most():
    quiet = {0: [1.0] * 11}  # 10 degrees of freedom, no scatter
    own = {0: [1.1, 0.9], 1: [1.1, 0.9]}  # SSW 0.04 on 2, mean 1
    d = rates_of([own] + [quiet] * 10, spreader=[0] * 11).dressings
    assert d.sigma_e[0] ** 2 == pytest.approx((8 * 0.0128 / 102 + 0.04) / 10, rel=1e-12)
    assert d.freedom_e[0] == 10
    freer = rates_of([own] + [quiet] * 10, spreader=[0] * 11, cap=1000).dressings
    assert freer.sigma_e[0] ** 2 == pytest.approx((0.0128 + 0.04) / 104, rel=1e-12)


def test_pooling_brings_the_components_nearer_the_truth():
    rng = np.random.default_rng(2)
    seasons, each = 150, 6
    y = 1 + 0.20 * rng.normal(size=(seasons * each, 3, 1))
    y = y + 0.20 * rng.normal(size=(seasons * each, 3, 2))
    dressings = [dict(enumerate(site)) for site in y]
    alone = rates_of(dressings).dressings
    pooled = rates_of(dressings, spreader=np.repeat(np.arange(seasons), each)).dressings
    for name in ("sigma_e", "sigma_b"):
        error = [np.sqrt(np.mean((getattr(d, name) - 0.20) ** 2)) for d in (alone, pooled)]
        assert error[1] < 0.8 * error[0]


def test_prediction_and_covariance_agree_with_hendersons_equations():
    catches = {0: [1.1, 0.9, 1.3], 2: [0.7], 3: [1.0, 1.2], 5: [0.8, 0.5, 0.9, 0.9, 0.6]}
    dressed = [0, 1, 2, 3, 4, 5]
    found = rates_of([catches], dressed=[dressed])
    b, e = found.dressings.sigma_b[0] ** 2, found.dressings.sigma_e[0] ** 2
    z = np.array([[s == d for d in dressed] for s, c in catches.items() for _ in c], float)
    y = np.array([v for c in catches.values() for v in c])
    design = np.column_stack([np.ones(len(y)), z])
    left = design.T @ design / e + np.diag([0] + [1 / b] * 6)
    covariance = np.linalg.inv(left)
    solution = covariance @ design.T @ y / e
    pick = np.column_stack([np.ones(6), np.eye(6)])
    assert found.value == pytest.approx(pick @ solution, rel=1e-12)
    assert found.dressings.u_mu[0] ** 2 == pytest.approx(covariance[0, 0], rel=1e-12)
    expected = pick @ covariance @ pick.T
    own = np.diag(found.persistent**2 + found.within**2)
    assert own + np.outer(found.mean_effect, found.mean_effect) == pytest.approx(expected)


def test_parts_join_to_the_variance_of_the_prediction():
    found = rates_of([{0: [1.1, 0.9, 1.3], 1: [0.7], 2: [1.2, 1.0]}], dressed=[[0, 1, 2, 3]])
    variance = (1 - found.weight) * found.dressings.sigma_b[0] ** 2
    assert found.persistent**2 + found.within**2 == pytest.approx(variance, rel=1e-12)
    assert found.within[3] == 0
    assert found.persistent[3] == pytest.approx(found.dressings.sigma_b[0])


def test_the_persistent_part_is_what_two_dressings_share():
    # surfaces keep b, catches are new; components fixed by an overwhelming prior at the truth
    rng = np.random.default_rng(3)
    sites, surfaces = 300, 200
    b = 0.08 * rng.normal(size=(1, sites, surfaces, 1))
    y = 1 + b + 0.08 * rng.normal(size=(2, sites, surfaces, 2))
    group = np.arange(2 * sites).repeat(surfaces)
    surface = np.tile(np.arange(surfaces), 2 * sites)
    found = surface_rates(
        y=y.ravel(),
        group=group.repeat(2),
        surface=surface.repeat(2),
        spreader=np.full(2 * sites, -1),
        dressed_group=group,
        dressed_surface=surface,
        weight=1e9,
    )
    first, second = (found.value.reshape(2, -1) - (1 + b).ravel()).tolist()
    shared, own = np.mean(np.multiply(first, second)), np.mean(np.square(first))
    # 60,000 products with a correlation of 1/3: 1.3 % of the covariance at one sigma
    assert shared == pytest.approx(np.mean(found.persistent**2), rel=0.04)
    total = found.persistent**2 + found.within**2 + found.mean_effect**2
    assert own == pytest.approx(np.mean(total), rel=0.03)


def test_many_catches_agree_with_reml():
    import pandas as pd
    from statsmodels.regression.mixed_linear_model import MixedLM

    rng = np.random.default_rng(4)
    surfaces = 300
    n = rng.integers(2, 9, surfaces)
    surface = np.repeat(np.arange(surfaces), n)
    y = 1.2 + (0.12 * rng.normal(size=surfaces))[surface] + 0.15 * rng.normal(size=n.sum())
    found = rates_of([{s: y[surface == s] for s in range(surfaces)}])
    fit = MixedLM(y, np.ones((len(y), 1)), groups=pd.Series(surface)).fit(reml=True)
    d = found.dressings
    b, e = float(np.asarray(fit.cov_re).item()), float(fit.scale)
    # a quarter of the standard error that each estimate has anyway, √(2/degrees of freedom)
    assert d.sigma_b[0] ** 2 == pytest.approx(b, rel=np.sqrt(2 / 299) / 4)
    assert d.sigma_e[0] ** 2 == pytest.approx(e, rel=np.sqrt(2 / (n.sum() - 300)) / 4)
    assert d.mu[0] == pytest.approx(fit.fe_params[0], rel=1e-3)
    assert d.u_mu[0] == pytest.approx(fit.bse_fe[0], rel=0.02)
    effects = np.array([fit.random_effects[s].item() for s in range(surfaces)])
    assert found.value - d.mu[0] == pytest.approx(effects, abs=0.1 * found.persistent.max())


# (surfaces caught of 18, catches on each)
PLANS = [(1, 3), (3, 1), (3, 3), (6, 1), (6, 2), (18, 1), (18, 3)]
# relative standard deviations (σb, σe)
TRUTHS = [(0.03, 0.10), (0.08, 0.08), (0.15, 0.05), (0.10, 0.20)]


def simulated(plan, truth, sites, seed):
    """The share of surfaces whose true rate lies in the interval, and its mean half-width."""
    (m, k), (sigma_b, sigma_e) = plan, truth
    rng = np.random.default_rng(seed)
    true = 1 + sigma_b * rng.normal(size=(sites, 18))
    y = true[:, :m, None] + sigma_e * rng.normal(size=(sites, m, k))
    found = surface_rates(
        y=y.ravel(),
        group=np.arange(sites).repeat(m * k),
        surface=np.tile(np.arange(m).repeat(k), sites),
        spreader=np.full(sites, -1),
        dressed_group=np.arange(sites).repeat(18),
        dressed_surface=np.tile(np.arange(18), sites),
    )
    u = np.sqrt(found.persistent**2 + found.within**2 + found.mean_effect**2)
    t = student_quantile(0.975, found.dressings.degrees_of_freedom)[found.group]
    inside = np.abs(found.value - true.ravel()) <= t * u
    return inside.mean(), np.mean(t * u)


def test_intervals_from_few_catches_hold_the_truth():
    print("\nsurfaces caught × catches, then per (σb, σe): held, half-width in percent of the rate")
    held = []
    for i, plan in enumerate(PLANS):
        cells = [simulated(plan, truth, 200, 100 + 10 * i + j) for j, truth in enumerate(TRUTHS)]
        print(f"{plan[0]:3d} × {plan[1]}", *(f"{c:7.3f} ±{100 * h:3.0f}" for c, h in cells))
        held += [c for c, _ in cells]
    # Errors are shared within a site, so with 5,600 sites the standard error of the pooled share is
    # at most √(0.95·0.05/5600) = 0.003, and that of a cell of 200 sites 0.015. Worst is the cell
    # with σe twice σb and many catches (0.90): the error of σb itself is not in the interval.
    assert np.mean(held) >= 0.95 - 3 * 0.003
    assert min(held) >= 0.90 - 3 * 0.015


def uncaught_held(sd, caught, each, sites=400, dressings=1):
    """Share of surfaces without catches (of 18) whose truth is held; surfaces differ by ``sd``.

    They keep their differences from dressing to dressing, and the same ones have the catches; a
    site has one spreader.
    """
    rng = np.random.default_rng([caught, each])
    true = np.exp(rng.normal(-(sd**2) / 2, sd, (sites, 1, 18)))
    true = np.broadcast_to(true, (sites, dressings, 18)).reshape(-1, 18)
    groups = len(true)
    y = true[:, :caught, None] * (1 + 0.08 * rng.normal(size=(groups, caught, each)))
    found = surface_rates(
        y=y.ravel(),
        group=np.arange(groups).repeat(caught * each),
        surface=np.tile(np.arange(caught).repeat(each), groups),
        spreader=np.arange(sites).repeat(dressings),
        dressed_group=np.arange(groups).repeat(18),
        dressed_surface=np.tile(np.arange(18), groups),
    )
    u = np.sqrt(found.persistent**2 + found.within**2 + found.mean_effect**2)
    t = student_quantile(0.975, found.dressings.degrees_of_freedom)[found.group]
    return (np.abs(found.value - true.ravel()) <= t * u)[found.n == 0].mean()


def test_the_range_of_the_rule_is_as_its_docstring_says():
    """In a site the surfaces share one mean: the standard error of a share is about 0.01."""
    for sd, low, high in ((0.03, 0.94, 1.0), (0.08, 0.92, 1.0), (0.15, 0.89, 0.99)):
        held = [uncaught_held(sd, m, n) for m in (2, 3, 6) for n in (1, 3)]
        assert low <= min(held) and max(held) <= high, sd
    assert 0.84 <= min(uncaught_held(0.20, m, 3) for m in (2, 3, 6)) <= 0.92


@pytest.mark.parametrize("sd", [0.20, 0.30])
def test_a_season_with_one_spreader_makes_up_for_surfaces_that_differ_widely(sd):
    """Its other dressings take the place of the default of 8 %, where many surfaces were caught on.

    Two or three surfaces, the same each time, tell as little of the others as in one dressing.
    """
    one, six = (uncaught_held(sd, 6, 3, 200, dressings) for dressings in (1, 6))
    assert one < 0.92 <= six
    assert uncaught_held(sd, 3, 3, 200, 6) < 0.92


def test_many_catches_on_a_surface_leave_it_its_own_mean():
    near = []
    for n in (10, 1000, 100000):
        found = rates_of([{0: np.tile([1.3, 1.5], n), 1: [1.0, 1.1]}])
        near.append(abs(found.value[0] - 1.4))
    assert near[1] < near[0] / 50
    assert near[2] < near[1] / 50
    assert found.weight[0] == pytest.approx(1, abs=1e-5)


def test_without_differences_between_surfaces_all_take_the_mean_of_all_catches():
    # equal surface means: without prior σb is 0
    found = rates_of([{0: [0.9, 1.1, 1.0], 1: [0.8, 1.2]}], dressed=[[0, 1, 2]], weight=0)
    assert found.dressings.sigma_b[0] == 0
    assert found.value == pytest.approx([1.0] * 3)
    assert found.weight.tolist() == [0, 0, 0]
    unequal = rates_of([{0: [0.7, 1.1, 1.0], 1: [0.8, 1.4]}], weight=0)
    assert unequal.dressings.sigma_b[0] == 0
    assert unequal.value == pytest.approx([1.0, 1.0])  # 5.0/5, not the mean of the means 1.0167
    # SSW 0.086667 + 0.18 on 3; standard error of the mean of five catches
    assert unequal.dressings.u_mu[0] == pytest.approx(np.sqrt(0.2666667 / 3 / 5), rel=1e-6)


def test_one_dressed_surface_is_its_own_mean_with_its_own_error():
    found = rates_of([{4: [1.0, 1.2, 1.1]}])
    total = np.sqrt(found.persistent[0] ** 2 + found.within[0] ** 2 + found.mean_effect[0] ** 2)
    assert found.value[0] == pytest.approx(1.1)
    assert total == pytest.approx(found.dressings.sigma_e[0] / np.sqrt(3), rel=1e-12)
    assert found.dressings.degrees_of_freedom[0] == 4
    # the same catches with a second surface dressed: one surface tells of the spread of surfaces
    assert rates_of([{4: [1.0, 1.2, 1.1]}], [[4, 5]]).dressings.degrees_of_freedom[0] == 2


def test_rows_in_any_order_and_dressings_together_give_the_same():
    rng = np.random.default_rng(6)
    catches, dressings, surfaces = 200, 12, 9
    group, surface = rng.integers(0, dressings, catches), rng.integers(0, surfaces, catches)
    y, spreader = rng.gamma(40, 0.02, catches), rng.integers(-1, 3, dressings)
    dressed_group = np.arange(dressings).repeat(surfaces)
    dressed_surface = np.tile(np.arange(surfaces), dressings)

    def of(rows, dressed):
        return surface_rates(
            y=y[rows],
            group=group[rows],
            surface=surface[rows],
            spreader=spreader,
            dressed_group=dressed_group[dressed],
            dressed_surface=dressed_surface[dressed],
        )

    one = of(np.arange(catches), np.arange(108))
    dressed = rng.permutation(108)
    other = of(rng.permutation(catches), dressed)
    for name in ("n", "value", "weight", "persistent", "within", "mean_effect"):
        assert getattr(other, name) == pytest.approx(getattr(one, name)[dressed], rel=1e-11)
    assert other.group.tolist() == one.group[dressed].tolist()
    # in another unit everything but weights and counts is in that unit
    y = y * 204.816
    scaled = of(np.arange(catches), np.arange(108))
    assert scaled.value == pytest.approx(204.816 * one.value, rel=1e-12)
    assert scaled.persistent == pytest.approx(204.816 * one.persistent, rel=1e-12)
    assert scaled.weight == pytest.approx(one.weight, rel=1e-11)


def test_dressings_without_catches_are_missing_and_disturb_nothing():
    with np.errstate(all="raise"):
        found = rates_of([{}, {0: [1.0, 1.1]}], dressed=[[0, 1], [0]], spreader=[0, 0])
    assert found.n.tolist() == [0, 0, 2]
    for name in ("weight", "value", "persistent", "within", "mean_effect"):
        assert np.isnan(getattr(found, name)).tolist() == [True, True, False]
    d = found.dressings
    for name in ("mu", "u_mu", "sigma_b", "sigma_e", "degrees_of_freedom"):
        assert np.isnan(getattr(d, name)).tolist() == [True, False]
    assert d.pooled.tolist() == [False, False]
    assert d.catches.tolist() == [0, 2]


def test_no_rows_at_all():
    assert rates_of([{}], dressed=[[]]).value.shape == (0,)
    assert rates_of([]).dressings.mu.shape == (0,)


@pytest.mark.parametrize("weight", [0, 2])
def test_degenerate_data_give_numbers_or_nan_without_warning(weight):
    cases = [
        {0: [1.0, 1.0], 1: [1.0, 1.0]},  # all equal
        {0: [0.0, 0.0], 1: [0.0]},  # nothing caught
        {0: [0.0], 1: [0.0]},
        {0: [1.0], 1: [1.0]},
        {0: [1.0], 1: [1.2]},
        {0: [-0.1, 0.1], 1: [0.0, 0.0]},  # mean zero
        {0: [1.0]},
        {0: [1.0, 1.2]},
    ]
    with np.errstate(all="raise"):
        found = rates_of(cases, spreader=[-1] * 8, weight=weight)
        rates_of(cases, spreader=[0] * 8, weight=weight)
    missing = np.isnan(found.value)
    # without prior, a single surface says nothing of the differences between surfaces
    assert missing.tolist() == [weight == 0 and g >= 6 for g in found.group]
    assert np.isfinite(found.dressings.u_mu[:6]).all()
    if weight == 0:
        for name in ("sigma_b", "sigma_e", "u_mu"):
            assert getattr(found.dressings, name)[[0, 1, 2, 3]].tolist() == [0] * 4
        assert found.value[:8] == pytest.approx([1, 1, 0, 0, 0, 0, 1, 1])
        assert np.isnan(found.dressings.degrees_of_freedom[6])


# NIST StRD, univariate summary statistics: certified mean and standard deviation
NUMACC = {
    "NumAcc1": ([10000001.0, 10000003.0, 10000002.0], 10000002.0, 1.0),
    "NumAcc2": ([1.2, *([1.1, 1.3] * 500)], 1.2, 0.1),
    "NumAcc3": ([1000000.2, *([1000000.1, 1000000.3] * 500)], 1000000.2, 0.1),
    "NumAcc4": ([10000000.2, *([10000000.1, 10000000.3] * 500)], 10000000.2, 0.1),
}


def test_certified_means_and_deviations():
    values = np.concatenate([v for v, _, _ in NUMACC.values()])
    group = np.repeat(np.arange(4), [len(v) for v, _, _ in NUMACC.values()])
    n, mean, sd = group_mean_sd(values, group, 5)
    assert n.tolist() == [3, 1001, 1001, 1001, 0]
    assert mean[:4] == pytest.approx([m for _, m, _ in NUMACC.values()], rel=1e-15)
    # the data themselves are rounded in the computer: 2e-9 of 0.1 in the last set
    for found, (_, _, expected) in zip(sd, NUMACC.values(), strict=False):
        assert found == pytest.approx(expected, abs=1e-9)
    assert np.isnan([mean[4], sd[4]]).all()


def test_nist_mavro() -> None:
    # NIST StRD univariate, data set Mavro (certified mean and standard deviation, n - 1)
    text = """
    2.00180 2.00170 2.00180 2.00190 2.00180 2.00170 2.00150 2.00140 2.00150 2.00150 2.00170 2.00180
    2.00180 2.00190 2.00190 2.00210 2.00200 2.00160 2.00140 2.00130 2.00130 2.00150 2.00150 2.00160
    2.00150 2.00140 2.00130 2.00140 2.00150 2.00140 2.00150 2.00160 2.00150 2.00160 2.00190 2.00200
    2.00200 2.00210 2.00220 2.00230 2.00240 2.00250 2.00270 2.00260 2.00260 2.00260 2.00270 2.00260
    2.00250 2.00240
    """
    values = np.array([float(word) for word in text.split()])
    n, mean, sd = group_mean_sd(values, np.zeros(len(values), dtype=np.int64), 1)
    assert n.tolist() == [50]
    assert mean[0] == pytest.approx(2.00185600000000, abs=1e-13)
    assert sd[0] == pytest.approx(0.000429123454003053, rel=1e-10)
