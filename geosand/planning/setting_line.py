"""The line of rate / opening against 1 / opening, from levels of dressings and rows within them."""

from __future__ import annotations

import math

import numpy as np

from geosand.columns import Floats, Ints
from geosand.distributions import student_quantile
from geosand.tuples import NamedTuple

#: Intercept that nobody would wonder at, as a share of the rate; our own choice.
USUAL = 0.3


class RowErrors(NamedTuple):
    """Whose dressing each row (n,) is, and the errors of what its catches tell."""

    dressing: Ints  #: any numbers; rows of one stand together
    covariance: Floats  #: (n, n) of the rates, (kg/m²)²: what is not shared by a whole dressing
    freedom: Floats  #: degrees of freedom of each row's own variance


class Levels(NamedTuple):
    """Each dressing's mean of 1 / opening and of rate / opening, by 1 / variance of its rows."""

    z: Floats
    q: Floats


def levels_of(z: Floats, q: Floats, errors: RowErrors) -> Levels:
    """Levels of rows (n,); ``errors`` are those of ``q``."""
    first, of = _dressings(errors.dressing)
    weight = 1 / np.diag(errors.covariance)
    total = np.bincount(of, weight, len(first))

    def mean(values: Floats) -> Floats:
        begin = values[first]  # of one row the mean is that row, to the last digit
        return begin + np.bincount(of, weight * (values - begin[of]), len(first)) / total

    return Levels(mean(z), mean(q))


def _dressings(dressing: Ints) -> tuple[Ints, Ints]:
    """The first row of each dressing, and the dressing of each row (n,)."""
    _, first, of = np.unique(dressing, return_index=True, return_inverse=True)
    return first, of


class Within(NamedTuple):
    """What differences within dressings tell of the intercept."""

    intercept: float
    information: float  #: 1 / its variance; 0 where they tell nothing
    freedom: float


def within(z: Floats, q: Floats, errors: RowErrors) -> Within:
    """Generalised least squares of the differences to the first row of each dressing.

    Where they scatter more about their line than their catches allow, the variance is that much
    larger (Birge 1932; from memory).
    """
    first, of = _dressings(errors.dressing)
    others = np.setdiff1d(np.arange(len(z)), first)
    if not (np.abs(z[others] - z[first[of[others]]]) > 1e-6 * z[others]).any():
        return Within(0.0, 0.0, 0.0)
    differences = np.eye(len(z))[others] - np.eye(len(z))[first[of[others]]]
    of_z, of_q = differences @ z, differences @ q
    covariance = differences @ errors.covariance @ differences.T
    weight = np.linalg.solve(covariance, of_z)
    information = float(of_z @ weight)
    intercept = float(weight @ of_q) / information
    off = of_q - intercept * of_z
    spare = len(others) - 1
    excess = float(off @ np.linalg.solve(covariance, off)) / spare if spare else 1.0
    shares = (differences.T @ weight) ** 2 * np.diag(errors.covariance)
    return Within(
        intercept=intercept,
        information=information / max(excess, 1.0),
        freedom=float(shares.sum() ** 2 / (shares**2 / errors.freedom).sum()),
    )


class Line(NamedTuple):
    """Rate / opening as slope + intercept · (1 / opening − middle)."""

    known: bool  #: False: all openings are the same
    intercept: float
    u: float  #: standard uncertainty of the intercept
    freedom: float  #: of it; 0 = u is not known
    scatter: float  #: standard deviation of levels about the line; nan = not known
    freedom_of_scatter: float
    middle: float  #: mean of the levels' 1 / opening
    slope: float  #: mean of the levels' rate / opening

    @property
    def at_origin(self) -> float:
        """Rate / opening where 1 / opening is 0: what a unit of opening adds."""
        return self.slope - self.intercept * self.middle

    @property
    def rises(self) -> bool:
        """Whether a wider opening gives more; True where nothing tells."""
        return not self.known or self.at_origin > 1e-9 * self.slope

    @property
    def half_width(self) -> float:
        """Of the intercept's 95 % interval; inf where it is not known."""
        if not self.freedom:
            return math.inf
        return float(student_quantile(0.975, self.freedom)) * self.u


def line_of_levels(level: Levels) -> Line:
    """Ordinary least squares of the levels (n,)."""
    count = len(level.q)
    middle = float(level.z.mean()) if count else math.nan
    slope = float(level.q.mean()) if count else math.nan
    z, q = level.z - middle, level.q - slope
    square = float((z**2).sum())
    if not square > 1e-12 * float((level.z**2).sum()):
        return Line(False, 0.0, 0.0, 0.0, math.nan, 0.0, middle, slope)
    intercept, freedom = float((z * q).sum()) / square, count - 2
    left = float(((q - intercept * z) ** 2).sum())
    scatter = math.sqrt(left / freedom) if freedom else math.nan
    u = scatter / math.sqrt(square)
    return Line(True, intercept, u, freedom, scatter, freedom, middle, slope)


def line_of_differences(level: Levels, within: Within) -> Line:
    """The line with the intercept that differences tell; the levels scatter about it."""
    plain = line_of_levels(level)
    if not within.information:
        return plain
    off = level.q - plain.slope - within.intercept * (level.z - plain.middle)
    freedom = len(off) - 1
    return Line(
        known=True,
        intercept=within.intercept,
        u=1 / math.sqrt(within.information),
        freedom=within.freedom,
        scatter=math.sqrt(float((off**2).sum()) / freedom) if freedom else math.nan,
        freedom_of_scatter=freedom,
        middle=plain.middle,
        slope=plain.slope,
    )


def more_closely(one: Line, other: Line) -> Line:
    """The line whose intercept is told more closely, the first of equals.

    Both together would have weights of few degrees of freedom, and intervals that hold too seldom.
    """
    return min(one, other, key=lambda line: line.half_width)


def left_open(level: Levels, within: Within, scatter: float) -> float:
    """What differences leave open of the intercept of a line through the origin, as its u.

    Their information over the square of all there is: that of levels, whose ``scatter`` about the
    line holds how far they are off it, and that of an intercept of ``USUAL`` of the rate. Without
    differences, or with ones between nearly the same openings, nothing is left open, as where all
    dressings have one setting.
    """
    middle, rate = float(level.z.mean()), float(level.q.mean()) / float(level.z.mean())
    square = float(((level.z - middle) ** 2).sum())
    known = square / scatter**2 if scatter > 0 else 0.0
    return math.sqrt(within.information) / (within.information + known + 1 / (USUAL * rate) ** 2)
