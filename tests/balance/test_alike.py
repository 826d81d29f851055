"""Intervals of figures that are nearly alike, against all their draws put in order."""

from __future__ import annotations

import numpy as np
import pytest

from geosand.balance.alike import _ALIKE, Alike, _bounds, _groups
from geosand.balance.draws import normal_draws, read_off, student_draws

DRAWS = 10_000


def columns(seed=1, freedom=5.0):
    """A common factor, that times sampling, and both times a further source."""
    inputs = normal_draws(seed, DRAWS, 4)
    factor = 1 / ((1 - 0.03 * inputs[0]) * (1 + 0.02 * inputs[1]))
    sampling = factor * student_draws(inputs[2], np.array([freedom]))[0]
    return np.stack([factor, sampling, factor * inputs[3], sampling * inputs[3]])


def figures(rng, number, *, largest=0.3, sizes=3.0):
    value = np.exp(sizes * rng.normal(size=number))
    own, further = rng.uniform(0, largest, number), rng.uniform(-0.05, 0.05, number)
    return value[:, None] * np.stack([np.ones(number), own, further, own * further], axis=1)


def same(one):
    found, expected = one.read_off(), read_off(one.values())
    for mine, theirs in zip(found, expected, strict=True):
        assert mine == pytest.approx(theirs, rel=1e-9, abs=1e-12)


@pytest.mark.parametrize("number", [1, 2, 17, 300])
@pytest.mark.parametrize("largest", [0.001, 0.1, 1.5])
def test_intervals_are_those_of_all_draws(number, largest):
    weights = figures(np.random.default_rng(number), number, largest=largest)
    same(Alike(rows=np.arange(number), weights=weights, columns=columns()))


def test_wild_sampling_and_few_degrees_of_freedom():
    weights = figures(np.random.default_rng(2), 60, largest=4.0)
    same(Alike(rows=np.arange(60), weights=weights, columns=columns(freedom=1.0)))


def test_figures_that_are_the_same_and_figures_below_nothing():
    weights = figures(np.random.default_rng(3), 40)
    weights[10:30] = weights[10] * np.linspace(1, 2, 20)[:, None]
    weights[30:] *= -1
    same(Alike(rows=np.arange(40), weights=weights, columns=columns()))


def test_a_figure_does_not_depend_on_those_beside_it():
    weights = figures(np.random.default_rng(4), 50)
    together = Alike(rows=np.arange(50), weights=weights, columns=columns()).read_off()
    alone = Alike(rows=np.array([7]), weights=weights[7:8], columns=columns()).read_off()
    for mine, theirs in zip(together, alone, strict=True):
        assert mine[7] == pytest.approx(theirs[0], rel=1e-12)


@pytest.mark.parametrize("number", [1, 40, 300])
def test_groups_hold_each_figure_once_and_differ_little(number):
    rng = np.random.default_rng(number)
    effects, u = rng.normal(size=(number, 3)), rng.uniform(0.5, 1, number)
    rows, starts = _groups(effects, u)
    assert sorted(rows.tolist()) == list(range(number))
    for one in np.split(rows, starts[1:]):
        assert len(one) * np.ptp(effects[one], axis=0).sum() <= _ALIKE * u[one].min()


def test_bounds_are_passed_by_no_figure_of_a_group():
    weights, starts = figures(np.random.default_rng(5), 20), np.array([0, 3, 4, 15])
    weights[10:] *= -1
    drawn = columns()
    both = np.concatenate([drawn, np.abs(drawn)])
    low, high = np.split(_bounds(weights, starts) @ both, 2)
    for k, some in enumerate(np.split(weights @ drawn, starts[1:])):
        assert (low[k] <= some).all()
        assert (some <= high[k]).all()
