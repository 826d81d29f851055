"""From the CRS of a file to lon/lat: its unit, its datum shift and how good that is."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from geosand.columns import Floats, Geometries
from geosand.errors import refused
from geosand.formats.boundaries.drawn import LON_LAT
from geosand.formats.boundaries.straight_edges import (
    ROUNDED_APART,
    kept_straight,
    with_meeting_corners,
    written_unit,
)

if TYPE_CHECKING:
    from pyproj import CRS

UNITS_M = {"m": 1.0, "mm": 0.001, "cm": 0.01, "dm": 0.1, "km": 1000.0, "in": 0.0254, "ft": 0.3048}
UNITS_M |= {"yd": 0.9144, "us_survey_ft": 1200 / 3937}
UNITS_M |= {"international_ft": 0.3048}
UNIT_WORDS = {"foot": "ft", "feet": "ft", "metre": "m", "meter": "m"}
UNIT_WORDS |= {"survey_foot": "us_survey_ft", "us_survey_foot": "us_survey_ft", "inch": "in"}
UNIT_WORDS |= {f"international_{word}": "international_ft" for word in ("feet", "foot")}
UNIT_WORDS |= {"survey_ft": "us_survey_ft", "yard": "yd"}
UNIT_WORDS |= {w: "us_survey_ft" for w in ("us_ft", "us_feet", "survey_feet", "us_survey_feet")}
UNIT_WORDS |= {"metres": "m", "meters": "m", "usft": "us_survey_ft", "ftus": "us_survey_ft"}
#: How near a corner is to an edge that it lies on: in a grid's unit (m or feet), and in degrees
#: half of the last decimal that is written. Of coarser numbers it is what their last decimal leaves
#: open, up to centimetres.
MEETING, MEETING_DEG = 1e-5, 5e-10
COARSEST_M, COARSEST_DEG = 0.01, 1e-7
TOLD_M = 0.001  #: corners added within less are not worth a word
_WEB_MERCATOR = ("3857", "3785", "900913", "102100", "102113")
_GIVE = "say with --crs which it was surveyed in, for example EPSG:25832"


@dataclass(frozen=True, slots=True, kw_only=True)
class Moved:
    """Geometries in lon/lat and what is to be said about the way there."""

    geometry: Geometries
    source_crs: str  #: "" = lon/lat in WGS 84
    accuracy_m: float  #: of the datum shift; 0 = none was needed, nan = not known
    note: str
    findings: tuple[str, ...]


def horizontal(text: str, shown: str) -> CRS:
    """A CRS from what a file or a user says; without its heights. Raises Refused otherwise."""
    import pyproj
    from pyproj.exceptions import CRSError
    from pyproj.network import set_network_enabled  # type: ignore[attr-defined]

    set_network_enabled(False)  # a grid that does not come makes points infinite
    try:
        crs = pyproj.CRS.from_user_input(LON_LAT if text.upper() in ("CRS84", "WGS84") else text)
    except (CRSError, TypeError, ValueError) as problem:
        found = f"{text[:60]!r} is not a coordinate reference system that is known"
        raise refused(shown, found, allowed="EPSG:25832 or such, or WKT", remedy=_GIVE) from problem
    if crs.is_compound:
        crs = crs.sub_crs_list[0]
    if not (crs.is_projected or crs.is_geographic):
        what = "heights only" if crs.is_vertical else "a local grid without a place on earth"
        what = "X, Y and Z from the centre of the earth" if crs.is_geocentric else what
        raise refused(shown, f"{crs.name!r} is {what}", remedy=_GIVE)
    return crs


def vertical_unit_m(text: str, crs: CRS) -> float:
    """What one unit of height is worth: of the vertical CRS if there is one, else of the plane."""
    import pyproj

    whole = pyproj.CRS.from_user_input(text)
    axes = [a for a in whole.axis_info if a.direction.lower() in ("up", "down")]
    if axes:
        return float(axes[0].unit_conversion_factor)
    return unit_m(crs) if crs.is_projected else 1.0


def unit_m(crs: CRS) -> float:
    """Metres per unit of the plane; 1 for degrees."""
    return float(crs.axis_info[0].unit_conversion_factor) if crs.is_projected else 1.0


def unit_name(metres: float) -> str:
    """Word for a unit of so many metres."""
    words = {"ft": "international feet (0.3048 m)", "us_survey_ft": "US survey feet (1200/3937 m)"}
    words |= {"in": "inches", "yd": "yards"}
    for name, value in UNITS_M.items():
        if abs(metres / value - 1) < 1e-9:
            return words.get(name, name)
    return f"units of {metres:.9g} m"


def named_unit(text: str, shown: str) -> float:
    """Metres of a unit that a user names; Refused for others."""
    word = text.strip().lower().replace(" ", "_").replace("-", "_")
    word = UNIT_WORDS.get(word, word)
    if word not in UNITS_M:
        raise refused(
            shown,
            f"the unit {text[:30]!r} is not known",
            allowed=", ".join(UNITS_M),
            remedy="feet are two: ft is international, us_survey_ft is 1200/3937 m",
        )
    return UNITS_M[word]


def metres_per_unit(crs: CRS, y: float) -> Floats:
    """Metres of one unit of x and of y near ``y``, good to a percent, for tolerances only."""
    if crs.is_projected:
        return np.full(2, unit_m(crs))
    return np.array([111_320.0 * max(np.cos(np.radians(min(abs(y), 90.0))), 1e-6), 111_000.0])


def is_lon_lat(crs: CRS) -> bool:
    """True for degrees on WGS 84 from Greenwich, in whichever order its axes are written down.

    Degrees of a turned pole (a derived CRS) are others, and so are grads.
    """
    if not crs.is_geographic or crs.is_derived:
        return False
    plain = abs(crs.axis_info[0].unit_conversion_factor / np.radians(1.0) - 1) < 1e-9
    greenwich = crs.prime_meridian is None or crs.prime_meridian.longitude == 0
    return plain and greenwich and _datum(crs).startswith("World Geodetic System 1984")


def _datum(crs: CRS) -> str:
    geodetic = crs.geodetic_crs
    return str(geodetic.datum.name) if geodetic is not None and geodetic.datum is not None else ""


def describe(crs: CRS) -> str:
    """The CRS as the site folder keeps it: its code if it has one, else WKT; "" for lon/lat."""
    if is_lon_lat(crs):
        return ""
    authority = crs.to_authority(min_confidence=90)
    return ":".join(authority) if authority else crs.to_wkt()


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
            findings.append(_straight_finding(outlines, corners, crs.name))
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

    datum = (_datum(crs) or crs.name).removesuffix(" ensemble")
    if datum.startswith("World Geodetic System 1984"):
        return 0.0, f"{crs.name} is on WGS 84: no datum shift"
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


def feet_finding(crs: CRS, metres: float, bounds: Floats) -> str:
    """What taking the other foot would do to the place; "" where no feet are used."""
    feet = {0.3048: "US survey feet", 1200 / 3937: "international feet"}
    for value, other in feet.items():
        if crs.is_projected and abs(metres / value - 1) < 1e-9:
            reach = float(np.hypot(*np.abs(bounds).reshape(2, 2).max(axis=0))) * metres
            return (
                f"coordinates are read in {unit_name(metres)}; as {other} the site would lie "
                f"{reach * 2e-6:.2f} m away, and areas would differ by 4 parts in a million"
            )
    return ""
