"""One layer to polygons in lon/lat: its lines closed, its rings and its place checked."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely

from geosand.columns import Floats, Geometries, Ints
from geosand.formats.boundaries.drawings.labels import (
    called_after_tags,
    give_labels,
    give_labels_to_open,
)
from geosand.formats.boundaries.drawn import NOT_WHOLE, Drawn, Layer
from geosand.formats.boundaries.place import reference_systems as systems
from geosand.formats.boundaries.place.antimeridian import cut, on_one_side, uncut
from geosand.formats.boundaries.place.layer_system import (
    bounds_of,
    check_place,
    exchanged,
    in_its_system,
    moved,
)
from geosand.formats.boundaries.place.to_lon_lat import Moved, to_lon_lat
from geosand.formats.boundaries.shapes.closing import LINES, close_lines
from geosand.formats.boundaries.shapes.mendable import (
    CLOSED,
    NO_AREA,
    can_be_mended,
    said_of_rings,
    to_be_closed,
)
from geosand.formats.boundaries.shapes.nesting import nested
from geosand.formats.boundaries.shapes.polygons import (
    counted,
    far_from_others,
    polygon_parts,
    ring_problem,
)
from geosand.formats.boundaries.tables import LeftOut
from geosand.formats.boundaries.words.wishes import Wishes
from geosand.site.outlines import mean_height_m
from geosand.site.read_surfaces import ELEVATIONS_M

#: Reasons for which nothing is lost.
NOTHING_DRAWN = ("it has no geometry", "it is empty", NOT_WHOLE)


@dataclass(frozen=True, slots=True, kw_only=True)
class Placed:
    """Polygons of one layer in lon/lat, with the thing each was drawn as."""

    drawn: list[Drawn]
    geometry: Geometries
    elevation_m: Floats
    left_out: list[LeftOut]
    moved: Moved | None = None
    findings: list[str]
    read: int
    labels: int = 0
    joined: int = 0
    broken: list[str]  #: of each one drawn, why it is no surface as it is though it could be mended


def place_layer(layer: Layer, shown: str, wishes: Wishes) -> Placed:
    """One layer: lines closed, polygons taken out, moved to lon/lat, the place checked."""
    things = [moved(d, exchanged) if wishes.swap_axes else d for d in layer.drawn]
    if not np.isfinite(bounds_of(things)).all():
        return _nowhere(layer, things, wishes)
    crs, things, findings = in_its_system(layer, things, shown, wishes)
    metres = systems.metres_per_unit(crs, float(bounds_of(things)[[1, 3]].mean()))
    things, closed, joined = _closed(layer, things, metres, wishes)
    labels = 0
    if layer.asks_unit:
        things, labels = give_labels(things, wishes.kind_told)
        things = called_after_tags(things, wishes.kind_told)
    if layer.closes_lines:
        as_holes = wishes.holes and layer.asks_unit  # else all kinds are in one layer
        hint = layer.asks_unit and not as_holes
        things, inside, holes = nested(things, as_holes=as_holes, hint=hint)
        closed, joined = closed + inside, joined + holes
    nearly, outlines, gaps = to_be_closed(things, metres, wishes, along=layer.asks_unit)
    if layer.asks_unit:
        things, nearly = give_labels_to_open(things, nearly, outlines, wishes.kind_told)
    kept, geometry, left_out = _areas(things, wishes)
    kept, geometry = kept + nearly, np.concatenate([geometry, outlines])
    heights, there = np.full(len(kept), np.nan), None
    reasons = [""] * (len(kept) - len(gaps)) + gaps
    if len(kept):
        findings += check_place(kept, geometry, crs, layer, shown, wishes)
        there = to_lon_lat(geometry, crs)
        vertical = systems.vertical_unit_m(layer.crs if wishes.crs is None else wishes.crs, crs)
        heights, said = _elevations_m(geometry, vertical)
        findings += said
        drawn, row = _parts(there.geometry, wishes)
        kept, heights, reasons = [kept[k] for k in row], heights[row], [reasons[k] for k in row]
        geometry, across = cut(drawn)
        closed += said_of_rings(uncut(drawn), len(across), shown)
    placed = Placed(
        drawn=kept,
        geometry=geometry,
        elevation_m=heights,
        left_out=left_out,
        moved=there,
        findings=[*layer.findings, *findings, *closed, *(there.findings if there else ())],
        read=len(layer.drawn),
        labels=labels,
        joined=joined,
        broken=reasons,
    )
    return _sound(placed)


def _elevations_m(geometry: Geometries, vertical: float) -> tuple[Floats, list[str]]:
    """Mean height of each outline in m, nan for none, and words on heights that no land has.

    ``vertical`` is what one unit of height is worth. Programs write -9999 and such for "no data".
    """
    heights = mean_height_m(geometry) * vertical
    points, row = shapely.get_coordinates(geometry, include_z=True, return_index=True)
    level = points[:, 2] * vertical
    wrong = (level < ELEVATIONS_M[0]) | (level > ELEVATIONS_M[1])
    rows = np.unique(row[wrong])
    if not len(rows):
        return heights, []
    heights[rows] = np.nan
    have = "1 outline has" if len(rows) == 1 else f"{len(rows)} outlines have"
    return heights, [
        f"{have} a height that no land has, such as {level[wrong][0]:g} m: it stands for no data,"
        " and their elevation counts as not given"
    ]


def _parts(geometry: Geometries, wishes: Wishes) -> tuple[Geometries, Ints]:
    """What becomes a surface each, with the row it comes from: every part, if that was wished.

    A part is then judged and mended by itself; the two halves at 180° are one.
    """
    if not wishes.split_parts:
        return geometry, np.arange(len(geometry))
    pieces, row = shapely.get_parts(uncut(geometry), return_index=True)
    return pieces, row


def _nowhere(layer: Layer, things: list[Drawn], wishes: Wishes) -> Placed:
    """A layer without any coordinate."""
    kept, geometry, left_out = _areas(things, wishes)
    return Placed(
        drawn=kept,
        geometry=geometry,
        elevation_m=np.full(len(kept), np.nan),
        left_out=left_out,
        findings=[*layer.findings],
        read=len(things),
        broken=[""] * len(kept),
    )


def _sound(placed: Placed) -> Placed:
    """Rings that are none and things far from all others cost themselves only.

    What crosses itself is kept as broken: it can be mended, and is listed as left out till then.
    """
    flat: Geometries = shapely.force_2d(placed.geometry)
    problems = [ring_problem(shape) for shape in flat]
    crossing = [bool(p) and can_be_mended(s) for p, s in zip(problems, flat, strict=True)]
    there = [k for k, p in enumerate(problems) if crossing[k] or not p]
    for k in far_from_others(on_one_side(flat[there])):
        lon, lat = shapely.bounds(flat[there[k]])[:2]
        problems[there[k]] = f"it lies far from the others, at lon {lon:.4f}, lat {lat:.4f}"
        crossing[there[k]] = False
    bad = [
        LeftOut(place=d.place, name=d.name, reason=problem, lost=not mendable)
        for d, problem, mendable, why in zip(
            placed.drawn, problems, crossing, placed.broken, strict=True
        )
        if problem and not (why and mendable)  # a line that does not close is listed already
    ]
    good = [k for k, problem in enumerate(problems) if crossing[k] or not problem]
    return replace(
        placed,
        drawn=[placed.drawn[k] for k in good],
        geometry=flat[good],
        elevation_m=placed.elevation_m[good],
        left_out=placed.left_out + bad,
        broken=[placed.broken[k] or problems[k] for k in good],
    )


def _closed(
    layer: Layer, drawn: list[Drawn], metres: Floats, wishes: Wishes
) -> tuple[list[Drawn], list[str], int]:
    """Lines to polygons: in drawings and tracks within the tolerance, else only exact outlines."""
    if layer.closes_lines:
        crossing = layer.asks_unit  # lines of surveys and tracks each say what they are
        return close_lines(drawn, wishes.close_tolerance_m, metres, crossing=crossing)
    outlines = [_is_outline(d, wishes) for d in drawn]
    if not any(outlines):
        return drawn, [], 0
    closed, said, joined = close_lines(
        [d for d, outline in zip(drawn, outlines, strict=True) if outline],
        0.0,
        metres,
        crossing=False,
    )
    rest = [d for d, outline in zip(drawn, outlines, strict=True) if not outline]
    closed, inside, _ = nested(closed, as_holes=False, hint=False)
    words = "1 closed line is" if sum(outlines) == 1 else f"{sum(outlines)} closed lines are"
    taken = "an outline" if sum(outlines) == 1 else "outlines"
    return rest + closed, [*said, *inside, f"{words} taken as {taken}"], joined


def _is_outline(thing: Drawn, wishes: Wishes) -> bool:
    """A line that ends where it began and is of a kind that has an area; a path may be a loop."""
    if not thing.draws(*LINES) or wishes.kind_and_word(thing)[0] in NO_AREA:
        return False
    return _is_closed(thing)


def _is_closed(thing: Drawn) -> bool:
    return bool(shapely.is_ring(shapely.get_parts(thing.geometry)).all())


def _areas(drawn: list[Drawn], wishes: Wishes) -> tuple[list[Drawn], Geometries, list[LeftOut]]:
    """Things with polygons, their polygons, and everything else with the reason."""
    kept: list[Drawn] = []
    shapes: list[Any] = []
    left_out: list[LeftOut] = []
    for thing in drawn:
        polygons, rest = (
            (None, Counter[str]()) if thing.geometry is None else polygon_parts(thing.geometry)
        )
        if polygons is not None:
            kept.append(thing)
            shapes.append(polygons)
            if rest:
                reason = f"{counted(rest)} beside its polygons"
                left_out.append(LeftOut(place=thing.place, name=thing.name, reason=reason))
            continue
        kind = wishes.kind_and_word(thing)[0]
        if thing.problem:
            reason = thing.problem
        elif thing.geometry is None or thing.geometry.is_empty:
            reason = "it is empty"
        else:
            reason = "a point" if "Point" in thing.geometry.geom_type else "a line"
            reason = reason if rest.total() == 1 else counted(rest)
            if not kind and thing.draws(*LINES) and _is_closed(thing):
                reason = CLOSED
        drawn_as_area = bool(thing.problem) and thing.geometry is None
        lost = drawn_as_area and reason not in NOTHING_DRAWN
        out = LeftOut(
            place=thing.place, name=thing.name, reason=reason, lost=lost, meant=kind not in NO_AREA
        )
        left_out.append(out)
    geometry = np.array(shapes, dtype=object)
    return kept, geometry, left_out
