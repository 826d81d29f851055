"""What the 95 % intervals hold where sand was laid pass by pass: a fixed part of the calibration.

The whole of it is ``python tests/calibration.py``. Claims of one site share its mistakes, so that
a site counts as one draw: with 300 sites a share of 95 % is seen within 1.3 percent points
(binomial standard deviation). All of 92 to 98 % is taken, and above it what two such deviations
allow; below 92 % nothing is. The table is printed with ``pytest -s``.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from tests.calibration import (
    CLAIMS,
    FALSE,
    TOML,
    TRUE,
    Held,
    _ring,
    printed,
    share,
    standard_error,
    trial,
)
from tests.pass_by_pass import CELL_M, Spreader, dress, inside_distance_m
from tests.simulation import _area

SITES = 300


@pytest.fixture(scope="module")
def held(tmp_path_factory: pytest.TempPathFactory) -> Held:
    found, _ = trial(tmp_path_factory.mktemp("sites"), range(SITES))
    print(f"\n{printed(found)}")
    return found


@pytest.mark.parametrize("claim", CLAIMS)
def test_intervals_hold_the_truth(held: Held, claim: str) -> None:
    slack = 2 * np.sqrt(0.98 * 0.02 / len(held[claim]))
    assert 0.92 <= share(held, claim) <= 0.98 + slack


def test_a_surface_that_was_never_caught_is_known_as_honestly_as_the_others(held: Held) -> None:
    """Its season depth, of which not one tray tells."""
    never, others = "season, never caught", "season, caught"
    u = np.hypot(standard_error(held, never), standard_error(held, others))
    assert share(held, never) >= share(held, others) - 2 * u


def test_overthrow_is_not_called_where_not_a_grain_fell_outside(held: Held) -> None:
    assert share(held, FALSE) <= 0.05


def test_overthrow_is_called_more_often_where_there_is_some(held: Held) -> None:
    assert share(held, TRUE) > 4 * share(held, FALSE)


@pytest.mark.parametrize("claim", ["error of on surfaces, u", "error of overthrow, u"])
def test_u_is_the_size_of_the_errors(held: Held, claim: str) -> None:
    """Neither biased nor too wide: an interval that holds everything would pass the tests above."""
    errors = np.concatenate(held[claim])
    assert abs(errors.mean()) < 0.25
    assert 0.85 < errors.std() < 1.2


def test_the_trial_can_fail(tmp_path: Path) -> None:
    """Sites that say their trays catch 88 % where they catch all, and that they know it exactly."""
    wrong = TOML.replace("u_catch_efficiency_percent = 3.0", "u_catch_efficiency_percent = 0.0")
    wrong = wrong.replace("catch_efficiency_percent = 100", "catch_efficiency_percent = 88")
    found, _ = trial(tmp_path, range(40), wrong)
    for claim in ("on surfaces", "overthrow", "depth, caught", "season, caught"):
        assert share(found, claim) < 0.92, claim


def _belt(**changes: float | bool) -> Spreader:
    rng = np.random.default_rng(5)
    return replace(Spreader.drawn(rng, wide=False, masked=False), **changes)  # type: ignore[arg-type]


def test_the_grid_holds_the_area_of_the_outline() -> None:
    rng = np.random.default_rng(1)
    for _ in range(5):
        ring = _ring(rng)
        field = dress(rng, ring, _belt(), 1.0)
        assert field.area_m2() == pytest.approx(_area(ring), rel=3e-4)


def test_distance_to_the_edge_of_a_square() -> None:
    """Corners at 0, 90, 180 and 270 degrees; a middle, a point outside, one near an edge."""
    ring = np.array([[1.0, 0.0], [0.0, 1.0], [-1.0, 0.0], [0.0, -1.0]])
    x, y = np.array([0.0, 1.0, -0.4]), np.array([0.0, 1.0, -0.4])
    expected = [np.sqrt(0.5), -np.sqrt(0.5), 0.2 * np.sqrt(0.5)]
    assert inside_distance_m(ring, x, y) == pytest.approx(expected)


def test_one_pass_lays_swath_times_length() -> None:
    """Σ over the grid against density · swath · (chord + opening early and shutting late).

    ``late_m`` at both ends; the factors of pass, drift and texture are 1 on the mean (a lognormal
    of 4 % is 0.1 % more). Two passes never meet: the spacing is wider than the surface.
    """
    angle = np.arange(60) * (2 * np.pi / 60)
    ring = 3.0 * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    spreader = _belt(
        spacing_m=6.0, half_width_m=0.75, inset=0.5, reach_for=0.0, late_m=0.5, skew=0.3
    )
    rng = np.random.default_rng(2)
    laid = [dress(rng, ring, spreader, 1.0).total_kg() for _ in range(150)]
    # through the middle: a chord of 6 m and half a metre at each end; 1.5 m wide, made 1/4 thinner
    assert np.mean(laid) == pytest.approx(6.0 / 1.5 * 1.5 * 7.0, rel=0.015)


def test_trays_tell_the_mean_of_the_ground_they_were_laid_on() -> None:
    rng = np.random.default_rng(3)
    field = dress(rng, _ring(rng), _belt(), 1.0)
    place, sand = field.trays(rng, 20_000, 0.0)
    inner = field.inside_m >= CELL_M
    assert sand.mean() == pytest.approx(field.sand_kg_m2[inner].mean(), rel=0.02)
    assert np.hypot(*place.T).max() < 16.0


def test_boards_along_the_edge_leave_nothing_outside() -> None:
    rng = np.random.default_rng(4)
    ring = _ring(rng)
    kept = dress(rng, ring, _belt(masked=True), 1.0)
    assert kept.total_kg() - kept.on_surface_kg() < 0.006 * kept.total_kg()
    thrown = dress(rng, ring, _belt(masked=False), 1.0)
    assert thrown.total_kg() - thrown.on_surface_kg() > 0.02 * thrown.total_kg()
