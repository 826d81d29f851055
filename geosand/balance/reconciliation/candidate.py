"""An input of a season's balances that can be off."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from types import MappingProxyType

from geosand.columns import Floats
from geosand.tuples import NamedTuple


class Candidate(NamedTuple):
    """A row of :class:`geosand.balance.reconciliation.candidates.Candidates`."""

    name: str
    direction: Floats  #: (m,) what 1 unit more of it adds to each equation
    unit: str
    stated: float
    within: tuple[float, float]  #: its error can not be below the one, nor above the other
    persists: bool = True  #: the same error in every dressing
    errors: Mapping[str, float] = MappingProxyType({})  #: its standard uncertainty by name of error


Found = Iterator[Candidate]
