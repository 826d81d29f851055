"""Named tuples of geosand are what typing makes of the same lines."""

from __future__ import annotations

import ast
import pickle
import typing
from pathlib import Path
from typing import Any

import pytest

import geosand
from geosand.tuples import NamedTuple


def rate(base: Any) -> Any:
    class Rate(base):
        """A rate."""

        kg_m2: float
        catches: int = 1
        name: str = "g1"

        @property
        def told(self) -> str:
            return f"{self.name}: {self.kg_m2} kg/m²"

        def times(self, factor: float) -> Rate:
            return self._replace(kg_m2=self.kg_m2 * factor)

    return Rate


Rate, Theirs = rate(NamedTuple), rate(typing.NamedTuple)


def test_they_are_what_typing_makes():
    """Python's library reference, typing.NamedTuple."""
    assert (Rate._fields, Rate._field_defaults) == (Theirs._fields, Theirs._field_defaults)
    assert (Rate.__doc__, Rate.__module__) == (Theirs.__doc__, Theirs.__module__)
    assert Rate.__mro__[1:] == Theirs.__mro__[1:]
    ours, theirs = Rate(0.5, name="g2").times(2), Theirs(0.5, name="g2").times(2)
    assert ours == theirs == (1.0, 1, "g2")
    assert ours.told == theirs.told == "g2: 1.0 kg/m²"
    assert repr(ours) == repr(theirs)
    assert type(pickle.loads(pickle.dumps(ours))) is Rate
    for wrong in (Rate, lambda: Rate(1.0, 2, "g", 4), lambda: Rate(1.0, depth=2)):
        with pytest.raises(TypeError):
            wrong()
    with pytest.raises(AttributeError):
        ours.catches = 2


def test_no_module_takes_those_of_typing():
    taken = [
        path.name
        for path in Path(geosand.__file__).parent.rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text()))
        if isinstance(node, ast.ImportFrom) and node.module == "typing"
        if "NamedTuple" in [name.name for name in node.names]
    ]
    assert taken == ["tuples.py"]
