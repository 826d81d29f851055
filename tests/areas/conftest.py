"""Shapes and independent references that the tests of areas share."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise

import mpmath
import numpy as np
import pytest
import shapely
from mpmath.calculus.quadrature import GaussLegendre

#: Radius in m of the 72-gon and its planar area in m²: (72/2) r² sin(5°).
GON_RADIUS_M = 12.6156626101008
GON_AREA_M2 = 499.3656219769


def column(*geometries: object) -> np.ndarray:
    made = np.empty(len(geometries), dtype=object)
    made[:] = geometries
    return made


@pytest.fixture(name="column")
def column_fixture() -> Callable[..., np.ndarray]:
    return column


@pytest.fixture
def gon() -> Callable[..., np.ndarray]:
    """A regular 72-gon about lon, lat, set out with the geodesic direct problem."""
    from pyproj import Geod

    def make(lon: float, lat: float, corners: int = 72) -> np.ndarray:
        azimuth = np.arange(corners) * 360.0 / corners
        geod = Geod(ellps="WGS84")
        size = np.full(corners, GON_RADIUS_M)
        x, y, _ = geod.fwd(np.full(corners, lon), np.full(corners, lat), azimuth, size)
        return column(shapely.Polygon(np.column_stack([x, y])))

    return make


@pytest.fixture
def exact_area_m2() -> Callable[[object], float]:
    """The area of a polygon with edges straight in lon/lat, by quadrature with 40 digits."""

    with mpmath.workdps(40):
        # 12 nodes on an edge of 20 degrees leave out less than 1e-25 of it
        nodes = GaussLegendre(mpmath.mp).calc_nodes(3, mpmath.mp.prec)

    def ring_area(ring: shapely.LinearRing) -> mpmath.mpf:
        axis, f = mpmath.mpf(6378137), 1 / mpmath.mpf("298.257223563")
        e2 = f * (2 - f)

        def strip(latitude: mpmath.mpf) -> mpmath.mpf:
            """Area per radian of longitude from the equator, by integrating M · N cos."""

            def element(u: mpmath.mpf) -> mpmath.mpf:
                return axis**2 * (1 - e2) * mpmath.cos(u) / (1 - e2 * mpmath.sin(u) ** 2) ** 2

            return mpmath.quad(element, [0, latitude])

        def below(latitude: mpmath.mpf) -> mpmath.mpf:
            s, e = mpmath.sin(latitude), mpmath.sqrt(e2)
            q = s / (1 - e2 * s * s) + mpmath.atanh(e * s) / e
            return axis**2 * (1 - e2) / 2 * q

        points = [(mpmath.mpf(x), mpmath.mpf(y)) for x, y in ring.coords]
        degree = mpmath.pi / 180
        assert (
            abs(strip(degree * points[0][1]) - below(degree * points[0][1])) < mpmath.mpf(10) ** -15
        )
        total = mpmath.mpf(0)
        for (x1, y1), (x2, y2) in pairwise(points):
            if x1 == x2:
                continue

            middle, half = (y1 + y2) / 2, (y2 - y1) / 2
            mean = sum(w * below(degree * (middle + t * half)) for t, w in nodes) / 2
            total += degree * (x2 - x1) * mean
        return abs(total)

    def area(geometry: object) -> float:
        with mpmath.workdps(40):
            parts = shapely.get_parts(geometry)
            shells = sum(ring_area(part.exterior) for part in parts)
            holes = sum(ring_area(ring) for part in parts for ring in part.interiors)
            return float(shells - holes)

    return area
