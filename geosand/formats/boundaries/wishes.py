"""What a person says about a boundary file, beyond its path."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from geosand.formats.boundaries.drawn import Drawn
from geosand.formats.boundaries.kinds import kind_of


@dataclass(frozen=True, slots=True, kw_only=True)
class Wishes:
    """What the user says about a file, beyond its path."""

    crs: str | None = None
    unit: str | None = None
    near: tuple[float, float] | None = None
    swap_axes: bool = False
    believe_place: bool = False
    kind_column: str | None = None
    id_column: str | None = None
    name_column: str | None = None
    kind: str | None = None
    close_tolerance_m: float = 0.05
    point_order: str | None = None
    split_parts: bool = False
    holes: bool = False
    kind_words: Mapping[str, str] = field(default_factory=dict)  #: the user's own table of kinds

    def kind_and_word(self, thing: Drawn) -> tuple[str, str]:
        """Kind of a thing and the word it was taken from, see :func:`kind_of`."""
        if self.kind:
            return self.kind, ""
        words, column = self.kind_words, self.kind_column
        return kind_of(thing.attributes, thing.folder, thing.name, column, words)
