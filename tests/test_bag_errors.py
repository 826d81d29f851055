"""Who is named where one kind of bags holds 5 % too much, in seasons laid pass by pass.

Where nothing beside the greens was measured, a bag error hides in an overthrow that nobody knows:
nobody may be named. Two weighed loads, or other kinds of bags and trays beside the edges, tell it.
The table is printed with ``pytest -s``.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest

from tests.bag_errors import BAGS, DESIGNS, NOTHING, WEIGHED, named, printed, season

SEASONS = {"nothing beside": range(40), "two loads weighed": range(40)}
SEASONS["rings, other bags"] = range(20)


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> dict[str, list[str | None]]:
    folder = tmp_path_factory.mktemp("bags")
    culprits: dict[str, list[str | None]] = {}
    for name, seeds in SEASONS.items():
        culprits |= named(folder / name, seeds, (name,))
    print(f"\n{printed(culprits)}")
    return culprits


def share(culprits: Sequence[str | None], *names: str | None) -> float:
    return float(np.mean([one in names for one in culprits]))


@pytest.mark.parametrize("design", ["two loads weighed", "rings, other bags"])
def test_it_is_named_where_something_tells(found: dict[str, list[str | None]], design: str) -> None:
    assert share(found[design], BAGS) >= 0.9


def test_nobody_is_named_where_nothing_tells(found: dict[str, list[str | None]]) -> None:
    assert share(found["nothing beside"], None) >= 0.95


@pytest.mark.parametrize("design", list(DESIGNS))
def test_no_other_input_is_named(found: dict[str, list[str | None]], design: str) -> None:
    assert share(found[design], BAGS, None) >= 0.95


def test_what_can_not_be_told_apart_is_listed_with_what_would_tell(tmp_path: Path) -> None:
    one = season(tmp_path, 1, NOTHING)
    (group,) = [group for group in one.not_told_apart if BAGS in group]
    assert {"catch efficiency", "strip width of the spreader"} <= set(group)
    texts = " / ".join(one.measurement_that_would_tell)
    assert "lay three trays outside the edge" in texts
    assert "weigh three bags or units of dried 25 kg" in texts


def test_right_bags_are_not_accused(tmp_path: Path) -> None:
    """The trial can fail: the same seasons with bags as their labels say."""
    right = [season(tmp_path / str(s), s, WEIGHED, bag_error=0.0).culprit for s in range(15)]
    assert share(right, None) >= 0.9
