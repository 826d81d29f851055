"""Where numbers would land: likely CRS for a file that names none, and places not to believe."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from geosand.columns import Floats, Geometries
from geosand.errors import Fault
from geosand.formats.boundaries.reference_systems import unit_name

if TYPE_CHECKING:
    from pyproj import CRS

#: Grids tried where nothing is known of the place; with a hint, all of the EPSG table there are.
COMMON = (
    *("27700", "2154", "28992", "2056", "21781", "3006", "2193", "3067", "2180", "31370"),
    *("25832", "25833", "25830", "2157", "29903", "5514", "31287", "3763", "7856", "3857"),
)
#: Codes told first among those that fit as well: the series of UTM and of national grids in use.
_USUAL = tuple(f"EPSG:{c}" for c in ("258", "326", "327", "269", "634", "785", "283", *COMMON))
HIGHEST_TURF = 66.0  #: degrees; few lawns beyond the polar circles
NEAR_KM = 50.0
PROPOSED = 6


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


def proposals(bounds: Floats, near: tuple[float, float] | None) -> str:
    """Likely CRS of numbers within ``bounds`` (x, y, x, y), each with where it would put them."""
    x, y = float(bounds[[0, 2]].mean()), float(bounds[[1, 3]].mean())
    found: list[tuple[float, str]] = []
    if abs(bounds[[0, 2]]).max() <= 180 and abs(bounds[[1, 3]]).max() <= 90:
        found.append((_apart((x, y), near), f"EPSG:4326, lon/lat ({place_words(x, y)})"))
        if abs(y) <= 180 and abs(x) <= 90 and near is not None:
            swapped = (y, x)
            if distance_km(swapped, near) < NEAR_KM:
                found.append((0.0, "EPSG:4326 with latitude and longitude swapped (--swap)"))
    else:
        found += _grids(x, y, near)
    found.sort(key=lambda item: (round(item[0]), not item[1].startswith(_USUAL), item[0]))
    texts = list(dict.fromkeys(text for _, text in found))[:PROPOSED]
    if not texts:
        return "no usual one puts these numbers on a likely place"
    if near is None and (utm := _any_zone(x, y)):
        texts.append(utm)
    return "likely are " + "; ".join(texts)


def _apart(place: tuple[float, float], near: tuple[float, float] | None) -> float:
    return 0.0 if near is None else distance_km(place, near)


def _grids(x: float, y: float, near: tuple[float, float] | None) -> list[tuple[float, str]]:
    from pyproj import CRS, Proj
    from pyproj.aoi import AreaOfInterest
    from pyproj.database import query_crs_info
    from pyproj.enums import PJType
    from pyproj.exceptions import CRSError

    codes: tuple[str, ...] = COMMON
    if near is not None:
        box = AreaOfInterest(near[0] - 0.01, near[1] - 0.01, near[0] + 0.01, near[1] + 0.01)
        infos = query_crs_info("EPSG", [PJType.PROJECTED_CRS], area_of_interest=box)
        codes = tuple(info.code for info in infos)
    found = []
    for code in codes:
        crs = CRS.from_epsg(int(code))
        try:
            lon, lat = Proj(crs)(x, y, inverse=True)
        except CRSError:  # grids of zones, and methods that have no formula here
            continue
        area = crs.area_of_use
        if not np.isfinite([lon, lat]).all() or area is None:
            continue
        inside = area.south <= lat <= area.north and area.west <= lon <= area.east
        apart = _apart((lon, lat), near)
        if (near is None and inside) or (near is not None and apart < NEAR_KM):
            unit = unit_name(float(crs.axis_info[0].unit_conversion_factor))
            where = f"{apart:.1f} km from the place given" if near else place_words(lon, lat)
            found.append((round(apart, 1), f"EPSG:{code}, {crs.name}, in {unit} ({where})"))
    return found


def _any_zone(x: float, y: float) -> str:
    if 160_000 <= x <= 840_000 and 0 < y < 9_400_000:
        return "UTM, EPSG:32601 to 32660 north, 32701 to 32760 south, if you know the zone"
    return ""


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
    if not reason:
        return None
    found = f"the site would lie at {place_words(*here)}, {reason}"
    remedy = "check CRS and order of the axes; if it is right, say so with --believe-place"
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
        return f"outside the area that {crs.name} is made for ({area.name[:80]})"
    if abs(here[1]) > HIGHEST_TURF:
        return f"beyond {HIGHEST_TURF:g}° of latitude"
    return ""


def _within(here: tuple[float, float], bounds: tuple[float, float, float, float]) -> bool:
    west, south, east, north = bounds
    east += 360 if east < west else 0
    lon = here[0] + (360 if here[0] < west - 1 else 0)
    return west - 1 <= lon <= east + 1 and south - 1 <= here[1] <= north + 1


def middle(geometry: Geometries) -> Floats:
    """Middle (2,) of where most of the geometries lie: the median of their boxes' middles."""
    bounds = shapely.bounds(geometry)
    return np.array(np.nanmedian((bounds[:, :2] + bounds[:, 2:]) / 2, axis=0))
