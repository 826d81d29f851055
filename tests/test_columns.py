"""Tables are set once, by name, and stay as they are."""

from __future__ import annotations

import pickle
from dataclasses import FrozenInstanceError, field, fields, replace
from functools import cached_property

import pytest

from geosand.columns import Late, frozen


@frozen
class Heap:
    """A table for these tests."""

    mass_kg: float
    name: str = "sand"


HEAP = Heap(mass_kg=3.0)


@frozen
class Weighed(Late):
    """One with a figure that few ask for."""

    mass_kg: float
    asked: list[float]

    @cached_property
    def moist_kg(self) -> float:
        """With a tenth of water."""
        self.asked.append(self.mass_kg)
        return 1.1 * self.mass_kg


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
    with pytest.raises(TypeError, match="Heap: mass_kg is not given"):
        Heap()  # type: ignore[call-arg]
    with pytest.raises(TypeError, match="Heap: mass_g, u_kg can not be given"):
        Heap(mass_kg=3.0, mass_g=1.0, u_kg=1.0)  # type: ignore[call-arg]


@frozen
class Lot:
    """A table of awkward columns: one called as a parameter might be, one of each kind of default.

    ``doubled`` is set when the others are.
    """

    table: float
    self: float
    of_sand: dict[str, float] = field(default_factory=dict)
    doubled: float = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "doubled", 2 * self.table)


@frozen
class LargerLot(Lot):
    """The columns of another table, and one more."""

    u_kg: float = 0.5


def test_columns_of_all_kinds_are_filled() -> None:
    lot, other = Lot(table=3.0, self=1.0), Lot(table=3.0, self=1.0, of_sand={"a": 1.0})
    assert (lot.table, lot.self, lot.of_sand, lot.doubled) == (3.0, 1.0, {}, 6.0)
    assert other.of_sand == {"a": 1.0} and lot.of_sand is not Lot(table=1.0, self=1.0).of_sand
    assert replace(lot, table=4.0).doubled == 8.0
    with pytest.raises(TypeError, match="Lot: doubled can not be given"):
        Lot(table=3.0, self=1.0, doubled=7.0)  # type: ignore[call-arg]
    larger = LargerLot(table=3.0, self=1.0)
    assert (larger.doubled, larger.u_kg) == (6.0, 0.5)
    with pytest.raises(TypeError, match="LargerLot: self is not given"):
        LargerLot(table=3.0)  # type: ignore[call-arg]


def test_a_changed_copy_and_one_that_travelled_are_whole() -> None:
    assert [column.name for column in fields(HEAP)] == ["mass_kg", "name"]
    other = pickle.loads(pickle.dumps(replace(HEAP, mass_kg=5.0)))
    assert (other.mass_kg, other.name, HEAP.mass_kg) == (5.0, "sand", 3.0)
    assert Heap(mass_kg=3.0) != HEAP
    assert len({HEAP, other}) == 2


def test_a_late_figure_is_worked_out_once_where_it_is_asked_for() -> None:
    one = Weighed(mass_kg=10.0, asked=[])
    other = replace(one, mass_kg=20.0)
    assert one.asked == []
    assert (one.moist_kg, one.moist_kg, other.moist_kg) == pytest.approx((11, 11, 22))
    assert one.asked == [10.0, 20.0]
    assert replace(one).moist_kg == pytest.approx(11)
    assert one.asked == [10.0, 20.0, 10.0]
    for name in ("moist_kg", "mass_g"):
        with pytest.raises(AttributeError):
            setattr(one, name, 0.0)
