"""A local frame in metres: Lambert azimuthal equal-area on the ellipsoid, centred on a site.

Written here although pyproj has it: importing pyproj and making a transformer costs more start-up
than the whole balance of a site. Tests hold it against pyproj and against the published example.
Formulas: IOGP Publication 373-7-2 (EPSG Guidance Note 7-2), Lambert Azimuthal Equal Area, method
9820 (the same as Snyder 1987, eq. 24-17 ff.); the geodetic latitude by Newton's method instead of
the note's series, which is good to a millimetre only.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from geosand.areas.ellipsoid import AXIS_M, FLATTENING, authalic_q
from geosand.columns import Floats, Geometries

_NEWTON_STEPS = 4  # authalic and geodetic latitude start 0.0022 rad apart; 3 reach 1e-15


@dataclass(frozen=True, slots=True, kw_only=True)
class Plane:
    """Metres east (x) and north (y) of a point; areas are true, near the point lengths too.

    Lengths err by less than (d/R)²/8, 8e-8 at 5 km from the centre. The centre may lie anywhere
    up to 89.9 degrees north or south; ValueError otherwise.
    """

    longitude_deg: float
    latitude_deg: float
    axis_m: float = AXIS_M
    flattening: float = FLATTENING

    def __post_init__(self) -> None:
        if not (abs(self.longitude_deg) <= 360 and abs(self.latitude_deg) <= 89.9):
            raise ValueError(
                f"centre lon {self.longitude_deg}, lat {self.latitude_deg}: allowed are "
                "longitudes within ±360 and latitudes within ±89.9 degrees"
            )

    @classmethod
    def around(cls, geometries: Geometries) -> Plane:
        """The plane centred on the middle of the bounds of all ``geometries`` in lon/lat degrees.

        Raises ValueError where there is nothing to centre on.
        """
        west, south, east, north = shapely.total_bounds(geometries)
        if not np.isfinite(west + south + east + north):
            raise ValueError("no geometry to centre on: all of them are empty or missing")
        return cls(longitude_deg=float(west + east) / 2, latitude_deg=float(south + north) / 2)

    def forward(self, longitude_deg: Floats, latitude_deg: Floats) -> tuple[Floats, Floats]:
        """x, y in m of points in degrees, any shape."""
        e2, pole, radius, sine0, cosine0, scale = self._constants()
        sine = authalic_q(np.sin(np.radians(latitude_deg)), e2) / pole
        cosine = np.sqrt(1 - np.minimum(sine * sine, 1.0))
        turn = np.radians(longitude_deg - self.longitude_deg)
        along = cosine * np.cos(turn)
        b = radius * np.sqrt(2 / (1 + sine0 * sine + cosine0 * along))
        return b * scale * cosine * np.sin(turn), b / scale * (cosine0 * sine - sine0 * along)

    def inverse(self, x_m: Floats, y_m: Floats) -> tuple[Floats, Floats]:
        """Longitude and latitude in degrees of points in m, any shape."""
        e2, pole, radius, sine0, cosine0, scale = self._constants()
        x, y = x_m / scale, y_m * scale
        distance = np.hypot(x, y)
        half = np.arcsin(np.minimum(distance / (2 * radius), 1.0))
        far = distance > 0
        # sin(C)/distance, which is 1/R at the centre itself
        ratio = np.where(far, np.sin(2 * half), 1.0) / np.where(far, distance, radius)
        cosine_c = np.cos(2 * half)
        sine = cosine_c * sine0 + y * ratio * cosine0
        turn = np.arctan2(x * ratio, cosine0 * cosine_c - y * sine0 * ratio)
        latitude = _geodetic_latitude(np.clip(sine, -1.0, 1.0), pole, e2)
        return self.longitude_deg + np.degrees(turn), np.degrees(latitude)

    def to_plane(self, geometries: Geometries) -> Geometries:
        """The same geometries (S,) in metres of this plane; None stays None."""

        def move(points: Floats) -> Floats:
            return np.column_stack(self.forward(points[:, 0], points[:, 1]))

        moved: Geometries = shapely.transform(geometries, move)
        return moved

    def to_lonlat(self, geometries: Geometries) -> Geometries:
        """Geometries (S,) in metres of this plane, in lon/lat degrees; None stays None."""

        def move(points: Floats) -> Floats:
            return np.column_stack(self.inverse(points[:, 0], points[:, 1]))

        moved: Geometries = shapely.transform(geometries, move)
        return moved

    def _constants(self) -> tuple[float, float, float, float, float, float]:
        """e², q at the pole, authalic radius, sine and cosine of authalic latitude 0, and D."""
        e2 = self.flattening * (2 - self.flattening)
        pole = float(authalic_q(np.array(1.0), e2))
        latitude = np.radians(self.latitude_deg)
        sine0 = float(authalic_q(np.sin(latitude), e2)) / pole
        cosine0 = np.sqrt(1 - sine0 * sine0)
        radius = self.axis_m * np.sqrt(pole / 2)
        parallel = self.axis_m * np.cos(latitude) / np.sqrt(1 - e2 * np.sin(latitude) ** 2)
        return e2, pole, float(radius), sine0, float(cosine0), float(parallel / radius / cosine0)


def _geodetic_latitude(sine: Floats, pole: float, e2: float) -> Floats:
    """Latitude in rad whose authalic latitude has this sine: q(latitude) = sine · q(90°)."""
    latitude = np.arcsin(sine)
    for _ in range(_NEWTON_STEPS):
        s = np.sin(latitude)
        slope = 2 * (1 - e2) * np.cos(latitude) / (1 - e2 * s * s) ** 2
        step = (sine * pole - authalic_q(s, e2)) / np.maximum(slope, 1e-12)
        latitude = np.clip(latitude + step, -np.pi / 2, np.pi / 2)
    return latitude
