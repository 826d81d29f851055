"""Ordinary kriging of points and blocks, all surfaces at once.

The mean of a block is Σ λᵢ·zᵢ with weights that sum to 1 and make the variance of the error least:

    Γ λ + μ = γ̄(x, B),   Σ λ = 1,   variance = Σ λᵢ·γ̄(xᵢ, B) + μ − γ̄(B, B)

where γ̄ are means of the semivariance over the points that stand for the block. Between the points
of the block the nugget is left out of the covariance, that is, counted in full in γ̄(B, B): the
block is the ground itself, not a few more readings of it (as in gstat: E. J. Pebesma, Computers &
Geosciences 30, 2004, 683–691). A block of one point is then the ground there; a new reading there
has the nugget's variance on top. Equations: E. H. Isaaks & R. M. Srivastava, An Introduction to
Applied Geostatistics, 1989, chapters 12 and 13.

A system of n readings takes n³ steps. Of very many those that lie together are taken as one reading
at their middle, of which the nugget is 1/k: nothing is thrown away, and the variance comes out a
little above that of all of them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from geosand.columns import Floats
from geosand.tuples import NamedTuple

Model = Literal["spherical", "exponential", "linear"]
MOST_PLACES = 1000  #: of one system


@dataclass(frozen=True, slots=True, kw_only=True)
class Variogram:
    """γ(h) = nugget + sill · shape(h/range) for h > 0, in the square of the values' unit.

    Shapes: spherical 1.5·s − 0.5·s³ up to s = 1; exponential 1 − e^(−s); linear s, which has no
    sill (give the slope as ``sill`` and a range of 1 m).
    """

    model: Model
    nugget: float
    sill: float  #: partial sill, without the nugget
    range_m: float

    def structure(self, distance_m: Floats) -> Floats:
        """γ without the nugget."""
        s: Floats = distance_m * (1 / self.range_m)
        if self.model == "spherical":
            np.minimum(s, 1.0, out=s)
            s *= 1.5 - 0.5 * (s * s)
        elif self.model == "exponential":
            np.negative(s, out=s)
            np.exp(s, out=s)  # several times as fast as expm1; of near points 1e-16 of the sill
            np.subtract(1.0, s, out=s)
        s *= self.sill
        return s

    def between(self, distance_m: Floats) -> Floats:
        """γ of two readings, however near: nugget + structure."""
        return self.nugget + self.structure(distance_m)


class Kriged(NamedTuple):
    """Means and their variances, columns of the blocks' length."""

    mean: Floats
    variance: Floats


def distances_m(a: Floats, b: Floats) -> Floats:
    """Distances (…, n, m) between points (…, n, 2) and (…, m, 2)."""
    east: Floats = a[..., :, None, 0] - b[..., None, :, 0]
    north = a[..., :, None, 1] - b[..., None, :, 1]
    east *= east  # squares of metres neither overflow nor vanish: hypot would take thrice as long
    north *= north
    east += north
    return np.sqrt(east, out=east)


class Readings(NamedTuple):
    """Values at places of a plane, and how many readings each is the mean of."""

    points_m: Floats  #: (n, 2)
    values: Floats  #: (n,)
    together: Floats  #: (n,), 1 or more


