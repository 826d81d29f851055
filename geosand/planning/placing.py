"""Where to lay the trays: spatially balanced random points inside surfaces and outside edges."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from geosand.areas.register import AreaRegister
from geosand.columns import Floats, Geometries, Ints, Strings, freeze
from geosand.errors import Finding
from geosand.site.tables import HAZARDS, Site

INSIDE, EDGE, OUTSIDE = "inside", "near the edge", "outside"
EDGE_BAND_M = 1.0  #: half a swath where no swath is known
_TRIES, _MOST_TRIES = 64, 16384


@dataclass(frozen=True, slots=True, kw_only=True)
class Places:
    """Points to lay trays on, one row a tray, surface by surface."""

    row: Ints  #: row of Surfaces
    number: Ints  #: 1 … on its surface
    lon_degree: Floats
    lat_degree: Floats
    x_m: Floats  #: in the plane of the register
    y_m: Floats
    edge_distance_m: Floats  #: nan inside; positive outside, as catches have it
    inside_m: Floats  #: distance to the edge; nan outside
    zone: Strings
    findings: tuple[Finding, ...] = ()

    def __post_init__(self) -> None:
        freeze(self)

    def __len__(self) -> int:
        return len(self.row)


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
) -> Places:
    """``catches`` points in each surface ``row`` (n,), and one at each ``ring_m`` outside its edge.

    Inside: the Halton frame of balanced acceptance sampling (Robertson, Brown, McDonald & Jaksons,
    Biometrics 69:776-784, 2013): points of the Halton sequence in bases 2 and 3 from a random start
    over the surface's bounds, those that lie at least ``half_diagonal_m`` plus the boundary's
    accuracy from the edge, in their order: every part of the surface is as likely as another, and
    points keep apart. The last of them lies within half a swath of the edge (``swath_m``, nan:
    1 m), since rates fall there. Outside: at random along the line at that distance, not on other
    surfaces that are being dressed and not on bunkers, water or paths. The same seed gives the same
    points for a surface, whichever others are chosen. Raises ValueError for no catches, distances
    that are not above 0 or a negative seed.
    """
    if catches < 1 or seed < 0 or not (ring_m > 0).all():
        raise ValueError("catches must be 1 or more, ring distances above 0, the seed 0 or more")
    shapes = register.owned_plane[row]
    margin = half_diagonal_m + site.surfaces.boundary_accuracy_m[row]
    inner = _grown(shapes, -margin)
    band = swath_m / 2 if np.isfinite(swath_m) else EDGE_BAND_M
    # a tray as wide as half a swath still gets the ground next to its margin
    core = _grown(shapes, -np.maximum(band, margin + 0.25))
    rim: Geometries = np.asarray(shapely.difference(inner, core), dtype=object)
    rim = np.where(shapely.is_empty(rim), inner, rim)
    generators = [np.random.default_rng([seed, _key(str(i))]) for i in site.surfaces.id[row]]
    start = np.array([g.integers(0, 2**20, size=(2, 2)) for g in generators]).reshape(-1, 2, 2)
    middle, middle_of = _halton_inside(inner, start[:, 0], catches - 1)
    edge, edge_of = _halton_inside(rim, start[:, 1], 1)
    ring, ring_of, distance = _outside(site, register, row, ring_m, generators)
    points = np.concatenate([middle, edge, ring])
    owner = np.concatenate([middle_of, edge_of, ring_of])
    zone = np.repeat([INSIDE, EDGE, OUTSIDE], [len(middle), len(edge), len(ring)])
    far = np.concatenate([np.full(len(middle) + len(edge), np.nan), distance])
    order = np.argsort(owner, kind="stable")
    points, owner, zone, far = points[order], owner[order], zone[order], far[order]
    lon, lat = register.plane.inverse(points[:, 0], points[:, 1])
    to_edge = shapely.distance(shapely.boundary(shapes[owner]), shapely.points(points))
    begin = np.concatenate([[0], np.cumsum(np.bincount(owner, minlength=len(row)))[:-1]])
    return Places(
        row=row[owner],
        number=np.arange(len(owner)) - begin[owner] + 1,
        lon_degree=lon,
        lat_degree=lat,
        x_m=points[:, 0],
        y_m=points[:, 1],
        edge_distance_m=far,
        inside_m=np.where(zone == OUTSIDE, np.nan, to_edge),
        zone=zone.astype(np.str_),
        findings=tuple(_findings(site, row, owner, zone, catches, ring_m)),
    )


def halton(index: Ints, base: int) -> Floats:
    """Radical inverse of ``index`` (any shape): its digits in ``base`` mirrored at the point.

    Halton, Numerische Mathematik 2:84-90, 1960.

    >>> halton(np.array([1, 2, 3, 4]), 2).tolist()
    [0.5, 0.25, 0.75, 0.125]
    """
    out, left, scale = np.zeros(index.shape), index, 1.0
    while left.any():
        scale /= base
        out += scale * (left % base)
        left = left // base
    return out


def _key(text: str) -> int:
    """A number for an id, the same on every machine."""
    from zlib import crc32

    return crc32(text.encode())


def _grown(shapes: Geometries, distance_m: Floats) -> Geometries:
    return np.asarray(shapely.buffer(shapes, distance_m), dtype=object)


def _halton_inside(shapes: Geometries, start: Ints, wanted: int) -> tuple[Floats, Ints]:
    """The first ``wanted`` accepted points of each shape (P, 2), and whose they are, in order."""
    bounds = shapely.bounds(shapes)
    alive = np.isfinite(bounds[:, 0])
    tries = _TRIES
    found: list[Floats] = []
    owner: list[Ints] = []
    while wanted and alive.any() and tries <= _MOST_TRIES:
        mine = np.flatnonzero(alive)
        step = np.arange(tries)
        unit = np.stack(
            [halton(start[mine, None, k] + step, base) for k, base in enumerate((2, 3))], axis=2
        )
        low, high = bounds[mine, None, :2], bounds[mine, None, 2:]
        points = low + unit * (high - low)
        shapely.prepare(shapes)
        accepted = shapely.contains_xy(shapes[mine, None], points[..., 0], points[..., 1])
        rank = np.cumsum(accepted, axis=1)
        enough = rank[:, -1] >= wanted
        last = tries * 4 > _MOST_TRIES
        take = accepted & (rank <= wanted) & (enough | last)[:, None]
        found.append(points[take])
        owner.append(np.repeat(mine, take.sum(axis=1)))
        alive[mine[enough]] = False
        tries *= 4
    if not found:
        return np.zeros((0, 2)), np.zeros(0, dtype=np.int64)
    return np.concatenate(found), np.concatenate(owner)


def _outside(
    site: Site,
    register: AreaRegister,
    row: Ints,
    ring_m: Floats,
    generators: list[np.random.Generator],
) -> tuple[Floats, Ints, Floats]:
    """One point of each surface and distance on the line that far outside its edge."""
    none = np.zeros((0, 2)), np.zeros(0, dtype=np.int64), np.zeros(0)
    if not len(ring_m) or not len(row):
        return none
    owner = np.repeat(np.arange(len(row)), len(ring_m))
    distance = np.tile(ring_m, len(row))
    shapes = register.owned_plane[row]
    lines = shapely.boundary(shapely.buffer(shapes[owner], distance, quad_segs=16))
    share = np.array([g.random((len(ring_m), _TRIES)) for g in generators]).reshape(-1, _TRIES)
    points = shapely.line_interpolate_point(_longest(lines)[:, None], share, normalized=True)
    force = site.in_force()
    taken = np.isin(site.surfaces.kind[force], HAZARDS) | np.isin(force, row)
    others = register.owned_plane[force[taken]]
    tree = shapely.STRtree(others)
    hit = np.unique(tree.query(points.ravel(), predicate="within")[0])
    free = ~np.isin(np.arange(points.size), hit).reshape(len(points), _TRIES)
    first, able = free.argmax(axis=1), free.any(axis=1)
    chosen = points[np.arange(len(points)), first][able]
    return shapely.get_coordinates(chosen), owner[able], distance[able]


def _longest(lines: Geometries) -> Geometries:
    """The longest part of each line: the outer edge."""
    parts, of = shapely.get_parts(lines, return_index=True)
    order = np.lexsort((shapely.length(parts), of))
    last = np.flatnonzero(np.diff(of[order], append=-1) != 0)
    out = np.full(len(lines), shapely.LineString(), dtype=object)
    out[of[order][last]] = parts[order][last]
    return out


def _findings(
    site: Site, row: Ints, owner: Ints, zone: Strings, catches: int, ring_m: Floats
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
        if outside[k] < len(ring_m):
            text = f"{outside[k]} of {len(ring_m)} points outside: other ground lies there"
            found.append(Finding(about=name, text=text, topic="place"))
    return found
