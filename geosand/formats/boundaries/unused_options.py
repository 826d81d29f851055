"""Options that say nothing about the file at hand: told, so that nobody relies on them."""

from __future__ import annotations

from collections.abc import Collection, Sequence

import shapely

from geosand.formats.boundaries.drawn import Layer
from geosand.formats.boundaries.wishes import Wishes

CLOSE_TOLERANCE_M = 0.05


def unused_options(wishes: Wishes, formats: Collection[str], layers: Sequence[Layer]) -> list[str]:
    """A text for each wish that these layers have no use for."""
    texts = []
    if wishes.point_order is not None and "survey" not in formats:
        texts.append("--point-order is not used: it is for survey text")
    if wishes.close_tolerance_m != CLOSE_TOLERANCE_M and not any(x.closes_lines for x in layers):
        text = "--close-tolerance is not used: it is for drawings, tracks and survey text"
        texts.append(text)
    if wishes.holes and not any(x.asks_unit for x in layers):
        texts.append("--holes is not used: it is for drawings")
    if wishes.kind is not None and wishes.kind_column is not None:
        texts.append("--kind is not used: --one-kind says one kind for all")
    several = (
        d.geometry is not None and int(shapely.get_num_geometries(d.geometry)) > 1
        for layer in layers
        for d in layer.drawn
    )
    if wishes.split_parts and not any(several):
        texts.append("--split-parts is not used: nothing has several parts")
    return texts
