"""Points drawn for trays: a balanced sequence inside each surface, one a distance outside it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from geosand.areas.register import AreaRegister
from geosand.columns import Floats, Geometries, Ints
from geosand.planning.route import coordinates
from geosand.rates.edge_distance import EDGE_BAND_M
from geosand.site.tables import HAZARDS, Site

INSIDE, EDGE, OUTSIDE = "inside", "near the edge", "outside"
SPARE = 2  #: points drawn for each that is wanted: some lie on others
_TRIES, _MOST_TRIES = 64, 16384


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """One place for a tray."""

    owner: int  #: of the chosen surfaces
    at: tuple[float, float]
    catch: str
    label: str
    zone: str
    outside_m: float = float("nan")


def points_inside(
    site: Site,
    register: AreaRegister,
    row: Ints,
    catches: int,
    half_diagonal_m: float,
    swath_m: float,
    seed: int,
    taken: set[str],
) -> list[Point]:
    """Points in each surface: anywhere, but of numbers 1 and 2 one is near the edge, one not."""
    shapes, ids = register.owned_plane[row], site.surfaces.id[row].tolist()
    margin = half_diagonal_m + site.surfaces.boundary_accuracy_m[row]
    inner = _grown(shapes, -margin)
    band = swath_m / 2 if np.isfinite(swath_m) else EDGE_BAND_M
    # a tray as wide as half a swath still gets the ground next to its margin
    core = _grown(shapes, -np.maximum(band, margin + 0.25))
    rim: Geometries = np.asarray(shapely.difference(inner, core), dtype=object)
    generators = [generator(seed, i) for i in ids]
    start = np.array([g.integers(0, 2**20, size=2) for g in generators]).reshape(-1, 2)
    used = [sum(name.startswith(f"{i}-{seed}-") for name in taken) for i in ids]
    wanted = catches + max(used, default=0)
    box = shapely.bounds(inner)
    anywhere, whose = _halton_inside(inner, box, start, SPARE * wanted)
    first = np.full((len(ids), 2), np.nan)
    first[whose[::-1]] = anywhere[::-1]
    rimmed = ~shapely.contains_xy(core, first[:, 0], first[:, 1])
    # of the same sequence: it keeps apart too
    other, other_of = _halton_inside(np.where(rimmed, core, rim), box, start, 2 * SPARE)
    sequence = [
        _numbered(anywhere[whose == k], other[other_of == k], near, 2 * half_diagonal_m)
        for k, near in enumerate(rimmed.tolist())
    ]  # few surfaces
    out: list[Point] = []
    for k, (name, mine) in enumerate(zip(ids, sequence, strict=True)):
        free = [(n, p, zone) for n, p, zone in mine if f"{name}-{seed}-{n}" not in taken]
        out += [
            Point(
                owner=k,
                at=(float(p[0]), float(p[1])),
                catch=f"{name}-{seed}-{n}",
                label=str(n),
                zone=zone,
            )
            for n, p, zone in free[:catches]
        ]
    return out


def _numbered(
    anywhere: Floats, other: Floats, near: bool, apart_m: float
) -> list[tuple[int, Floats, str]]:
    """Number, place and zone: the first (``near`` the edge?), one of the other zone, the others.

    One within ``apart_m`` of an earlier one is passed over: its tray would lie on that.
    """
    kept: list[tuple[int, Floats, str]] = []
    places = np.full((len(anywhere) + 1, 2), np.inf)
    zones, rest = (EDGE, INSIDE) if near else (INSIDE, EDGE), [(p[None], INSIDE) for p in anywhere]
    for points, zone in ((anywhere[:1], zones[0]), (other, zones[1]), *rest[1:]):
        gaps = np.hypot(*(points[:, None] - places[: len(kept)]).T).min(axis=0, initial=np.inf)
        for p in points[gaps >= apart_m][:1]:
            places[len(kept)] = p
            kept.append((len(kept) + 1, p, zone))
    return kept


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


def generator(seed: int, *texts: str) -> np.random.Generator:
    """Random numbers of their own for a seed and some texts, the same on every machine."""
    from zlib import crc32

    return np.random.default_rng([seed, *[crc32(text.encode()) for text in texts]])


def _grown(shapes: Geometries, distance_m: Floats) -> Geometries:
    return np.asarray(shapely.buffer(shapes, distance_m), dtype=object)


def _halton_inside(
    shapes: Geometries, box: Floats, start: Ints, wanted: int
) -> tuple[Floats, Ints]:
    """The first ``wanted`` accepted points of each shape (P, 2), and whose they are, in order.

    The sequence runs over the ``box`` of each: west, south, east, north.
    """
    alive = ~shapely.is_empty(shapes)
    tries = _TRIES
    found, owner = [np.zeros((0, 2))], [np.zeros(0, dtype=np.int64)]
    while wanted and alive.any() and tries <= _MOST_TRIES:
        mine = np.flatnonzero(alive)
        step = np.arange(tries)
        unit = np.stack(
            [halton(start[mine, None, k] + step, base) for k, base in enumerate((2, 3))], axis=2
        )
        low, high = box[mine, None, :2], box[mine, None, 2:]
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
    return np.concatenate(found), np.concatenate(owner)


def points_outside(
    site: Site,
    register: AreaRegister,
    row: Ints,
    ring_m: Floats,
    half_diagonal_m: float,
    seed: int,
    taken: set[str],
) -> list[Point]:
    """One point of each surface and distance (ascending) on the line that far outside its edge."""
    if not len(ring_m) or not len(row):
        return []
    ids, rings = site.surfaces.id[row].tolist(), len(ring_m)
    owner, distance = np.repeat(np.arange(len(row)), rings), np.tile(ring_m, len(row))
    names = [
        _free_name(f"{ids[k]}-{seed}-{d:.4g}m", taken)
        for k, d in zip(owner.tolist(), distance.tolist(), strict=True)
    ]
    share = np.array([generator(seed, name).random(_TRIES) for name in names])
    lines = shapely.boundary(
        shapely.buffer(register.owned_plane[row][owner], distance, quad_segs=16)
    )
    points = shapely.line_interpolate_point(_longest(lines)[:, None], share, normalized=True)
    force = site.in_force()
    kept_free = force[np.isin(site.surfaces.kind[force], HAZARDS) | np.isin(force, row)]
    point, other = shapely.STRtree(register.owned_plane[kept_free]).query(
        points.ravel(), predicate="dwithin", distance=half_diagonal_m
    )
    hit = point[kept_free[other] != row[owner[point // _TRIES]]]
    free = ~np.isin(np.arange(points.size), hit).reshape(points.shape)
    first = free.argmax(axis=1)
    chosen = points[np.arange(len(points)), first]
    at = np.stack(coordinates(chosen), axis=1)
    able = free.any(axis=1) & np.isfinite(at).all(axis=1)  # no ground, no line, no point
    return [
        Point(
            owner=int(owner[k]),
            at=(float(at[k, 0]), float(at[k, 1])),
            catch=names[k],
            label=_letters(k % rings),
            zone=OUTSIDE,
            outside_m=float(distance[k]),
        )
        for k in np.flatnonzero(able).tolist()
    ]


def _free_name(name: str, taken: set[str]) -> str:
    """The name, or the first of name-2, name-3, … that is not taken."""
    again = 1
    while (found := name if again == 1 else f"{name}-{again}") in taken:
        again += 1
    return found


def _letters(number: int) -> str:
    """Letters that count up.

    >>> [_letters(number) for number in (0, 25, 26, 701, 702)]
    ['a', 'z', 'aa', 'zz', 'aaa']
    """
    text = chr(97 + number % 26)
    return text if number < 26 else _letters(number // 26 - 1) + text


def _longest(lines: Geometries) -> Geometries:
    """The longest part of each line: the outer edge."""
    parts, of = shapely.get_parts(lines, return_index=True)
    order = np.lexsort((shapely.length(parts), of))
    last = np.flatnonzero(np.diff(of[order], append=-1) != 0)
    out = np.full(len(lines), shapely.LineString(), dtype=object)
    out[of[order][last]] = parts[order][last]
    return out
