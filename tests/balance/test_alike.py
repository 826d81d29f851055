"""Intervals of figures that are nearly alike, against all their draws put in order."""

from __future__ import annotations

import numpy as np
import pytest

from geosand.balance import alike
from geosand.balance.alike import _CELL, Alike, _bounds, _groups, sums
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
    found, expected = one.read_off(), read_off(one.weights @ one.columns)
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


def test_what_is_found_for_a_figure_is_the_same_in_any_company():
    """To the last digit: also where the others bring a source of which it knows nothing."""
    weights = figures(np.random.default_rng(8), 700)
    weights[:200, 2:] = 0.0
    drawn = columns()
    together = Alike(rows=np.arange(700), weights=weights, columns=drawn).read_off()
    for rows, width in ((slice(0, 1), 4), (slice(0, 200), 2), (slice(650, 700), 4)):
        few = weights[rows, :width]
        alone = Alike(rows=np.arange(len(few)), weights=few, columns=drawn[:width]).read_off()
        for mine, theirs in zip(together, alone, strict=True):
            assert np.array_equal(mine[rows], theirs)


@pytest.mark.parametrize(("cell", "beside"), [(0.2, 0.001), (5.0, 0.01), (0.01, 0.0), (0.5, 3.0)])
def test_intervals_do_not_depend_on_where_they_are_looked_for(monkeypatch, cell, beside):
    """Where the guess is wrong all draws are looked at."""
    one = Alike(
        rows=np.arange(80), weights=figures(np.random.default_rng(6), 80), columns=columns()
    )
    expected = one.read_off()
    monkeypatch.setattr(alike, "_CELL", cell)
    monkeypatch.setattr(alike, "_BESIDE", beside)
    for mine, theirs in zip(one.read_off(), expected, strict=True):
        assert np.array_equal(mine, theirs)


def test_figures_that_do_not_vary():
    drawn = np.stack([np.ones(DRAWS), normal_draws(1, DRAWS, 1)[0]])
    weights = np.array([[2.0, 0.0], [2.0, 1.0], [0.0, 0.0]])
    mean, u, low, high = Alike(rows=np.arange(3), weights=weights, columns=drawn).read_off()
    assert mean == pytest.approx([2.0, 2.0, 0.0], abs=1e-12)
    assert u == pytest.approx([0.0, 1.0, 0.0], abs=1e-12)
    assert low[[0, 2]] == pytest.approx([2.0, 0.0], abs=1e-12)
    assert high[[0, 2]] == pytest.approx([2.0, 0.0], abs=1e-12)


def test_sums_have_the_same_digits_in_a_part_of_a_table():
    rng = np.random.default_rng(9)
    weights, drawn = rng.normal(size=(90, 5)), rng.normal(size=(5, 400))
    whole = sums(weights, drawn)
    assert whole == pytest.approx(weights @ drawn, rel=1e-12, abs=1e-12)
    for rows, part in ((slice(3, 4), slice(0, 400)), (slice(0, 90), slice(7, 9)), (slice(50), ...)):
        assert np.array_equal(sums(weights[rows], drawn[:, part]), whole[rows][:, part])


@pytest.mark.parametrize("number", [1, 40, 3000])
def test_groups_hold_each_figure_once_and_differ_little(number):
    weights = np.random.default_rng(number).normal(size=(number, 3))
    rows, starts = _groups(weights)
    assert sorted(rows.tolist()) == list(range(number))
    assert (np.diff(starts) > 0).all()
    for one in np.split(rows, starts[1:]):
        assert np.ptp(weights[one], axis=0).max() <= _CELL


def test_bounds_are_passed_by_no_figure_of_a_group():
    """Nor by the rounding of single precision."""
    weights, starts = figures(np.random.default_rng(5), 20), np.array([0, 3, 4, 15])
    weights[10:] *= -1
    drawn = columns()
    both = np.concatenate([drawn, np.abs(drawn)]).astype(np.float32)
    low, high = np.split(_bounds(weights, starts) @ both, 2)
    assert low.dtype == np.float32
    for k, some in enumerate(np.split(weights @ drawn, starts[1:])):
        assert (low[k] <= some).all()
        assert (some <= high[k]).all()
