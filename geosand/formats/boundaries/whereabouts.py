"""Where numbers would land: likely CRS for a file that names none, and places not to believe."""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import cache
from textwrap import shorten
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from geosand.columns import Floats, Geometries
from geosand.errors import Fault
from geosand.formats.boundaries.antimeridian import on_one_side

if TYPE_CHECKING:
    from pyproj import CRS

HIGHEST_TURF = 66.0  #: degrees; few lawns beyond the polar circles
NEAR_KM = 50.0
_WIDEST_LAND = 60.0  # degrees: wider areas of use are of continents and oceans
_NO_LAND_KNOWN = "where the register of reference systems (EPSG) knows no land"
_ZONE = re.compile(r"(?:UTM|MGA) zone (\d+)([NS]?)", re.IGNORECASE)
_HALVES = {"N": (False, True), "S": (True, False)}  # whether of the south: the zone, the other
_NO_LAND = re.compile(r"world|hemisphere|ocean|\bseas?\b|arctic|antarctic", re.IGNORECASE)


def distance_km(a: tuple[float, float], b: tuple[float, float]) -> float:
    """Great-circle distance in km between two lon/lat places, on a sphere of 6371 km."""
    (lon1, lat1), (lon2, lat2) = np.radians(a), np.radians(b)
    half = np.sin((lat2 - lat1) / 2) ** 2
    half += np.cos(lat1) * np.cos(lat2) * np.sin((lon2 - lon1) / 2) ** 2
    return float(2 * 6371.0 * np.arcsin(np.sqrt(min(half, 1.0))))


def place_words(lon: float, lat: float) -> str:
    """A place as people write it."""
    ns, ew = "S" if lat < 0 else "N", "W" if lon < 0 else "E"
    return f"{abs(lat):.4f}° {ns}, {abs(lon):.4f}° {ew}"


def not_degrees(bounds: Floats, shown: str, near: tuple[float, float] | None) -> Fault | None:
    """Numbers labelled lon/lat that can not be: metres or feet of a grid, or swapped."""
    west, south, east, north = bounds.tolist()
    x, y = max(abs(west), abs(east)), max(abs(south), abs(north))
    numbers = f"x {west:.8g} to {east:.8g}, y {south:.8g} to {north:.8g}"
    if x <= 180 and y <= 90:
        return None
    if x <= 90 and y <= 180:
        found = f"{numbers} can not be longitude and latitude: they look swapped"
        return Fault(file=shown, found=found, remedy="if they are, say so with --swap")
    from geosand.formats.boundaries.likely_systems import proposals

    found = f"{numbers} is labelled lon/lat, but these are numbers of a grid"
    remedy = f"say which with --crs: {proposals(bounds, near)}"
    return Fault(file=shown, found=found, allowed="degrees, ±180 and ±90", remedy=remedy)


def doubtful_place(
    lon_lat: Floats, swapped: Floats | None, crs: CRS, shown: str, near: tuple[float, float] | None
) -> Fault | None:
    """A place that is asked about before it is believed; None where nothing speaks against it.

    ``lon_lat`` and ``swapped`` are the middle of the site as read and with its axes exchanged.
    """
    here = (float(lon_lat[0]), float(lon_lat[1]))
    other = None if swapped is None else (float(swapped[0]), float(swapped[1]))
    reason = _against(here, crs, near)
    if not reason and other is not None and near is None and crs.is_geographic:
        reason = _at_sea(here, other)
    zones = _other_zones(here, crs)
    if not reason and near is None and zones and not _on_land(*here):
        reason = _NO_LAND_KNOWN
    if not reason:
        return None
    found = f"the site would lie at {place_words(*here)}, {reason}"
    remedy = "check CRS and order of the axes; if it is right, say so with --believe-place"
    if reason == _NO_LAND_KNOWN and zones:
        found += f"; {_by_zone(zones)}"
        remedy = "check the zone; if it is right, say so with --believe-place"
        return Fault(file=shown, found=found, remedy=remedy)
    if other is not None and not _against(other, crs, near):
        where = place_words(*other)
        found += f"; with the two axes swapped it would lie at {where}"
        remedy = "if that is the place, use --swap; if the first is right, --believe-place"
    return Fault(file=shown, found=found, remedy=remedy)


