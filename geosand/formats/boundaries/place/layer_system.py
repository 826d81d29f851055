"""In which CRS and unit one layer's numbers are, and where they put it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import shapely

from geosand.columns import Floats, Geometries
from geosand.errors import Fault, Refused, refused
from geosand.formats.boundaries.drawn import Drawn, Layer
from geosand.formats.boundaries.place import reference_systems as systems
from geosand.formats.boundaries.place.antimeridian import on_both_sides, on_one_side
from geosand.formats.boundaries.place.layer_units import unit_factor
from geosand.formats.boundaries.place.likely_systems import other_way, other_zones, proposals
from geosand.formats.boundaries.place.whereabouts import (
    against_itself,
    cut_off,
    distance_km,
    doubtful_place,
    either_axis,
    likely_place,
    middle,
    place_words,
    zone_findings,
)
from geosand.formats.boundaries.words.wishes import Wishes

WIDEST_SITE_DEG = 2.0  #: a file's numbers that span less are no metres of a site


def in_its_system(
    layer: Layer, things: list[Drawn], shown: str, wishes: Wishes
) -> tuple[Any, list[Drawn], list[str]]:
    """The CRS of a layer, its things in the CRS's own unit, and what is worth knowing of both.

    Raises Refused where the CRS is not said, or the numbers can not be in it.
    """
    bounds = bounds_of(things)
    crs, findings = _crs_of(layer, bounds, shown, wishes)
    factor, words = unit_factor(layer, crs, bounds, shown, wishes.unit)
    if words:
        findings.append(words)
    if factor != 1.0:
        things = [moved(d, lambda points: points * factor) for d in things]
        bounds = bounds * factor
    if crs.is_geographic and _beyond_180(bounds):
        things = [moved(d, on_both_sides) for d in things]
        bounds = bounds_of(things)
        findings.append(
            "its longitudes run on beyond 180°, as in 262.3° for 97.7° W: 360° are taken off"
        )
    if crs.is_geographic and (fault := _not_degrees(bounds, shown, wishes.near)):
        raise Refused(fault)
    of_shapes = bounds_of([d for d in things if not d.draws("Point", "MultiPoint")])
    metres = of_shapes * systems.unit_m(crs)
    if crs.is_projected and not wishes.believe_place and _in_degrees(metres):
        west, south, east, north = bounds.tolist()
        raise refused(
            shown,
            f"x {west:.8g} to {east:.8g}, y {south:.8g} to {north:.8g} is no site in {crs.name}:"
            " these look like degrees",
            remedy="if they are longitude and latitude, say so with --crs EPSG:4326; if they are "
            "right, with --believe-place",
        )
    feet = systems.feet_finding(crs, systems.unit_m(crs), bounds)
    if feet and factor == 1.0:  # else the file's numbers are in another unit, and that was said
        findings.append(feet)
    return crs, things, findings


def bounds_of(things: list[Drawn]) -> Floats:
    """West, south, east and north of all that is drawn; nan where nothing is."""
    shapes = np.array([d.geometry for d in things if d.geometry is not None], dtype=object)
    return shapely.total_bounds(shapes) if len(shapes) else np.full(4, np.nan)


def moved(thing: Drawn, move: Callable[[Floats], Floats]) -> Drawn:
    """The same thing with other coordinates, heights kept."""
    shape = thing.geometry
    if shape is None:
        return thing
    there = shapely.transform(shape, move, include_z=bool(shapely.has_z(shape)))
    return replace(thing, geometry=there)


def exchanged(points: Floats) -> Floats:
    """Points (n, 2 or 3) with x and y exchanged."""
    return points[:, [1, 0, *range(2, points.shape[1])]]


def _in_degrees(bounds: Floats, east_most: float = 180.0) -> bool:
    """Whether numbers can be degrees: no site of metres is two of them wide."""
    west, south, east, north = bounds.tolist()
    narrow = east - west < WIDEST_SITE_DEG and north - south < WIDEST_SITE_DEG
    return bool(narrow and west >= -180 and east <= east_most and south >= -90 and north <= 90)


def _beyond_180(bounds: Floats) -> bool:
    """Whether numbers are longitudes from 0 to 360."""
    return _in_degrees(bounds, 360.0) and bool(bounds[0] >= 0 and bounds[2] > 180)


def _not_degrees(bounds: Floats, shown: str, near: tuple[float, float] | None) -> Fault | None:
    """Numbers labelled lon/lat that can not be: metres or feet of a grid, or swapped."""
    west, south, east, north = bounds.tolist()
    x, y = max(abs(west), abs(east)), max(abs(south), abs(north))
    numbers = f"x {west:.8g} to {east:.8g}, y {south:.8g} to {north:.8g}"
    if x <= 180 and y <= 90:
        return None
    if x <= 90 and y <= 180:
        found = f"{numbers} can not be longitude and latitude: they look swapped"
        return Fault(file=shown, found=found, remedy="if they are, say so with --swap")
    found = f"{numbers} is labelled lon/lat, but these are numbers of a grid"
    remedy = f"say which with --crs: {proposals(bounds, near)}"
    return Fault(file=shown, found=found, allowed="degrees, ±180 and ±90", remedy=remedy)


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
    try:
        stated = systems.horizontal(layer.crs, shown)
    except Refused as refusal:  # a local grid, or words that nobody knows
        own = refusal.faults[0].found
        return crs, [f"its own: {own}; {crs.name} is used, as said with --crs"]
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


def check_place(
    things: list[Drawn], geometry: Geometries, crs: Any, layer: Layer, shown: str, wishes: Wishes
) -> list[str]:
    """What is worth knowing of where a CRS puts the outlines; Refused where it must be asked."""
    if wishes.believe_place:
        return []
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
            return []
        raise refused(
            shown,
            f"x {x:.9g}, y {y:.9g} is no place in {crs.name}{cut_off(crs, x, y, wishes.near)}",
            remedy="check the CRS and its unit, and the order of the axes (--swap). For these"
            f" numbers {proposals(np.array([x, y, x, y]), wishes.near)}",
        )
    fault = doubtful_place(places[0], places[1], crs, shown, wishes.near)
    other = None if places[1] is None else likely_place(places[1], crs, wishes.near)
    if fault is None and layer.heads_xy and not wishes.swap_axes:
        fault = either_axis(places[0], other, crs, shown)
    numbers = (y, x) if wishes.swap_axes else (x, y)  # as the file has them
    if fault is not None and (told := other_way(crs, *numbers, wishes.near)):
        fault = fault._replace(found=fault.found + told)
    if fault is not None:
        fault = fault._replace(found=fault.found + cut_off(crs, x, y, wishes.near))
    if fault is None and wishes.near is None:
        fault = against_itself(places[0], crs, things, layer, shown)
    if fault is not None:
        raise Refused(fault)
    if wishes.crs is None or wishes.near is not None:
        return []
    order = ""
    if wishes.point_order is not None and other is not None:
        order = f"--point-order {wishes.point_order}: with northing and easting exchanged the site"
        order += f" would lie at {place_words(*other)}, which is land as well: check the order"
    zones = other_zones(crs, x, y) if crs.is_projected else {}
    return [*([order] if order else []), *zone_findings(places[0], crs, zones)]
