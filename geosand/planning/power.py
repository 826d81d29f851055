"""How many catches on how many surfaces: what a design would see, from a site's own variances."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from geosand.areas.register import AreaRegister
from geosand.balance.account import Balance
from geosand.columns import Floats, Ints, columns, ratio
from geosand.distributions import student_quantile
from geosand.estimates import Estimates
from geosand.rates.edge_distance import EDGE_BAND_M
from geosand.rates.edge_taper import PLACED, U_TAPER
from geosand.rates.random_effects import DressingRates
from geosand.rates.surface_rates import TAPER
from geosand.rates.variance_components import INSEPARABLE_SHARE, Prior
from geosand.tuples import NamedTuple

DEFAULT_SD = 0.08  #: relative, of surfaces and of catches; the stated default of the rates
DEFAULT_BAGS = 0.01  #: relative, of what was spread; the stated default of the loads
_STEPS = 12  #: after which a share moves by less than 1e-4
POWER = 0.8  #: chance with which an overthrow just as large is seen; common in trial planning


@dataclass(frozen=True, slots=True, kw_only=True)
class Variances:
    """What a design's answer rests on, all relative to the mean rate or to what was spread."""

    between_surfaces: float
    between_catches: float
    shared_depth: float  #: of every depth: tray size, catch efficiency, bulk density, moisture
    shared_balance: float  #: of the overthrow, as a share of the spread: all but sampling
    edge_share: float  #: of ground within half a swath of an edge; one of two trays is there
    placed: bool  #: positions tell where in that band a tray lies
    dressings: int  #: on which they stand; 0: defaults


@columns
class Power:
    """One row a design: ``catches`` on each of ``surfaces`` of the dressed ones."""

    surfaces: Ints
    catches: Ints  #: on each
    overthrow: Floats  #: smallest share of the spread that is told from zero with POWER
    depth: Floats  #: half-width of the 95 % interval of a caught surface's depth, relative


def site_variances(balance: Balance, *, row: Ints, swath_m: float) -> Variances:
    """Medians over the site's measured dressings; stated defaults where there is none.

    Of surfaces ``row`` comes how much ground lies within half a swath (nan: 1 m) of an edge; the
    edge taper of past dressings is left out, since the design says what of it stays.
    """
    site, register, rates = balance.site, balance.areas, balance.rates
    band_m = swath_m / 2 if np.isfinite(swath_m) else EDGE_BAND_M
    model, spread, trays_at = rates.model, balance.spread.value, site.catches
    told = np.isfinite(trays_at.edge_distance_m)
    told |= trays_at.position_accuracy_m <= PLACED * band_m
    between, within = likely_scatter(model)
    usable = np.isfinite(model.mu) & (model.mu > 0) & (spread > 0)
    settings = site.settings
    trays = np.hypot(settings.u_tray, settings.u_catch_efficiency / settings.catch_efficiency)
    density = rates.density
    relative = density.u() / density.value
    density_u = float(np.median(relative[np.isfinite(relative)]))
    depth = rates.depth.value
    known = np.nan_to_num(depth) > 0

    def usual(part: Floats, of: Floats, default: float) -> float:
        return float(np.median(part[usable] / of[usable])) if usable.any() else default

    return Variances(
        between_surfaces=usual(between, model.mu, DEFAULT_SD),
        between_catches=usual(within, model.mu, DEFAULT_SD),
        shared_depth=float(np.median(ratio(_shared(rates.depth), depth)[known]))
        if known.any()
        else float(np.hypot(trays, density_u)),
        shared_balance=usual(
            _shared(balance.overthrow), spread, float(np.hypot(trays, DEFAULT_BAGS))
        ),
        edge_share=_edge_share(register, row, band_m),
        placed=bool(2 * np.count_nonzero(told) > len(told)),
        dressings=int(usable.sum()),
    )


def likely_scatter(model: DressingRates) -> tuple[Floats, Floats]:
    """σb and σe of each dressing; of single trays the half of their sum each.

    The rates take three quarters for either, so as not to be too sure of what can not be told.
    """
    likely = np.where(model.inseparable, np.sqrt(0.5 / INSEPARABLE_SHARE), 1.0)
    return model.sigma_b * likely, model.sigma_e * likely


def _shared(table: Estimates) -> Floats:
    """u of each row by all but what a design changes: sampling and edge taper."""
    parts = table.by_category()
    return np.sqrt(sum(part**2 for name, part in parts.items() if name not in ("sampling", TAPER)))


def _edge_share(register: AreaRegister, row: Ints, band_m: float) -> float:
    shapes = register.owned_plane[row]
    total = float(shapely.area(shapes).sum())
    return 1 - float(shapely.area(shapely.buffer(shapes, -band_m)).sum()) / total if total else 0.0