def _against(here: tuple[float, float], crs: CRS, near: tuple[float, float] | None) -> str:
    if near is not None:
        apart = distance_km(here, near)
        if apart > NEAR_KM:
            return f"{apart:,.0f} km from {place_words(*near)}, where it should be"
        return ""
    area = crs.area_of_use
    if crs.is_projected and area is not None and not _within(here, area.bounds):
        named = shorten(str(area.name), 80, placeholder=" …")
        return f"outside the area that {crs.name} is made for ({named})"
    if abs(here[1]) > HIGHEST_TURF:
        return f"beyond {HIGHEST_TURF:g}° of latitude"
    return ""


def _at_sea(here: tuple[float, float], other: tuple[float, float]) -> str:
    """Why legal numbers look swapped: no land is known here, and there is some at the other."""
    if abs(other[1]) > HIGHEST_TURF or _on_land(*here) or not _on_land(*other):
        return ""
    return _NO_LAND_KNOWN


def zone_findings(lon_lat: Floats, crs: CRS) -> list[str]:
    """Of a CRS that is one zone of a series: where the others would put the same numbers."""
    zones = _other_zones((float(lon_lat[0]), float(lon_lat[1])), crs)
    if not zones:
        return []
    return [
        f"--crs says {crs.name}, and the same numbers fit its neighbours: {_by_zone(zones)}."
        " --near LON LAT checks the place"
    ]


def _other_zones(here: tuple[float, float], crs: CRS) -> dict[str, tuple[float, float]]:
    """Places that the neighbouring zones give to the same numbers: zones of UTM are 6° wide.

    The other half of the earth counts its northings from another origin.
    """
    found = _ZONE.search(crs.name) if crs.is_projected else None
    if found is None:
        return {}
    zone, half = int(found[1]), found[2]
    lon, lat = here
    zones = {}
    for step in (-1, 1):
        turned = (lon + 6 * step + 180) % 360 - 180
        zones[f"zone {(zone + step - 1) % 60 + 1}{half}"] = (turned, lat)
    if half:
        from pyproj import Proj

        own, across = (Proj(proj="utm", zone=zone, south=s, ellps="WGS84") for s in _HALVES[half])
        turned, lat = across(*own(*here), inverse=True)
        zones[f"zone {zone}{'S' if half == 'N' else 'N'}"] = (float(turned), float(lat))
    return zones


def _by_zone(zones: dict[str, tuple[float, float]]) -> str:
    (first, place), *rest = zones.items()
    others = (f"in {zone} at {place_words(*at)}" for zone, at in rest)
    return "; ".join([f"in {first} the site would lie at {place_words(*place)}", *others])


def _on_land(lon: float, lat: float) -> bool:
    """Whether the place is in the box of any land area of the EPSG register; a sea may be, too."""
    west, south, east, north = _land_boxes().T
    beyond = east < west  # across 180°
    inside = np.where(beyond, (lon >= west) | (lon <= east), (lon >= west) & (lon <= east))
    return bool((inside & (south <= lat) & (lat <= north)).any())


@cache
def _land_boxes() -> Floats:
    """Boxes (n, 4) of the areas of use that are called onshore, or are as small as a country."""
    from pyproj.database import query_crs_info

    areas = {i.area_of_use for i in query_crs_info("EPSG") if i.area_of_use is not None}
    boxes = [
        (a.west, a.south, a.east, a.north)
        for a in areas
        if "offshore" not in str(a.name)
        and not _NO_LAND.search(str(a.name))
        and (a.east - a.west) % 360 <= _WIDEST_LAND
        and a.north - a.south <= _WIDEST_LAND
    ]
    return np.array(boxes, dtype=np.float64)


def _within(here: tuple[float, float], bounds: tuple[float, float, float, float]) -> bool:
    west, south, east, north = bounds
    east += 360 if east < west else 0
    lon = here[0] + (360 if here[0] < west - 1 else 0)
    return west - 1 <= lon <= east + 1 and south - 1 <= here[1] <= north + 1


def middle(geometry: Geometries) -> Floats:
    """Middle (2,) of where most of the geometries lie: the median of their boxes' middles."""
    bounds = shapely.bounds(geometry)
    return np.array(np.nanmedian((bounds[:, :2] + bounds[:, 2:]) / 2, axis=0))


def middle_of(shapes: Sequence[Any]) -> tuple[float, float]:
    """Middle (lon, lat) of a site's polygons, on whichever side of 180° it is."""
    geometry = np.empty(len(shapes), dtype=object)
    geometry[:] = shapes
    lon, lat = middle(on_one_side(geometry)).tolist()
    return (lon - 360 if lon > 180 else lon, lat)
