"""Greens, tees and fairways called after their hole, where a line, a column or a folder says it.

The open map community draws a hole as a line from its tee to its green, with the number as ref;
others call such a line "Hole 7".
"""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

import numpy as np
import shapely

from geosand.columns import Floats, Geometries, Ints
from geosand.errors import Refused
from geosand.formats.boundaries.drawn import Drawn, Layer
from geosand.formats.boundaries.place.reference_systems import horizontal, metres_per_unit
from geosand.formats.boundaries.words.holes import (
    GREENS,
    NAMED,
    TEES,
    hole_in_column,
    hole_in_layer,
    hole_of_nine,
    nine_in_column,
    nine_in_folder,
    said_hole,
)
from geosand.formats.boundaries.words.kinds import recognise, tags_of
from geosand.formats.boundaries.words.naming import (
    ID_COLUMNS,
    NAME_COLUMNS,
    clean,
    name_of,
    stated_id,
    tells,
)
from geosand.formats.boundaries.words.wishes import Wishes
from geosand.site.cells import as_text, is_blank, quoted
from geosand.tuples import NamedTuple

#: What of a hole's line lies on a surface of each sort.
ON: Mapping[str, Callable[[Geometries], Geometries]] = {
    "green": lambda lines: shapely.get_point(lines, -1),
    "tee": lambda lines: shapely.get_point(lines, 0),
    "fairway": lambda lines: lines,
}
#: A line that lies on no green names the one beside its end, and a tee without a line takes that
#: beside it, if it is as near as this and the next one so much farther.
BESIDE_M = 20.0
TAGGED = frozenset(("golf", "other_tags", "tags"))  #: columns in which the tag golf can stand
#: Numbers of the community's data base: 7, way/7, w7, or -7 of what was not yet sent there; another
#: id was given by somebody.
_NUMBERED = re.compile(r"(?:way|relation|node|[wrn])?[/ _-]?-?\d*", re.IGNORECASE)


class _Hole(NamedTuple):
    label: str
    line: Any


class _Place(NamedTuple):
    """One surface of a sort: layer and row of its thing."""

    layer: int
    row: int
    thing: Drawn


def called_after_holes(
    layers: list[tuple[str, Layer]], file: str, wishes: Wishes, shared: set[tuple[str, str]]
) -> list[tuple[str, Layer]]:
    """The layers with "Green 7" for a green without a name or id that has ref=7, or hole 7's line.

    A column or a folder may say its hole as well. Its id comes from that name: crews know no
    numbers of a data base. ``shared``: see :func:`shared_ids`.
    """
    holes: dict[str, list[_Hole]] = defaultdict(list)
    for _, layer in layers:
        holes[layer.crs] += [
            _Hole(label, shapely.get_geometry(thing.geometry, 0))  # a GIS may say it is multiple
            for thing in layer.drawn
            if thing.draws("LineString", "MultiLineString")
            and shapely.get_num_geometries(thing.geometry) == 1
            and (label := _hole(thing, layer))
        ]
    places: dict[tuple[str, str], list[_Place]] = defaultdict(list)
    for k, (_, layer) in enumerate(layers):
        for row, thing in enumerate(layer.drawn):
            sort = _golf(thing)
            if not sort and not layer.asks_unit and (holes[layer.crs] or said_hole(thing)):
                sort = wishes.kind_in(file, thing)[0]
            if sort in ON:
                places[layer.crs, sort].append(_Place(k, row, thing))
    labels: dict[int, dict[int, str]] = defaultdict(dict)
    beside = Counter[int]()
    told, unused = _said_holes(places)
    for (crs, sort), some in sorted(places.items(), key=lambda each: list(ON).index(each[0][1])):
        met, near = _met(some, holes[crs], sort, _metres(crs, some, wishes))
        for place, lines, by_side in zip(some, met, near, strict=True):
            # a double green has two holes, a fairway that several cross is nobody's
            by_line = "/".join(lines) if sort != "fairway" or len(lines) == 1 else ""
            said = told[place.layer, place.row]
            ref = (_golf(place.thing) and _ref(place.thing)) or said
            if (label := ref or by_line) and _is_nameless(place.thing, sort, shared):
                labels[place.layer][place.row] = f"{sort.capitalize()} {label}"
                beside[place.layer] += by_side and not ref
    column = wishes.kind_column
    return [
        (s, _called(layer, labels[k], beside[k], column, unused[k]))
        for k, (s, layer) in enumerate(layers)
    ]


