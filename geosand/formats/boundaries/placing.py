"""One layer to polygons in lon/lat: its CRS, unit, lines, rings and place, each checked."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import shapely

from geosand.columns import Floats, Geometries
from geosand.errors import Refused
from geosand.formats.boundaries import reference_systems as systems
from geosand.formats.boundaries.antimeridian import cut, on_both_sides, on_one_side
from geosand.formats.boundaries.closing import LINES, close_lines
from geosand.formats.boundaries.drawn import Drawn, Layer, refused
from geosand.formats.boundaries.kinds import kind_of
from geosand.formats.boundaries.labels import give_labels
from geosand.formats.boundaries.layer_units import unit_factor
from geosand.formats.boundaries.likely_systems import proposals
from geosand.formats.boundaries.mendable import can_be_mended, nearly_closed, said_of_rings
from geosand.formats.boundaries.polygons import (
    counted,
    far_from_others,
    mean_heights_m,
    polygon_parts,
    ring_problem,
)
from geosand.formats.boundaries.tables import LeftOut
from geosand.formats.boundaries.whereabouts import (
    distance_km,
    doubtful_place,
    middle,
    not_degrees,
    place_words,
)

WIDEST_SITE_DEG = 2.0  #: a file's numbers that span less are no metres of a site
#: Reasons for which nothing is lost.
NOTHING_DRAWN = ("it has no geometry", "it is empty")


@dataclass(frozen=True, slots=True, kw_only=True)
class Wishes:
    """What the user says about a file, beyond its path."""

    crs: str | None = None
    unit: str | None = None
    near: tuple[float, float] | None = None
    swap_axes: bool = False
    believe_place: bool = False
    kind_column: str | None = None
    id_column: str | None = None
    name_column: str | None = None
    kind: str | None = None
    close_tolerance_m: float = 0.05
    point_order: str | None = None
    split_parts: bool = False
    kind_words: Mapping[str, str] = field(default_factory=dict)  #: the user's own table of kinds

    def kind_and_word(self, thing: Drawn) -> tuple[str, str]:
        """Kind of a thing and the word it was taken from, see :func:`kind_of`."""
        if self.kind:
            return self.kind, ""
        words, column = self.kind_words, self.kind_column
        return kind_of(thing.attributes, thing.folder, thing.name, column, words)


@dataclass(frozen=True, slots=True, kw_only=True)
class Placed:
    """Polygons of one layer in lon/lat, with the thing each was drawn as."""

    drawn: list[Drawn]
    geometry: Geometries
    elevation_m: Floats
    left_out: list[LeftOut]
    moved: systems.Moved | None
    findings: list[str]
    read: int
    labels: int
    joined: int
    broken: list[str]  #: of each one drawn, why it is no surface as it is though it could be mended


def place_layer(layer: Layer, shown: str, wishes: Wishes) -> Placed:
    """One layer: lines closed, polygons taken out, moved to lon/lat, the place checked."""
    things = [_moved(d, _exchanged) if wishes.swap_axes else d for d in layer.drawn]
    shapes = np.array([d.geometry for d in things if d.geometry is not None], dtype=object)
    bounds = shapely.total_bounds(shapes) if len(shapes) else np.full(4, np.nan)
    if not np.isfinite(bounds).all():
        kept, geometry, left_out = _areas(things)
        nothing = np.full(len(kept), np.nan)
        return Placed(
            drawn=kept,
            geometry=geometry,
            elevation_m=nothing,
            left_out=left_out,
            moved=None,
            findings=[*layer.findings],
            read=len(things),
            labels=0,
            joined=0,
            broken=[""] * len(kept),
        )
    crs, findings = _crs_of(layer, bounds, shown, wishes)
    factor, words = unit_factor(layer, crs, bounds, shown, wishes.unit)
    if words:
        findings.append(words)
    if factor != 1.0:
        things = [_moved(d, lambda points: points * factor) for d in things]
        bounds = bounds * factor
    if crs.is_geographic and _beyond_180(bounds):
        things = [_moved(d, on_both_sides) for d in things]
        bounds = shapely.total_bounds([d.geometry for d in things if d.geometry is not None])
        findings.append(
            "its longitudes run on beyond 180°, as in 262.3° for 97.7° W: 360° are taken off"
        )
    if crs.is_geographic and (fault := not_degrees(bounds, shown, wishes.near)):
        raise Refused(fault)
    if feet := systems.feet_finding(crs, systems.unit_m(crs), bounds):
        findings.append(feet)
    metres = systems.metres_per_unit(crs, float(bounds[[1, 3]].mean()))
    things, closed, joined = _closed(layer, things, metres, wishes)
    things, labels = give_labels(things) if layer.asks_unit else (things, 0)
    kept, geometry, left_out = _areas(things)
    nearly, outlines, gaps = nearly_closed(things, metres, wishes)
    kept, geometry = kept + nearly, np.concatenate([geometry, outlines])
    heights, moved = np.full(len(kept), np.nan), None
    if len(kept):
        _check_place(geometry, crs, shown, wishes)
        moved = systems.to_lon_lat(geometry, crs)
        vertical = systems.vertical_unit_m(layer.crs if wishes.crs is None else wishes.crs, crs)
        heights = mean_heights_m(geometry, vertical)
        geometry, across = cut(moved.geometry)
        closed += said_of_rings(geometry, len(across), shown)
    placed = Placed(
        drawn=kept,
        geometry=geometry,
        elevation_m=heights,
        left_out=left_out,
        moved=moved,
        findings=[*layer.findings, *findings, *closed, *(moved.findings if moved else ())],
        read=len(layer.drawn),
        labels=labels,
        joined=joined,
        broken=[""] * (len(kept) - len(gaps)) + gaps,
    )
    return _sound(placed)


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
        for d, problem, mendable in zip(placed.drawn, problems, crossing, strict=True)
        if problem
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


def _moved(thing: Drawn, move: Callable[[Floats], Floats]) -> Drawn:
    """The same thing with other coordinates, heights kept."""
    shape = thing.geometry
    if shape is None:
        return thing
    there = shapely.transform(shape, move, include_z=bool(shapely.has_z(shape)))
    return replace(thing, geometry=there)


def _exchanged(points: Floats) -> Floats:
    return points[:, [1, 0, *range(2, points.shape[1])]]


def _beyond_180(bounds: Floats) -> bool:
    """Whether numbers are longitudes from 0 to 360: no site of metres is two of them wide."""
    west, south, east, north = bounds.tolist()
    narrow = east - west < WIDEST_SITE_DEG and north - south < WIDEST_SITE_DEG
    return bool(narrow and west >= 0 and 180 < east <= 360 and south >= -90 and north <= 90)


def _crs_of(layer: Layer, bounds: Floats, shown: str, wishes: Wishes) -> tuple[Any, list[str]]:
    """The layer's CRS, the user's before the file's; never a guess."""
    if wishes.crs is None and not layer.crs:
        raise refused(
            f"{shown}, layer {layer.name!r}" if layer.name not in ("", shown) else shown,
            "does not say in which coordinate reference system it is",
            allowed="any CRS, said with --crs",
            remedy=f"for x {bounds[0]:.7g} to {bounds[2]:.7g}, y {bounds[1]:.7g} to "
            f"{bounds[3]:.7g} {proposals(bounds, wishes.near)}",
        )
    if wishes.crs is None:
        return systems.horizontal(layer.crs, shown), []
    crs = systems.horizontal(wishes.crs, "--crs")
    if not layer.crs or layer.assumed:
        return crs, []
    stated = systems.horizontal(layer.crs, shown)
    if stated == crs or systems.describe(stated) == systems.describe(crs):
        return crs, []
    said = f"it says {stated.name}; {crs.name} is used, as said with --crs"
    return crs, [said + _elsewhere(stated, crs, bounds)]


