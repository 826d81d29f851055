"""JSON text in which no key decides unseen: one that stands twice with different values is told."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

Json = Any


def read_json(
    text: str, parse_constant: Callable[[str], Any] | None = None
) -> tuple[Json, list[tuple[int, str]]]:
    """The document and, for each key that stands twice, its feature's number (0 = none) and it.

    Of two members with one name most readers take the last and say nothing (RFC 8259, section 4).
    Raises ValueError or RecursionError for what is no JSON.
    """
    met: list[tuple[dict[str, Json], str]] = []

    def cells_of(pairs: list[tuple[str, Json]]) -> dict[str, Json]:
        cells = dict(pairs)
        if len(cells) < len(pairs):
            met.extend((cells, key) for key in _differing(pairs, cells))
        return cells

    document = json.loads(text, parse_constant=parse_constant, object_pairs_hook=cells_of)
    return document, [(_feature_of(document, cells), key) for cells, key in met]


def twice_told(key: str) -> str:
    """What is wrong with a key that stands twice."""
    return f"the key {key[:40]!r} stands twice, with different values"


KEEP_ONE = "keep the one that is right"


def as_cell(value: Json) -> Json:
    """A value as a cell of a table: objects, lists and integers that no float holds as text."""
    if value is None or isinstance(value, (str, float, bool)):
        return value
    if isinstance(value, int):
        return value if abs(value) < 2**53 else _whole(value)
    return json.dumps(value)[:2000]


def _whole(value: int) -> str:
    """An integer that no float holds, as text; Python refuses to print very long ones."""
    return str(value) if abs(value) < 10**40 else "an integer of more than 40 digits"


def _differing(pairs: list[tuple[str, Json]], cells: dict[str, Json]) -> list[str]:
    """Keys that have a further value beside the last."""
    return list(dict.fromkeys(key for key, value in pairs if value != cells[key]))


def _feature_of(document: Json, cells: dict[str, Json]) -> int:
    """Number of the feature in which an object lies, 0 where it is in none."""
    features = document.get("features") if isinstance(document, dict) else None
    if document is cells or not isinstance(features, list):
        return 0
    for number, feature in enumerate(features, start=1):
        inside = [feature]
        while inside:
            part = inside.pop()
            if part is cells:
                return number
            inside += part.values() if isinstance(part, dict) else ()
            inside += part if isinstance(part, list) else ()
    return 0