def _said_holes(
    places: Mapping[tuple[str, str], list[_Place]],
) -> tuple[dict[tuple[int, int], str], dict[int, list[str]]]:
    """What a column or folder says of the hole of each surface, by layer and row, "" for nothing.

    The nine of a column goes before the number where holes of several have the same, that of a
    folder where greens are too many else. What more greens of a layer say than a hole has is none
    of a hole: words on it by layer.
    """
    every = [(sort, place) for (_, sort), some in places.items() for place in some]
    nines: dict[tuple[str, str], set[str]] = defaultdict(set)
    for sort, place in every:
        nines[sort, said_hole(place.thing)].add(nine_in_column(place.thing.attributes).casefold())
    several = any(hole and len(found - {""}) > 1 for (_, hole), found in nines.items())
    said = dict[tuple[int, int], str]()
    for _, place in every:
        hole = said_hole(place.thing)
        nine = nine_in_column(place.thing.attributes) if several and hole else ""
        said[place.layer, place.row] = hole_of_nine(nine, hole)
    crowded = {layer for layer, _ in _crowded(every, said)}
    folders: dict[int, set[str]] = defaultdict(set)
    for _, place in every:
        folders[place.layer].add(nine_in_folder(place.thing.folder))
    for _, place in every:
        several = place.layer in crowded and len(folders[place.layer]) > 1
        if several and (hole := said[place.layer, place.row]):
            nine = nine_in_folder(place.thing.folder)
            said[place.layer, place.row] = hole_of_nine(nine, hole)
    unused: dict[int, list[str]] = defaultdict(list)
    many = _crowded(every, said)
    for (layer, hole), count in many.items():
        if not unused[layer]:
            unused[layer] = [
                f"{count} greens are of hole {quoted(hole)}: its numbers of holes name nothing that"
                " so many share; a column nine, loop or course would tell them apart"
            ]
    return {at: "" if (at[0], hole) in many else hole for at, hole in said.items()}, unused


def _crowded(
    every: list[tuple[str, _Place]], said: Mapping[tuple[int, int], str]
) -> dict[tuple[int, str], int]:
    """How many greens of a layer are said to be of one hole, where it has not so many."""
    often = Counter(
        (place.layer, said[place.layer, place.row]) for sort, place in every if sort == "green"
    )
    return {at: count for at, count in often.items() if at[1] and count > GREENS}


def called_after_layers(
    names: list[str], stated: list[str], things: list[Drawn], kinds: list[str], wishes: Wishes
) -> tuple[list[str], list[str]]:
    """The names (n,), "Green Red 7" for what has none in a layer RED-7-GREEN; words on it.

    Only where layers say several holes of the kind, and none has more than a hole has; not where
    the user says which column names them.
    """
    if not (wishes.id_column is None and wishes.name_column is None):
        return names, []
    said = [
        (kind, hole_in_layer(thing.folder, kind) if kind in ON else "")
        for thing, kind in zip(things, kinds, strict=True)
    ]
    nines = {hole.rpartition(" ")[0] for _, hole in said if hole}
    if len(nines) == 1 and len(min(nines)) == 1:  # as the C of C-GREEN-07, which offices put first
        said = [(kind, hole.rpartition(" ")[2]) for kind, hole in said]
    often = Counter(said)
    holes = Counter(kind for kind, hole in often if hole)
    most = defaultdict(lambda: GREENS, tee=TEES)
    labels = [
        f"{kind.capitalize()} {hole}"
        if hole and not (name or given) and holes[kind] > 1 and often[kind, hole] <= most[kind]
        else ""
        for (kind, hole), name, given in zip(said, names, stated, strict=True)
    ]
    found = [label for label in labels if label]
    words = [_said_of(found, "layer")] if found else []
    return [name or label for name, label in zip(names, labels, strict=True)], words


def _said_of(labels: list[str], what: str) -> str:
    often = Counter(label.split()[0].lower() for label in labels)
    parts = [f"{count} {sort}{'s' * (count > 1)}" for sort, count in often.items()]
    are = f"is called after its {what}" if len(labels) == 1 else f"are called after their {what}s"
    return f"{', '.join(parts)} {are}, such as {quoted(labels[0])}"


def _hole(thing: Drawn, layer: Layer) -> str:
    """What a line that draws a hole calls it; "" for others."""
    name = name_of(thing.attributes, thing.name, None)
    if _golf(thing) == "hole":
        return _ref(thing) or re.sub(r"^hole\W*(?=\d)", "", name, flags=re.IGNORECASE)
    called = None if layer.asks_unit else NAMED.fullmatch(name)  # drawings have texts
    return (
        called[1]
        if called and not shapely.is_closed(shapely.get_geometry(thing.geometry, 0))
        else ""
    )


def _called(
    layer: Layer, labels: Mapping[int, str], beside: int, kinds: str | None, unused: list[str]
) -> Layer:
    layer = replace(layer, findings=(*layer.findings, *unused))
    if not labels:
        return layer
    drawn = tuple(
        _renamed(thing, labels[k], kinds) if k in labels else thing
        for k, thing in enumerate(layer.drawn)
    )
    said = _said_of(list(labels.values()), "hole")
    if beside:
        lies = "1 of them lies" if beside == 1 else f"{beside} of them lie"
        said += f"; {lies} beside the hole's line, within {BESIDE_M:g} m"
    return replace(layer, drawn=drawn, findings=(*layer.findings, said))


def _golf(thing: Drawn) -> str:
    """What its tag golf says; most files have none."""
    return tags_of(thing.attributes).get("golf", "") if TAGGED & thing.attributes.keys() else ""


