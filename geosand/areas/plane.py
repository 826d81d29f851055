"""A local frame in metres: Lambert azimuthal equal-area on the ellipsoid, centred on a site."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import field, replace

import numpy as np
import shapely

from geosand.areas.centres import Centres
from geosand.areas.ellipsoid import AXIS_M, FLATTENING
from geosand.areas.rings import Rings
from geosand.columns import Floats, Geometries, Ints, freeze, frozen

_NO_CENTRE = "no geometry to centre on: all of them are empty or missing"


class Plane(Centres):
    """Metres east (x) and north (y) of a point; areas are true, near the point lengths too.

    Lengths err by less than (d/R)²/8, 8e-8 at 5 km from the centre. The centre may lie anywhere
    up to 89.9 degrees north or south; ValueError otherwise.
    """

    __slots__ = ()

    def __new__(
        cls,
        *,
        longitude_deg: float,
        latitude_deg: float,
        axis_m: float = AXIS_M,
        flattening: float = FLATTENING,
    ) -> Plane:
        """The plane centred on a place in degrees."""
        return cls._make(Centres.at(longitude_deg, latitude_deg, axis_m, flattening))

    def __reduce__(self) -> tuple[Callable[..., Plane], tuple[tuple[object, ...]]]:
        """Copied and pickled by all that it holds, not by the place."""
        return self._make, (tuple(self),)

    @classmethod
    def around(cls, geometries: Geometries) -> Plane:
        """The plane centred on the middle of the bounds of all ``geometries`` in lon/lat degrees.

        Raises ValueError where there is nothing to centre on.
        """
        west, south, east, north = shapely.total_bounds(geometries)
        if not np.isfinite(west + south + east + north):
            raise ValueError(_NO_CENTRE)
        return cls(longitude_deg=float(west + east) / 2, latitude_deg=float(south + north) / 2)


@frozen
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
        for rows, block, room in rings.blocks_with_room(7):
            start = rings.first[rows.start]
            here = centres
            if len(self) > 1:
                here = centres.rows(of[block.surface], block.last - block.first + 1)
            x, y = room[:2]
            np.subtract(block.position[:, 0], here.longitude_deg, out=x)
            np.subtract(block.position[:, 1], here.latitude_deg, out=y)
            here.move(x, y, room[2:])
            moved = position[start : start + len(x)]
            moved[:, 0], moved[:, 1] = x, y
        return replace(rings, position=position)

    def to_lonlat(self, geometries: Geometries, of: Ints) -> Geometries:
        """Geometries (S,) in metres of the plane ``of`` (S,) in degrees; None stays None."""
        return self._each(geometries, of).to_lonlat(geometries)

    def _each(self, geometries: Geometries, of: Ints) -> Centres:
        """The centre of each coordinate."""
        return self._centres.rows(np.repeat(of, shapely.get_num_coordinates(geometries)))