def gathered(points_m: Floats, values: Floats, most: int) -> Readings:
    """Readings (n,) at ``most`` places or fewer: of more, the means of those that lie together.

    They are parted into strips from west to east and these from south to north, each part of as
    many readings.
    """
    n = len(values)
    if n <= most:
        return Readings(points_m, values, np.ones(n))
    wide, high = np.ptp(points_m, axis=0) + 1e-9
    strips = int(np.clip(round(np.sqrt(most * wide / high)), 1, most))
    strip = np.empty(n, dtype=np.int64)
    strip[np.argsort(points_m[:, 0], kind="stable")] = np.arange(n) * strips // n
    order = np.lexsort((points_m[:, 1], strip))
    count = np.bincount(strip, minlength=strips)
    strip = strip[order]
    number = np.arange(n) - (np.cumsum(count) - count)[strip]
    parts = most // strips
    first = np.flatnonzero(np.diff(strip * parts + number * parts // count[strip], prepend=-1))
    together = np.diff(first, append=n).astype(np.float64)
    middles = np.add.reduceat(points_m[order], first, axis=0) / together[:, None]
    return Readings(middles, np.add.reduceat(values[order], first) / together, together)


class Lattices(NamedTuple):
    """Points that stand for B blocks: each block's ``x_m[i]``, ``y_m[j]``, in equal steps."""

    x_m: Floats  #: (B, L)
    y_m: Floats  #: (B, M)
    weights: Floats  #: (B, M, L), of sum 1; of weight 0 a point is no part of its block

    def within(self, variogram: Variogram) -> Floats:
        """γ̄(B, B) (B,), as :func:`within_blocks` of the same points.

        Pairs of points as far apart are added up first: the correlation of the weights with
        themselves, by Fourier transforms over a lattice with room for both directions.
        """
        sides = [2 * size for size in self.weights.shape[1:]]
        spectrum = np.fft.rfft2(self.weights, s=sides)
        pairs = np.fft.irfft2(spectrum * spectrum.conj(), s=sides)
        north, east = (
            np.minimum(np.arange(side), side - np.arange(side)) * (at[:, 1:2] - at[:, :1])
            for side, at in zip(sides, (self.y_m, self.x_m), strict=True)
        )
        apart = np.sqrt((north * north)[:, :, None] + (east * east)[:, None, :])
        within: Floats = (pairs * variogram.structure(apart)).sum(axis=(1, 2))
        return variogram.nugget + within

    def reach(self, points_m: Floats, variogram: Variogram) -> Floats:
        """γ̄(x, B) (B, n) of points (B, n, 2)."""
        east = points_m[..., 0, None] - self.x_m[:, None]
        north = points_m[..., 1, None] - self.y_m[:, None]
        apart = (north * north)[..., :, None] + (east * east)[..., None, :]
        structure = variogram.structure(np.sqrt(apart, out=apart))
        many, n = points_m.shape[:2]
        reach = structure.reshape(many, n, -1) @ self.weights.reshape(many, -1, 1)
        return variogram.nugget + reach[..., 0]


def systems(points_m: Floats, variogram: Variogram, together: Floats | float = 1.0) -> Floats:
    """Kriging matrices (B, n + 1, n + 1) of points (B, n, 2), each ``together`` (B, n) readings.

    Two readings at the same place differ by the nugget. Without any nugget they would have to be
    equal: a billionth of the sill is then taken for it.
    """
    sets, n = points_m.shape[:2]
    matrix = np.ones((sets, n + 1, n + 1))
    least = max(0.0, 1e-9 * variogram.sill - variogram.nugget)
    matrix[:, :n, :n] = variogram.between(distances_m(points_m, points_m)) + least
    diagonal = np.arange(n)
    matrix[:, diagonal, diagonal] = (variogram.nugget + least) * (1 - 1 / np.asarray(together))
    matrix[:, n, n] = 0.0
    return matrix


def within_blocks(block_points_m: Floats, weights: Floats, variogram: Variogram) -> Floats:
    """γ̄(B, B) (B,) of blocks with points (B, K, 2) of weights (B, K) that sum to 1."""
    # each pair once: γ is the same both ways, and 0 from a point to itself
    one, other = np.triu_indices(block_points_m.shape[1], 1)
    apart = block_points_m[:, one] - block_points_m[:, other]
    between = variogram.structure(np.sqrt(np.einsum("bki,bki->bk", apart, apart)))
    within: Floats = np.einsum("bk,bk,bk->b", weights[:, one], between, weights[:, other])
    return variogram.nugget + 2 * within


def lattice_kriging(
    points_m: Floats,
    values: Floats,
    lattices: Lattices,
    variogram: Variogram,
    *,
    within: Floats | None = None,
    together: Floats | float = 1.0,
) -> Kriged:
    """Mean of each of B blocks and its variance, from n values each.

    Parameters
    ----------
    points_m : (B, n, 2), values : (B, n). Places and values of the readings, n ≥ 1.
    lattices : points that stand for each block.
    within : (B,), optional. γ̄(B, B), where it is known already or steps are not equal.
    together : (B, n), optional. How many readings each value is the mean of.
    """
    if within is None:
        within = lattices.within(variogram)
    right = np.ones((len(points_m), points_m.shape[1] + 1))
    right[:, :-1] = lattices.reach(points_m, variogram)
    matrix = systems(points_m, variogram, together)
    solution = np.linalg.solve(matrix, right[..., None])[..., 0]
    mean = (solution[:, :-1] * values).sum(axis=1)
    return Kriged(mean, (solution * right).sum(axis=1) - within)


def block_means(
    points_m: Floats, values: Floats, middles_m: Floats, offsets_m: Floats, variogram: Variogram
) -> Kriged:
    """Means of T blocks of one shape about ``middles_m`` (T, 2), from one set of n readings.

    More than ``MOST_PLACES`` readings are gathered.

    ``offsets_m`` (K, 2) are points that stand for a block, about its middle and of equal weight;
    (0, 0) alone is the ground at the middle. One system is solved for all blocks.
    """
    points_m, values, together = gathered(points_m, values, MOST_PLACES)
    matrix = systems(points_m[None], variogram, together)[0]
    right = np.ones((len(middles_m), len(points_m) + 1))
    right[:, :-1] = 0.0
    for offset in offsets_m:  # a few points: the whole grid at once for each
        right[:, :-1] += variogram.between(distances_m(middles_m + offset, points_m))
    right[:, :-1] /= len(offsets_m)
    equal = np.full((1, len(offsets_m)), 1 / len(offsets_m))
    within = within_blocks(offsets_m[None], equal, variogram)[0]
    solution = np.linalg.solve(matrix, right.T).T
    variance = (solution * right).sum(axis=1) - within
    return Kriged(solution[:, :-1] @ values, variance)
