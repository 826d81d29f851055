"""Means and deviations of groups against NIST's certified values."""

import numpy as np
import pytest

from geosand.rates.groups import group_mean_sd

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
