"""What of the sampling errors stays from dressing to dressing, against plain linear algebra."""

from __future__ import annotations

import numpy as np
import pytest

from geosand.columns import Floats, Ints, Runs
from geosand.estimates import Estimates
from geosand.rates.over_time import CATCHES, MEAN, SURFACE, sum_over_surfaces, surfaces_alone
from geosand.rates.random_effects import SurfaceRates
from tests.rates.by_catch import surface_rates

AREA = np.array([400.0, 700.0, 350.0, 520.0, 610.0])
#: catches on each surface of each dressing
PLANS = [[3, 0, 0, 0, 0], [1, 1, 1, 1, 1], [4, 1, 0, 2, 0], [2, 2, 2, 2, 2], [0, 0, 5, 1, 0]]
SURFACES = np.tile(np.arange(5), 5)  #: of each dressing in turn


@pytest.fixture(scope="module")
def found() -> SurfaceRates:
    """Five dressings of five surfaces each."""
    counts = np.array(PLANS)
    group, surface = np.repeat(np.indices(counts.shape).reshape(2, -1), counts.ravel(), axis=1)
    rng = np.random.default_rng(4)
    y = 1 + rng.normal(0, 0.1, len(group)) + rng.normal(0, 0.1, 5)[surface]
    dressed_group, dressed_surface = np.indices(counts.shape).reshape(2, -1)
    return surface_rates(
        y=y,
        group=group,
        surface=surface,
        spreader=np.full(5, -1),
        dressed_group=dressed_group,
        dressed_surface=dressed_surface,
    )


def table_of(found: SurfaceRates) -> Estimates:
    return Estimates(
        value=found.value,
        effects={SURFACE: found.persistent, CATCHES: found.within, MEAN: found.mean_effect},
        per_row=frozenset({SURFACE, CATCHES}),
        degrees_of_freedom={"sampling": found.dressings.degrees_of_freedom[found.group]},
    )


def by_algebra(found: SurfaceRates, dressing: int) -> tuple[Floats, Floats]:
    """Errors (5, 5) of the BLUPs for each deviation b, and for each mean ē of catches.

    Generalised least squares with the covariance of the surface means, no closed form.
    """
    n = np.array(PLANS[dressing])
    sb2, se2 = (s[dressing] ** 2 for s in (found.dressings.sigma_b, found.dressings.sigma_e))
    seen = np.flatnonzero(n)
    pick = np.eye(5)[seen]
    inverse = np.linalg.inv(np.diag(sb2 + se2 / n[seen]))
    ones = np.ones(len(seen))
    mu = ones @ inverse / (ones @ inverse @ ones)
    blup = np.outer(np.ones(5), mu) + sb2 * pick.T @ inverse @ (
        np.eye(len(seen)) - np.outer(ones, mu)
    )
    return blup @ pick - np.eye(5), blup @ pick * np.sqrt(se2 / np.maximum(n, 1))


@pytest.mark.parametrize("dressing", range(5))
def test_each_surface_by_itself(found: SurfaceRates, dressing: int) -> None:
    mine = found.group == dressing
    both = surfaces_alone(table_of(found), found.in_mean, found.group)
    by_b, by_e = by_algebra(found, dressing)
    stays = found.dressings.sigma_b[dressing] * np.sqrt((by_b**2).sum(axis=1))
    assert both.effects[SURFACE][mine] == pytest.approx(stays, rel=1e-9, abs=1e-9)
    new = np.sqrt((by_e**2).sum(axis=1))
    assert both.effects[CATCHES][mine] == pytest.approx(new, rel=1e-9, abs=1e-9)
    assert both.u() == pytest.approx(table_of(found).u(), rel=1e-12)


@pytest.mark.parametrize("parts", [np.zeros(5, dtype=np.int64), np.array([0, 1, 1, 0, 1])])
def test_sums_over_surfaces(found: SurfaceRates, parts: Ints) -> None:
    """Also of parts of a dressing, in which the mean of all its catches is an error in each."""
    size = 1 + int(parts.max())
    group = found.group * size + parts[SURFACES]
    table, area = table_of(found), AREA[SURFACES]
    total = sum_over_surfaces(table, found.in_mean, found.group, area, Runs(group, 5 * size))
    for dressing in range(5):
        by_b, by_e = by_algebra(found, dressing)
        for part in range(size):
            weight = np.where(parts == part, AREA, 0.0)
            k = dressing * size + part
            stays = found.dressings.sigma_b[dressing] * np.sqrt(((weight @ by_b) ** 2).sum())
            new = np.sqrt(((weight @ by_e) ** 2).sum())
            assert total.effects[SURFACE][k] == pytest.approx(stays, rel=1e-9, abs=1e-4)
            assert total.effects[CATCHES][k] == pytest.approx(new, rel=1e-9)
    plain = table.group_sum(group, 5 * size, weight=area)
    assert total.u() == pytest.approx(plain.u(), rel=1e-12)
    assert total.value == pytest.approx(plain.value, rel=1e-15)


def test_nothing_stays_where_each_surface_has_as_many_catches(found: SurfaceRates) -> None:
    """The sum is then that of the catches' means, and no deviation is left in it."""
    equal, runs = np.ones(len(found.group)), Runs(found.group, 5)
    total = sum_over_surfaces(table_of(found), found.in_mean, found.group, equal, runs)
    assert total.effects[SURFACE][[1, 3]] == pytest.approx([0, 0], abs=1e-8)
    assert total.effects[SURFACE][[0, 2, 4]].min() > 0.05


def test_the_only_surface_with_catches_keeps_nothing(found: SurfaceRates) -> None:
    both = surfaces_alone(table_of(found), found.in_mean, found.group)
    assert both.effects[SURFACE][0] == pytest.approx(0, abs=1e-12)
    # another surface misses both deviations: √2·σb
    assert both.effects[SURFACE][1] == pytest.approx(2**0.5 * found.dressings.sigma_b[0], rel=1e-12)


def test_a_season_by_simulation() -> None:
    """Six dressings with trays on the same three of five surfaces: u is what draws miss by.

    Carried apart, what stays of a surface and of the mean would be 25 % too much.
    """
    rng, draws = np.random.default_rng(8), 4000
    sb, se = 0.08, 0.1
    b = rng.normal(0, sb, (draws, 5))
    ybar = b[:, None, :3] + rng.normal(0, se / np.sqrt(2), (draws, 6, 3))
    v = se**2 / 2
    w = sb**2 / (sb**2 + v)
    mu = ybar.mean(axis=2)
    error = (w * ybar[..., 0] + (1 - w) * mu - b[:, None, 0]).sum(axis=1)
    table = Estimates(
        value=np.ones(5),
        effects={
            SURFACE: np.where(np.arange(5) < 3, (1 - w) * sb, sb),
            CATCHES: np.where(np.arange(5) < 3, w * np.sqrt(v), 0.0),
            MEAN: np.where(np.arange(5) < 3, 1 - w, 1.0) * np.sqrt((sb**2 + v) / 3),
        },
    )
    g = np.where(np.arange(5) < 3, 1 / 3, 0.0)
    both = surfaces_alone(table, g, np.zeros(5, dtype=np.int64))
    u = np.hypot(6 * both.effects[SURFACE][0], 6**0.5 * both.effects[CATCHES][0])
    assert u == pytest.approx(error.std(), rel=0.03)
