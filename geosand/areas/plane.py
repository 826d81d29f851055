"""A local frame in metres: Lambert azimuthal equal-area on the ellipsoid, centred on a site.

Written here although pyproj has it: importing pyproj and making a transformer costs more start-up
than the whole balance of a site. Tests hold it against pyproj and against the published example.
Formulas: IOGP Publication 373-7-2 (EPSG Guidance Note 7-2), Lambert Azimuthal Equal Area, method
9820 (the same as Snyder 1987, eq. 24-17 ff.); the geodetic latitude by Newton's method instead of
the note's series, which is good to a millimetre only.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import NamedTuple

import numpy as np
import shapely

from geosand.areas.ellipsoid import AXIS_M, FLATTENING, authalic_q
from geosand.areas.rings import Rings
from geosand.columns import Floats, Geometries, Ints, freeze

_NO_CENTRE = "no geometry to centre on: all of them are empty or missing"
_HIGHEST_DEG = 89.9  #: latitude of a centre
_RADIANS = np.pi / 180  # a product takes a sixth of the time of np.radians
_NEWTON_STEPS = 4  # authalic and geodetic latitude start 0.0022 rad apart; 3 reach 1e-15


class Centres(NamedTuple):
    """What the formulas need of a centre: numbers of one, or columns with one row a point."""

    longitude_deg: Floats | float
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
        sine_of = np.sin(np.radians(latitude))
        sine = authalic_q(sine_of, e2) / pole
        cosine = np.sqrt(1 - sine * sine)
        radius = float(axis_m * np.sqrt(pole / 2))
        parallel = axis_m * np.cos(np.radians(latitude)) / np.sqrt(1 - e2 * (sine_of * sine_of))
        scale = parallel / radius / cosine
        return cls(longitude_deg, sine, cosine, scale, radius, pole, e2)

    def rows(self, of: Ints, room: Floats | None = None) -> Centres:
        """The centre of each point, from columns of all centres; ``room`` (4, n) takes them."""
        room = np.empty((4, *of.shape)) if room is None else room
        for column, place in zip(self[:4], room, strict=True):
            np.asarray(column).take(of, out=place, mode="clip")  # "raise" would copy ``place``
        return Centres(room[0], room[1], room[2], room[3], *self[4:])

    def forward(self, longitude_deg: Floats, latitude_deg: Floats) -> tuple[Floats, Floats]:
        """x, y in m of points in degrees, any shape."""
        shape = np.broadcast_shapes(*map(np.shape, (longitude_deg, latitude_deg, self.sine)))
        x, y = np.empty((1, *shape)), np.empty((1, *shape))  # a number by itself is a column too
        np.subtract(longitude_deg, self.longitude_deg, out=x[0, ...])
        y[0, ...] = latitude_deg
        self.move(x, y, np.empty((4, *x.shape)))
        return x[0], y[0]

    def move(self, x: Floats, y: Floats, room: Floats) -> None:
        """To x, y in m, in place of degrees east of the centre and of latitude.

        ``room`` (4, …) is to work in: fresh memory takes longer than the formulas.
        """
        sine, cosine, b, other = room
        y *= _RADIANS
        np.sin(y, out=y)
        authalic_q(y, self.e2, (sine, other))
        sine /= self.pole
        np.multiply(sine, sine, out=cosine)
        np.minimum(cosine, 1.0, out=cosine)
        np.subtract(1, cosine, out=cosine)
        np.sqrt(cosine, out=cosine)
        x *= _RADIANS
        along = np.cos(x, out=y)
        along *= cosine
        np.sin(x, out=x)
        np.multiply(self.sine, sine, out=b)
        b += 1
        b += np.multiply(self.cosine, along, out=other)
        np.divide(2, b, out=b)
        np.sqrt(b, out=b)
        b *= self.radius_m
        np.multiply(self.sine, along, out=other)
        np.multiply(self.cosine, sine, out=y)
        y -= other
        y *= np.divide(b, self.scale, out=other)
        b *= self.scale
        b *= cosine
        x *= b

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

        moved: Geometries = shapely.transform(geometries, move)
        return moved

    def to_lonlat(self, geometries: Geometries) -> Geometries:
        """Geometries in degrees; columns of this are of each of their coordinates."""

        def move(points: Floats) -> Floats:
            return np.column_stack(self.inverse(points[:, 0], points[:, 1]))

        moved: Geometries = shapely.transform(geometries, move)
        return moved


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
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
        self._centre()

    @classmethod
    def around(cls, geometries: Geometries) -> Plane:
        """The plane centred on the middle of the bounds of all ``geometries`` in lon/lat degrees.

        Raises ValueError where there is nothing to centre on.
        """
        west, south, east, north = shapely.total_bounds(geometries)
        if not np.isfinite(west + south + east + north):
            raise ValueError(_NO_CENTRE)
        return cls(longitude_deg=float(west + east) / 2, latitude_deg=float(south + north) / 2)

    def forward(self, longitude_deg: Floats, latitude_deg: Floats) -> tuple[Floats, Floats]:
        """x, y in m of points in degrees, any shape."""
        return self._centre().forward(longitude_deg, latitude_deg)

    def inverse(self, x_m: Floats, y_m: Floats) -> tuple[Floats, Floats]:
        """Longitude and latitude in degrees of points in m, any shape."""
        return self._centre().inverse(x_m, y_m)

    def to_plane(self, geometries: Geometries) -> Geometries:
        """The same geometries (S,) in metres of this plane; None stays None."""
        return self._centre().to_plane(geometries)

    def to_lonlat(self, geometries: Geometries) -> Geometries:
        """Geometries (S,) in metres of this plane, in lon/lat degrees; None stays None."""
        return self._centre().to_lonlat(geometries)

    def _centre(self) -> Centres:
        return Centres.at(self.longitude_deg, self.latitude_deg, self.axis_m, self.flattening)


def _geodetic_latitude(sine: Floats, pole: float, e2: float) -> Floats:
    """Latitude in rad whose authalic latitude has this sine: q(latitude) = sine · q(90°)."""
    latitude = np.arcsin(sine)
    for _ in range(_NEWTON_STEPS):
        s = np.sin(latitude)
        slope = 2 * (1 - e2) * np.cos(latitude) / (1 - e2 * s * s) ** 2
        step = (sine * pole - authalic_q(s, e2)) / np.maximum(slope, 1e-12)
        latitude = np.clip(latitude + step, -np.pi / 2, np.pi / 2)
    return latitude


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Planes:
    """Planes of many sites, one row a site; ``of`` says in which plane a row is."""

    longitude_deg: Floats
    latitude_deg: Floats
    _centres: Centres = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "_centres", Centres.at(self.longitude_deg, self.latitude_deg))
        freeze(self)

    def __len__(self) -> int:
        return len(self.longitude_deg)

    @classmethod
    def around(cls, geometries: Geometries, of: Ints) -> Planes:
        """The planes centred on the bounds of each site's geometries (S,), ``of`` (S,) which.

        Raises ValueError where a site has no ground to centre on.
        """
        bounds = shapely.bounds(geometries)
        order = np.argsort(of, kind="stable")
        sites = int(of.max(initial=-1)) + 1
        count = np.bincount(of, minlength=sites)
        if not sites or not count.all():
            raise ValueError(_NO_CENTRE)
        first = np.cumsum(count) - count
        low = np.fmin.reduceat(bounds[order, :2], first, axis=0)
        high = np.fmax.reduceat(bounds[order, 2:], first, axis=0)
        if not np.isfinite(low + high).all():
            raise ValueError(_NO_CENTRE)
        longitude, latitude = (low + high).T / 2
        return cls(longitude_deg=longitude, latitude_deg=latitude)

    def only(self) -> Plane:
        """The plane of the only site; ValueError where there are more."""
        if len(self) != 1:
            raise ValueError(f"{len(self)} sites have no plane in common: say which of them")
        return Plane(
            longitude_deg=float(self.longitude_deg[0]), latitude_deg=float(self.latitude_deg[0])
        )

    def forward(
        self, longitude_deg: Floats, latitude_deg: Floats, of: Ints
    ) -> tuple[Floats, Floats]:
        """x, y in m (n,) of points in degrees, each in the plane ``of`` (n,)."""
        return self._centres.rows(of).forward(longitude_deg, latitude_deg)

    def inverse(self, x_m: Floats, y_m: Floats, of: Ints) -> tuple[Floats, Floats]:
        """Longitude and latitude in degrees (n,) of points in m of the plane ``of`` (n,)."""
        return self._centres.rows(of).inverse(x_m, y_m)

    def to_plane(self, geometries: Geometries, of: Ints) -> Geometries:
        """The same geometries (S,) in metres of the plane ``of`` (S,); None stays None."""
        return self._each(geometries, of).to_plane(geometries)

    def rings_to_plane(self, rings: Rings, of: Ints, *, in_place: bool = False) -> Rings:
        """Rings of geometries (S,) in metres of the plane ``of`` (S,).

        ``in_place`` of their degrees, which are lost: large columns of fresh memory are slow.
        """
        centres = self._centres
        position = rings.position if in_place else np.empty_like(rings.position)
        for rows, block, room in rings.blocks_with_room(10):
            start = rings.first[rows.start]
            here = centres
            if len(self) > 1:
                here = centres.rows(block.per_vertex(of[block.surface]), room[6:])
            x, y = room[:2]
            np.subtract(block.position[:, 0], here.longitude_deg, out=x)
            y[:] = block.position[:, 1]
            here.move(x, y, room[2:6])
            position[start : start + len(x)].T[:] = x, y
        return replace(rings, position=position)

    def to_lonlat(self, geometries: Geometries, of: Ints) -> Geometries:
        """Geometries (S,) in metres of the plane ``of`` (S,) in degrees; None stays None."""
        return self._each(geometries, of).to_lonlat(geometries)

    def _each(self, geometries: Geometries, of: Ints) -> Centres:
        """The centre of each coordinate."""
        return self._centres.rows(np.repeat(of, shapely.get_num_coordinates(geometries)))
