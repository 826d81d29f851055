"""Tables are set once, by name, and stay as they are."""

from __future__ import annotations

import pickle
from dataclasses import FrozenInstanceError, fields, replace

import pytest

from geosand.columns import frozen


@frozen
class Heap:
    """A table for these tests."""

    mass_kg: float
    name: str = "sand"


HEAP = Heap(mass_kg=3.0)


def test_no_value_changes_and_none_is_added_or_deleted() -> None:
    with pytest.raises(FrozenInstanceError, match=r"Heap\.mass_kg can not be changed"):
        HEAP.mass_kg = 4.0  # type: ignore[misc]
    with pytest.raises(FrozenInstanceError, match=r"Heap\.name can not be deleted"):
        del HEAP.name
    with pytest.raises(AttributeError):
        HEAP.mass_g = 3000.0  # type: ignore[attr-defined]
    assert (HEAP.mass_kg, HEAP.name) == (3.0, "sand")


def test_values_are_given_by_name() -> None:
    with pytest.raises(TypeError, match="positional"):
        Heap(3.0)  # type: ignore[misc]
    with pytest.raises(TypeError, match="mass_kg"):
        Heap()  # type: ignore[call-arg]


def test_a_changed_copy_and_one_that_travelled_are_whole() -> None:
    assert [field.name for field in fields(HEAP)] == ["mass_kg", "name"]
    other = pickle.loads(pickle.dumps(replace(HEAP, mass_kg=5.0)))
    assert (other.mass_kg, other.name, HEAP.mass_kg) == (5.0, "sand", 3.0)
    assert Heap(mass_kg=3.0) != HEAP
    assert len({HEAP, other}) == 2
