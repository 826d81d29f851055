"""Texts, label blocks and hatches of a drawing: they say what an outline is, and are none."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import shapely

from geosand.formats.boundaries.drawn import Drawn
from geosand.site.cells import Cell

TEXT = "Text"  #: attribute of a thing that is a label: what it says
FILL = "hatch"  #: attribute of a thing that fills an outline
TEXT_OUTSIDE = "a text that lies in no outline"
NOTHING = shapely.Point()  #: of what draws no area of its own: nothing is lost without it
SAME = 1e-3  #: share of its area by which a hatch may differ from the outline it fills


def give_labels(drawn: list[Drawn]) -> tuple[list[Drawn], int]:
    """Texts that lie in a polygon become its name where it has none; how many were used.

    A text belongs to the smallest polygon around it. A label block also brings its attributes. A
    hatch that fills an outline of the drawing is no second surface.
    """
    drawn = _filled(drawn)
    rows = [k for k, d in enumerate(drawn) if _is_area(d)]
    texts = [k for k, d in enumerate(drawn) if TEXT in d.attributes and not _is_area(d)]
    if not rows or not texts:
        return drawn, 0
    areas = np.array([drawn[k].geometry for k in rows], dtype=object)
    tree, size = shapely.STRtree(areas), shapely.area(areas)
    names: dict[int, list[str]] = {}
    brought: dict[int, dict[str, Cell]] = {}
    used: set[int] = set()
    for k in texts:
        around = tree.query(drawn[k].geometry, "intersects")
        if not len(around):
            continue
        owner = rows[int(around[size[around].argmin()])]
        names.setdefault(owner, []).append(str(drawn[k].attributes[TEXT]).strip())
        more = {key: cell for key, cell in drawn[k].attributes.items() if key != TEXT}
        brought.setdefault(owner, {}).update(more)
        used.add(k)
    labelled = [
        replace(
            d,
            name=d.name or " ".join(text for text in dict.fromkeys(names.get(k, ())) if text),
            attributes={**brought.get(k, {}), **d.attributes},
        )
        for k, d in enumerate(drawn)
        if k not in used
    ]
    return labelled, len(used)


def _filled(drawn: list[Drawn]) -> list[Drawn]:
    """Hatches that fill an outline keep their place with the reason, and draw nothing."""
    fills = [k for k, d in enumerate(drawn) if d.attributes.get(FILL) and _is_area(d)]
    rows = [k for k, d in enumerate(drawn) if not d.attributes.get(FILL) and _is_area(d)]
    out = list(drawn)
    if fills and rows:
        areas = np.array([drawn[k].geometry for k in rows], dtype=object)
        tree = shapely.STRtree(areas)
        for k in fills:
            shape = drawn[k].geometry
            near = tree.query(shape)
            for j in near.tolist():
                if _same(shape, areas[j]):
                    reason = f"a hatch over {drawn[rows[j]].place}"
                    out[k] = replace(drawn[k], geometry=NOTHING, problem=reason)
                    break
    for k in fills:
        kept = {key: cell for key, cell in out[k].attributes.items() if key != FILL}
        out[k] = replace(out[k], attributes=kept)
    return out


def _same(one: Any, other: Any) -> bool:
    """Whether two polygons cover the same ground but for a thousandth of it."""
    sizes = float(shapely.area(one)), float(shapely.area(other))
    if abs(sizes[0] - sizes[1]) > SAME * max(sizes):
        return False
    try:
        apart = float(shapely.area(shapely.symmetric_difference(one, other)))
    except shapely.errors.GEOSException:  # an outline that crosses itself: the audit tells it
        return False
    return apart <= SAME * max(sizes)


def _is_area(thing: Drawn) -> bool:
    return thing.geometry is not None and thing.geometry.geom_type in ("Polygon", "MultiPolygon")
