"""Weighted least-squares reconciliation of linear equations, and the measurement test.

Every stated figure is off by a sum of independent unit errors: true = stated + E·ε, ε ~ N(0, 1).
Equations that the true figures must fulfil, some with unknowns s that nobody measured, read

    r + E·ε = A·s,    s ≥ 0

with r what the stated figures leave open. Reconciliation takes the smallest ε (least Σ ε²) that
fulfils them all: with V = E·Eᵀ and Q = V⁻¹ − V⁻¹A(AᵀV⁻¹A)⁻¹AᵀV⁻¹ it is ε = −EᵀQr. An error δ of a
direction g (true = stated + g·δ) is estimated by −gᵀQr/gᵀQg; divided by its standard deviation it
is the statistic of the measurement test, normal where there is no gross error and every u is known.
Where the u of error j was itself estimated with νⱼ degrees of freedom the statistic is as Student's
t of the effective ones (Welch-Satterthwaite; JCGM 100:2008, G.2b), and z is the normal deviate that
is as probable. The chi-square is then as c·F (S. Johansen, Biometrika 67, 1980, 85-92; from
memory), with q degrees of freedom, A = Σ (EᵀQE)ⱼⱼ²/νⱼ, c = q + 2A − 6A/(q + 2) and
q·(q + 2)/(3A) further ones; of means with unequal variances it is the test of B. L. Welch
(Biometrika 38, 1951, 330-336).

Sources (from memory): D. R. Kuehn and H. Davidson, Chemical Engineering Progress 57(6), 1961,
44-47 (reconciliation); C. M. Crowe, Y. A. Garcia Campos and A. Hrymak, AIChE Journal 29, 1983,
881-888 (unknowns projected out); R. S. H. Mah and A. C. Tamhane, AIChE Journal 28, 1982, 828-830
(measurement test, here in its form of greatest power); S. Narasimhan and R. S. H. Mah, AIChE
Journal 33, 1987, 1514-1521 (any direction, generalised likelihood ratio); S. Narasimhan and
C. Jordache, Data Reconciliation and Gross Error Detection, Gulf 2000 (all of it).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from geosand.columns import Bools, Floats
from geosand.distributions import normal_quantile, student_probability

MANY, ENDLESS = 1e8, 1e15  #: degrees of freedom that are as infinitely many, of F and of t
NO_INFORMATION = 1e-9  #: share of a direction's information that rounding alone may leave


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """Reconciled equations: m equations, J errors, k unknowns."""

    residual: Floats  #: (m,) r
    errors: Floats  #: (m, J) E
    freedom: Floats  #: (J,) degrees of freedom of each error's u; inf: not estimated from few
    design: Floats  #: (m, k) A
    inverse: Floats  #: (m, m) V⁻¹
    projected: Floats  #: (m, m) Q: V⁻¹ with the unknowns that are above 0 projected out
    unknown: Floats  #: (k,) s
    u_unknown: Floats  #: (k,) standard uncertainty; nan where held at 0, inf: not known
    epsilon: Floats  #: (J,) adjustments in units of each error's u
    chi_square: float  #: Σ ε², what the equations had to be forced by
    degrees_of_freedom: int

    @property
    def probability(self) -> float:
        """Probability of a chi-square at least as large where no gross error is (global test)."""
        size = self.degrees_of_freedom
        seen = np.einsum("mj,mj->j", self.errors, self.projected @ self.errors)
        few = float((seen**2 / self.freedom).sum())
        if not few or not size:
            return chi_square_exceedance(self.chi_square, size)
        scale = 1 + 2 * few / size - 6 * few / (size * (size + 2))
        return chi_square_exceedance(self.chi_square / scale, size, size * (size + 2) / (3 * few))


def reconciled(
    residual: Floats, errors: Floats, design: Floats, freedom: Floats | None = None
) -> Fit:
    """Least-squares adjustment of ``r + E·ε = A·s`` with s ≥ 0 (shapes as in :class:`Fit`).

    The chi-square of equations with some s held at 0 is taken with one degree of freedom for each
    of these: given which are held it is so distributed where the true ones are 0, and is smaller
    where they are larger.
    Raises ValueError for an equation without any error.
    """
    variance = errors @ errors.T
    bare = np.flatnonzero(np.diag(variance) <= 0)
    if bare.size:
        raise ValueError(f"equations {bare.tolist()} have no uncertainty: nothing can be adjusted")
    inverse = _inverse(variance)
    free = _not_held(inverse, residual, design)
    projected, gain = _project(inverse, design[:, free])
    found = gain @ residual
    unknown = np.zeros(len(free))
    unknown[free] = found
    u_unknown = np.full(len(free), np.nan)
    u_unknown[free] = np.sqrt(np.diag(gain @ variance @ gain.T))
    forced = projected @ residual
    used = design[:, free]
    rank = int(np.linalg.matrix_rank(used)) if used.size else 0  # older NumPy knows none of nothing
    return Fit(
        residual=residual,
        errors=errors,
        freedom=np.full(errors.shape[1], np.inf) if freedom is None else freedom,
        design=design,
        inverse=inverse,
        projected=projected,
        unknown=unknown,
        u_unknown=u_unknown,
        epsilon=-(errors.T @ forced),
        chi_square=max(float(residual @ forced), 0.0),  # rounding may leave less than nothing
        degrees_of_freedom=len(residual) - rank,
    )


def _not_held(inverse: Floats, residual: Floats, design: Floats) -> Bools:
    """Which unknowns lie above 0 in the least squares with s ≥ 0, a column of bools (k,).

    Active sets after C. L. Lawson and R. J. Hanson, Solving Least Squares Problems, 1974, chapter
    23 (from memory): free the unknown that gains most, step back where another would turn negative.
    """
    size = design.shape[1]
    free: Bools = np.zeros(size, dtype=np.bool_)
    at: Floats = np.zeros(size, dtype=np.float64)
    slack = 1e-12 * float(np.abs(design.T @ (inverse @ residual)).max(initial=0.0))
    for _ in range(10 * size):
        gradient = design.T @ (inverse @ (residual - design @ at))
        gradient[free] = -np.inf
        if gradient.max(initial=-np.inf) <= slack:
            break
        free[gradient.argmax()] = True
        while True:
            wanted = _solved(inverse, residual, design, free)
            below = free & (wanted <= 0)
            if not below.any():
                break
            step = (at[below] / np.maximum(at[below] - wanted[below], 1e-300)).min()
            moved: Floats = at + float(step) * (wanted - at)
            at = moved
            free = free & ~(below & (at <= 1e-12 * np.abs(at).max()))
            at[~free] = 0.0
        at[:] = wanted
    return free


def _solved(inverse: Floats, residual: Floats, design: Floats, free: Bools) -> Floats:
    """The unknowns of least squares with only those of ``free`` not 0."""
    at: Floats = np.zeros(len(free), dtype=np.float64)
    at[free] = _project(inverse, design[:, free])[1] @ residual
    return at


def _inverse(variance: Floats) -> Floats:
    """Inverse of a covariance matrix, scaled to ones on its diagonal first."""
    root = 1 / np.sqrt(np.diag(variance))
    scale = np.outer(root, root)
    return np.asarray(np.linalg.pinv(variance * scale, hermitian=True) * scale, float)


def _project(inverse: Floats, design: Floats) -> tuple[Floats, Floats]:
    """Q, and the matrix that takes r to the unknowns."""
    weighted = inverse @ design
    gain: Floats = np.linalg.pinv(design.T @ weighted, hermitian=True) @ weighted.T
    return inverse - weighted @ gain, gain


@dataclass(frozen=True, slots=True, kw_only=True)
class Directions:
    """Measurement test of c directions, each the effect of one input on the m equations."""

    size: Floats  #: (c,) δ, estimated error of the input, in its own unit; nan: not redundant
    u_size: Floats  #: (c,) its standard uncertainty
    freedom: Floats  #: (c,) effective degrees of freedom of u
    standardised: Floats  #: (c,) z, the normal deviate of δ/u
    likeness: Floats  #: (c, c) cosine: ±1 cannot be told apart, 0 have nothing in common
    information: Floats  #: (c,) gᵀQg
    known_unknowns: Floats  #: (c,) gᵀV⁻¹g: the same if the unknowns were known


def measurement_test(fit: Fit, directions: Floats) -> Directions:
    """z, δ and likeness of ``directions`` (m, c); a direction that Q does not see is nan.

    δ/u of one-column directions E[:, j] is the standardised adjustment of error j. The cosine of g
    and h is gᵀQh/√(gᵀQg·hᵀQh): what an error of g does to the z of h, per unit of its own.
    """
    gram = directions.T @ fit.projected @ directions
    information = np.diag(gram).copy()
    known = np.einsum("mc,mn,nc->c", directions, fit.inverse, directions)
    seen = information > NO_INFORMATION * np.maximum(known, 1e-300)
    root = np.sqrt(np.where(seen, information, np.nan))
    score = -(directions.T @ (fit.projected @ fit.residual))
    parts = (directions.T @ fit.projected @ fit.errors) ** 2
    lost = (parts**2 / fit.freedom).sum(axis=1)
    few = np.full_like(lost, np.inf)
    freedom = np.maximum(np.divide(information**2, lost, out=few, where=seen & (lost > 0)), 1.0)
    return Directions(
        size=score / root**2,
        u_size=1 / root,
        freedom=freedom,
        standardised=normal_deviate(score / root, freedom),
        likeness=gram / np.outer(root, root),
        information=np.where(seen, information, 0.0),
        known_unknowns=known,
    )


def normal_deviate(t: Floats, freedom: Floats) -> Floats:
    """The normal deviate that is as probable as a Student t of so many degrees of freedom.

    D. L. Wallace, Annals of Mathematical Statistics 30, 1959, 1121-1130 (from memory): too small,
    at a deviate of 3 by 0.11 for 2 degrees of freedom, 0.05 for 3. It ends at no smallest tail.

    >>> print(normal_deviate(np.array([4.303, 2.228, 1.96]), np.array([2, 10, np.inf])).round(2))
    [1.93 1.96 1.96]
    """
    few = np.minimum(freedom, ENDLESS)
    root = np.sqrt(few * np.log1p(t * t / few))
    deviate: Floats = np.copysign((8 * few + 1) / (8 * few + 3) * root, t)
    return deviate


def student_deviate(z: float, freedom: Floats) -> Floats:
    """The Student t whose normal deviate is z: :func:`normal_deviate` the other way."""
    few = np.minimum(freedom, ENDLESS)
    root = z * (8 * few + 3) / (8 * few + 1)
    deviate: Floats = np.copysign(np.sqrt(few * np.expm1(root * root / few)), z)
    return deviate


def family_threshold(tests: int, family_wise: float) -> float:
    """The |z| that none of ``tests`` independent statistics passes with 1 − ``family_wise``.

    Two-sided, with 1 − (1 − α)^(1/n) for each test (Z. Šidák, Journal of the American Statistical
    Association 62, 1967, 626-633; from memory).

    >>> round(family_threshold(1, 0.05), 2), round(family_threshold(6, 0.05), 2)
    (1.96, 2.63)
    """
    each = -math.expm1(math.log1p(-family_wise) / max(tests, 1))
    return float(normal_quantile(1 - each / 2))


def chi_square_exceedance(
    chi_square: float, degrees_of_freedom: int, of_scale: float = math.inf
) -> float:
    """Probability that a chi-square variable of whole degrees of freedom is larger; 1 for none.

    Of one over s², a variance with the degrees of freedom ``of_scale``: of F times the whole ones.
    The finite sums of Abramowitz & Stegun 26.4.4 and 26.4.5, and those of 26.5.16 for F.

    >>> round(chi_square_exceedance(9.488, 4), 4), round(chi_square_exceedance(3.841, 1), 4)
    (0.05, 0.05)
    >>> round(chi_square_exceedance(4 * 3.478, 4, 10.0), 4)
    0.05
    """
    if degrees_of_freedom < 1:
        return 1.0
    square = max(chi_square, 0.0)
    odd, few = degrees_of_freedom % 2, of_scale < MANY
    total = 2 * float(student_probability(-math.sqrt(square), of_scale)) if odd else 0.0
    half = square / (2 + 2 * square / of_scale)
    start = -of_scale / 2 * math.log1p(square / of_scale) if few else -square / 2
    order = 0.5 if odd else 0.0
    while order < degrees_of_freedom / 2:
        # 0 to the power 0 is 1: the first term of an even sum at chi-square 0
        logarithm = order * math.log(half) if half > 0 else (0.0 if order == 0 else -math.inf)
        if few:
            logarithm += math.lgamma(of_scale / 2 + order) - math.lgamma(of_scale / 2)
            logarithm -= order * math.log(of_scale / 2)
        total += math.exp(start + logarithm - math.lgamma(order + 1))
        order += 1
    return min(total, 1.0)
