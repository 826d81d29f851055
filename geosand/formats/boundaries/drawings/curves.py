"""Curves of drawings to chords that enclose the same area: cubic Bézier curves and B-splines.

Chords inside a curve lose area: 0.03 % of a circle at steps of 2.5 degrees. Here the points between
the two ends of a curve are moved a little to its outer side, until the chords enclose as much.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np

from geosand.columns import Floats

MOST_CHORDS = 32  #: for one cubic; a circle comes as 16 of them or more
PIECES = 16  #: cubics for a span of a spline that is rational or of a degree above 3
_AT = np.array([0.0, 1 / 3, 2 / 3, 1.0])


def bernstein(t: Floats) -> Floats:
    """Weights (n, 4) of the control points of a cubic at ``t``, 0 to 1."""
    u = 1.0 - t
    return np.column_stack([u**3, 3 * u**2 * t, 3 * u * t**2, t**3])


def enclosed(points: Floats) -> Floats:
    """Signed area between runs of points (…, n, 2) and the chord that closes each."""
    shifted = points - points[..., :1, :]
    x, y = shifted[..., 0], shifted[..., 1]
    return np.array(0.5 * (x[..., :-1] * y[..., 1:] - x[..., 1:] * y[..., :-1]).sum(axis=-1))


def cubic_enclosed(control: Floats) -> Floats:
    """Signed area between cubics with control points (…, 4, 2) and their chords, exactly.

    Half the integral of x dy - y dx over the curve, begun at its first control point; the three
    coefficients are those integrals of the Bernstein polynomials.

    >>> round(float(cubic_enclosed(np.array([[0, 0], [0, 1], [1, 1], [1, 0.0]]))), 6)
    -0.6
    """
    shifted = control[..., 1:, :] - control[..., :1, :]
    x, y = shifted[..., 0], shifted[..., 1]
    cross = [x[..., i] * y[..., j] - x[..., j] * y[..., i] for i, j in ((0, 1), (0, 2), (1, 2))]
    return np.array(0.15 * (cross[0] + cross[1] + 2 * cross[2]))


def chords(control: Floats, sag: float) -> Floats:
    """Points (n, 3) along cubics (m, 4, 3) end to end, with chords at most about ``sag`` off.

    The ends of every cubic are kept, and what x and y enclose with the chord between them is what
    the curve encloses. The number of chords follows from the bound of the second derivative, 6
    times the larger bend of the control polygon.
    """
    plane = control[..., :2]
    bend = np.hypot(*np.moveaxis(np.diff(plane, n=2, axis=1), 2, 0)).max(axis=1)
    straight = bend <= 1e-9 * np.abs(plane - plane[:, :1]).max(axis=(1, 2))
    count = np.clip(np.ceil(np.sqrt(0.75 * bend / sag)), 2, MOST_CHORDS).astype(np.int64)
    count[straight] = 1
    start = np.concatenate([[0], np.cumsum(count)])
    out = np.empty((start[-1] + 1, 3))
    for size in set(count.tolist()):
        rows = np.flatnonzero(count == size)
        points = bernstein(np.linspace(0, 1, size + 1)) @ control[rows]
        # ends meet those of the neighbours to the last digit
        points[:, 0], points[:, -1] = control[rows, 0], control[rows, 3]
        if size > 1:
            points[..., :2] = _enclosing(points[..., :2], cubic_enclosed(plane[rows]))
        out[start[rows][:, None] + np.arange(size + 1)] = points
    return out


def _enclosing(points: Floats, area: Floats) -> Floats:
    """Runs (m, n, 2) with the points between their ends moved to the left to enclose ``area``."""
    start = points[:, :1]
    run = points - start
    along = run[:, 2:] - run[:, :-2]
    length = np.hypot(along[..., 0], along[..., 1])[..., None]
    left = np.zeros_like(run)
    left[:, 1:-1] = np.stack([-along[..., 1], along[..., 0]], axis=-1) / np.where(
        length > 0, length, 1
    )
    a, c = enclosed(left), enclosed(run) - area
    b = enclosed(run + left) - enclosed(run) - a
    within = np.maximum(b * b - 4 * a * c, 0.0)
    below = b + np.copysign(np.sqrt(within), b)
    shift = np.divide(-2 * c, below, out=np.zeros_like(c), where=below != 0)
    return np.array(start + run + left * shift[:, None, None])


def spline_cubics(spline: Any) -> Floats | None:
    """Cubics (m, 4, 3) of a B-spline of ezdxf, end to end; None where its knots make none.

    They ascend, and where one stands more often than the degree the points on both its sides are
    the same: else it tears the curve apart.

    A span of a spline of degree 3 or less without weights is such a cubic; of others cubics are
    laid through 4 places of each sixteenth of a span. Only the knots between which all its points
    weigh are its domain, so a periodic spline comes back to its start (de Boor, A Practical Guide
    to Splines, chapter IX, from memory).
    """
    knots = np.array(spline.knots())
    inner, points = knots[spline.degree + 1 : spline.count], np.array(spline.control_points)
    _, first, often = np.unique(inner, return_index=True, return_counts=True)
    joint = first[often > spline.degree] + spline.degree + 1  # of such knots the first
    torn = points[joint - 1] != points[joint + often[often > spline.degree] - spline.degree - 1]
    if (np.diff(knots) < 0).any() or torn.any():
        return None
    pieces = 1 if spline.degree <= 3 and len(set(spline.weights())) < 2 else PIECES
    to_control = np.linalg.inv(bernstein(_AT))
    spans = pairwise(np.unique(knots[spline.degree : spline.count + 1]))
    cuts = np.array([np.linspace(begin, end, pieces + 1) for begin, end in spans])
    if not len(cuts):
        return None
    low, high = cuts[:, :-1].reshape(-1, 1), cuts[:, 1:].reshape(-1, 1)
    found = [tuple(point) for point in spline.points((low + (high - low) * _AT).ravel())]
    return np.array(to_control @ np.array(found).reshape(-1, 4, 3))
