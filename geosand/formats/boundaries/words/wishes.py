"""What a person says about a boundary file, beyond its path, and what of it was of no use."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import PurePath

import shapely

from geosand.formats.boundaries.drawn import Drawn, Layer
from geosand.formats.boundaries.words.kinds import kind_of, own_kind, recognise, says_kind, words_of
from geosand.formats.boundaries.words.naming import name_of

CLOSE_TOLERANCE_M = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Wishes:
    """What the user says about a file, beyond its path."""

    crs: str | None = None  #: where the file says none, or in its place, which is told
    unit: str | None = None  #: of a drawing or of survey text
    near: tuple[float, float] | None = None  #: (lon, lat) where the site must be
    swap_axes: bool = False  #: x and y are exchanged
    believe_place: bool = False  #: a place that is asked about is right
    kind_column: str | None = None
    id_column: str | None = None
    name_column: str | None = None
    kind: str | None = None  #: of all surfaces
    close_tolerance_m: float = CLOSE_TOLERANCE_M  #: how far apart the ends of a line may be
    point_order: str | None = None  #: of survey text, as "PNEZD"
    split_parts: bool = False  #: each part of a multipolygon is a surface
    holes: bool = False  #: outlines of a drawing inside another of their layer are its holes
    kind_words: Mapping[str, str] = field(default_factory=dict)  #: the user's own table of kinds

    def kind_and_word(self, thing: Drawn) -> tuple[str, str]:
        """Kind of a thing and the word it was taken from, see :func:`kind_of`."""
        if self.kind:
            return self.kind, ""
        words, column = self.kind_words, self.kind_column
        kind, word = kind_of(thing.attributes, thing.folder, thing.name, column, words)
        if kind or column is not None or not thing.draws("Polygon", "MultiPolygon"):
            return kind, word
        # a line called "Water main" is no water
        name = name_of(thing.attributes, thing.name, self.name_column)
        key, by_name = own_kind(name, words)
        by_name = by_name or recognise(name)
        told = by_name not in ("", "other") or bool(key)
        return (by_name, name) if told else (kind, word)

    def kind_told(self, thing: Drawn) -> str:
        """Kind of a thing, "" where nothing tells it."""
        return self.kind_and_word(thing)[0]

    def kind_in(self, file: str, thing: Drawn) -> tuple[str, str]:
        """The same; where nothing in the file says a kind, the file's own name may."""
        kind, word = self.kind_and_word(thing)
        if kind == "path" and self._is_only_track(thing, word):
            kind = ""
        if kind or self.kind_column is not None or says_kind(thing.attributes):
            return kind, word
        stem = PurePath(file).stem
        from_file = own_kind(stem, self.kind_words)[1] or recognise(stem)
        told = from_file not in ("", "other") and not self._is_only_track(thing, stem)
        return (from_file, stem) if told else (kind, word)

    def _is_only_track(self, thing: Drawn, word: str) -> bool:
        """Whether a word is what a receiver calls each line that it records: "Track 001"."""
        plain = thing.place.startswith("track ") and words_of(word) == ["track"]
        return plain and self.kind_column is None and not own_kind(word, self.kind_words)[0]

    def unused(self, formats: Collection[str], layers: Sequence[Layer]) -> list[str]:
        """A text for each wish that these layers have no use for, so that nobody relies on it."""
        texts = []
        if self.point_order is not None and "survey" not in formats:
            texts.append("--point-order is not used: it is for survey text")
        closes = any(layer.closes_lines for layer in layers)
        if self.close_tolerance_m != CLOSE_TOLERANCE_M and not closes:
            texts.append(
                "--close-tolerance is not used: it is for drawings, tracks and survey text"
            )
        if self.holes and not any(layer.asks_unit for layer in layers):
            texts.append("--holes is not used: it is for drawings")
        if self.kind is not None and self.kind_column is not None:
            texts.append("--kind is not used: --one-kind says one kind for all")
        shapes = [d.geometry for layer in layers for d in layer.drawn]
        if self.split_parts and not any(count > 1 for count in shapely.get_num_geometries(shapes)):
            texts.append("--split-parts is not used: nothing has several parts")
        return texts
