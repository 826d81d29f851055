"""Uniformity against published examples of catch-can evaluations, and by its invariances."""

import numpy as np
import pytest

from geosand.rates.uniformity import uniformity

# Reference pages CU, DU and DU.lh of the R package spreval 1.1.0 (G. Grabow), formulas after
# Keller & Bliesner 2000
SPREVAL = np.array([47, 42, 45, 24, 13, 26, 33, 34, 27, 30, 40, 44, 32, 12, 12], float)
# Merriam & Keller 1978, Farm Irrigation System Evaluation, pp. 41-44: inches caught in an hour
MERRIAM = np.array(
    [0.23, 0.31, 0.24, 0.24, 0.28, 0.31, 0.27, 0.22, 0.26, 0.31, 0.31, 0.25, 0.20, 0.22, 0.32]
)
# spreval, page travunif: overlapped depths of a travelling gun
TRAVELLER = np.array([0.17, 0.22, 0.20, 0.2575, 0.238125, 0.16, 0.20, 0.21, 0.21375, 0.250625])


def of_one(depth):
    return uniformity(np.asarray(depth, float), np.zeros(len(depth), int), 1)


def test_published_coefficients():
    result = of_one(SPREVAL)
    assert 100 * result.cu[0] == pytest.approx(69.13955, abs=1e-5)
    # round(15/4) = 4 lowest; three lowest would give 40.13015, 3.75 of them 47.72234
    assert 100 * result.du_lq[0] == pytest.approx(49.62039, abs=1e-5)
    assert 100 * result.du_lh[0] == pytest.approx(71.58351, abs=1e-5)  # the lowest 8 of 15


def test_coefficient_of_variation_by_the_standard_library():
    import statistics

    expected = statistics.stdev(SPREVAL.tolist()) / statistics.fmean(SPREVAL.tolist())
    assert of_one(SPREVAL).cv[0] == pytest.approx(expected, rel=1e-13)
    assert 100 * expected == pytest.approx(38.62625, abs=1e-5)


def test_field_evaluation_of_merriam_and_keller():
    result = of_one(MERRIAM)
    applied = 96.3 * 4.6 / (30 * 50)  # in/h from 4.6 gal/min on 30 ft by 50 ft
    caught = MERRIAM.mean() / applied
    assert caught == pytest.approx(0.896203, abs=1e-6)
    assert 100 * result.du_lq[0] == pytest.approx(82.179, abs=1e-3)
    # the printed efficiency of the low quarter is the product of the two
    assert 100 * caught * result.du_lq[0] == pytest.approx(73.64892, abs=1e-4)


def test_half_rounds_to_the_even_number():
    result = of_one(TRAVELLER)
    assert 100 * result.cu[0] == pytest.approx(88.67925, abs=1e-5)
    assert 100 * result.du_lq[0] == pytest.approx(77.83019, abs=1e-5)  # 10/4 = 2.5 gives 2
    assert 100 * result.du_lh[0] == pytest.approx(88.67925, abs=1e-5)


def test_groups_do_not_disturb_each_other_and_order_does_not_matter():
    depth = np.concatenate([SPREVAL, [1.0, 2.0, 3.0], MERRIAM, TRAVELLER])
    group = np.repeat([4, 3, 0, 2], [15, 3, 15, 10])
    shuffled = np.random.default_rng(5).permutation(len(depth))
    for order in (np.arange(len(depth)), shuffled):
        result = uniformity(depth[order], group[order], 6)
        assert result.n.tolist() == [15, 0, 10, 3, 15, 0]
        for place, alone in ((4, SPREVAL), (0, MERRIAM), (2, TRAVELLER)):
            for name in ("cv", "du_lq", "cu"):
                expected = getattr(of_one(alone), name)[0]
                assert getattr(result, name)[place] == pytest.approx(expected, rel=1e-12)
        # three catches are too few, and no catches are none
        assert np.isnan(result.cv[[1, 3, 5]]).all()
        assert np.isnan(result.du_lq[[1, 3, 5]]).all()
        assert np.isnan(result.cu[[1, 3, 5]]).all()


def test_many_groups_of_many_sizes_against_the_standard_library():
    import statistics

    rng = np.random.default_rng(8)
    group = np.concatenate([np.full(k % 23, k) for k in range(60)])
    depth = rng.lognormal(0, 0.3, len(group))
    order = rng.permutation(len(group))
    found = uniformity(depth[order], group[order], 61)
    for k in range(61):
        mine = sorted(depth[group == k].tolist())
        assert found.n[k] == len(mine)
        if not mine:
            assert np.isnan([found.mean[k], found.sd[k]]).all()
            continue
        mean = statistics.fmean(mine)
        assert found.mean[k] == pytest.approx(mean, rel=1e-14)
        if len(mine) == 1:
            assert np.isnan(found.sd[k])
            continue
        assert found.sd[k] == pytest.approx(statistics.stdev(mine), rel=1e-12)
        if len(mine) < 4:
            assert np.isnan(found.du_lq[k])
            continue
        for parts, column in ((4, found.du_lq), (2, found.du_lh)):
            lowest = mine[: max(1, round(len(mine) / parts))]
            assert column[k] == pytest.approx(statistics.fmean(lowest) / mean, rel=1e-12)
        apart = statistics.fmean(abs(d - mean) for d in mine)
        assert found.cu[k] == pytest.approx(1 - apart / mean, rel=1e-12)


def test_the_unit_does_not_matter():
    a, b = of_one(SPREVAL), of_one(SPREVAL * 0.0254e-3)
    for name in ("cv", "du_lq", "cu"):
        assert getattr(b, name)[0] == pytest.approx(getattr(a, name)[0], rel=1e-12)


def test_equal_catches_are_wholly_even():
    result = of_one([0.0011] * 7)
    assert result.cv[0] == pytest.approx(0, abs=1e-14)
    assert result.du_lq[0] == pytest.approx(1, abs=1e-14)
    assert result.cu[0] == pytest.approx(1, abs=1e-14)


def test_four_catches_use_the_lowest_one():
    result = of_one([1, 2, 3, 6])
    assert (result.n[0], result.du_lq[0]) == (4, pytest.approx(1 / 3))


def test_nothing_caught_has_no_uniformity_and_no_warning():
    with np.errstate(all="raise"):
        result = of_one([0.0] * 5)
        empty = uniformity(np.array([]), np.array([], int), 2)
    assert np.isnan([result.cv[0], result.du_lq[0], result.cu[0]]).all()
    assert np.isnan(empty.cv).all()
