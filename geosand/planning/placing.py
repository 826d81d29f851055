"""Where to lay the trays: spatially balanced random points inside surfaces and outside edges."""

from __future__ import annotations

from collections.abc import Collection

import numpy as np
import shapely

from geosand.areas.register import AreaRegister
from geosand.columns import Floats, Geometries, Ints, Sized, Strings, columns, distinct
from geosand.errors import Finding
from geosand.planning.drawn_points import OUTSIDE, points_inside, points_outside
from geosand.planning.route import group_by_group, middles
from geosand.site.tables import Site


@columns
class Places(Sized):
    """Points to lay trays on, one row a tray, surface by surface, in the order of walking."""

    row: Ints  #: row of Surfaces
    catch: Strings  #: id of the catch: surface, seed and what it is on its surface
    label: Strings  #: on its surface: 1, 2, … inside; a, b, … outside, the nearest first
    lon_degree: Floats
    lat_degree: Floats
    x_m: Floats  #: in the plane of the register
    y_m: Floats
    edge_distance_m: Floats  #: nan inside; positive outside, as catches have it
    inside_m: Floats  #: distance to the edge; nan outside
    zone: Strings
    findings: tuple[Finding, ...] = ()


def place_catches(
    site: Site,
    register: AreaRegister,
    *,
    row: Ints,
    catches: int,
    half_diagonal_m: float,
    swath_m: float,
    ring_m: Floats,
    seed: int,
    taken: Collection[str] = (),
) -> Places:
    """``catches`` points in each surface ``row`` (n,), and one at each ``ring_m`` outside its edge.

    Inside: the Halton frame of balanced acceptance sampling (Robertson, Brown, McDonald & Jaksons,
    Biometrics 69:776-784, 2013): points of the Halton sequence in bases 2 and 3 from a random start
    over the surface's bounds, those that lie at least ``half_diagonal_m`` plus the boundary's
    accuracy from the edge, in their order: every part of the surface is as likely as another, and
    points keep apart. Of the first two one lies within half a swath of the edge (``swath_m``, nan:
    1 m) and one does not, since rates fall there. Outside: at random along the line at that
    distance, a tray's half diagonal away from other surfaces that are being dressed and from
    bunkers, water and paths.

    The same seed, tray and swath give a surface the same points under the same ids, whichever
    others are chosen and however many: the first three of four are the three. Ids in ``taken`` are
    passed over, further points of the sequence come in their place. Raises ValueError for no
    catches, distances that are not above 0 or a negative seed.
    """
    if catches < 1 or seed < 0 or not (ring_m > 0).all():
        raise ValueError("catches must be 1 or more, ring distances above 0, the seed 0 or more")
    inside = points_inside(site, register, row, catches, half_diagonal_m, swath_m, seed, set(taken))
    outside = points_outside(
        site, register, row, np.unique(ring_m), half_diagonal_m, seed, set(taken)
    )
    found = [*inside, *outside]
    owner = np.array([p.owner for p in found], dtype=np.int64)
    points = np.array([p.at for p in found], dtype=np.float64).reshape(-1, 2)
    zone = np.array([p.zone for p in found], dtype=np.str_)
    order = _walk(register.owned_plane[row], owner, points)
    found, owner, points, zone = [found[k] for k in order], owner[order], points[order], zone[order]
    lon, lat = register.plane.inverse(points[:, 0], points[:, 1])
    outlines = shapely.boundary(register.owned_plane[row])
    to_edge = shapely.distance(outlines[owner], shapely.points(points))
    return Places(
        row=row[owner],
        catch=np.array([p.catch for p in found], dtype=np.str_),
        label=np.array([p.label for p in found], dtype=np.str_),
        lon_degree=lon,
        lat_degree=lat,
        x_m=points[:, 0],
        y_m=points[:, 1],
        edge_distance_m=np.array([p.outside_m for p in found], dtype=np.float64),
        inside_m=np.where(zone == OUTSIDE, np.nan, to_edge),
        zone=zone,
        findings=tuple(_findings(site, row, owner, zone, catches, len(set(ring_m.tolist())))),
    )


def _walk(shapes: Geometries, owner: Ints, points: Floats) -> Ints:
    """Order of the points: surface by surface as given, on each a short way over its points.

    It begins at the point next to where the surface before was left.
    """
    if not len(owner):
        return owner
    (x, y), groups = middles(shapes), [np.flatnonzero(owner == k) for k in distinct(owner)]
    first = owner.min()
    start = float(x[first]) - 1e3, float(y[first])  # from the west, for want of anything better
    return group_by_group(points[:, 0], points[:, 1], groups, start)


def _findings(
    site: Site, row: Ints, owner: Ints, zone: Strings, catches: int, rings: int
) -> list[Finding]:
    """Surfaces that are too small or too hemmed in for the points asked for."""
    inside = np.bincount(owner[zone != OUTSIDE], minlength=len(row))
    outside = np.bincount(owner[zone == OUTSIDE], minlength=len(row))
    found = []
    for k, name in enumerate(site.surfaces.id[row].tolist()):
        if inside[k] < catches:
            text = (
                f"{inside[k]} of {catches} points: too small or too narrow for this tray at its"
                " distance from the edge"
            )
            found.append(Finding(about=name, text=text, topic="place"))
        if outside[k] < rings:
            text = f"{outside[k]} of {rings} points outside: other ground lies there"
            found.append(Finding(about=name, text=text, topic="place"))
    return found
