"""Surface rates by random effects: published data, matrix BLUP, REML, limits and simulation."""

import numpy as np
import pytest

from tests.rates.by_catch import rates_of, surface_rates

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