def _elsewhere(stated: Any, used: Any, bounds: Floats) -> str:
    """Where a file's own CRS would put it, if that is not about the same place."""
    from pyproj import Transformer

    x, y = (bounds[:2] + bounds[2:]) / 2
    own, here = (
        Transformer.from_crs(crs, "EPSG:4326", always_xy=True).transform(x, y)
        for crs in (stated, used)
    )
    if not np.isfinite([*own, *here]).all() or abs(own[0]) > 180 or abs(own[1]) > 90:
        return ""
    apart = distance_km(own, here)
    return f"; its own puts it {apart:,.0f} km away, at {place_words(*own)}" if apart >= 1 else ""


def _closed(
    layer: Layer, drawn: list[Drawn], metres: tuple[float, float], wishes: Wishes
) -> tuple[list[Drawn], list[str], int]:
    """Lines to polygons: in drawings and tracks within the tolerance, else only exact outlines."""
    if layer.closes_lines:
        return close_lines(drawn, wishes.close_tolerance_m, metres)
    outlines = [_is_outline(d, wishes) for d in drawn]
    if not any(outlines):
        return drawn, [], 0
    closed, said, joined = close_lines(
        [d for d, outline in zip(drawn, outlines, strict=True) if outline], 0.0, metres
    )
    rest = [d for d, outline in zip(drawn, outlines, strict=True) if not outline]
    words = "1 closed line is" if sum(outlines) == 1 else f"{sum(outlines)} closed lines are"
    taken = "an outline" if sum(outlines) == 1 else "outlines"
    return rest + closed, [*said, f"{words} taken as {taken}"], joined


