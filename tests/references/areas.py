"""Areas and perimeters that others published, and officially recorded areas of boundaries."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import shapely

FOLDER = Path(__file__).parent


@dataclass(frozen=True, slots=True, kw_only=True)
class Geodesic:
    """A polygon whose edges are geodesics of WGS 84; corners are lon, lat, counter-clockwise."""

    name: str
    corners: tuple[tuple[float, float], ...]
    area_m2: float
    perimeter_m: float | None
    area_tolerance_m2: float
    perimeter_tolerance_m: float
    source: str
    pole: int = 0  #: the latitude's sign of the pole that lies inside

    def polygon(self) -> shapely.Polygon:
        return shapely.Polygon(self.corners)


def _corners(latitudes: str, longitudes: str) -> tuple[tuple[float, float], ...]:
    both = zip(longitudes.split(), latitudes.split(), strict=True)
    return tuple((float(lon), float(lat)) for lon, lat in both)


_PLANIMETER = "geographiclib (Python package), geographiclib/test/test_geodesic.py, "

ANTARCTICA = Geodesic(
    name="Antarctica",
    corners=_corners(
        "-72.9 -71.9 -74.9 -74.3 -77.5 -77.4 -71.7 -65.9 -65.7 -66.6 -66.9 -69.8 -70.0 -71.0 -77.3"
        " -77.9 -74.7",
        "-74 -102 -102 -131 -163 163 172 140 113 88 59 25 -4 -14 -33 -46 -61",
    ),
    area_m2=13376856682207.4,
    perimeter_m=14710425.4,
    area_tolerance_m2=0.1,
    perimeter_tolerance_m=0.1,
    source="pyproj, docstring of Geod.polygon_area_perimeter (an example of GeographicLib)",
    pole=-1,
)
ROUND_THE_POLE = Geodesic(
    name="round the north pole",
    corners=_corners("89 89 89 89", "0 90 180 270"),
    area_m2=24952305678.0,
    perimeter_m=631819.8745,
    area_tolerance_m2=1,
    perimeter_tolerance_m=1e-4,
    source=_PLANIMETER + "test_Planimeter0",
    pole=1,
)
ON_THE_EQUATOR = Geodesic(
    name="diamond on the equator",
    corners=_corners("0 -1 0 1", "-1 0 1 0"),
    area_m2=24619419146.0,
    perimeter_m=627598.2731,
    area_tolerance_m2=1,
    perimeter_tolerance_m=1e-4,
    source=_PLANIMETER + "test_Planimeter0",
)
OCTANT = Geodesic(
    name="octant",
    corners=_corners("90 0 0", "0 0 90"),
    area_m2=63758202715511.0,
    perimeter_m=30022685,
    area_tolerance_m2=1,
    perimeter_tolerance_m=1,
    source=_PLANIMETER + "test_Planimeter0",
)
TRIANGLE = Geodesic(
    name="triangle near the equator",
    corners=_corners("2 1 3", "1 2 3"),
    area_m2=18454562325.45119,
    perimeter_m=None,
    area_tolerance_m2=0.5,
    perimeter_tolerance_m=0.0,
    source=_PLANIMETER + "test_Planimeter15",
)
#: There and back over the pole: no area; the pole lies on its edge.
SLIT = Geodesic(
    name="slit over the pole",
    corners=_corners("66.562222222 66.562222222 66.562222222", "0 180 360"),
    area_m2=0.0,
    perimeter_m=10465729,
    area_tolerance_m2=1,
    perimeter_tolerance_m=1,
    source=_PLANIMETER + "test_Planimeter12",
)
#: E 500000 to 600000, N 4400000 to 4500000 of UTM 18N (EPSG:32618), 1e10 m² on the grid:
#: GeographicLib, manual page of Planimeter, the 100 km square 18SWK; also in GeographicLib.NET,
#: PolygonAreaTests.
GRID_SQUARE_M = ((5e5, 4.4e6), (6e5, 4.4e6), (6e5, 4.5e6), (5e5, 4.5e6))
GRID_SQUARE_AREA_M2, GRID_SQUARE_PERIMETER_M = 10007388597.191, 400139.532959

#: lon/lat shell and hole; pyproj, docstring of Geod.geometry_area_perimeter
HOLED_SHELL = ((1, 1), (10, 1), (10, 10), (1, 10))
HOLED_HOLE = ((1, 2), (3, 4), (5, 2))
HOLED_AREA_M2, HOLED_PERIMETER_M = 944373881400, 3979008

#: geographiclib (Python package), test_Planimeter15: a0; the closed form is
#: 2 pi a² (1 + (1 - e²)/e · atanh e)
WHOLE_ELLIPSOID_M2 = 510065621724088.5
AUTHALIC_RADIUS_M = 6371007.1809

#: GeographicLib, header of PolygonArea: of 1e7 random polygons with perimeters below 10 km the
#: largest error of the area was 0.0013 m² in double precision, whatever their size.
GEODESIC_NOISE_M2 = 0.002

#: N, E in feet; J. Mahun, Open Access Surveying Library, Traverse computations, chapter G, solution
#: (1), jerrymahun.com/index.php/home/open-access/132-travcomps-area-1-sol; the printed sums of
#: cross products are 16 833 994 and 16 756 061, the printed answer 38 970 ± 5 ft².
TRAVERSE_FT = (
    (1541.207, 2215.890),
    (1373.915, 2336.574),
    (1299.818, 2350.205),
    (1343.189, 2523.212),
    (1569.360, 2359.080),
)
TRAVERSE_SUMS_FT2 = (16_833_994, 16_756_061)
TRAVERSE_AREA_FT2 = 38965.8156


def nevada_counties() -> tuple[np.ndarray, np.ndarray]:
    """Polygons (17,) in lon/lat and their officially recorded areas in m², land and water.

    U.S. Census Bureau, Cartographic Boundary Files, 2016, counties at 1:500 000, with the areas of
    the full boundaries from its MAF/TIGER database (fields ALAND and AWATER). Taken unaltered from
    the file in the PyPI package plotly-geo 1.0.0: the 17 counties of one state, which has no coast.
    A work of the U.S. Government, in the public domain (17 U.S.C. 105). NAD 83.
    """
    text = (FOLDER / "nevada_counties_2016.geojson").read_text(encoding="utf-8")
    features = json.loads(text)["features"]
    shapes = np.empty(len(features), dtype=object)
    shapes[:] = [shapely.geometry.shape(feature["geometry"]) for feature in features]
    fields = [feature["properties"] for feature in features]
    return shapes, np.array([float(f["ALAND"] + f["AWATER"]) for f in fields])