def _is_nameless(thing: Drawn, sort: str, shared: set[tuple[str, str]]) -> bool:
    if not thing.draws("Polygon", "MultiPolygon", "LineString"):  # a line may still be closed
        return False
    ident = stated_id(thing.attributes, shared)
    unsaid = bool(_NUMBERED.fullmatch(ident)) if _golf(thing) else not ident
    name = name_of(thing.attributes, thing.name, None)
    # "Green" in every row names nothing where a column says its hole
    only_kind = not tells(name) and recognise(name) == sort
    return unsaid and (not name or (only_kind and bool(hole_in_column(thing.attributes))))


def _ref(thing: Drawn) -> str:
    plain = thing.attributes.get("ref")
    return clean(tags_of(thing.attributes).get("ref", "") if is_blank(plain) else as_text(plain))


def _metres(crs: str, places: list[_Place], wishes: Wishes) -> Floats | None:
    """Metres of one unit of x and of y; None where the CRS is not known."""
    bounds = shapely.total_bounds([place.thing.geometry for place in places])
    latitude = bounds[[0, 2] if wishes.swap_axes else [1, 3]].mean()
    try:
        metres = metres_per_unit(horizontal(wishes.crs or crs, ""), float(latitude))
    except Refused:
        return None
    return metres[::-1] if wishes.swap_axes else metres


def _met(
    places: list[_Place], holes: list[_Hole], sort: str, metres: Floats | None
) -> tuple[list[list[str]], list[bool]]:
    """Labels of the holes whose part lies on each surface, each once; whether it lies beside it."""
    met: list[list[str]] = [[] for _ in places]
    near = [False] * len(places)
    if not holes:
        return met, near
    shapes = np.array([place.thing.geometry for place in places], dtype=object)
    lines = np.array([hole.line for hole in holes], dtype=object)
    pairs = shapely.STRtree(ON[sort](lines)).query(shapes, predicate="intersects")
    for place, hole in pairs[:, np.lexsort(pairs[::-1])].T.tolist():
        if holes[hole].label not in met[place]:
            met[place].append(holes[hole].label)
    if metres is not None and sort != "fairway":
        shapes, lines = (shapely.transform(some, lambda p: p * metres) for some in (shapes, lines))
        beside = _beside_ends if sort == "green" else _beside_lines
        for place, hole in beside(shapes, lines, pairs).tolist():
            met[place], near[place] = [holes[hole].label], True
    return met, near


def _beside_ends(shapes: Geometries, lines: Geometries, pairs: Ints) -> Ints:
    """Greens that no line ends on, each with the only one that ends beside it and on no other."""
    free = np.setdiff1d(np.arange(len(lines)), pairs[1])
    ends = ON["green"](lines[free])
    hole, place = shapely.STRtree(shapes).query(ends, "dwithin", 2 * BESIDE_M)
    hole, place = _only_near(hole, place, shapely.distance(ends[hole], shapes[place]))
    once = (np.bincount(place)[place] == 1) & ~np.isin(place, pairs[0])
    found: Ints = np.column_stack([place, free[hole]])[once]
    return found


def _beside_lines(shapes: Geometries, lines: Geometries, pairs: Ints) -> Ints:
    """Tees that no line begins on, each with the only line whose first half passes it."""
    free = np.setdiff1d(np.arange(len(shapes)), pairs[0])
    place, hole = shapely.STRtree(lines).query(shapes[free], "dwithin", 2 * BESIDE_M)
    place = free[place]
    middles = shapely.centroid(shapes[place])
    early = shapely.line_locate_point(lines[hole], middles, normalized=True) < 0.5
    place, hole = place[early], hole[early]
    away_m = shapely.distance(shapes[place], lines[hole])
    return np.column_stack(_only_near(place, hole, away_m))


def _only_near(one: Ints, other: Ints, away_m: Floats) -> tuple[Ints, Ints]:
    """Those pairs (n,) whose other is the nearest of its one, near enough and the only one so."""
    order = np.lexsort((away_m, one))
    one, other, away = one[order], other[order], away_m[order]
    same = one[1:] == one[:-1]
    first = np.append(True, ~same)[: len(one)]
    doubtful = np.append(same & (np.diff(away) < BESIDE_M), False)[: len(one)]
    kept = first & ~doubtful & (away <= BESIDE_M)
    return one[kept], other[kept]


def _renamed(thing: Drawn, name: str, kinds: str | None) -> Drawn:
    """The thing with this name in place of those it had; ``kinds``, the column of kinds, stays.

    A name that said the kind goes on to say it as a folder: "Green Lake 7" is no lake.
    """
    cells = {k: name if k.lower() in NAME_COLUMNS else v for k, v in thing.attributes.items()}
    kept = {k: v for k, v in cells.items() if k.lower() not in ID_COLUMNS or k == kinds}
    said = name_of(thing.attributes, thing.name, None)
    folders = [thing.folder, said if recognise(said) != recognise(name) else ""]
    folder = " / ".join(filter(None, folders))
    return replace(thing, name=name, attributes=kept, folder=folder)
