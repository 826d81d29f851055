"""For a file that names no CRS: the likely ones, by where each would put its numbers.

Proposed, never taken: the user says one with --crs. With a hint at the place all grids of the EPSG
register that are in use there are tried, in metres and in both feet; without one the grids of
countries and states, and the zones that would do are named as a series.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np

from geosand.columns import Floats
from geosand.formats.boundaries.place.land import on_land
from geosand.formats.boundaries.place.reference_systems import UNITS_M, unit_name
from geosand.formats.boundaries.place.whereabouts import (
    NEAR_KM,
    distance_km,
    likely_place,
    place_words,
)

if TYPE_CHECKING:
    from pyproj import CRS
    from pyproj.database import CRSInfo

#: Codes told first among those that fit as well: series of UTM, and national grids in much use.
_FIRST = (
    *("258", "326", "327", "269", "634", "785", "283"),
    *("27700", "2154", "28992", "2056", "21781", "3006", "2193", "3067", "2180", "31370", "2157"),
    *("29903", "5514", "31287", "3763", "3857", "31254", "31255", "31256"),
    *("5649", "4647", "5650"),  # UTM with the number of the zone before the eastings
    *("31466", "31467", "31468", "31469", *(str(code) for code in range(3942, 3951)), "22", "6"),
)
_ZONE = re.compile(
    r"\b(zone|North|South|East|West|Central|[IVX\d]+|\(.*\))\b ?|\(.*\)", re.IGNORECASE
)
_ZONE_WORDS = re.compile(r"\b(zone|North|South|East|West|Central|[IVX\d]+)\b", re.IGNORECASE)
#: Datums of old surveys: tried where the place is known only.
_OLD = re.compile(
    r"NAD27|Pulkovo|WGS 72|ED50|Xian|Beijing|Tokyo|NAD83\((HARN|NSRS2007|CORS96|PA|MA)|CSRS\)v"
    r"|GSK|Old|PSAD|SAD69|AGD|ID74|NZGD49|Cape|Adindan|Arc 19|19[0-7]\d"
)
#: Zones of one shape all round the earth: any of them takes the same numbers.
_SERIES = re.compile(
    r"UTM|Gauss|GK|CM \d|zone \d+[NS]$|MGA|MTM|3-degree|Lambert CC|Mercator|Polar|TM\d|TM \d"
)
_WIDEST_DEG = 45.0
_FEET = ("us_survey_ft", "ft")
PROPOSED = 6
_SHORTEST = 4  #: letters of a name that may be the beginning of another's
#: A grid of a site's own, its y to the north, by one point with both places (PROJ, tmerc).
SITE_SYSTEM = "+proj=tmerc +lat_0=LAT +lon_0=LON +x_0=EAST +y_0=NORTH +datum=WGS84 +units=m"
SITE_GRID = (
    20_000.0  #: surveyors begin a grid of their own at 1000, 5000 or 10 000; common practice
)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Fit:
    """A CRS, the unit its numbers were taken in, and where they land."""

    code: str
    name: str
    unit: str  #: as messages say it
    option: str  #: what to say besides --crs; "" = nothing
    lon: float
    lat: float
    apart_km: float
    reach_m: float  #: of the numbers from the origin of the grid

    @property
    def grid(self) -> str:
        return self.name.rpartition(" / ")[2]

    @property
    def datum(self) -> str:
        return self.name.partition(" / ")[0]


def proposals(bounds: Floats, near: tuple[float, float] | None) -> str:
    """Likely CRS of numbers within ``bounds`` (x, y, x, y), each with where it would put them."""
    x, y = float(bounds[[0, 2]].mean()), float(bounds[[1, 3]].mean())
    texts, narrow = [], ""
    if abs(bounds[[0, 2]]).max() <= 180 and abs(bounds[[1, 3]]).max() <= 90:
        texts = _degrees(x, y, near)
    else:
        groups = _groups(list(_near(x, y, near) if near is not None else _anywhere(x, y)))
        series = _series(groups) if near is None else [[group] for group in groups]
        if near is None:  # a country's one grid before the many of a federation's states
            series.sort(key=lambda zones: zones[0][0].code not in _FIRST)
        groups = [zones[0] for zones in series[:PROPOSED]]
        texts = [_told(z[0], near) + _more_zones(len(z) - 1) for z in series[:PROPOSED]]
        if (more := len(series) - PROPOSED) > 0:
            texts.append(f"and {more} grid{'s' * (more > 1)} more")
        feet = next((g[0] for g in groups if "feet" in g[0].unit), None)
        if feet is not None:
            away = f"{feet.reach_m * 2e-6:.2f} m"
            narrow = f". Ask which foot: read in the other one the site lies {away} away"
    if near is None:
        if 160_000 <= x <= 840_000 and 0 < y < 9_400_000:
            texts.insert(0, "UTM, EPSG:32601 to 32660 north, 32701 to 32760 south, by the zone")
        narrow += ". --near LON LAT, a place at the site, narrows them down"
        if 180 < abs(bounds).max() <= SITE_GRID:
            narrow += ". Numbers so small often are a grid of the site's own, which has no CRS: ask"
            narrow += " the surveyor for the points in a grid of the country or, if its y runs"
            narrow += " north, say which point of the earth has which numbers in it, in metres:"
            narrow += f" --crs '{SITE_SYSTEM}'"
    if not texts:
        return "no usual one puts these numbers on a likely place" + narrow
    return "likely are " + "; ".join(texts) + narrow


def other_zones(crs: CRS, x: float, y: float) -> dict[str, tuple[float, float]]:
    """Places that the other zones of a state or country give to numbers, of those that fit them."""
    own = _stem(crs.name)
    zones = {}
    for info in _grids_of_countries():
        if info.name == crs.name or _stem(info.name) != own:
            continue
        fit, area = _fit(info, x, y, "", None), info.area_of_use
        if fit is None or area is None or not on_land(fit.lon, fit.lat):
            continue
        if area.south <= fit.lat <= area.north and area.west <= fit.lon <= area.east:
            zones[f"EPSG:{info.code}, {info.name},"] = (fit.lon, fit.lat)
    return zones


def other_way(crs: CRS, x: float, y: float, near: tuple[float, float] | None) -> str:
    """Words on the CRS of the same name that counts the other way and has a likely place; or "".

    As Krovak has numbers to the south and west, and to the east and north, which are negative.
    """
    from pyproj.database import query_crs_info
    from pyproj.enums import PJType

    own, directions = _letters(crs.name), {a.direction for a in crs.axis_info}
    if not crs.is_projected or len(own) < _SHORTEST:
        return ""
    for info in query_crs_info(pj_types=[PJType.PROJECTED_CRS]):
        name, code = _letters(info.name), f"{info.auth_name}:{info.code}"
        if own == name or not (name.startswith(own) or own.startswith(name)):
            continue
        if {a.direction for a in _system(code).axis_info} == directions:
            continue  # in another order at most
        for numbers, swap in (((x, y), ""), ((y, x), " --swap")):
            lon_lat = np.array(_plane(code)(*numbers, inverse=True))
            if np.isfinite(lon_lat).all() and likely_place(lon_lat, _system(code), near):
                return f"; with --crs {code}{swap} ({info.name}) at {place_words(*lon_lat)}"
    return ""


def _letters(name: str) -> str:
    return re.sub(r"[^a-z0-9]", "", name.lower())


def _stem(name: str) -> str:
    """Name of a series of zones: "NAD83 / Texas (ftUS)" of its central one."""
    return " ".join(_ZONE_WORDS.sub(" ", name).split())


def _degrees(x: float, y: float, near: tuple[float, float] | None) -> list[str]:
    texts = [f"EPSG:4326, lon/lat ({place_words(x, y)})"]
    if abs(x) <= 90:
        swapped = "EPSG:4326 with latitude and longitude swapped (--swap)"
        if near is None:
            texts.append(f"{swapped} ({place_words(y, x)})")
        elif distance_km((y, x), near) < NEAR_KM:
            texts = [swapped]
    return texts


def _told(group: list[_Fit], near: tuple[float, float] | None) -> str:
    """One grid with its place, and the same grid on other datums."""
    fit = group[0]
    where = f"{fit.apart_km:.1f} km from the place given" if near else place_words(fit.lon, fit.lat)
    others = [f"EPSG:{other.code} on {other.datum}" for other in group[1:5]]
    also = f", or {', '.join(others)}" if others else ""
    return f"EPSG:{fit.code}{fit.option}, {fit.name}, in {fit.unit} ({where}){also}"


def _groups(fits: list[_Fit]) -> list[list[_Fit]]:
    """Fits of one grid on several datums together, the nearest and the usual first."""

    def rank(fit: _Fit) -> tuple[int, bool, bool, int, float, str]:
        usual = next((k for k, c in enumerate(_FIRST) if fit.code.startswith(c)), len(_FIRST))
        old = bool(_OLD.search(fit.name))
        return round(fit.apart_km), bool(fit.option), old, usual, fit.apart_km, fit.code

    groups: dict[tuple[str, str, str], list[_Fit]] = defaultdict(list)
    in_own_unit = {fit.unit for fit in fits if not fit.option}
    for fit in sorted(dict.fromkeys(fits), key=rank):
        # a grid in metres with --unit is for a unit that no grid of the place has itself
        if not fit.option or fit.unit not in in_own_unit:
            groups[fit.grid.replace(" (N-E)", ""), fit.unit, fit.option].append(fit)
    return list(groups.values())


def _series(groups: list[list[_Fit]]) -> list[list[list[_Fit]]]:
    """Zones of one state or country together: which of them it is, is known by the place only."""
    zones: dict[tuple[str, str], list[list[_Fit]]] = defaultdict(list)
    for group in groups:
        zones[_ZONE.sub("", group[0].grid).strip(), group[0].unit].append(group)
    return list(zones.values())


def _more_zones(count: int) -> str:
    return f" and {count} more of its zones" if count > 1 else " and one more zone" if count else ""


def _near(x: float, y: float, near: tuple[float, float]) -> Iterator[_Fit]:
    """Every grid of the register used at a place that puts the numbers near it, in any unit."""
    from pyproj.aoi import AreaOfInterest
    from pyproj.database import query_crs_info
    from pyproj.enums import PJType

    box = AreaOfInterest(near[0] - 0.01, near[1] - 0.01, near[0] + 0.01, near[1] + 0.01)
    for info in query_crs_info("EPSG", [PJType.PROJECTED_CRS], area_of_interest=box):
        for option in ("", *_FEET):
            fit = _fit(info, x, y, option, near)
            if fit is not None and fit.apart_km < NEAR_KM:
                yield fit


def _anywhere(x: float, y: float) -> Iterator[_Fit]:
    """Grids of countries and states that put the numbers into their own area of use."""
    for info in _grids_of_countries():
        fit, area = _fit(info, x, y, "", None), info.area_of_use
        if fit is None or area is None:
            continue
        if area.south <= fit.lat <= area.north and area.west <= fit.lon <= area.east:
            yield fit


@cache
def _grids_of_countries() -> tuple[CRSInfo, ...]:
    from pyproj.database import query_crs_info
    from pyproj.enums import PJType

    return tuple(
        info
        for info in query_crs_info("EPSG", [PJType.PROJECTED_CRS])
        if info.area_of_use is not None
        and 0 < info.area_of_use.east - info.area_of_use.west <= _WIDEST_DEG
        and (info.code in _FIRST or not (_OLD.search(info.name) or _SERIES.search(info.name)))
    )


def _fit(
    info: CRSInfo, x: float, y: float, option: str, near: tuple[float, float] | None
) -> _Fit | None:
    """Where a CRS puts numbers, in its own unit or in the one named; None where nowhere."""
    from pyproj.exceptions import ProjError

    own = _unit_m(f"EPSG:{info.code}")
    factor = UNITS_M[option] / own if option else 1.0
    if option and own < 0.9:  # a grid in feet is tried in its own
        return None
    try:  # the formula alone: a datum shift, some 100 m, decides nothing here and takes 20 times
        lon, lat = _plane(f"EPSG:{info.code}")(x * factor, y * factor, inverse=True)
    except ProjError:  # methods that have no formula here
        return None
    if not np.isfinite([lon, lat]).all():
        return None
    return _Fit(
        code=info.code,
        name=info.name,
        unit=unit_name(UNITS_M[option] if option else own),
        option=f" with --unit {option}" if option else "",
        lon=float(lon),
        lat=float(lat),
        apart_km=0.0 if near is None else distance_km((float(lon), float(lat)), near),
        reach_m=float(np.hypot(x, y)) * factor * own,
    )


@cache
def _plane(code: str) -> Any:
    from pyproj import Proj

    return Proj(code)


@cache
def _system(code: str) -> CRS:
    from pyproj import CRS

    return CRS(code)


def _unit_m(code: str) -> float:
    return float(_system(code).axis_info[0].unit_conversion_factor)
