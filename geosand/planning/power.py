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
from geosand.rates.edge_taper import U_TAPER
from geosand.rates.surface_rates import TAPER, Rates
from geosand.site.tables import Site

DEFAULT_SD = 0.08  #: relative, of surfaces and of catches; the stated default of the rates
DEFAULT_BAGS = 0.01  #: relative, of what was spread; the stated default of the loads
POWER = 0.8  #: chance with which an overthrow just as large is seen; common in trial planning


@dataclass(frozen=True, slots=True, kw_only=True)
class Variances:
    """What a design's answer rests on, all relative to the mean rate or to what was spread."""

    between_surfaces: float
    between_catches: float
    shared_depth: float  #: of every depth: tray size, catch efficiency, bulk density, moisture
    shared_balance: float  #: of the overthrow, as a share of the spread: all but sampling
    edge_share: float  #: of ground within half a swath of an edge: place's second tray is there
    dressings: int  #: on which they stand; 0: defaults


@columns
class Power:
    """One row a design: ``catches`` on each of ``surfaces`` of the dressed ones."""

    surfaces: Ints
    catches: Ints  #: on each
    overthrow: Floats  #: smallest share of the spread that is told from zero with POWER
    depth: Floats  #: half-width of the 95 % interval of a caught surface's depth, relative


def site_variances(
    site: Site, register: AreaRegister, rates: Rates, balance: Balance, *, row: Ints, swath_m: float
) -> Variances:
    """Medians over the site's measured dressings; stated defaults where there is none.

    Of surfaces ``row`` comes how much ground lies within half a swath (nan: 1 m) of an edge; the
    edge taper of past dressings is left out, since the design says what of it stays.
    """
    in_band = _edge_share(register, row, swath_m / 2 if np.isfinite(swath_m) else EDGE_BAND_M)
    model, spread = rates.model, balance.spread.value
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
        between_surfaces=usual(model.sigma_b, model.mu, DEFAULT_SD),
        between_catches=usual(model.sigma_e, model.mu, DEFAULT_SD),
        shared_depth=float(np.median(ratio(_shared(rates.depth), depth)[known]))
        if known.any()
        else float(np.hypot(trays, density_u)),
        shared_balance=usual(
            _shared(balance.overthrow), spread, float(np.hypot(trays, DEFAULT_BAGS))
        ),
        edge_share=in_band,
        dressings=int(usable.sum()),
    )


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

    Sampling as the rates do it (random effects, best linear unbiased prediction): with w =
    σb²/(σb² + σe²/n) and var μ = (σb² + σe²/n)/m, the mean of all M surfaces has variance
    (m(1−w)σb² + (M−m)σb² + (m(1−w) + M − m)²·var μ)/M², and a caught surface's rate
    (1−w)σb² + (1−w)²·var μ; m + 1 degrees of freedom, n + 1 where one surface is dressed. A single
    tray lies outside the band along the edge with the chance 1 − s, s the band's share of the
    ground, and then the edge taper 0.15·s stays, also on surfaces without catches where none of the
    m trays sees the edge; of two trays one lies there. An overthrow is seen with chance 0.8 from
    (t₀.₉₇₅ + t₀.₈)·u (the usual sample-size rule, from memory).
    """
    b2, e2 = variances.between_surfaces**2, variances.between_catches**2 / catches
    weight = b2 / (b2 + e2)
    mean = (b2 + e2) / surfaces
    away = surfaces * (1 - weight) + dressed - surfaces
    total = (away * b2 + away**2 * mean) / dressed**2
    own = (1 - weight) * b2 + (1 - weight) ** 2 * mean
    freedom: Floats = ((surfaces if dressed > 1 else catches) + 1).astype(np.float64)
    missed = 1 - variances.edge_share
    taper = np.where(catches == 1, U_TAPER * variances.edge_share, 0.0)
    unseen = (surfaces * missed + (dressed - surfaces) * missed**surfaces) / dressed
    balance = _table(np.sqrt(total), np.hypot(variances.shared_balance, taper * unseen), freedom)
    low, _, effective = balance.interval()
    of_depth = np.hypot(variances.shared_depth, taper * np.sqrt(missed))
    depth = _table(np.sqrt(own), of_depth, freedom).interval()
    seen = -low + student_quantile(POWER, effective) * balance.u()
    return Power(
        surfaces=surfaces, catches=catches, overthrow=seen, depth=(depth.high - depth.low) / 2
    )


def _table(sampling: Floats, shared: Floats, freedom: Floats) -> Estimates:
    """Zeros with the two sources: half-widths are then those of any value."""
    return Estimates(
        value=np.zeros(len(sampling)),
        effects={"sampling": sampling, "shared": shared},
        degrees_of_freedom={"sampling": freedom},
    )
