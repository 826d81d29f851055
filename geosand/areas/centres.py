"""Lambert azimuthal equal-area on the ellipsoid, about one centre or many: the formulas.

Written here although pyproj has it: importing pyproj and making a transformer costs more start-up
than the whole balance of a site. Tests hold it against pyproj, the published example and 40 digits.
Formulas: IOGP Publication 373-7-2 (EPSG Guidance Note 7-2), Lambert Azimuthal Equal Area, method
9820 (the same as Snyder 1987, eq. 24-17 ff.); the geodetic latitude by Newton's method instead of
the note's series, which is good to a millimetre only.
"""

from __future__ import annotations

import numpy as np
import shapely

from geosand.areas.ellipsoid import AXIS_M, FLATTENING, authalic_q
from geosand.columns import Floats, Geometries, Ints
from geosand.tuples import NamedTuple

_HIGHEST_DEG = 89.9  #: latitude of a centre
_HALF_IN_RADIANS = np.pi / 360
_ROUND_E2 = 1e-30  #: where e² is 0, what is divided by e would be lost
_NEWTON_STEPS = 4  # authalic and geodetic latitude start 0.0022 rad apart; 3 reach 1e-15


class Centres(NamedTuple):
    """What the formulas need of a centre: numbers of one, or columns with one row a point."""

    longitude_deg: Floats | float
    latitude_deg: Floats | float
    sine_of_latitude: Floats | float
    cosine_of_latitude: Floats | float
    sine: Floats | float  #: of the authalic latitude
    cosine: Floats | float
    scale: Floats | float  #: D of the note
    radius_m: float  #: of the authalic sphere
    pole: float  #: q at the pole
    e2: float  #: eccentricity squared

    @classmethod
    def at(
        cls,
        longitude_deg: Floats | float,
        latitude_deg: Floats | float,
        axis_m: float = AXIS_M,
        flattening: float = FLATTENING,
    ) -> Centres:
        """The centres at these places; ValueError where one lies beyond 89.9 degrees."""
        longitude, latitude = np.asarray(longitude_deg), np.asarray(latitude_deg)
        wrong = ~((np.abs(longitude) <= 360) & (np.abs(latitude) <= _HIGHEST_DEG))
        if wrong.any():
            raise ValueError(
                f"centre lon {longitude[wrong][0]}, lat {latitude[wrong][0]}: allowed are "
                f"longitudes within ±360 and latitudes within ±{_HIGHEST_DEG} degrees"
            )
        e2 = flattening * (2 - flattening)
        pole = float(authalic_q(np.array(1.0), e2))
        sine_of, cosine_of = np.sin(np.radians(latitude)), np.cos(np.radians(latitude))
        sine = authalic_q(sine_of, e2) / pole
        cosine = np.sqrt(1 - sine * sine)
        radius = float(axis_m * np.sqrt(pole / 2))
        parallel = axis_m * cosine_of / np.sqrt(1 - e2 * (sine_of * sine_of))
        return cls(
            longitude_deg=longitude_deg,
            latitude_deg=latitude_deg,
            sine_of_latitude=sine_of,
            cosine_of_latitude=cosine_of,
            sine=sine,
            cosine=cosine,
            scale=parallel / radius / cosine,
            radius_m=radius,
            pole=pole,
            e2=e2,
        )

    def rows(self, of: Ints, count: Ints | None = None) -> Centres:
        """The centre of each point, from columns of all centres; or of ``count`` points each."""
        columns = np.array(np.broadcast_arrays(*self[:7])).take(of, axis=1)
        if count is not None:
            columns = np.repeat(columns, count, axis=1)
        return Centres._make([*columns, *self[7:]])

    def forward(self, longitude_deg: Floats, latitude_deg: Floats) -> tuple[Floats, Floats]:
        """x, y in m of points in degrees, any shape."""
        shape = np.broadcast_shapes(*map(np.shape, (longitude_deg, latitude_deg, self.sine)))
        x, y = np.empty((1, *shape)), np.empty((1, *shape))  # a number by itself is a column too
        np.subtract(longitude_deg, self.longitude_deg, out=x[0, ...])
        np.subtract(latitude_deg, self.latitude_deg, out=y[0, ...])
        self.move(x, y, np.empty((5, *x.shape)))
        return x[0], y[0]

    def move(self, x: Floats, y: Floats, room: Floats) -> None:
        """To x, y in m, in place of degrees east and north of the centre.

        ``room`` (5, …) is to work in: fresh memory takes longer than the formulas. The small
        differences from the centre are worked out as such, as no digits are lost then: with s the
        sine of the latitude and S that of the authalic one, p = e²·s₀·s and z = e·(s − s₀)/(1 − p)
        (q − q₀)·e/(1 − e²) = z·(1 + p)/((1 − p)·(1 − z²)) + atanh z, from the addition theorem of
        atanh; C² = C₀² − (S − S₀)·(S + S₀), and
        sin(β − β₀) = (S − S₀)·(C₀ + S₀·(S + S₀)/(C + C₀)).
        """
        sine, cosine, step, along, other = room
        e = np.sqrt(max(self.e2, _ROUND_E2))
        _sine_and_rest(y, step)
        step *= self.cosine_of_latitude
        y *= self.sine_of_latitude
        step -= y
        np.add(step, self.sine_of_latitude, out=along)
        along *= self.sine_of_latitude
        along *= self.e2
        np.subtract(1, along, out=other)
        along += 1
        step /= other
        step *= e
        np.multiply(step, step, out=y)
        np.subtract(1, y, out=y)
        y *= other
        along *= step
        along /= y
        np.arctanh(step, out=step)
        step += along
        step *= (1 - self.e2) / (e * self.pole)
        np.add(step, self.sine, out=sine)
        np.add(sine, self.sine, out=y)
        np.multiply(self.cosine, self.cosine, out=cosine)
        cosine -= np.multiply(y, step, out=along)
        np.maximum(cosine, 0.0, out=cosine)
        np.sqrt(cosine, out=cosine)
        y /= np.add(cosine, self.cosine, out=along)
        y *= self.sine
        y += self.cosine
        y *= step
        _sine_and_rest(x, step)
        np.subtract(1, x, out=along)
        along *= cosine
        along *= self.cosine
        sine *= self.sine
        along += sine
        along += 1
        np.divide(2, along, out=along)
        np.sqrt(along, out=along)
        along *= self.radius_m
        x *= cosine
        x *= self.sine
        y += x
        y *= along
        y /= self.scale
        np.multiply(along, self.scale, out=x)
        x *= cosine
        x *= step

    def inverse(self, x_m: Floats, y_m: Floats) -> tuple[Floats, Floats]:
        """Longitude and latitude in degrees of points in m, any shape."""
        x, y = x_m / self.scale, y_m * self.scale
        distance = np.hypot(x, y)
        half = np.arcsin(np.minimum(distance / (2 * self.radius_m), 1.0))
        far = distance > 0
        # sin(C)/distance, which is 1/R at the centre itself
        ratio = np.where(far, np.sin(2 * half), 1.0) / np.where(far, distance, self.radius_m)
        cosine_c = np.cos(2 * half)
        sine = cosine_c * self.sine + y * ratio * self.cosine
        turn = np.arctan2(x * ratio, self.cosine * cosine_c - y * self.sine * ratio)
        latitude = _geodetic_latitude(np.clip(sine, -1.0, 1.0), self.pole, self.e2)
        return self.longitude_deg + np.degrees(turn), np.degrees(latitude)

    def to_plane(self, geometries: Geometries) -> Geometries:
        """Geometries in metres; columns of this are of each of their coordinates."""

        def move(points: Floats) -> Floats:
            return np.column_stack(self.forward(points[:, 0], points[:, 1]))

        return shapely.transform(geometries, move)

    def to_lonlat(self, geometries: Geometries) -> Geometries:
        """Geometries in degrees; columns of this are of each of their coordinates."""

        def move(points: Floats) -> Floats:
            return np.column_stack(self.inverse(points[:, 0], points[:, 1]))

        return shapely.transform(geometries, move)


def _sine_and_rest(angle_deg: Floats, sine: Floats) -> None:
    """Sines into ``sine``, and 1 less the cosines in place of the angles.

    By the tangent of half the angle: that takes a fifth of the time of sine and cosine, and gives
    the second without losing digits.
    """
    angle_deg *= _HALF_IN_RADIANS
    np.tan(angle_deg, out=angle_deg)
    np.multiply(angle_deg, angle_deg, out=sine)
    sine += 1
    np.divide(2, sine, out=sine)
    sine *= angle_deg
    angle_deg *= sine


def _geodetic_latitude(sine: Floats, pole: float, e2: float) -> Floats:
    """Latitude in rad whose authalic latitude has this sine: q(latitude) = sine · q(90°)."""
    latitude = np.arcsin(sine)
    for _ in range(_NEWTON_STEPS):
        s = np.sin(latitude)
        slope = 2 * (1 - e2) * np.cos(latitude) / (1 - e2 * s * s) ** 2
        step = (sine * pole - authalic_q(s, e2)) / np.maximum(slope, 1e-12)
        latitude = np.clip(latitude + step, -np.pi / 2, np.pi / 2)
    return latitude
