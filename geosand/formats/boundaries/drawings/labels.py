"""Texts, label blocks and hatches of a drawing: they say what an outline is, and are none."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import shapely

from geosand.columns import Bools, Geometries, Ints
from geosand.formats.boundaries.drawn import Drawn
from geosand.formats.boundaries.words.holes import (
    GREENS,
    HOLE_COLUMNS,
    NINE_COLUMNS,
    TEES,
    hole_in_column,
    hole_of_nine,
    nine_in_column,
)
from geosand.formats.boundaries.words.kinds import recognise
from geosand.site.cells import Cell

TEXT = "Text"  #: attribute of a thing that is a label: what it says
FILL = "hatch"  #: attribute of a thing that fills an outline
TEXT_OUTSIDE = "a text that lies in no outline"
BY_LEADER = "a text with a leader that names nothing"
TEXT_OPEN = "a text in an outline that does not close: "  #: and which
LEVEL = "a level written in an outline, no name of it"
_LEVEL = re.compile(r"[+-]?(\d{2,}[.,]\d+|\d[.,]\d{2,})")  #: 7.1 is rather a number of something
NUMBER = re.compile(r"#?\d{1,2}[a-z]?", re.IGNORECASE)  #: no course has a hundred holes
NOTHING = shapely.Point()  #: of what draws no area of its own: nothing is lost without it
_AREAS = ("Polygon", "MultiPolygon")
SYMBOL = 0.1  #: share of an area up to which the outline of a label block lies on it as a symbol
SAME = 1e-3  #: share of its area by which a hatch may differ from the outline it fills


def give_labels(drawn: list[Drawn], kind_of: Callable[[Drawn], str]) -> tuple[list[Drawn], int]:
    """Texts that lie in a polygon become its name where it has none; how many were used.

    A text belongs to the smallest polygon around it, of several as small to that of its own layer
    (a collar's inner line runs along its green), or farther out: see :func:`_owners`. Of unlike
    texts those that are levels (52.37) are no names. A label block also brings its attributes. A
    hatch that fills an outline of the drawing is no second surface.
    """
    drawn = _symbols(_filled(drawn), kind_of)
    rows = [k for k, d in enumerate(drawn) if d.draws(*_AREAS)]
    texts = [k for k, d in enumerate(drawn) if TEXT in d.attributes and not d.draws(*_AREAS)]
    if not rows or not texts:
        return drawn, 0
    owners = _owners(drawn, rows, texts, kind_of)
    led = {k for k in owners if drawn[k].problem == BY_LEADER}
    named = {owner for k, owner in owners.items() if k not in led}
    often = Counter(str(drawn[k].attributes) for k in led)
    for k in led:  # only what has no text of its own, and is of the kind that it says
        own = recognise(_said(drawn[k]))
        of_note = often[str(drawn[k].attributes)] > TEES  # its number points at more
        other = own not in ("", "other", kind_of(drawn[owners[k]]))
        if owners[k] in named or other or of_note:
            del owners[k]
    return _labelled(drawn, owners)


def _labelled(drawn: list[Drawn], owners: dict[int, int]) -> tuple[list[Drawn], int]:
    """The things with names from the texts that they own, without these; how many were used."""
    names: dict[int, list[int]] = {}
    brought: dict[int, dict[str, Cell]] = {}
    for k, owner in owners.items():
        names.setdefault(owner, []).append(k)
        more = {key: cell for key, cell in drawn[k].attributes.items() if key != TEXT}
        _bring(brought.setdefault(owner, {}), more)
    said = {k: _said(drawn[k]) for some in names.values() for k in some}
    several = {k for rows in names.values() if len({said[k] for k in rows}) > 1 for k in rows}
    levels = {k for k in several if _LEVEL.fullmatch(said[k])}

    def labelled(k: int, thing: Drawn) -> Drawn:
        texts = dict.fromkeys(said[j] for j in names.get(k, ()) if j not in levels and said[j])
        name = thing.name or " ".join(texts)
        return replace(thing, name=name, attributes={**brought.get(k, {}), **thing.attributes})

    things = [
        replace(d, problem=LEVEL) if k in levels else labelled(k, d)
        for k, d in enumerate(drawn)
        if k not in said or k in levels
    ]
    return things, len(said) - len(levels)


def _bring(there: dict[str, Cell], more: dict[str, Cell]) -> None:
    """The tags of a further label of the same outline; a green may be that of two holes."""
    for key, cell in more.items():
        if key.lower() not in HOLE_COLUMNS or not there.get(key):
            there[key] = cell
        elif cell and str(cell) not in str(there[key]).split("/"):
            there[key] = f"{there[key]}/{cell}"


def give_labels_to_open(
    things: list[Drawn], lines: list[Drawn], outlines: Geometries, kind_of: Callable[[Drawn], str]
) -> tuple[list[Drawn], list[Drawn]]:
    """The things and, of them, the lines that do not close, with names from texts left over.

    ``outlines`` (n,) are what the lines would enclose; a text in one is still left out with them.
    """
    texts = [thing for thing in things if thing.problem == TEXT_OUTSIDE]
    if not lines or not texts:
        return things, lines
    closed = [replace(d, geometry=shape) for d, shape in zip(lines, outlines, strict=True)]
    both = [*closed, *texts]
    count = len(lines)
    owners = _owners(both, [*range(count)], [*range(count, len(both))], kind_of)
    named, _ = _labelled(both, owners)
    reasons = {both[k].place: TEXT_OPEN + lines[row].place for k, row in owners.items()}
    reasons |= {thing.place: TEXT_OUTSIDE for thing in named[count:]}
    lines = [
        replace(line, name=name.name, attributes=name.attributes)
        for line, name in zip(lines, named, strict=False)
    ]
    return [
        replace(thing, problem=reasons[thing.place]) if thing.problem == TEXT_OUTSIDE else thing
        for thing in things
    ], lines


def _owners(
    drawn: list[Drawn], rows: list[int], texts: list[int], kind_of: Callable[[Drawn], str]
) -> dict[int, int]:
    """The polygon that each text names, of the ``rows``; texts that lie in none are left out.

    It is the smallest around it, or the smallest of the kind that it says ("Green 7" in a cup). A
    number in what is of no kind, as a cup or a contour, is that of the surface around where
    nothing else there says another: several are those of sprinklers or trees.
    """
    areas = np.array([drawn[k].geometry for k in rows], dtype=object)
    tree, size = shapely.STRtree(areas), shapely.area(areas)
    size[np.isnan(size)] = np.inf  # a corner may lie at 1e200
    owners: dict[int, int] = {}
    farther: dict[int, int] = {}

    def smallest(k: int, around: Ints) -> int:
        alike = around[size[around] <= size[around].min() * (1 + SAME)]
        of_layer = [j for j in alike if drawn[rows[j]].folder == drawn[k].folder]
        return rows[int(min(of_layer or alike, key=lambda j: size[j]))]

    for k in texts:
        around = tree.query(drawn[k].geometry, "intersects")
        if not len(around):
            continue
        owners[k] = smallest(k, around)
        if len(around) > 1:
            meant = _meant(drawn[k], [drawn[rows[j]] for j in around], kind_of)
            if meant.any() and recognise(_said(drawn[k])):
                owners[k] = smallest(k, around[meant])
            elif meant.any():
                farther[k] = smallest(k, around[meant])
    wanted: dict[int, set[str]] = {}
    for k, owner in (owners | farther).items():
        if not _LEVEL.fullmatch(_said(drawn[k])):
            wanted.setdefault(owner, set()).add(_said(drawn[k]))
    return owners | {k: owner for k, owner in farther.items() if len(wanted[owner]) == 1}


def _meant(text: Drawn, around: list[Drawn], kind_of: Callable[[Drawn], str]) -> Bools:
    """Which of the polygons around a text it can mean: by its kind, a number those of any kind.

    Also those of its own layer; none where it says neither.
    """
    own = recognise(_said(text))
    if own == "other" or not (own or NUMBER.fullmatch(_said(text))):
        return np.zeros(len(around), dtype=bool)
    kinds = [kind_of(thing) for thing in around]
    told = [kind == own if own else kind not in ("", "other") for kind in kinds]
    beside = [thing.folder == text.folder for thing in around]
    meant: Bools = np.logical_or(told, beside)
    return meant


def _said(text: Drawn) -> str:
    return str(text.attributes[TEXT]).strip()


def _symbols(drawn: list[Drawn], kind_of: Callable[[Drawn], str]) -> list[Drawn]:
    """Small outlines of blocks that say a hole, as the circle around its number, are labels.

    They have no kind, or by their layer that of the surface that they lie on. Of their tags only
    these: a sprinkler has an id of its own.
    """
    shapes = [k for k, d in enumerate(drawn) if d.draws(*_AREAS)]
    tagged = [
        k for k in shapes if "block" in drawn[k].attributes and hole_in_column(drawn[k].attributes)
    ]
    if not tagged:
        return drawn
    kinds = {k: kind_of(drawn[k]) for k in shapes}
    rows = [k for k in shapes if kinds[k] not in ("", "other")]
    areas, symbols = (
        np.array([drawn[k].geometry for k in some], dtype=object) for some in (rows, tagged)
    )
    inner, outer = shapely.STRtree(areas).query(symbols, "within")
    small = shapely.area(symbols[inner]) <= SYMBOL * shapely.area(areas[outer])
    pairs = zip(inner[small].tolist(), outer[small].tolist(), strict=True)
    labels = {tagged[j] for j, k in pairs if kinds[tagged[j]] in ("", "other", kinds[rows[k]])}
    out, said = list(drawn), {*HOLE_COLUMNS, *NINE_COLUMNS}
    for k in labels:
        tags = {key: cell for key, cell in drawn[k].attributes.items() if key.lower() in said}
        out[k] = replace(
            drawn[k],
            geometry=shapely.centroid(drawn[k].geometry),
            attributes={**tags, TEXT: ""},
            name="",
            problem=TEXT_OUTSIDE,
        )
    return out


def called_after_tags(drawn: list[Drawn], kind_of: Callable[[Drawn], str]) -> list[Drawn]:
    """Outlines without a name as "Green Red 7" where a tag of a block says their hole.

    What more greens bear than a hole has is the text that the block came with.
    """

    def label(thing: Drawn) -> str:
        hole = "" if thing.name else hole_in_column(thing.attributes)
        if not hole or not thing.draws(*_AREAS) or (kind := kind_of(thing)) in ("", "other"):
            return ""
        return f"{kind.capitalize()} {hole_of_nine(nine_in_column(thing.attributes), hole)}"

    labels = [label(thing) for thing in drawn]
    often = Counter(text for text in labels if text.startswith("Green "))
    return [
        replace(thing, name=text) if text and often[text] <= GREENS else thing
        for thing, text in zip(drawn, labels, strict=True)
    ]


def _filled(drawn: list[Drawn]) -> list[Drawn]:
    """Hatches that fill an outline keep their place with the reason, and draw nothing.

    The islands that such a hatch leaves free are holes of the outline.
    """
    fills = [k for k, d in enumerate(drawn) if d.attributes.get(FILL) and d.draws(*_AREAS)]
    rows = [k for k, d in enumerate(drawn) if not d.attributes.get(FILL) and d.draws(*_AREAS)]
    out = list(drawn)
    if fills and rows:
        areas = np.array([drawn[k].geometry for k in rows], dtype=object)
        tree = shapely.STRtree(areas)
        for k in fills:
            shape = drawn[k].geometry
            near = tree.query(shape).tolist()
            same = next((j for j in near if _same(shape, areas[j])), None)
            if same is None and shapely.get_num_interior_rings(shape) > 0:
                whole = shapely.polygons(shapely.get_exterior_ring(shape))
                same = next((j for j in near if _same(whole, areas[j])), None)
                if same is not None:
                    _leave_islands(out, rows, same, shape, [j for j in near if j != same])
            if same is not None:
                reason = f"a hatch over {drawn[rows[same]].place}"
                out[k] = replace(drawn[k], geometry=NOTHING, problem=reason)
    for k in fills:
        kept = {key: cell for key, cell in out[k].attributes.items() if key != FILL}
        out[k] = replace(out[k], attributes=kept)
    return out


def _leave_islands(
    out: list[Drawn], rows: list[int], filled: int, hatch: Any, near: list[int]
) -> None:
    """The outline ``rows[filled]`` gets the islands of its hatch as holes.

    An outline of its own layer that runs along such an island is that hole's edge, no surface.
    """
    outline = out[rows[filled]]
    edges = []
    for ring in shapely.get_rings(hatch)[1:]:
        island = shapely.polygons(ring)
        along = [j for j in near if _same(island, out[rows[j]].geometry)]
        edges.append(shapely.get_exterior_ring(out[rows[along[0]]].geometry) if along else ring)
        for j in along:
            other = out[rows[j]]
            if other.folder == outline.folder and not other.name:
                reason = f"the edge of an island in {outline.place}"
                out[rows[j]] = replace(other, geometry=NOTHING, problem=reason)
    shell = shapely.get_exterior_ring(outline.geometry)
    rings = shapely.force_2d([shell, *edges]).tolist()
    out[rows[filled]] = replace(outline, geometry=shapely.polygons(rings[0], holes=rings[1:]))


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
