"""Normal and Student t probabilities and quantiles of whole columns, with NumPy alone.

Importing SciPy for these four functions would triple the start-up time of every command.

With k(s) = (1 + s²/ν)^(−(ν+1)/2), the density of t without its constant, the mass from 0 to t is
integrated by Gauss–Legendre quadrature; the tail beyond t is, after 1 + s²/ν = (1 + t²/ν)·e^(2w/ν),

    ∫ₜ^∞ k(s) ds = (1 + t²/ν)^(−(ν−1)/2) · ∫₀^∞ e^(−w) / √(t² − ν·(e^(−2w/ν) − 1)) dw

and integrated by Gauss–Laguerre quadrature. Their sum at t = 2 is the constant. ν = ∞ is the normal
distribution and needs no case of its own.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache, reduce
from typing import TYPE_CHECKING

import numpy as np

from geosand.columns import Bools, Floats

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

_SPLIT = 2.0  # below it the mass from the middle is integrated, above it the tail
_LARGEST = 1e15  # degrees of freedom: indistinguishable from infinitely many in double precision
_FARTHEST = 1e150  # |t|, so that its square is finite
_SMALLEST = 1e-250  # a tail that still counts: smaller ones are beyond all t
_STEPS = 30  # 3 to 5 are enough from 1 degree of freedom up
_NEAR_ENOUGH = 1e-7  # of u: what a Newton step leaves is about its square
_BLOCK = 8192  # rows at a time
_PARTS, _TERMS = 32, 8  # of the polynomials of coverage_factor


def student_quantile(probability: ArrayLike, degrees_of_freedom: ArrayLike) -> Floats:
    """The t below which a Student t variable lies with ``probability``.

    Parameters
    ----------
    probability : array, 0 to 1. 0 (or below 1e-250) gives −inf, 1 gives inf, nan gives nan.
    degrees_of_freedom : array that broadcasts with it, real, above 0, inf for the normal
        distribution; nan gives nan. Relative error below 1e-8 from 1 upwards.

    Solved by Newton's method on the logarithm of the tail probability in
    u = √(ν·ln(1 + t²/ν)), which is nearly normal (D. L. Wallace, Annals of Mathematical Statistics
    30, 1959, 1121–1130), starting from Abramowitz & Stegun 26.2.23.

    Raises ValueError for a probability outside 0 to 1 and for degrees of freedom not above 0.

    >>> print(student_quantile(0.975, [1, 10, float("inf")]).round(3))
    [12.706  2.228  1.96 ]
    """
    probability, nu, shape = _columns(probability, degrees_of_freedom)
    outside = (probability < 0) | (probability > 1)
    if outside.any():
        raise ValueError(
            f"probability: found {probability[outside][0]:g}; allowed is 0 to 1 "
            "(97.5 % is written 0.975)"
        )
    tail, centre = np.minimum(probability, 1 - probability), np.abs(probability - 0.5)
    solvable = (tail >= _SMALLEST) & (centre > 0)
    t = np.where(tail < _SMALLEST, np.inf, np.where(centre == 0, 0.0, np.nan))
    t[solvable] = _in_blocks(_solve, tail[solvable], centre[solvable], nu[solvable])
    t[np.isnan(nu)] = np.nan
    return np.copysign(t, probability - 0.5).reshape(shape)


def student_probability(t: ArrayLike, degrees_of_freedom: ArrayLike) -> Floats:
    """The probability that a Student t variable lies below ``t``.

    ``t`` (any real, ±inf) and ``degrees_of_freedom`` (above 0, inf for the normal distribution)
    broadcast; nan in either gives nan. The tails are right in relative terms, not only absolute.

    Raises ValueError for degrees of freedom that are not above 0.

    >>> print(student_probability([-1.0, 0.0, 1.0], 1).round(3))
    [0.25 0.5  0.75]
    """
    t, nu, shape = _columns(t, degrees_of_freedom)
    given = np.minimum(np.asarray(degrees_of_freedom, float), _LARGEST)  # once for all t
    whole = np.broadcast_to(_in_blocks(_whole, given.ravel()).reshape(given.shape), shape).ravel()
    upper = _in_blocks(_upper, np.minimum(np.abs(t), _FARTHEST), nu, whole)
    return np.where(t > 0, 1 - upper, upper).reshape(shape)


def coverage_factor(coverage: float, degrees_of_freedom: Floats) -> Floats:
    """By what a standard uncertainty is multiplied for a two-sided interval of ``coverage``.

    It is ``student_quantile((1 + coverage) / 2, ν)`` for ν from 1 to inf, a column or a table; nan
    gives nan. Whole columns take a few operations: t is smooth in 1/ν, and of each 32nd of 0 to 1
    the polynomial through eight exact values is kept (relative error below 1e-13 for coverages of
    50 to 99.9 %).

    >>> print(coverage_factor(0.95, np.array([1, 10, np.inf])).round(3))
    [12.706  2.228  1.96 ]
    """
    place = _PARTS / degrees_of_freedom
    part = np.fmin(place, _PARTS - 1).astype(np.int64)  # fmin: nan is in any
    x: Floats = place - part
    found: Floats
    found, *terms = _polynomials(coverage).take(part, axis=1)
    for term in terms:
        found *= x
        found += term
    return found


@cache
def _polynomials(coverage: float) -> Floats:
    """Terms, of the highest power first, of the polynomials of t in 1/ν (terms, parts)."""
    x: Floats = 0.5 + np.cos(np.pi * (np.arange(_TERMS) + 0.5) / _TERMS) / 2
    place = (np.arange(_PARTS)[:, None] + x) / _PARTS
    exact = student_quantile(0.5 + coverage / 2, 1 / place)
    terms: Floats = np.linalg.solve(np.vander(x), exact.T)  # type: ignore[assignment]
    return terms


def normal_quantile(probability: ArrayLike) -> Floats:
    """The z below which a standard normal variable lies with ``probability`` (array, 0 to 1).

    >>> print(normal_quantile([0.5, 0.975]).round(4))
    [0.   1.96]
    """
    return student_quantile(probability, np.inf)


def normal_probability(z: ArrayLike) -> Floats:
    """The probability that a standard normal variable lies below ``z`` (array, any real).

    >>> print(normal_probability([-1.0, 0.0, 1.96]).round(4))
    [0.1587 0.5    0.975 ]
    """
    return student_probability(z, np.inf)


def _columns(values: ArrayLike, nu: ArrayLike) -> tuple[Floats, Floats, tuple[int, ...]]:
    """Flat float columns of equal length, and the shape to give the answer."""
    values, nu = np.broadcast_arrays(np.asarray(values, float), np.asarray(nu, float))
    wrong = nu <= 0
    if wrong.any():
        raise ValueError(
            f"degrees of freedom: found {nu[wrong][0]:g}; they must be above 0 "
            "(nan where there is no estimate, inf for the normal distribution)"
        )
    return values.ravel(), np.minimum(nu, _LARGEST).ravel(), values.shape


def _in_blocks(solve: Callable[..., Floats], *columns: Floats) -> Floats:
    """``solve`` of the columns, so few rows at a time that its quadratures need little room."""
    rows = len(columns[0])
    if rows <= _BLOCK:
        return solve(*columns)
    parts = [slice(first, first + _BLOCK) for first in range(0, rows, _BLOCK)]
    return np.concatenate([solve(*[column[part] for column in columns]) for part in parts])


def _solve(tail: Floats, centre: Floats, nu: Floats) -> Floats:
    """|t| with ``tail`` beyond it and ``centre`` = 1/2 − tail, above 0, between it and 0."""
    whole = _whole(nu)
    s = np.sqrt(-2 * np.log(tail))
    z = s - (2.515517 + s * (0.802853 + s * 0.010328)) / (
        1 + s * (1.432788 + s * (0.189269 + s * 0.001308))
    )
    farthest = np.sqrt(nu * np.log1p(_FARTHEST**2 / nu))
    u = np.clip(z * (8 * nu + 3) / (8 * nu + 1), 1e-9, farthest)
    done = np.zeros(len(u), dtype=np.bool_)
    for _ in range(_STEPS):
        stretch = u**2 / nu
        t = np.sqrt(nu * np.expm1(stretch))
        near, middle, beyond = _divided(t, nu, whole)
        # near the middle, 1/2 − tail keeps the digits that the tail itself has lost
        too_much = np.log(np.maximum(beyond, 1e-300) / tail)
        too_much[near] = np.log1p((centre - middle)[near] / tail[near])
        slope = u / t * np.exp((stretch - u**2) / 2) / whole
        step = too_much * beyond / slope
        # a step passes neither the middle nor the largest t that is worked with
        u = np.where(done, u, np.clip(u + step, u / 8, farthest))
        # a row that is done stays, so that none depends on what else is asked for
        done |= ~(np.abs(step) > _NEAR_ENOUGH * u)
        if done.all():
            break
    found: Floats = np.sqrt(nu * np.expm1(u**2 / nu))
    return found


def _upper(t: Floats, nu: Floats, whole: Floats) -> Floats:
    """Probability beyond t ≥ 0."""
    return _divided(t, nu, whole)[2]


def _divided(t: Floats, nu: Floats, whole: Floats) -> tuple[Bools, Floats, Floats]:
    """Where t < 2, the probability between it and 0 there, and everywhere that beyond it."""
    near = t < _SPLIT
    middle, beyond = np.zeros_like(t), np.empty_like(t)
    if near.any():
        middle[near] = _centre(t[near], nu[near]) / whole[near]
        beyond[near] = 0.5 - middle[near]
    if not near.all():
        far = ~near
        beyond[far] = _tail(t[far], nu[far]) / whole[far]
    return near, middle, beyond


def _whole(nu: Floats) -> Floats:
    """∫ (1 + s²/ν)^(−(ν+1)/2) ds over all s."""
    if len(nu) > 1 and (nu == nu[0]).all():
        return np.full_like(nu, _whole(nu[:1])[0])
    split = np.full_like(nu, _SPLIT)
    return 2 * (_centre(split, nu) + _tail(split, nu))


def _centre(t: Floats, nu: Floats) -> Floats:
    """∫₀ᵗ (1 + s²/ν)^(−(ν+1)/2) ds for 0 ≤ t ≤ 2."""
    node, weight = _legendre()
    density = np.exp(-(nu + 1) / 2 * np.log1p((t * node) ** 2 / nu))
    return _added_up(weight * density) * t


def _tail(t: Floats, nu: Floats) -> Floats:
    """∫ₜ^∞ (1 + s²/ν)^(−(ν+1)/2) ds for t ≥ 2."""
    node, weight = _laguerre()
    total = _added_up(weight / np.sqrt(t**2 - nu * np.expm1(-2 * node / nu)))
    return total * np.exp(-(nu - 1) / 2 * np.log1p(t**2 / nu))


def _added_up(table: Floats) -> Floats:
    """Sum of each column from the top down: ``sum`` takes another order for a single column."""
    return reduce(np.add, table)


@cache
def _legendre() -> tuple[Floats, Floats]:
    """Nodes and weights, columns, of the integral from 0 to 1."""
    k = np.arange(1, 32)
    nodes, weights = _quadrature(np.zeros(32), k / np.sqrt(4 * k**2 - 1))
    return (nodes + 1) / 2, weights


@cache
def _laguerre() -> tuple[Floats, Floats]:
    """Nodes and weights, columns, of the integral of e^(−w)·f(w) from 0 on."""
    k = np.arange(48.0)
    return _quadrature(2 * k + 1, k[1:])


def _quadrature(diagonal: Floats, beside: Floats) -> tuple[Floats, Floats]:
    """Gauss nodes and weights, of sum 1, from the recurrence of the orthonormal polynomials.

    Eigenvalues of its matrix, and squares of the first components of its eigenvectors: G. H. Golub
    & J. H. Welsch, Mathematics of Computation 23, 1969, 221–230 (from memory).
    """
    nodes, vectors = np.linalg.eigh(np.diag(diagonal) + np.diag(beside, -1))  # lower half is read
    return nodes[:, None], vectors[0][:, None] ** 2
