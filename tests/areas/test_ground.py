"""Height and slope."""

from __future__ import annotations

import numpy as np
import pytest

from geosand.areas.ground import ground_factor


@pytest.mark.parametrize(
    ("height_m", "factor"),
    [  # constructed, R = 6 371 000 m; 0.999843 and 0.999686 = R/(R + h) at 1000 m and 2000 m are
        # tabulated on surveying web pages: the factor of an area is their inverse square
        (100, 1.0000314),
        (500, 1.000157),
        (1000, 1.000314),
        (1600, 1.000502),
        (2000, 1.000628),
        (1000, 0.999843**-2),
        (2000, 0.999686**-2),
    ],
)
def test_height(height_m, factor):
    assert ground_factor(np.array([height_m]), np.array([0.0]))[0] == pytest.approx(
        factor, abs=1e-6
    )


def test_worked_combined_factor():
    # grid factor 0.999981 at 500 ft with R = 20 906 000 ft: combined 0.999957, on areas its square
    # 0.999914: rplstoday.com, thread 85148 (a surveyors' forum)
    height = ground_factor(np.array([500 * 0.3048]), np.array([np.nan]))[0]
    assert 0.999981**2 / height == pytest.approx(0.999914, abs=1.5e-6)


def test_slope():
    # a roof of 3 in 4 on a plan of 4 has a rafter of 5
    assert ground_factor(np.array([0.0]), np.array([0.75]))[0] == 1.25
    assert ground_factor(np.array([0.0]), np.array([-0.75]))[0] == 1.25


def test_unknown_height_and_slope_change_nothing():
    nan = np.nan
    factor = ground_factor(np.array([nan, nan, 1000.0]), np.array([nan, 0.75, nan]))
    assert factor == pytest.approx([1, 1.25, 1.000314], abs=1e-6)


def test_a_sphere_raised_by_height():
    """The whole globe 1 km up: 4 pi (R + h)² over 4 pi R²."""
    globe = 4 * np.pi * (6371000 + 1000) ** 2 / (4 * np.pi * 6371000**2)
    assert ground_factor(np.array([1000.0]), np.array([0.0]))[0] == pytest.approx(globe, rel=1e-14)
