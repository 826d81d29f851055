"""Claimed areas against computed ones: differences, verdicts and hints."""

from __future__ import annotations

import numpy as np
import pytest

from geosand.areas.claimed import check_claims

NONE: dict[str, np.ndarray] = {}


def claims(claimed, tolerance, area, u, others=NONE, unit_m2=1.0):
    columns = (np.atleast_1d(np.asarray(v, dtype=float)) for v in (claimed, tolerance, area, u))
    return check_claims(*columns, others, unit_m2)


def test_a_published_area_and_its_printed_answer():
    """Five corners, exact 38 965.8156 ft², printed answer 38 970 ± 5 ft².

    J. Mahun, Open Access surveying library, Traverse computations, ch. G, solution (1).
    """
    check = claims(38_970, 0.001, 38_965.8156, 5.0)
    assert check.verdict.tolist() == ["within"]
    assert check.difference_m2[0] == pytest.approx(4.1844)
    assert check.sigmas[0] == pytest.approx(0.837, abs=5e-4)
    assert check.difference[0] * 1e6 == pytest.approx(107.4, abs=0.05)


def test_an_error_of_a_product_is_two_of_its_own_u():
    """339.21 ft x 563.67 ft = 191 202 ± 41.5 ft² (a practice problem, engineerboards.com 2883)."""
    check = claims(191_285, 0.0001, 191_202, 41.5)
    assert check.sigmas[0] == pytest.approx(2.0)
    assert check.verdict.tolist() == ["outside"]


@pytest.mark.parametrize(
    ("claimed", "verdict"),
    [(105.0, "within"), (95.0, "within"), (105.001, "outside"), (94.999, "outside")],
)
def test_the_tolerance_itself_is_within(claimed, verdict):
    assert claims(claimed, 0.05, 100.0, 1.0).verdict.tolist() == [verdict]


def test_each_row_has_its_own_tolerance():
    check = claims([103.0, 103.0], [0.02, 0.04], [100.0, 100.0], [1.0, 1.0])
    assert check.verdict.tolist() == ["outside", "within"]


@pytest.mark.parametrize(
    ("claimed", "hint"),
    [
        (500 * 10.7639104, "the number looks like square feet"),  # NIST SP 811, B.8
        (500 * 1.19599005, "the number looks like square yards"),
        (0.05, "the number looks like hectares"),
        (5.0, "the number looks like ares"),
        (500 / 4046.8564224, "the number looks like acres"),
        (0.5, "the number looks like thousands: its point was read as a decimal mark"),
        (700.0, ""),
        (501.0, ""),  # within: nothing to explain
    ],
)
def test_a_mistaken_unit_is_named(claimed, hint):
    assert claims(claimed, 0.02, 500.0, 4.0).hint.tolist() == [hint]


@pytest.mark.parametrize(
    ("number", "unit_m2", "hint"),
    [
        (500.0, 0.3048**2, "the number looks like square metres"),
        (500 / 0.3048**2, 0.3048**2, ""),
        (0.1235527, 10_000.0, "the number looks like acres"),  # 500 m²; NIST SP 811, B.8
        (0.05, 4046.8564224, "the number looks like hectares"),
        (512.5, 1.0, ""),  # 2.5 % too much, in its own unit
    ],
)
def test_a_list_in_another_unit_is_judged_in_that(number, unit_m2, hint):
    check = claims(number * unit_m2, 0.02, 500.0, 4.0, unit_m2=unit_m2)
    assert check.hint.tolist() == [hint]


def test_another_figure_of_the_surface_explains_better_than_a_unit():
    others = {"area as drawn": np.array([598.0])}
    check = claims(597.0, 0.02, 500.0, 4.0, others)
    assert check.hint.tolist() == ["it agrees with the area as drawn"]


def test_no_ground_and_no_u_give_no_numbers_and_no_alarm():
    check = claims([10.0, 10.0], 0.1 * np.ones(2), [0.0, 10.0], [0.0, 0.0])
    assert check.verdict.tolist() == ["outside", "within"]
    assert np.isnan(check.sigmas).all()
