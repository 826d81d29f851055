"""Named tuples of geosand are what typing makes of the same lines."""

from __future__ import annotations

import ast
import pickle
import typing
from pathlib import Path

import pytest

import geosand
from geosand.tuples import NamedTuple


class Ours(NamedTuple):
    """A rate."""

    kg_m2: float
    catches: int = 1
    name: str = "g1"

    @property
    def told(self) -> str:
        return f"{self.name}: {self.kg_m2} kg/m²"

    def times(self, factor: float) -> Ours:
        return self._replace(kg_m2=self.kg_m2 * factor)


class Theirs(typing.NamedTuple):
    """A rate."""

    kg_m2: float
    catches: int = 1
    name: str = "g1"

    @property
    def told(self) -> str:
        return f"{self.name}: {self.kg_m2} kg/m²"

    def times(self, factor: float) -> Theirs:
        return self._replace(kg_m2=self.kg_m2 * factor)


def test_they_are_what_typing_makes():
    """Python's library reference, typing.NamedTuple."""
    assert (Ours._fields, Ours._field_defaults) == (Theirs._fields, Theirs._field_defaults)
    assert (Ours.__doc__, Ours.__module__) == (Theirs.__doc__, Theirs.__module__)
    assert Ours.__mro__[1:] == Theirs.__mro__[1:]
    ours, theirs = Ours(0.5, name="g2").times(2), Theirs(0.5, name="g2").times(2)
    assert ours == theirs == (1.0, 1, "g2")
    assert ours.told == theirs.told == "g2: 1.0 kg/m²"
    assert repr(ours) == repr(theirs).replace("Theirs", "Ours")
    assert type(pickle.loads(pickle.dumps(ours))) is Ours
    for wrong in (Ours, lambda: Ours(1.0, 2, "g", 4), lambda: Ours(1.0, depth=2)):
        with pytest.raises(TypeError):
            wrong()
    with pytest.raises(AttributeError):
        ours.catches = 2  # type: ignore[misc]


def test_no_module_takes_those_of_typing():
    taken = [
        path.name
        for path in Path(geosand.__file__).parent.rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text()))
        if isinstance(node, ast.ImportFrom) and node.module == "typing"
        if "NamedTuple" in [name.name for name in node.names]
    ]
    assert taken == ["tuples.py"]
