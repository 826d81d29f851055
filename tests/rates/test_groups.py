"""Sorting within groups, against sorting by two keys."""

import numpy as np
import pytest

from geosand.rates.catch_rows import rows_of_pairs
from geosand.rates.groups import in_order


@pytest.mark.parametrize("groups", [1, 7, 400, 5000])
def test_as_sorting_by_two_keys(groups: int) -> None:
    rng = np.random.default_rng(groups)
    group = np.sort(rng.integers(0, groups, 3000) ** 2 % groups)
    values = rng.normal(size=3000).round(1)
    for order in (np.arange(3000), np.arange(3000)[::-1], rng.permutation(3000)):
        ordered, count = in_order(values[order], group[order], groups)
        np.testing.assert_array_equal(ordered, values[np.lexsort((values, group))])
        np.testing.assert_array_equal(count, np.bincount(group, minlength=groups))


def test_nothing_is_in_order() -> None:
    ordered, count = in_order(np.zeros(0), np.zeros(0, dtype=np.int64), 3)
    assert (ordered.tolist(), count.tolist()) == ([], [0, 0, 0])


def test_the_values_given_stay_as_they_are() -> None:
    values = np.array([3.0, 1.0, 2.0])
    in_order(values, np.zeros(3, dtype=np.int64), 1)
    assert values.tolist() == [3.0, 1.0, 2.0]


def test_rows_of_pairs_against_a_dictionary() -> None:
    rng = np.random.default_rng(2)
    numbers = rng.permutation(np.arange(400))[:150]
    left, right = numbers // 20, numbers % 20
    where = {pair: k for k, pair in enumerate(zip(left.tolist(), right.tolist(), strict=True))}
    wanted = rng.integers(-1, 25, (2, 1000))
    expected = [where.get(pair, -1) for pair in zip(*wanted.tolist(), strict=True)]
    assert rows_of_pairs(left, right, *wanted).tolist() == expected
    none = np.zeros(0, dtype=np.int64)
    assert rows_of_pairs(none, none, *wanted[:, :2]).tolist() == [-1, -1]


def test_a_pair_beside_one_of_no_row_keeps_its_row() -> None:
    """(1, none) and (0, the last) are the same number where none counts as -1."""
    left, right = np.array([[0, 0, 1], [0, 4, 4]])
    for wanted in ([[1, 0], [-1, 4]], [[0, 1], [4, -1]]):
        told = rows_of_pairs(left, right, *np.array(wanted)).tolist()
        assert told == [1 if right >= 0 else -1 for right in wanted[1]]
