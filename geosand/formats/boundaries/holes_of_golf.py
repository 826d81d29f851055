"""Greens, tees and fairways of map data are called after the hole that they belong to.

The open map community draws a hole as a line from its tee to its green, with the number as ref.
"""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any, NamedTuple

import numpy as np
import shapely

from geosand.columns import Geometries
from geosand.formats.boundaries.drawn import Drawn, Layer
from geosand.formats.boundaries.kinds import tags_of
from geosand.formats.boundaries.naming import ID_COLUMNS, cell_of, clean, name_of
from geosand.site.cells import as_text, is_blank, quoted

#: What of a hole's line lies on a surface of each sort.
ON: Mapping[str, Callable[[Geometries], Geometries]] = {
    "green": lambda lines: shapely.get_point(lines, -1),
    "tee": lambda lines: shapely.get_point(lines, 0),
    "fairway": lambda lines: lines,
}
TAGGED = frozenset(("golf", "other_tags", "tags"))  #: columns in which the tag golf can stand
#: Numbers of the community's data base: 7, way/7, w7; another id was given by somebody.
_NUMBERED = re.compile(r"(?:way|relation|node|[wrn])?[/ _-]?\d*", re.IGNORECASE)


class _Hole(NamedTuple):
    label: str
    line: Any


def called_after_holes(layers: list[tuple[str, Layer]]) -> list[tuple[str, Layer]]:
    """The layers with "Green 7" for a green without a name or id that has ref=7, or hole 7's line.

    Its id comes from that name: crews know no numbers of a data base.
    """
    holes: dict[str, list[_Hole]] = defaultdict(list)
    for _, layer in layers:
        holes[layer.crs] += [
            _Hole(label, shapely.get_geometry(thing.geometry, 0))  # a GIS may say it is multiple
            for thing in layer.drawn
            if _golf(thing) == "hole"
            and thing.draws("LineString", "MultiLineString")
            and shapely.get_num_geometries(thing.geometry) == 1
            and (label := _ref(thing) or name_of(thing.attributes, thing.name, None))
        ]
    return [(shown, _called(layer, holes[layer.crs])) for shown, layer in layers]


def _called(layer: Layer, holes: list[_Hole]) -> Layer:
    labels: dict[int, str] = {}
    of_sort: dict[str, list[int]] = defaultdict(list)
    for k, thing in enumerate(layer.drawn):
        if (golf := _golf(thing)) in ON and _is_nameless(thing):
            of_sort[golf].append(k)
    for golf, part in ON.items():
        rows = of_sort[golf]
        met = _met([layer.drawn[k] for k in rows], holes, part)
        for k, lines in zip(rows, met, strict=True):
            # a double green has two holes, a fairway that several cross is nobody's
            by_line = "/".join(lines) if golf != "fairway" or len(lines) == 1 else ""
            if label := _ref(layer.drawn[k]) or by_line:
                labels[k] = f"{golf.capitalize()} {label}"
    if not labels:
        return layer
    drawn = tuple(
        _renamed(thing, labels[k]) if k in labels else thing for k, thing in enumerate(layer.drawn)
    )
    often = Counter(label.split()[0].lower() for label in labels.values())
    parts = [f"{count} {golf}{'s' * (count > 1)}" for golf, count in often.items()]
    are = "is called after its hole" if len(labels) == 1 else "are called after their holes"
    said = f"{', '.join(parts)} {are}, such as {quoted(next(iter(labels.values())))}"
    return replace(layer, drawn=drawn, findings=(*layer.findings, said))


def _golf(thing: Drawn) -> str:
    """What its tag golf says; most files have none."""
    return tags_of(thing.attributes).get("golf", "") if TAGGED & thing.attributes.keys() else ""


def _is_nameless(thing: Drawn) -> bool:
    if not thing.draws("Polygon", "MultiPolygon", "LineString"):  # a line may still be closed
        return False
    ident = cell_of(thing.attributes, None, ID_COLUMNS)
    return bool(_NUMBERED.fullmatch(ident)) and not name_of(thing.attributes, thing.name, None)


def _ref(thing: Drawn) -> str:
    plain = thing.attributes.get("ref")
    return clean(tags_of(thing.attributes).get("ref", "") if is_blank(plain) else as_text(plain))


def _met(
    things: list[Drawn], holes: list[_Hole], part: Callable[[Geometries], Geometries]
) -> list[list[str]]:
    """Labels of the holes whose part lies on each thing, each once."""
    met: list[list[str]] = [[] for _ in things]
    if things and holes:
        tree = shapely.STRtree(part(_finite([hole.line for hole in holes])))
        pairs = tree.query(_finite([thing.geometry for thing in things]), predicate="intersects")
        for thing, hole in pairs[:, np.lexsort(pairs[::-1])].T.tolist():
            if holes[hole].label not in met[thing]:
                met[thing].append(holes[hole].label)
    return met


def _finite(shapes: list[Any]) -> Geometries:
    """The shapes, None for those with a corner nowhere: GEOS stops at them."""
    found = np.array(shapes, dtype=object)
    corners, row = shapely.get_coordinates(found, return_index=True)
    found[row[~np.isfinite(corners).all(axis=1)]] = None
    return found


def _renamed(thing: Drawn, name: str) -> Drawn:
    kept = {k: v for k, v in thing.attributes.items() if k.lower() not in ID_COLUMNS}
    return replace(thing, name=name, attributes=kept)
