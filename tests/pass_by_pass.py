"""Sand laid on one surface pass by pass, on a fine grid that reaches beyond the edge (seeded).

Nothing here is taken from what the analysis supposes. A spreader drives parallel passes at a
heading; each lays a swath that is even in the middle and tapers at its sides, a little skewed, at a
density of its own that drifts along the way; it opens and shuts near the edge, early or late; the
lines are not driven true. What lies on the surface and what lies beyond are sums over cells.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

CELL_M = 0.25
MARGIN_M = 7.0  #: of the grid beyond the surface
TEXTURE_CELLS = 4  #: side of the patches in which the sand lies thicker or thinner
TRAY_CELLS = 2  #: a tray is this many cells long and one wide


@dataclass(frozen=True, slots=True, kw_only=True)
class Spreader:
    """How one spreader is built and driven, the same all season."""

    spacing_m: float  #: between passes, as meant
    half_width_m: float  #: where the swath lays half of what it lays in the middle
    taper_m: float  #: width over which the swath falls to nothing at each side
    skew: float  #: excess on the left side of the swath, relative
    ramp_m: float  #: length over which it opens and shuts
    inset: float  #: first pass inside the outermost point, in spacings
    reach_for: float  #: opens for this part of the half width beside the line, not the line alone
    late_m: float  #: mean distance outside the edge at which it opens and shuts
    masked: bool  #: boards along the edge: not a grain falls outside

    @classmethod
    def drawn(cls, rng: np.random.Generator, *, wide: bool, masked: bool) -> Spreader:
        """One that throws a ``wide`` tapering swath, or a belt that drops a narrow even one."""
        spacing = rng.uniform(3.5, 5.5) if wide else rng.uniform(1.4, 2.2)
        return cls(
            spacing_m=spacing,
            half_width_m=spacing / 2 * rng.uniform(0.95, 1.08),
            taper_m=spacing * rng.uniform(0.5, 1.0) if wide else rng.uniform(0.1, 0.4),
            skew=rng.normal(0.0, 0.10),
            ramp_m=rng.uniform(0.8, 2.0) if wide else rng.uniform(0.2, 0.5),
            inset=rng.uniform(0.3, 0.6),
            reach_for=rng.uniform(0.0, 0.8),
            late_m=rng.uniform(0.0, 0.5),
            masked=masked,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """Sand on a grid laid along the heading: rows across it, columns along it."""

    sand_kg_m2: Floats  #: dry, (V, U)
    on: Floats  #: share of each cell on the surface, (V, U)
    inside_m: Floats  #: distance of the cell's middle to the edge, negative outside, (V, U)
    x_m: Floats  #: east of the cell's middle, (V, U)
    y_m: Floats

    def on_surface_kg(self) -> float:
        return float((self.sand_kg_m2 * self.on).sum()) * CELL_M**2

    def total_kg(self) -> float:
        return float(self.sand_kg_m2.sum()) * CELL_M**2

    def area_m2(self) -> float:
        return float(self.on.sum()) * CELL_M**2

    def mean_rate_kg_m2(self) -> float:
        return self.on_surface_kg() / self.area_m2()

    def trays(self, rng: np.random.Generator, count: int, least_m: float) -> tuple[Floats, Floats]:
        """Places (count, 2) of trays laid at random, ``least_m`` or more inside, and their sand.

        A tray lies along the heading, wholly on the surface.
        """
        room = (self.inside_m >= max(least_m, CELL_M))[:, : -TRAY_CELLS + 1]
        cells = np.flatnonzero(room)
        row, column = np.divmod(rng.choice(cells, count), room.shape[1])
        under = [self.sand_kg_m2[row, column + k] for k in range(TRAY_CELLS)]
        place = np.stack([self.x_m[row, column], self.y_m[row, column]], axis=1)
        return place, np.mean(under, axis=0)


def inside_distance_m(ring: Floats, x: Floats, y: Floats) -> Floats:
    """Distance of points inside the edge nearest in angle, negative outside.

    ``ring`` (n, 2) is star-shaped about the origin, its vertices at equal angles from 0 onward.
    Exact in sign; in size near the edge, which is all that is asked of it.
    """
    sector = (np.arctan2(y, x) % (2 * np.pi) * (len(ring) / (2 * np.pi))).astype(np.int64)
    sector = np.minimum(sector, len(ring) - 1)
    along = np.roll(ring, -1, axis=0) - ring
    normal = np.stack([along[:, 1], -along[:, 0]], axis=1) / np.hypot(*along.T)[:, None]
    offset = (normal * ring).sum(axis=1)
    distance: Floats = offset[sector] - normal[sector, 0] * x - normal[sector, 1] * y
    return distance


def dress(rng: np.random.Generator, ring: Floats, spreader: Spreader, rate_kg_m2: float) -> Field:
    """Lay about ``rate_kg_m2`` on the surface within ``ring`` (metres about its middle)."""
    heading = rng.uniform(0.0, 2 * np.pi)
    cosine, sine = np.cos(heading), np.sin(heading)
    turned = np.stack([ring @ [cosine, sine], ring @ [-sine, cosine]], axis=1)
    far = np.abs(turned).max() + MARGIN_M
    side = np.arange(-far, far, CELL_M)
    u, v = np.meshgrid(side, side)
    x, y = u * cosine - v * sine, u * sine + v * cosine
    inside = inside_distance_m(ring, x, y)
    on = np.clip(0.5 + inside / CELL_M, 0.0, 1.0)
    sand = rate_kg_m2 * _passes(rng, turned, spreader, side) * _texture(rng, len(side))
    rim = np.concatenate([sand[0], sand[-1], sand[:, 0], sand[:, -1]])
    assert not rim.any(), "sand flies off the grid: raise MARGIN_M"
    if spreader.masked:
        sand = sand * on
    return Field(sand_kg_m2=sand, on=on, inside_m=inside, x_m=x, y_m=y)


def _passes(rng: np.random.Generator, ring: Floats, spreader: Spreader, side: Floats) -> Floats:
    """Sand (V, U) over the meant rate; each pass is its profile across times that along."""
    low, high = ring[:, 1].min(), ring[:, 1].max()
    first = low + spreader.inset * spreader.spacing_m
    # another pass as long as a fifth of a swath would stay bare
    last = high + spreader.half_width_m - 0.2 * spreader.spacing_m
    line = np.arange(first, last, spreader.spacing_m)
    # the last one is driven where it does not throw farther over than the first, on top of others
    line = np.minimum(line, high - spreader.inset * spreader.spacing_m)
    start, stop = _chords(ring, line, spreader.reach_for * spreader.half_width_m)
    count = len(line)
    driven = line + rng.normal(0.0, 0.03 * spreader.spacing_m, count)
    start = start - rng.normal(spreader.late_m, 0.25, count)
    stop = stop + rng.normal(spreader.late_m, 0.25, count)
    there = np.where(np.arange(count) % 2 == 0, 1.0, -1.0)  # there and back
    off = side - driven[:, None]
    edge = (spreader.half_width_m + spreader.taper_m / 2 - np.abs(off)) / spreader.taper_m
    skewed = 1 + spreader.skew * there[:, None] * off / spreader.half_width_m
    across = np.clip(edge, 0.0, 1.0) * np.maximum(skewed, 0.0)
    opened = (side - start[:, None]) / spreader.ramp_m + 0.5
    shut = (stop[:, None] - side) / spreader.ramp_m + 0.5
    drift = rng.normal(0.0, 0.04, count)[:, None] * (side - (start + stop)[:, None] / 2) / 10.0
    along = np.clip(opened, 0.0, 1.0) * np.clip(shut, 0.0, 1.0) * np.clip(1 + drift, 0.5, 1.5)
    density = np.exp(rng.normal(0.0, 0.04, count))
    laid: Floats = across.T @ (along * density[:, None])
    return laid * spreader.spacing_m / (2 * spreader.half_width_m)


def _chords(ring: Floats, line: Floats, beside_m: float) -> tuple[Floats, Floats]:
    """First and last point of the surface along each pass, on its line and ``beside_m`` off it."""
    inner = np.stack([line - beside_m, line, line + beside_m])
    inner = np.clip(inner, ring[:, 1].min() + 0.3, ring[:, 1].max() - 0.3)[..., None]
    after = np.roll(ring, -1, axis=0)
    rise = after[:, 1] - ring[:, 1]
    share = (inner - ring[:, 1]) / np.where(rise == 0, 1e-12, rise)
    crossing = ring[:, 0] + share * (after[:, 0] - ring[:, 0])
    met = (share >= 0) & (share <= 1)
    start = np.where(met, crossing, np.inf).min(axis=(0, 2))
    stop = np.where(met, crossing, -np.inf).max(axis=(0, 2))
    return start, stop


def _texture(rng: np.random.Generator, cells: int) -> Floats:
    """Factors of mean 1: patches a metre wide, and cell by cell."""
    patches = rng.normal(1.0, 0.05, (cells // TEXTURE_CELLS + 1,) * 2)
    wide = patches.repeat(TEXTURE_CELLS, axis=0).repeat(TEXTURE_CELLS, axis=1)[:cells, :cells]
    return wide * rng.normal(1.0, 0.05, (cells, cells))
