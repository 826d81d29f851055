"""Limits of what lies in collars: the overthrow's error and that of the throw's shape."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.stats

from geosand.balance.rings import ThrowOff, throw_off
from geosand.balance.throw_shape import COVERED, Changes, above_zero, with_shape
from tests.balance.test_rings import SQUARE, spread

GROUP = np.zeros(1, dtype=np.int64)


def thrown(kg: float, low: float, high: float) -> ThrowOff:
    return throw_off(**spread([SQUARE], kg, low=[low], high=[high]))


def shaped(throw: ThrowOff, moved_kg: float, most_kg: float) -> ThrowOff:
    shape = np.array([[moved_kg], [0.0]])
    changes = Changes(by_overthrow=np.zeros((2, 1)), by_shape_kg=shape, share=np.ones(1))
    return with_shape(throw, changes, GROUP, np.array([most_kg]))


@pytest.mark.parametrize("moved", [-3.0, 3.0])
def test_both_errors_widen_the_limits(moved: float) -> None:
    plain = thrown(100.0, 60.0, 140.0)
    wide = shaped(plain, moved, 140.0)
    collar = plain.group_collar_kg[0]
    below, above = collar - plain.collar_low_kg[0], plain.collar_high_kg[0] - collar
    assert collar - wide.collar_least_kg[0] == pytest.approx(np.sqrt(below**2 + 36), rel=1e-12)
    assert wide.collar_most_kg[0] - collar == pytest.approx(np.sqrt(above**2 + 36), rel=1e-12)
    assert COVERED * abs(moved) == 6


def test_a_throw_of_known_shape_keeps_its_limits() -> None:
    plain = thrown(100.0, 60.0, 140.0)
    same = shaped(plain, 0.0, 140.0)
    assert same.collar_least_kg[0] == pytest.approx(plain.collar_low_kg[0], rel=1e-12)
    assert same.collar_most_kg[0] == pytest.approx(plain.collar_high_kg[0], rel=1e-12)


def test_a_collar_holds_no_less_than_nothing_and_no_more_than_was_thrown() -> None:
    wide = shaped(thrown(100.0, 60.0, 140.0), 500.0, 140.0)
    assert wide.collar_least_kg[0] == 0
    assert wide.collar_most_kg[0] == 140


def test_no_overthrow_may_still_have_left_some() -> None:
    wide = shaped(thrown(-10.0, 0.0, 30.0), 2.0, 30.0)
    assert wide.collar_least_kg[0] == 0
    assert 0 < wide.collar_most_kg[0] <= 30


@pytest.mark.parametrize("sigmas", [-0.01, -0.5, -1.0, -2.0, -5.0, -8.0])
def test_what_came_out_below_zero_is_a_normal_cut_off_there(sigmas: float) -> None:
    """scipy's truncated normal; twice the factor holds about 95 %, as a u should."""
    cut = scipy.stats.truncnorm(-sigmas, np.inf, loc=sigmas)
    factor = above_zero(np.array([sigmas]))[0]
    assert factor == pytest.approx(np.sqrt(cut.moment(2)), rel=1e-5)
    assert 0.93 < cut.cdf(COVERED * factor) < 0.97


def test_what_came_out_above_zero_keeps_its_u_and_far_below_tells_no_more() -> None:
    factors = above_zero(np.array([0.0, 3.0, np.inf, -8.0, -300.0]))
    assert factors[:3].tolist() == [1.0, 1.0, 1.0]
    assert factors[3] == factors[4] > 0
