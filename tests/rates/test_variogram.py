"""The pooled variogram: found again in fields with a known one, refused where it is not known."""

from __future__ import annotations

import numpy as np
import pytest

from geosand.rates.kriging import Variogram
from geosand.rates.variogram import MOST_PAIRS, Lags, fitted, pooled_lags, site_variogram

TRUE = Variogram(model="spherical", nugget=0.004, sill=0.016, range_m=7.0)


def catches(seed, surfaces=40, each=12, variogram=TRUE, side=22.0):
    """Catches on surfaces whose means differ twofold; scatter relative to each mean."""
    rng = np.random.default_rng(seed)
    points = rng.uniform(0, side, (surfaces, each, 2))
    gap = np.hypot(*(points[:, :, None] - points[:, None]).transpose(3, 0, 1, 2))
    covariance = variogram.sill - variogram.structure(gap) + variogram.nugget * np.eye(each)
    root = np.linalg.cholesky(covariance + 1e-12 * np.eye(each))
    relative = np.einsum("sij,sj->si", root, rng.normal(size=(surfaces, each)))
    values = rng.uniform(0.6, 1.2, (surfaces, 1)) * (1 + relative)
    order = rng.permutation(surfaces * each)
    group = np.repeat(np.arange(surfaces), each)
    return points.reshape(-1, 2)[order], values.ravel()[order], group[order]


def test_a_known_variogram_is_found_again():
    found = [site_variogram(*catches(seed))[0] for seed in range(12)]
    assert all(one is not None for one in found)
    assert np.mean([one.nugget + one.sill for one in found]) == pytest.approx(0.020, rel=0.10)
    assert np.mean([one.nugget for one in found]) == pytest.approx(0.004, abs=0.002)
    assert np.mean([one.range_m for one in found]) == pytest.approx(7.0, rel=0.25)


def test_lags_by_hand():
    """Ten groups of three catches on a line, 1 m and 3 m apart; values 9, 10, 11 about a mean 10.

    Pairs: 1 m γ = 0.1²/2; 2 m γ = 0.1²/2; 3 m lies beyond half of the largest distance (6 m / 2).
    """
    rows = []
    for k in range(40):
        rows += [(0.0, 0.0, 9.0, k), (1.0, 0.0, 10.0, k), (0.0, 6.0, 11.0, k)]
    x, y, value, group = np.array(rows).T
    lags = pooled_lags(np.stack([x, y], axis=1), value, group.astype(int))
    assert lags.distance_m == pytest.approx([1.0])
    assert lags.gamma == pytest.approx([0.1**2 / 2])
    assert lags.pairs.tolist() == [40]


def test_pairs_never_cross_groups():
    points, values, group = catches(1, surfaces=60, each=4)
    apart = points + 1000.0 * group[:, None]
    near, far = pooled_lags(points, values, group), pooled_lags(apart, values, group)
    assert near.gamma == pytest.approx(far.gamma, rel=1e-9)
    assert near.pairs.sum() <= 60 * 6


def test_a_model_goes_through_its_own_lags():
    h = np.array([1.0, 2.0, 4.0, 6.0, 9.0, 12.0])
    lags = Lags(distance_m=h, gamma=TRUE.between(h), pairs=np.full(6, 50.0))
    found = fitted(lags)
    assert found.nugget == pytest.approx(TRUE.nugget, rel=0.05)
    assert found.sill == pytest.approx(TRUE.sill, rel=0.02)
    assert found.range_m == pytest.approx(TRUE.range_m, rel=0.02)


@pytest.mark.parametrize("falling", [False, True])
def test_neither_nugget_nor_sill_falls_below_nothing(falling):
    h = np.array([1.0, 2.0, 4.0, 8.0])
    gamma = np.array([4.0, 3.0, 2.0, 1.0]) if falling else np.array([0.1, 1.0, 3.5, 9.0])
    found = fitted(Lags(distance_m=h, gamma=gamma, pairs=np.full(4, 40.0)))
    assert found.nugget >= 0
    assert found.sill >= 0
    assert (found.sill == 0) == falling


def test_few_catches_are_not_enough():
    found, text = site_variogram(*catches(1, surfaces=11, each=9))
    assert found is None
    assert text == "no variogram: 99 catches on dressed surfaces, at least 100 are needed"


def test_many_catches_but_few_pairs_are_not_enough():
    found, text = site_variogram(*catches(1, surfaces=60, each=2))
    assert found is None
    assert "30 pairs of catches on one surface" in text
    assert "lay more trays on a surface" in text


def test_scatter_without_structure_is_told():
    pure = Variogram(model="spherical", nugget=0.02, sill=0.0, range_m=5.0)
    told = [site_variogram(*catches(seed, variogram=pure)) for seed in range(10)]
    none = [text for found, text in told if found is None]
    # by chance some is found: in 1 % of sites
    assert len(none) >= 9
    assert "differ as much as those farther apart" in none[0]


def test_the_sentence_says_scatter_in_percent():
    found, text = site_variogram(*catches(2))
    assert f"range {found.range_m:.1f} m" in text
    assert f"far apart on a surface by {100 * np.sqrt(found.nugget + found.sill):.0f} %" in text


def test_catches_without_sand_do_not_break_it():
    points, values, group = catches(3)
    values = np.where(group == 5, 0.0, values)
    found, _ = site_variogram(points, values, group)
    assert found is not None
    assert np.isfinite([found.nugget, found.sill, found.range_m]).all()


def test_of_very_many_catches_an_even_part_tells_as_much():
    """Of 54 million pairs of catches that scatter by 10 % no more than the limit are used."""
    rng = np.random.default_rng(5)
    group = np.repeat([0, 1, 2, 3], [6000, 6000, 6000, 50])
    values = 1 + 0.1 * rng.normal(size=len(group))
    lags = pooled_lags(rng.uniform(0, 30, (len(group), 2)), values, group)
    assert 0.3 * MOST_PAIRS < lags.pairs.sum() <= MOST_PAIRS
    assert lags.gamma == pytest.approx(np.full(len(lags), 0.01), rel=0.07)  # 3 sd
