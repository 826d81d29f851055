"""Runs of rows: sums, least and largest, first rows, columns that rise."""

from __future__ import annotations

import numpy as np
import pytest

from geosand.columns import Runs


def test_runs_sum_as_bincount_does() -> None:
    rng = np.random.default_rng(3)
    column = rng.normal(size=200)
    for group in (np.sort(rng.integers(0, 30, 200)), rng.integers(0, 30, 200), np.repeat(4, 200)):
        expected = np.bincount(group, column, 32)
        assert Runs(group, 32).sums(column) == pytest.approx(expected, rel=1e-12, abs=1e-14)
    nothing = np.zeros(0, dtype=np.int64)
    assert Runs(nothing, 3).sums(column[:0]).tolist() == [0, 0, 0]
    assert Runs(nothing, 0).sums(column[:0]).tolist() == []


def test_runs_know_the_least_and_the_largest_value_of_each_group() -> None:
    rng = np.random.default_rng(4)
    column = rng.normal(size=200)
    for group in (np.sort(rng.integers(0, 30, 200)), rng.integers(0, 30, 200), np.repeat(4, 200)):
        mine = [column[group == k] for k in range(32)]
        for found, end in zip(Runs(group, 32).extremes(column), (np.min, np.max), strict=True):
            np.testing.assert_array_equal(found, [end(m) if len(m) else np.nan for m in mine])
    nothing = np.zeros(0, dtype=np.int64)
    assert np.isnan(Runs(nothing, 3).extremes(column[:0])).all()


@pytest.mark.parametrize("seed", range(4))
def test_first_rows_of_groups_and_groups_whose_rows_differ(seed):
    random = np.random.default_rng(seed)
    group = random.integers(0, 12, 40)
    if seed % 2:
        group.sort()
    column = random.integers(0, 2, 40) + 5.0
    first, differing = Runs(group, 15).firsts(column)
    for number in range(15):
        rows = column[group == number]
        assert first[number] == rows[0] if len(rows) else np.isnan(first[number])
        assert (number in differing) == (len(set(rows.tolist())) > 1)


def test_columns_that_rise_in_every_group():
    runs = Runs(np.array([0, 0, 2, 2, 5]), 6)
    assert runs.rise(np.array([1, 4, 0, 3, 2]))
    assert not runs.rise(np.array([1, 4, 3, 3, 2]))
    assert not runs.rise(np.array([4, 1, 0, 3, 2]))
