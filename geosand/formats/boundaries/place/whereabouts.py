"""Where numbers would land: likely CRS for a file that names none, and places not to believe."""

from __future__ import annotations

import re
from collections.abc import Sequence
from textwrap import shorten
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from geosand.columns import Floats, Geometries
from geosand.errors import Fault
from geosand.formats.boundaries.drawn import Drawn, Layer
from geosand.formats.boundaries.place.antimeridian import on_one_side
from geosand.formats.boundaries.place.land import on_land
from geosand.site.cells import parse_number

if TYPE_CHECKING:
    from pyproj import CRS

ZONES_TOLD = 6
HIGHEST_TURF = 66.0  #: degrees; few lawns beyond the polar circles
NEAR_KM = 50.0
CUT_OFF = 100_000.0  #: units of a grid; digits from there on are left off
_AT_SEA = "in the sea: no land is known within a quarter of a degree"
_ZONE = re.compile(r"(?:UTM|MGA) zone (\d+)([NS]?)", re.IGNORECASE)
_ZONE_IN_NAME = re.compile(
    r"(?:utm|mga)[ _-]?(?:z|zone)?[ _-]?(0?[1-9]|[1-5]\d|60)(?!\d)", re.IGNORECASE
)
_LON, _LAT = ("lon", "longitude", "long", "lng"), ("lat", "latitude")
_HALVES = {"N": (False, True), "S": (True, False)}  # whether of the south: the zone, the other


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


def doubtful_place(
    lon_lat: Floats, swapped: Floats | None, crs: CRS, shown: str, near: tuple[float, float] | None
) -> Fault | None:
    """A place that is asked about before it is believed; None where nothing speaks against it.

    ``lon_lat`` and ``swapped`` are the middle of the site as read and with its axes exchanged.
    """
    here = (float(lon_lat[0]), float(lon_lat[1]))
    other = None if swapped is None else (float(swapped[0]), float(swapped[1]))
    reason = _against(here, crs, near)
    at_sea = not reason and near is None and not on_land(*here)
    if not reason and not at_sea:
        return None
    found = f"the site would lie at {place_words(*here)}, {reason or _AT_SEA}"
    remedy = "check CRS and order of the axes; if it is right, say so with --believe-place"
    zones = _other_zones(here, crs)
    if at_sea and zones:
        on_it = {name: place for name, place in zones.items() if on_land(*place)}
        found += f"; {_by_zone(on_it)}" if on_it else ""
        remedy = "check the zone; if it is right, say so with --believe-place"
    elif other is not None and not _against(other, crs, near) and (near or on_land(*other)):
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


def cut_off(crs: CRS, x: float, y: float, near: tuple[float, float] | None) -> str:
    """Words on numbers of a grid that lack their leading digits; "" where they do not seem to.

    Surveyors and drawings leave off hundreds of kilometres, which all points of a site share.
    """
    if not crs.is_projected or max(abs(x), abs(y)) >= CUT_OFF * 10:
        return ""
    if near is None:
        small = max(abs(x), abs(y)) < CUT_OFF
        return "; if its leading digits were cut off, --near LON LAT finds them" if small else ""
    from pyproj import Transformer

    there = Transformer.from_crs("OGC:CRS84", crs, always_xy=True).transform(*near)
    shift = np.round((np.array(there) - (x, y)) / CUT_OFF) * CUT_OFF
    left = np.abs(there - shift - (x, y)).max()
    if not shift.any() or not left <= CUT_OFF / 20:
        return ""
    return (
        f"; with {shift[0]:,.0f} added to x and {shift[1]:,.0f} to y it would: its leading digits"
        " are cut off. Put them back where it was made, or have it exported with whole coordinates"
    )


def likely_place(
    lon_lat: Floats, crs: CRS, near: tuple[float, float] | None
) -> tuple[float, float] | None:
    """A place that a grid gives to numbers, if it is one to ask about; else None.

    Where the place is not known, that is land in the very area that the grid is made for.
    """
    here, area = (float(lon_lat[0]), float(lon_lat[1])), crs.area_of_use
    if not crs.is_projected or _against(here, crs, near):
        return None
    in_area = area is None or _within(here, area.bounds, beside=0.0)
    return here if near or (in_area and on_land(*here)) else None