def _is_outline(thing: Drawn, wishes: Wishes) -> bool:
    """A line that ends where it began and is of a kind that has an area; a path may be a loop."""
    if thing.geometry is None or thing.geometry.geom_type not in LINES:
        return False
    kind = wishes.kind_and_word(thing)[0]
    parts = shapely.get_parts(thing.geometry)
    return kind not in ("", "path", "other") and bool(shapely.is_ring(parts).all())


def _areas(drawn: list[Drawn]) -> tuple[list[Drawn], Geometries, list[LeftOut]]:
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
        if thing.problem:
            reason = thing.problem
        elif thing.geometry is None or thing.geometry.is_empty:
            reason = "it is empty"
        else:
            reason = "a point" if "Point" in thing.geometry.geom_type else "a line"
            reason = reason if rest.total() == 1 else counted(rest)
        drawn_as_area = bool(thing.problem) and thing.geometry is None
        lost = drawn_as_area and reason not in NOTHING_DRAWN
        left_out.append(LeftOut(place=thing.place, name=thing.name, reason=reason, lost=lost))
    geometry = np.empty(len(shapes), dtype=object)
    geometry[:] = shapes
    return kept, geometry, left_out


def _check_place(geometry: Geometries, crs: Any, shown: str, wishes: Wishes) -> None:
    if wishes.believe_place:
        return
    from pyproj import Transformer
    from pyproj.exceptions import ProjError

    transformer = Transformer.from_crs(crs, "OGC:CRS84", always_xy=True)
    x, y = middle(on_one_side(geometry) if crs.is_geographic else geometry).tolist()
    places: list[Floats | None] = []
    for pair in ((x, y), (y, x)):
        try:
            place = np.array(transformer.transform(*pair, errcheck=True))
            good = bool(np.isfinite(place).all()) and abs(place[0]) <= 180 and abs(place[1]) <= 90
        except ProjError:
            good = False
        places.append(place if good else None)
    if places[0] is None:
        if crs.is_geographic:
            return
        raise refused(
            shown,
            f"x {x:.7g}, y {y:.7g} is no place in {crs.name}",
            remedy="check the CRS and its unit; if the axes are swapped, use --swap",
        )
    fault = doubtful_place(places[0], places[1], crs, shown, wishes.near)
    if fault is not None:
        raise Refused(fault)
