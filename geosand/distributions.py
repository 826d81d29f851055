"""Normal and Student t probabilities and quantiles of whole columns, with NumPy alone.

Importing SciPy for these four functions would triple the start-up time of every command.

With k(s) = (1 + s²/ν)^(−(ν+1)/2), the density of t without its constant, the mass from 0 to t is
integrated by Gauss–Legendre quadrature; the tail beyond t is, after 1 + s²/ν = (1 + t²/ν)·e^(2w/ν),

    ∫ₜ^∞ k(s) ds = (1 + t²/ν)^(−(ν−1)/2) · ∫₀^∞ e^(−w) / √(t² − ν·(e^(−2w/ν) − 1)) dw

and integrated by Gauss–Laguerre quadrature. Their sum at t = 2 is the constant. ν = ∞ is the normal
distribution and needs no case of its own.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import ArrayLike

from geosand.columns import Floats

_SPLIT = 2.0  # below it the mass from the middle is integrated, above it the tail
_LARGEST = 1e15  # degrees of freedom: indistinguishable from infinitely many in double precision
_FARTHEST = 1e150  # |t|, so that its square is finite
_SMALLEST = 1e-250  # a tail that still counts: smaller ones are beyond all t
_STEPS = 30  # 4 to 6 are enough from 1 degree of freedom up


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
    tail = np.minimum(probability, 1 - probability)
    solvable = tail >= _SMALLEST
    t = np.where(tail < _SMALLEST, np.inf, np.nan)
    t[solvable] = _solve(tail[solvable], np.abs(probability - 0.5)[solvable], nu[solvable])
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
    distance = np.minimum(np.abs(t), _FARTHEST)
    half = _centre(np.full_like(nu, _SPLIT), nu) + _tail(np.full_like(nu, _SPLIT), nu)
    inner = distance < _SPLIT
    upper = np.empty_like(distance)
    upper[inner] = 0.5 - _centre(distance[inner], nu[inner]) / (2 * half[inner])
    upper[~inner] = _tail(distance[~inner], nu[~inner]) / (2 * half[~inner])
    return np.where(t > 0, 1 - upper, upper).reshape(shape)


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


def _solve(tail: Floats, centre: Floats, nu: Floats) -> Floats:
    """|t| with ``tail`` beyond it and ``centre`` = 1/2 − tail between it and 0."""
    half = _centre(np.full_like(nu, _SPLIT), nu) + _tail(np.full_like(nu, _SPLIT), nu)
    s = np.sqrt(-2 * np.log(tail))
    z = s - (2.515517 + s * (0.802853 + s * 0.010328)) / (
        1 + s * (1.432788 + s * (0.189269 + s * 0.001308))
    )
    farthest = np.sqrt(nu * np.log1p(_FARTHEST**2 / nu))
    u = np.clip(z * (8 * nu + 3) / (8 * nu + 1), 1e-9, farthest)
    for _ in range(_STEPS):
        stretch = u**2 / nu
        t = np.sqrt(nu * np.expm1(stretch))
        inner = t < _SPLIT
        # near the middle, 1/2 − tail keeps the digits that the tail itself has lost
        middle = _centre(t[inner], nu[inner]) / (2 * half[inner])
        beyond, too_much = np.empty_like(t), np.empty_like(t)
        beyond[inner] = 0.5 - middle
        beyond[~inner] = _tail(t[~inner], nu[~inner]) / (2 * half[~inner])
        too_much[inner] = np.log1p((centre[inner] - middle) / tail[inner])
        too_much[~inner] = np.log(np.maximum(beyond[~inner], 1e-300) / tail[~inner])
        slope = u / t * np.exp((stretch - u**2) / 2) / (2 * half)
        step = too_much * beyond / slope
        # a step passes neither the middle nor the largest t that is worked with
        u = np.clip(u + step, u / 8, farthest)
        if not (np.abs(step) > 1e-13 * (1 + u)).any():
            break
    return np.where(centre == 0, 0.0, np.sqrt(nu * np.expm1(u**2 / nu)))


def _centre(t: Floats, nu: Floats) -> Floats:
    """∫₀ᵗ (1 + s²/ν)^(−(ν+1)/2) ds for 0 ≤ t ≤ 2."""
    total = np.zeros_like(t)
    for node, weight in zip(*_legendre(), strict=True):
        total += weight * np.exp(-(nu + 1) / 2 * np.log1p((t * node) ** 2 / nu))
    return total * t


def _tail(t: Floats, nu: Floats) -> Floats:
    """∫ₜ^∞ (1 + s²/ν)^(−(ν+1)/2) ds for t ≥ 2."""
    total = np.zeros_like(t)
    for node, weight in zip(*_laguerre(), strict=True):
        total += weight / np.sqrt(t**2 - nu * np.expm1(-2 * node / nu))
    return total * np.exp(-(nu - 1) / 2 * np.log1p(t**2 / nu))


@cache
def _legendre() -> tuple[Floats, Floats]:
    nodes, weights = np.polynomial.legendre.leggauss(32)
    return (nodes + 1) / 2, weights / 2


@cache
def _laguerre() -> tuple[Floats, Floats]:
    return np.polynomial.laguerre.laggauss(48)