def either_axis(
    lon_lat: Floats, other: tuple[float, float] | None, crs: CRS, shown: str
) -> Fault | None:
    """Heads x and y of a CRS whose x runs north, where either way round is a likely place.

    Surveyors then write x for the north, GIS for the east.
    """
    north = any(a.abbrev.lower() == "x" and a.direction == "north" for a in crs.axis_info)
    if other is None or not north:
        return None
    here = place_words(float(lon_lat[0]), float(lon_lat[1]))
    return Fault(
        file=shown,
        found=f"its heads say x and y, and x of {crs.name} runs north: so the site would lie at"
        f" {place_words(*other)}; with x to the east at {here}",
        remedy="if x is the north, say so with --swap; if it is the east, with --believe-place",
    )


def against_itself(
    lon_lat: Floats, crs: CRS, things: Sequence[Drawn], layer: Layer, shown: str
) -> Fault | None:
    """A place or a zone that something else in the file contradicts; None where nothing does.

    What else: columns of latitude and longitude, outlines in lon/lat beside those that are read,
    and a zone in the names of the file and layer.
    """
    here = (float(lon_lat[0]), float(lon_lat[1]))
    remedy = "check the CRS; if the place is right, say so with --believe-place"
    found, names = "", (shown, layer.name)
    for place, who in (
        (_place_in_columns(things), "columns of latitude and longitude"),
        (layer.lon_lat, "outlines in lon/lat"),
    ):
        if not found and place is not None and (apart := distance_km(here, place)) > NEAR_KM:
            found = f"the site would lie at {place_words(*here)}, {apart:,.0f} km from"
            found += f" {place_words(*place)}, as its {who} say"
    of_crs = _ZONE.search(crs.name)
    said = next((m for name in names if (m := _ZONE_IN_NAME.search(name))), None)
    if not found and of_crs and said and int(said[1]) != int(of_crs[1]):
        found = f"it is called {said[0]!r}, and its numbers are read in {crs.name}, at"
        found += f" {place_words(*here)}"
    return Fault(file=shown, found=found, remedy=remedy) if found else None


def _place_in_columns(things: Sequence[Drawn]) -> tuple[float, float] | None:
    """Middle of what columns of latitude and longitude say; None without any."""
    places = []
    for thing in things:
        cells = {str(key).lower(): cell for key, cell in thing.attributes.items()}
        lon, lat = (
            next((v for n in names if (v := parse_number(cells.get(n))) is not None), None)
            for names in (_LON, _LAT)
        )
        if lon is not None and lat is not None and abs(lon) <= 180 and abs(lat) <= 90:
            places.append((lon, lat))
    if not places or not np.any(places):
        return None
    lon, lat = np.median(np.array(places), axis=0).tolist()
    return lon, lat


def zone_findings(lon_lat: Floats, crs: CRS, others: dict[str, tuple[float, float]]) -> list[str]:
    """Of a CRS that is one zone of a series: where the others would put the same numbers.

    ``others`` are those of a series whose zones are not all of one shape.
    """
    zones = _other_zones((float(lon_lat[0]), float(lon_lat[1])), crs) or others
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
    (first, place), *rest = list(zones.items())[:ZONES_TOLD]
    others = [f"in {zone} at {place_words(*at)}" for zone, at in rest]
    more = [f"and in {len(zones) - ZONES_TOLD} more zones"] if len(zones) > ZONES_TOLD else []
    return "; ".join([f"in {first} the site would lie at {place_words(*place)}", *others, *more])


def _within(
    here: tuple[float, float], bounds: tuple[float, float, float, float], beside: float = 1.0
) -> bool:
    west, south, east, north = bounds
    east += 360 if east < west else 0
    lon = here[0] + (360 if here[0] < west - beside else 0)
    return west - beside <= lon <= east + beside and south - beside <= here[1] <= north + beside


def middle(geometry: Geometries) -> Floats:
    """Middle (2,) of where most of the geometries lie: the median of their boxes' middles."""
    bounds = shapely.bounds(geometry)
    return np.array(np.nanmedian((bounds[:, :2] + bounds[:, 2:]) / 2, axis=0))


def middle_of(shapes: Sequence[Any]) -> tuple[float, float]:
    """Middle (lon, lat) of a site's polygons, on whichever side of 180° it is."""
    geometry = np.array(shapes, dtype=object)
    lon, lat = middle(on_one_side(geometry)).tolist()
    return (lon - 360 if lon > 180 else lon, lat)
