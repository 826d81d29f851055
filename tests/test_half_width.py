"""Intervals where sources have few degrees of freedom."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from geosand.columns import Runs
from geosand.estimates import Estimates
from tests.one_estimate import one


def test_one_source_with_few_degrees_of_freedom_is_students_t():
    # NIST/SEMATECH e-Handbook 1.3.6.7.2: t(0.975, 4) = 2.776
    table = one(10.0, sampling=2.0).with_effects(
        {}, degrees_of_freedom={"sampling": np.array([4.0])}
    )
    low, high, nu = table.interval()
    assert [low[0], high[0]] == pytest.approx([10 - 5.552, 10 + 5.552], abs=2e-3)
    assert nu[0] == pytest.approx(4.0)


def test_an_interval_is_cut_at_the_floor():
    low, high, _ = one(1.0, x=2.0).interval(floor=0.0)
    assert low[0] == 0.0
    assert high[0] == pytest.approx(1 + 1.959964 * 2)


def half(table):
    low, high, _ = table.interval()
    return (high[0] - low[0]) / 2


def test_a_source_that_would_narrow_the_interval_does_not():
    """t(2)·1 = 4.30; with a second source of 1 and ν = ∞ the effective ν is 8, t(8)·√2 = 3.26."""
    alone = one(0.0, a=1.0).with_effects({}, degrees_of_freedom={"a": np.array([2.0])})
    both = alone.with_effects({"c": np.array([1.0])})
    assert stats.t.ppf(0.975, 8) * np.sqrt(2) == pytest.approx(3.26, abs=0.005)
    assert half(alone) == pytest.approx(4.303, abs=5e-4)  # NIST/SEMATECH e-Handbook 1.3.6.7.2
    assert half(both) == pytest.approx(half(alone), rel=1e-12)


@settings(max_examples=200, deadline=None, derandomize=True)
@given(
    sizes=st.lists(st.floats(0.01, 10), min_size=2, max_size=5),
    freedom=st.lists(st.one_of(st.just(np.inf), st.floats(1, 60)), min_size=5, max_size=5),
)
def test_an_added_source_never_narrows_an_interval(sizes, freedom):
    effects = {f"s{k}": np.array([size]) for k, size in enumerate(sizes)}
    known = {
        f"s{k}": np.array([nu]) for k, nu in enumerate(freedom[: len(sizes)]) if np.isfinite(nu)
    }
    table, before = one(0.0), 0.0
    for name, effect in effects.items():
        table = table.with_effects(
            {name: effect}, degrees_of_freedom={name: known[name]} if name in known else {}
        )
        now = half(table)
        assert now >= before * (1 - 1e-9)
        before = now


def test_degrees_of_freedom_of_a_sum_are_never_optimistic():
    table = Estimates(
        value=np.zeros(3),
        effects={"sampling": np.array([1.0, 1.0, 2.0])},
        per_row=frozenset({"sampling"}),
        degrees_of_freedom={"sampling": np.array([4.0, 12.0, np.inf])},
    )
    found = table.group_sum(np.array([0, 0, 1]), 3).degrees_of_freedom["sampling"]
    # Welch-Satterthwaite for two independent parts of variance 1: 4/(1/4 + 1/12) = 12
    assert 4.0 <= found[0] <= 12.0
    assert np.isinf(found[1])


def test_rows_that_are_not_known_do_not_count_for_degrees_of_freedom() -> None:
    table = Estimates(
        value=np.zeros(6),
        effects={"sampling": np.array([1.0, np.nan, 0.0, 2.0, np.inf, 2.0])},
        degrees_of_freedom={"sampling": np.array([4.0, 9.0, 7.0, 3.0, 5.0, np.nan])},
    )
    group = np.array([0, 0, 0, 1, 1, 2])
    for groups in (group, Runs(group, 3)):
        found = table.group_sum(groups, 3).degrees_of_freedom["sampling"]
        assert found == pytest.approx([4, 3, np.inf])
