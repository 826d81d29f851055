"""Sand in holes: one formula for the ledger and for the plan."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely

from geosand.season.holes import hole_capacity_m


def test_a_column_of_holes_against_a_drilled_square_metre():
    """Independent route: volumes of the cylinders in a whole square metre, counted."""
    spacing = np.array([0.05, 0.1])
    across = np.rint(1 / spacing)
    disc = shapely.Point(0, 0).buffer(0.0127 / 2, quad_segs=4000).area
    volume = across**2 * disc * np.array([0.075, 0.2])
    got = hole_capacity_m(np.full(2, 0.0127), spacing, np.array([0.075, 0.2]))
    np.testing.assert_allclose(got, volume, rtol=1e-6)


def test_worked_by_hand():
    # 12.7 mm holes 75 mm deep at 50 x 50 mm take 3.8 mm: worked by hand, pi/4 x 161.29 x 75 / 2500
    assert hole_capacity_m(0.0127, 0.05, 0.075) == pytest.approx(0.0038, abs=5e-6)


def test_touching_square_holes_would_fill_all_and_round_ones_leave_the_corners():
    assert hole_capacity_m(0.05, 0.05, 0.1) / 0.1 == pytest.approx(math.pi / 4)


def test_what_is_not_known_stays_unknown():
    assert np.isnan(hole_capacity_m(np.array([np.nan]), np.array([0.05]), np.array([0.07]))).all()
