"""The CRS of a file: what it is called, its units and its datum."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from geosand.columns import Floats
from geosand.errors import refused
from geosand.formats.boundaries.drawn import LON_LAT

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
_GIVE = "say with --crs which it was surveyed in, for example EPSG:25832"


def horizontal(text: str, shown: str) -> CRS:
    """A CRS from what a file or a user says; without its heights. Raises Refused otherwise."""
    import pyproj
    from pyproj.exceptions import CRSError, ProjError
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
    try:
        pyproj.Transformer.from_crs(crs, LON_LAT, always_xy=True)
    except ProjError as problem:  # as of a scale of 0
        found = f"{crs.name!r} has numbers that can not be, or is not of the earth"
        raise refused(shown, found, remedy=_GIVE) from problem
    return crs


def name_of(crs: CRS) -> str:
    """Its name in a sentence; those that programs make up for want of one say nothing."""
    return "its CRS" if crs.name in ("unknown", "unnamed") else str(crs.name)


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
    return plain and greenwich and datum_of(crs).startswith("World Geodetic System 1984")


def datum_of(crs: CRS) -> str:
    geodetic = crs.geodetic_crs
    return str(geodetic.datum.name) if geodetic is not None and geodetic.datum is not None else ""


def describe(crs: CRS) -> str:
    """The CRS as the site folder keeps it: its code if it has one, else WKT; "" for lon/lat."""
    if is_lon_lat(crs):
        return ""
    authority = crs.to_authority(min_confidence=90)
    return ":".join(authority) if authority else crs.to_wkt()


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
