"""Class limits: round, evenly spaced, and wide enough."""

import numpy as np
import pytest

from geosand.reports.classes import balanced_breaks, class_of, rising_breaks


def test_limits_are_evenly_spaced_and_hold_all_values():
    rng = np.random.default_rng(7)
    for scale in (0.05, 0.9, 7.0, 40.0, 900.0):
        for _ in range(50):
            values = scale * rng.uniform(0.2, 1.0, 8)
            breaks = rising_breaks(values, decimals=2)
            steps = np.diff(breaks)
            assert len(breaks) == 4
            assert steps == pytest.approx(np.full(3, steps[0]))
            assert values.min() >= breaks[0] - steps[0] - 1e-9
            assert values.max() <= breaks[-1] + steps[0] + 1e-9


def test_a_stray_value_does_not_stretch_the_scale():
    depths = [*np.linspace(4.0, 6.0, 30), 55.0]
    assert rising_breaks(depths, decimals=2)[-1] < 8


def test_depths_in_inches_get_inches_round_limits():
    assert rising_breaks([0.021, 0.034, 0.055], decimals=3) == [0.03, 0.04, 0.05, 0.06]


def test_equal_values_still_have_classes():
    breaks = rising_breaks([0.84] * 5, decimals=2)
    assert len(breaks) == 4
    assert breaks[0] - 0.01 <= 0.84 <= breaks[-1]


def test_shortfall_classes_are_mirrored_about_zero():
    values = [-1.3, 0.2, 2.1]
    breaks = balanced_breaks(values, decimals=2)
    assert breaks == [-limit for limit in reversed(breaks)]
    assert balanced_breaks([-v for v in values], decimals=2) == breaks
    assert class_of(0.0, breaks) == 2
    assert class_of(2.1, breaks) > 2 > class_of(-1.3, breaks)


def test_nothing_measured_means_no_classes():
    assert rising_breaks([], decimals=2) == []
    assert balanced_breaks([float("nan")], decimals=2) == []


def test_thrown_sand_is_counted_from_zero():
    breaks = rising_breaks([0.9, 1.0], decimals=2, from_zero=True)
    assert breaks[0] == pytest.approx(breaks[1] - breaks[0])