def design_power(variances: Variances, *, dressed: int, surfaces: Ints, catches: Ints) -> Power:
    """Power of designs (n,): ``catches`` on each of ``surfaces`` out of ``dressed`` equal ones.

    A caught surface's depth: sampling as the rates do it (random effects, best linear unbiased
    prediction), (1−w)σb² + (1−w)²·var μ with w = σb²/(σb² + σe²/n) and var μ = (σb² + σe²/n)/m.
    Of a single tray comes the edge taper, see ``_taper``. In sums it cancels but for chance and its
    mean; surfaces without catches have it where all m trays lie on one side. Of two trays one lies
    there. For the overthrow see ``_seen``.
    """
    by_rates = _sampling(variances, dressed, surfaces, catches)
    b2, e2 = by_rates.between, by_rates.catches / catches
    weight = b2 / (b2 + e2)
    own = (1 - weight) * b2 + (1 - weight) ** 2 * (b2 + e2) / surfaces
    freedom: Floats = ((surfaces if dressed > 1 else catches) + 1).astype(np.float64)
    band = variances.edge_share
    parts = _taper(band, variances.placed)
    mean, near, far = (np.where(catches == 1, part, 0.0) for part in parts)
    others = surfaces - 1
    alike = near * band**others + far * (1 - band) ** others  # all on one side
    summed = surfaces * (near + far) + (dressed**2 - surfaces**2) * alike
    of_sum = np.sqrt(summed + mean**2 * surfaces * others) / dressed
    of_depth = np.hypot(variances.shared_depth, np.sqrt(near + far))
    depth = _table(np.sqrt(own), of_depth, freedom).interval()
    return Power(
        surfaces=surfaces,
        catches=catches,
        overthrow=_seen(by_rates, np.hypot(variances.shared_balance, of_sum), freedom),
        depth=(depth.high - depth.low) / 2,
    )


def _taper(share: float, placed: bool) -> tuple[float, float, float]:
    """Edge taper of a single tray: mean, and what its squares come from near the edge and far in.

    It lies in the band along the edge, a ``share`` s of the ground, with the chance s: there it is
    −0.15·(1 − s), else 0.15·s, 0 in the mean. ``placed``, at any known distance x of the band's
    width h, it is −0.15·(max(1, 2·(1 − x/h)) − s) there: ``geosand.rates.edge_taper``.
    """
    mean, near = (-share / 4, 5 / 3 - 2.5 * share + share**2) if placed else (0.0, (1 - share) ** 2)
    return U_TAPER * mean, U_TAPER**2 * share * near, U_TAPER**2 * (1 - share) * share**2


class _Sampling(NamedTuple):
    """Sampling of designs (n,), variances relative to the mean rate."""

    between: Floats  # σb² and
    catches: Floats  # σe² as the rates will take them
    u: Floats  # of the sand on all surfaces, as the rates will tell it: expected
    swing: Floats  # standard deviation of that u, as few catches tell few variances
    of_rate: Floats  # share of u² that is a default of the rate found, and so errs with it
    true: Floats  # variance of the sand on all surfaces


def _sampling(variances: Variances, dressed: int, surfaces: Ints, catches: Ints) -> _Sampling:
    """What is so, and what the rates will take for so: ``geosand.rates.variance_components``.

    The site's variances are both what is so and what the rates begin with, at its weight. The mean
    of m surfaces with n catches each misses that of all M by σb²·(1/m − 1/M) + σe²/(m·n), whatever
    the weights w. A sum of squares of f degrees of freedom has the variance 2f·σ⁴.
    """
    b2, e2, weight = variances.between_surfaces**2, variances.between_catches**2, Prior().weight
    alone = (catches == 1) & (surfaces > 1)
    free_b = surfaces - 1
    free_e = np.where(alone, free_b, surfaces * (catches - 1))
    told_b = np.where(alone, INSEPARABLE_SHARE * (b2 + e2), b2 + e2 / catches)
    told_e = np.where(alone, told_b, e2)
    between = (weight * b2 + free_b * np.where(alone, told_b, b2)) / (weight + free_b)
    within = (weight * e2 + free_e * told_e) / (weight + free_e)
    of_b, of_e = 1 / surfaces - 1 / dressed, 1 / (surfaces * catches)
    square = between * of_b + within * of_e
    swing_b = of_b * told_b * np.sqrt(2 * free_b) / (weight + free_b)
    swing_e = of_e * told_e * np.sqrt(2 * free_e) / (weight + free_e)
    swing = np.where(alone, swing_b + swing_e, np.hypot(swing_b, swing_e)) / square
    default = weight * (b2 * of_b / (weight + free_b) + e2 * of_e / (weight + free_e))
    return _Sampling(
        between=between,
        catches=within,
        u=np.sqrt(square) * (1 - swing**2 / 8),
        swing=np.sqrt(square) * swing / 2,
        of_rate=default / square,
        true=b2 * of_b + e2 * of_e,
    )


def _seen(sampling: _Sampling, shared: Floats, freedom: Floats) -> Floats:
    """Overthrow (n,), a share f of the spread, whose interval lies above zero with POWER.

    The half-width H of the interval varies from dressing to dressing: f = E(H) + z·sd(error + H),
    the normal approximation of the non-central t distribution (Abramowitz & Stegun, 26.7.10: there
    t·(1 − 1/4ν) + z·√(1 + t²/2ν)), here also with sources of many degrees of freedom. Sampling is
    of what lies on the surfaces, 1 − f of the spread: f is found step by step from 0.
    """
    z = student_quantile(POWER, np.full(len(shared), np.inf))
    seen, first = np.zeros(len(shared)), None
    for _ in range(_STEPS):
        u = sampling.u * (1 - seen)
        table = _table(u, shared, freedom)
        half = table.interval().high
        slope = half * u / table.u() ** 2  # of H by u: H² is t² times the sum of both squares
        swing = slope * sampling.swing * (1 - seen)
        error = np.sqrt(sampling.true) * (1 - seen + slope * u * sampling.of_rate)
        next_one = half + z * np.sqrt(error**2 + shared**2 + swing**2)
        first = next_one if first is None else first
        seen = (first * seen + next_one) / (1 + first)  # what is asked falls by about first
    return seen


def _table(sampling: Floats, shared: Floats, freedom: Floats) -> Estimates:
    """Zeros with the two sources: half-widths are then those of any value."""
    return Estimates(
        value=np.zeros(len(sampling)),
        effects={"sampling": sampling, "shared": shared},
        degrees_of_freedom={"sampling": freedom},
    )
