"""Texts at the end of a leader belong to what its arrow points at, not to where they stand."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import shapely

from geosand.formats.boundaries.drawings.labels import BY_LEADER, NOTHING, NUMBER, TEXT
from geosand.formats.boundaries.drawn import Drawn
from geosand.formats.boundaries.words.holes import NAMED, hole_in_column, hole_in_layer
from geosand.formats.boundaries.words.kinds import recognise
from geosand.site.cells import Cell

BEYOND = 25  #: sags that an arrow's tip is taken farther, as it may end on an edge: 0.05 m


def multileader(entity: Any, thing: Drawn, sag: float) -> Iterator[Drawn]:
    """A label at the tip of each arrow of a multileader that names a surface."""
    from ezdxf.tools.text import plain_mtext

    context = entity.context
    tags: dict[str, Cell] = {}
    text = ""
    if context.mtext is not None:
        text = " ".join(str(plain_mtext(entity.get_mtext_content())).split())
    elif context.block is not None:
        tags = {tag: str(said).strip() for tag, said in entity.get_block_content().items()}
    lines = [
        [*line.vertices, leader.last_leader_point]
        for leader in context.leaders
        for line in leader.lines
        if line.vertices
    ]
    if not lines or not (names_surface(text) or hole_in_column(tags)):
        yield replace(thing, geometry=NOTHING, problem="MULTILEADER is no outline")
        return
    for line in lines:
        cells = {**tags, TEXT: text}
        yield replace(thing, geometry=tip_of(line, sag), attributes=cells, problem=BY_LEADER)


def names_surface(text: str) -> bool:
    """Whether a text is a name: most texts of leaders are notes.

    >>> [names_surface(text) for text in ("7", "Green 7", "New drain, see detail 3")]
    [True, True, False]
    """
    kind = recognise(text)
    named = kind not in ("", "other") and hole_in_layer(text, kind)
    return bool(named or NUMBER.fullmatch(text) or NAMED.fullmatch(text))


def tips_of_leaders(space: Any, sag: float) -> dict[str, Any]:
    """The place that each text of a leader points at, by the text's handle."""
    return {
        entity.dxf.annotation_handle: tip_of(entity.vertices, sag)
        for entity in space.query("LEADER")
        if entity.dxf.hasattr("annotation_handle") and len(entity.vertices)
    }


def tip_of(line: Sequence[Any], sag: float) -> Any:
    """The point at which a leader from its arrow on points, a little farther than it is drawn."""
    places = np.array([(p[0], p[1]) for p in line])
    back = places[0] - places
    length = np.hypot(*back.T)
    if not length.any():
        return shapely.points(places[0])
    way = int(np.argmax(length > 0))
    return shapely.points(places[0] + BEYOND * sag * back[way] / length[way])
