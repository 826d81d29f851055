"""Outlines from the CRS of their file to lon/lat: the datum shift, and how good it is."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from geosand.columns import Floats, Geometries
from geosand.errors import refused
from geosand.formats.boundaries.drawn import LON_LAT
from geosand.formats.boundaries.place.reference_systems import (
    datum_of,
    describe,
    is_lon_lat,
    name_of,
    unit_m,
)
from geosand.formats.boundaries.place.straight_edges import (
    ROUNDED_APART,
    kept_straight,
    with_meeting_corners,
    written_unit,
)

if TYPE_CHECKING:
    from pyproj import CRS

#: How near a corner is to an edge that it lies on: in a grid's unit (m or feet), and in degrees
#: half of the last decimal that is written. Of coarser numbers it is what their last decimal leaves
#: open, up to centimetres.
MEETING, MEETING_DEG = 1e-5, 5e-10
COARSEST_M, COARSEST_DEG = 0.01, 1e-7
TOLD_M = 0.001  #: corners added within less are not worth a word
_WEB_MERCATOR = ("3857", "3785", "900913", "102100", "102113")


@dataclass(frozen=True, slots=True, kw_only=True)
class Moved:
    """Geometries in lon/lat and what is to be said about the way there."""

    geometry: Geometries
    source_crs: str  #: "" = lon/lat in WGS 84
    accuracy_m: float  #: of the datum shift; 0 = none was needed, nan = not known
    note: str
    findings: tuple[str, ...]


def to_lon_lat(geometry: Geometries, crs: CRS) -> Moved:
    """Move plane geometries (n,) to lon/lat, WGS 84. Raises Refused where a value gets lost."""
    from pyproj import Transformer

    source = describe(crs)
    findings = _web_mercator_said(crs, source)
    west, _, east, _ = shapely.total_bounds(geometry)
    if crs.is_projected or east - west < 180:  # else edges would run round the earth
        geometry, said = _with_meeting_corners(geometry, crs)
        findings += said
    if is_lon_lat(crs):
        return Moved(
            geometry=geometry,
            source_crs="",
            accuracy_m=0.0,
            findings=tuple(findings),
            note="lon/lat in WGS 84: no datum shift",
        )
    transformer = Transformer.from_crs(crs, LON_LAT, always_xy=True)

    def move(points: Floats) -> Floats:
        x, y = transformer.transform(points[:, 0], points[:, 1], errcheck=True)
        return np.column_stack([x, y])

    moved = _moved(geometry, move, crs.name)
    if crs.is_projected:
        moved, outlines, corners = kept_straight(geometry, moved, move)
        if corners:
            findings.append(_straight_finding(outlines, corners, name_of(crs)))
    accuracy, note = _shift(transformer, crs, shapely.total_bounds(moved))
    if accuracy != 0:
        findings.append(note)
    return Moved(
        geometry=moved, source_crs=source, accuracy_m=accuracy, note=note, findings=tuple(findings)
    )


def _with_meeting_corners(geometry: Geometries, crs: CRS) -> tuple[Geometries, list[str]]:
    """The geometries with corners where outlines meet in the middle of an edge, and words on it."""
    per_unit = unit_m(crs) if crs.is_projected else COARSEST_M / COARSEST_DEG
    unit = written_unit(shapely.get_coordinates(geometry), COARSEST_M / per_unit)
    reach = max(MEETING if crs.is_projected else MEETING_DEG, ROUNDED_APART * unit)
    out = with_meeting_corners(geometry, reach)
    before, after = (shapely.get_num_coordinates(g) for g in (geometry, out))
    count, outlines = int((after - before).sum()), int((after > before).sum())
    if not count or reach * per_unit < TOLD_M:
        return out, []
    corners = "1 corner was" if count == 1 else f"{count} corners were"
    on = "1 outline" if outlines == 1 else f"{outlines} outlines"
    return out, [
        f"{corners} added on {on} where a corner of another lies on an edge, as near as the last"
        " decimal of the numbers tells; areas move by as little"
    ]


def _web_mercator_said(crs: CRS, source: str) -> list[str]:
    if source.rpartition(":")[2] not in _WEB_MERCATOR and "pseudo" not in _method(crs):
        return []
    return [
        "the file is in Web Mercator: it is re-projected and never measured in; how well the "
        "outlines were traced, and on which picture, is not known"
    ]


def _moved(geometry: Geometries, move: Callable[[Floats], Floats], grid: str) -> Geometries:
    """Geometries with their places turned by ``move``; Refused where one is none of the grid."""
    from pyproj.exceptions import ProjError

    try:
        moved: Geometries = shapely.transform(geometry, move)
        finite = bool(np.isfinite(shapely.get_coordinates(moved)).all())
    except ProjError:
        finite = False
    if finite:
        return moved
    west, south, east, north = shapely.total_bounds(geometry)
    raise refused(
        "coordinates",
        f"x {west:.6g} to {east:.6g}, y {south:.6g} to {north:.6g} can not be places in {grid}",
        remedy="check the CRS, the unit and the order of the axes",
    )


def _straight_finding(outlines: int, corners: int, grid: str) -> str:
    more = "1 corner was" if corners == 1 else f"{corners} corners were"
    on = "1 outline" if outlines == 1 else f"{outlines} outlines"
    return (
        f"{more} added on long edges of {on}: straight in {grid}, they would not be so between"
        " their ends in longitude and latitude"
    )


def _method(crs: CRS) -> str:
    operation = crs.coordinate_operation
    return operation.method_name.lower() if operation is not None else ""


def _shift(transformer: Any, crs: CRS, bounds: Floats) -> tuple[float, str]:
    """Accuracy in m of the datum shift that was used (nan = not known), and a sentence on it."""
    from pyproj.exceptions import ProjError

    datum = (datum_of(crs) or crs.name).removesuffix(" ensemble")
    if datum.startswith("World Geodetic System 1984"):
        return 0.0, f"{name_of(crs)} is on WGS 84: no datum shift"
    try:
        used = transformer.get_last_used_operation()
    except ProjError:  # there was only one, and it had nothing to do
        used = transformer
    words = str(used.description)
    better = _missing(crs, bounds)
    ballpark = "ballpark" in words.lower()
    accuracy = float("nan") if ballpark or used.accuracy < 0 else float(used.accuracy)
    if np.isnan(accuracy):
        how = "is not known: it may be off by a hundred metres" if ballpark else "is not stated"
        text = f"the accuracy of the datum shift from {datum} to WGS 84 {how}"
    elif accuracy == 0:
        return 0.0, f"{datum} to WGS 84 without loss"
    else:
        text = f"the datum shift from {datum} to WGS 84 is good to {accuracy:g} m"
    if better is not None and (np.isnan(accuracy) or better[0] < accuracy):
        text += f"; with the grid {better[1]}, which is not here, to {better[0]:g} m"
    own = crs.ellipsoid if ballpark else None
    latitude = float(bounds[[1, 3]].mean())
    larger = _larger_on_wgs84(own, latitude) if own is not None else 0.0
    if abs(larger) > 1e-6:  # degrees of one ellipsoid are taken for those of another
        return accuracy, f"{text}, and areas by {abs(larger) * 1e6:,.0f} parts in a million"
    return accuracy, f"{text}. Shapes and areas do not change; places against catches do"


def _larger_on_wgs84(ellipsoid: Any, latitude_deg: float) -> float:
    """By how much (1) a cell of degrees there is larger on WGS 84 than on the ellipsoid.

    A cell's area goes with a²(1 - e²) / (1 - e² sin² latitude)², the product of both radii.
    """
    a = np.array([6_378_137.0, ellipsoid.semi_major_metre])
    e2 = 1 - np.array([6_356_752.314245 / a[0], ellipsoid.semi_minor_metre / a[1]]) ** 2
    wgs84, own = a**2 * (1 - e2) / (1 - e2 * np.sin(np.radians(latitude_deg)) ** 2) ** 2
    return float(wgs84 / own - 1)


def _missing(crs: CRS, bounds: Floats) -> tuple[float, str] | None:
    """Accuracy and grid of the best operation that lacks its grid here."""
    import warnings

    from pyproj.transformer import AreaOfInterest, TransformerGroup

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it warns of what is looked at here
        group = TransformerGroup(
            crs, LON_LAT, always_xy=True, area_of_interest=AreaOfInterest(*bounds.tolist())
        )
    candidates = [
        (float(o.accuracy), next((g.short_name for g in o.grids), "of a national survey"))
        for o in group.unavailable_operations
        if o.accuracy >= 0
    ]
    return min(candidates) if candidates else None
