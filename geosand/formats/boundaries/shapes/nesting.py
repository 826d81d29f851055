"""Outlines of lines that lie inside another of their layer: holes of it, or surfaces of their own.

Lines do not say which. A green is drawn inside the outline of its collar, and an island inside that
of its pond; so they stay surfaces, which is told, unless the user says that they are holes.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from typing import Any

import numpy as np
import shapely

from geosand.columns import Geometries, Ints
from geosand.formats.boundaries.drawn import Drawn
from geosand.formats.boundaries.shapes.mendable import is_tangled

_HINT = " (--holes makes holes of such)"


def nested(drawn: list[Drawn], *, as_holes: bool, hint: bool) -> tuple[list[Drawn], list[str], int]:
    """The things, words on outlines inside others, and how many of them became holes.

    With ``as_holes`` an outline inside another is a hole of it, one inside that a surface again,
    and so on; an outline with a name of its own is a surface that lies on what is around it.
    Outlines that are the same count as one. ``hint`` says that this can be wished, in drawings.
    """
    by_folder: dict[str, list[int]] = defaultdict(list)
    for k, thing in enumerate(drawn):
        if thing.draws("Polygon"):
            by_folder[thing.folder].append(k)
    out: list[Drawn | None] = list(drawn)
    said, holes = [], 0
    for folder, rows in by_folder.items():
        shapes = np.array([drawn[k].geometry for k in rows], dtype=object)
        same = _same(shapes)
        around = _around(shapes, same)
        inner = [k for k in range(len(rows)) if around[k]]
        named = {int(same[k]) for k, row in enumerate(rows) if drawn[row].name}
        in_hole = _levels(around, [k in named for k in same.tolist()]) if as_holes else {}
        made = [k for k, through in in_hole.items() if through]
        for k in made:
            out[rows[k]] = None
        cuts = {int(same[k]): in_hole[k] for k in made}
        for k, through in cuts.items():
            for outer in np.flatnonzero(np.isin(same, through)).tolist():
                if (whole := out[rows[outer]]) is not None:
                    cut = _with_hole(whole.geometry, shapes[k])
                    out[rows[outer]] = replace(whole, geometry=cut)
        holes += len(made)
        where = f" of layer {folder[:40]!r}" if folder else ""
        said += _words(len(inner) - len(made), len(made), where, _HINT if hint else "")
    if as_holes and not holes:
        said.append("--holes is not used: no outline without a name lies in another of its layer")
    return [thing for thing in out if thing is not None], said, holes


def _same(shapes: Geometries) -> Ints:
    """Of each polygon (n,) the first that has the same corners."""
    first: dict[bytes, int] = {}
    content = shapely.to_wkb(shapely.normalize(shapely.force_2d(shapes))).tolist()
    return np.array([first.setdefault(one, k) for k, one in enumerate(content)], dtype=np.int64)


def _around(shapes: Geometries, same: Ints) -> list[list[int]]:
    """Of each polygon (n,) those that it lies in, the smallest first, each of them once."""
    size = shapely.area(shapes)
    once = np.flatnonzero(same == np.arange(len(same)))
    odd = once[~shapely.is_valid(shapes[once])].tolist()  # of a tangle GEOS would take minutes
    once = np.setdiff1d(once, [k for k in odd if is_tangled(shapes[k])])
    inner, outer = once[shapely.STRtree(shapes[once]).query(shapes[once], "within")]
    larger = size[outer] > size[inner]  # any lies in itself
    found: list[list[int]] = [[] for _ in shapes]
    for one, other in zip(inner[larger].tolist(), outer[larger].tolist(), strict=True):
        found[one].append(other)
    ordered = [sorted(others, key=lambda k: float(size[k])) for others in found]
    return [ordered[k] for k in same.tolist()]


def _levels(around: list[list[int]], named: list[bool]) -> dict[int, list[int]]:
    """Of each outline the surfaces that it is a hole of; none where it is a surface itself.

    A hole goes through the named surface that it lies in down to the one that lies beneath.
    """
    holes: dict[int, list[int]] = {}
    for k in sorted(range(len(around)), key=lambda k: len(around[k])):
        through = list[int]()
        for outer in around[k]:  # from the inside out
            if named[k] or holes[outer]:
                break
            through.append(outer)
            if not named[outer]:
                break
        holes[k] = through
    return holes


def _with_hole(outer: Any, inner: Any) -> Any:
    shell, *holes = shapely.get_rings([outer]).tolist()
    rings = [shell, *holes, shapely.get_exterior_ring(inner)]
    if not shapely.has_z(rings).all():
        rings = shapely.force_2d(rings).tolist()
    return shapely.polygons(rings[0], holes=rings[1:])


def _words(surfaces: int, holes: int, where: str, hint: str) -> list[str]:
    said = []
    if holes:
        what = "1 outline inside another" if holes == 1 else f"{holes} outlines inside others"
        said.append(f"{what}{where}: {'a hole' if holes == 1 else 'holes'}, as said with --holes")
    if surfaces:
        what = "1 outline lies" if surfaces == 1 else f"{surfaces} outlines lie"
        own = "it is a surface of its own, no hole"
        if surfaces > 1:
            own = "they are surfaces of their own, no holes"
        said.append(f"{what} inside another{where}: {own}{hint}")
    return said
