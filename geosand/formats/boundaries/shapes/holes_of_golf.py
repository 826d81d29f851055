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
from geosand.formats.boundaries.words.kinds import recognise, tags_of
from geosand.formats.boundaries.words.naming import (
    ID_COLUMNS,
    NAME_COLUMNS,
    cell_of,
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
_NAMED = re.compile(r"hole[\W_]*(\d+[a-z]?)", re.IGNORECASE)
#: Columns that say of which hole a surface is; common practice, no published source.
HOLE_COLUMNS = (
    *("hole", "hole_no", "holeno", "hole_number", "holenumber", "hole_num", "holenum", "hole_nr"),
    *("loch", "bahn", "trou", "hoyo", "buca"),
)
GREENS = 2  #: of one hole, at most; common practice, no published source
#: 7, 07, Hole 7, H7; Red 7 of three nines; 2/16 of a double green; 3.0 of a table with gaps.
_NUMBER = re.compile(
    r"(?:(?:#|h(?:oles?)?|loch|bahn|trou|hoyo|buca|no|nr)(?:[\W_]+|(?=\d)))*"
    r"((?:[^\W\d_]+[ _-]?)?)0*([1-9]\d?[a-z]?)(?:\.0)?"
    r"(?:( ?[/&+,-] ?| and )0*([1-9]\d?[a-z]?))?",
    re.IGNORECASE,
)


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
            if not sort and not layer.asks_unit and (holes[layer.crs] or _said_hole(thing)):
                sort = wishes.kind_in(file, thing)[0]
            if sort in ON:
                places[layer.crs, sort].append(_Place(k, row, thing))
    labels: dict[int, dict[int, str]] = defaultdict(dict)
    beside = Counter[int]()
    greens = [place for (_, sort), some in places.items() if sort == "green" for place in some]
    often = Counter((place.layer, _said_hole(place.thing)) for place in greens)
    for (crs, sort), some in sorted(places.items(), key=lambda each: list(ON).index(each[0][1])):
        met, near = _met(some, holes[crs], sort, _metres(crs, some, wishes))
        for place, lines, by_side in zip(some, met, near, strict=True):
            # a double green has two holes, a fairway that several cross is nobody's
            by_line = "/".join(lines) if sort != "fairway" or len(lines) == 1 else ""
            said = _said_hole(place.thing)
            if often[place.layer, said] > GREENS:
                said = ""  # a column that only says yes
            ref = (_golf(place.thing) and _ref(place.thing)) or said
            if (label := ref or by_line) and _is_nameless(place.thing, sort, shared):
                labels[place.layer][place.row] = f"{sort.capitalize()} {label}"
                beside[place.layer] += by_side and not ref
    column = wishes.kind_column
    return [
        (s, _called(layer, labels[k], beside[k], column)) for k, (s, layer) in enumerate(layers)
    ]


def _hole(thing: Drawn, layer: Layer) -> str:
    """What a line that draws a hole calls it; "" for others."""
    name = name_of(thing.attributes, thing.name, None)
    if _golf(thing) == "hole":
        return _ref(thing) or re.sub(r"^hole\W*(?=\d)", "", name, flags=re.IGNORECASE)
    called = None if layer.asks_unit else _NAMED.fullmatch(name)  # drawings have texts
    return (
        called[1]
        if called and not shapely.is_closed(shapely.get_geometry(thing.geometry, 0))
        else ""
    )


def _called(layer: Layer, labels: Mapping[int, str], beside: int, kinds: str | None) -> Layer:
    if not labels:
        return layer
    drawn = tuple(
        _renamed(thing, labels[k], kinds) if k in labels else thing
        for k, thing in enumerate(layer.drawn)
    )
    often = Counter(label.split()[0].lower() for label in labels.values())
    parts = [f"{count} {sort}{'s' * (count > 1)}" for sort, count in often.items()]
    are = "is called after its hole" if len(labels) == 1 else "are called after their holes"
    said = f"{', '.join(parts)} {are}, such as {quoted(next(iter(labels.values())))}"
    if beside:
        lies = "1 of them lies" if beside == 1 else f"{beside} of them lie"
        said += f"; {lies} beside the hole's line, within {BESIDE_M:g} m"
    return replace(layer, drawn=drawn, findings=(*layer.findings, said))


def _golf(thing: Drawn) -> str:
    """What its tag golf says; most files have none."""
    return tags_of(thing.attributes).get("golf", "") if TAGGED & thing.attributes.keys() else ""


def _said_hole(thing: Drawn) -> str:
    """The number of its hole by a column, else by the folder or layer in which it stands."""
    if column := _hole_in_column(thing):
        return column
    folders = (_NAMED.fullmatch(text) for text in reversed(thing.folder.split(" / ")))
    return next((found[1].lstrip("0") for found in folders if found), "")


def _hole_in_column(thing: Drawn) -> str:
    found = _NUMBER.fullmatch(cell_of(thing.attributes, None, HOLE_COLUMNS))
    if not found:
        return ""
    nine, number, between, other = found.groups()
    if recognise(nine) in ON:  # "Green 7" of a column that says so
        nine = ""
    if not other:
        return f"{nine}{number}"
    return f"{nine}{number}{'-' if '-' in between else '/'}{other}"  # 1-18 may be a range


def _is_nameless(thing: Drawn, sort: str, shared: set[tuple[str, str]]) -> bool:
    if not thing.draws("Polygon", "MultiPolygon", "LineString"):  # a line may still be closed
        return False
    ident = stated_id(thing.attributes, shared)
    unsaid = bool(_NUMBERED.fullmatch(ident)) if _golf(thing) else not ident
    name = name_of(thing.attributes, thing.name, None)
    # "Green" in every row names nothing where a column says its hole
    only_kind = not tells(name) and recognise(name) == sort
    return unsaid and (not name or (only_kind and bool(_hole_in_column(thing))))


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
    """The thing with this name in place of those it had; ``kinds``, the column of kinds, stays."""
    cells = {k: name if k.lower() in NAME_COLUMNS else v for k, v in thing.attributes.items()}
    kept = {k: v for k, v in cells.items() if k.lower() not in ID_COLUMNS or k == kinds}
    return replace(thing, name=name, attributes=kept)
