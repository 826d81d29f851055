"""Which setting gives a rate: fitted to what was caught at the settings and speeds tried before."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from geosand.balance.account import Balance
from geosand.columns import Floats, Ints, Strings, freeze
from geosand.distributions import student_quantile
from geosand.site.tables import Site

#: How far past the tried settings a rate may be asked for, as a share; our own choice.
BEYOND = 0.25
MOST_PASSES = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class SettingFit:
    """Rate against opening = setting / speed, for one spreader and one sand.

    Errors of a rate are taken as a share of it, so that the line is fitted to rate / opening.
    """

    intercept_kg_m2: float  #: 0 where the line goes through the origin
    slope: float  #: kg/m² per unit of opening (setting per m/s); nan where nothing was tried
    scatter: float  #: standard deviation of rate / opening about the line; nan with one dressing
    degrees_of_freedom: int
    through_origin: bool
    tried: Floats  #: openings
    caught_kg_m2: Floats
    dressings: Ints  #: rows of Dressings
    left_out: tuple[str, ...]  #: sentences on dressings that could not be used

    @property
    def said(self) -> str:
        """How the fit was made, in words."""
        n = len(self.tried)
        if n == 0:
            return "no past dressing tells the setting"
        if n == 1:
            return "plain ratio to the one dressing on record; its scatter is not known"
        line = "a line through the origin" if self.through_origin else "a line with an intercept"
        return f"{line}, from {n} dressings"


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """Settings for rates; one row a rate asked for."""

    setting: Floats  #: per pass; nan where refused
    low: Floats  #: 95 % prediction interval; nan with one dressing
    high: Floats  #: inf where the data set no upper bound
    passes: Ints  #: times over the surface at this setting; 0 where refused or not asked for
    needed: Floats  #: in one pass, also where that is refused; nan = not known or not asked for
    why: Strings  #: why refused; "" = not refused

    def __post_init__(self) -> None:
        freeze(self)


def fit_setting(opening: Floats, rate_kg_m2: Floats) -> SettingFit:
    """Fit rate = b·x, or a + b·x where the data support an intercept; x = ``opening``, above 0.

    Relative errors are equal, so weights are 1/x²: rate/x = b + a/x by ordinary least squares. The
    intercept is kept where there are at least three dressings at two openings or more and its
    |t| exceeds Student's 97.5 % quantile with n − 2 degrees of freedom, and the slope stays above
    zero. Weighted least squares: e.g. Draper & Smith, Applied Regression Analysis (from memory).
    """
    z, q = 1 / opening, rate_kg_m2 / opening
    n = len(q)
    slope, intercept, freedom = float(q.mean()) if n else math.nan, 0.0, max(n - 1, 0)
    rest = float(((q - slope) ** 2).sum()) if n else 0.0
    spread = float(((z - z.mean()) ** 2).sum()) if n else 0.0
    through = True
    if n >= 3 and spread > 1e-12 * float((z**2).sum()):
        a = float(((z - z.mean()) * (q - slope)).sum() / spread)
        b = slope - a * float(z.mean())
        left = float(((q - b - a * z) ** 2).sum())
        limit = float(student_quantile(0.975, n - 2))
        if b > 0 and abs(a) > limit * math.sqrt(left / (n - 2) / spread):
            through, slope, intercept, rest, freedom = False, b, a, left, n - 2
    return SettingFit(
        intercept_kg_m2=intercept,
        slope=slope,
        scatter=math.sqrt(rest / freedom) if freedom else math.nan,
        degrees_of_freedom=freedom,
        through_origin=through,
        tried=opening,
        caught_kg_m2=rate_kg_m2,
        dressings=np.arange(n),
        left_out=(),
    )


def site_setting(
    site: Site, balance: Balance, *, spreader: str, sand: int, as_of: np.datetime64
) -> SettingFit:
    """The fit of one spreader and sand from a site's dressings up to ``as_of``.

    A dressing counts with a setting that is a number, a speed, catches, and one planned depth (of
    several depths at one setting nobody knows how each was reached); the others are told.
    """
    from dataclasses import replace

    d, size = site.dressings, len(site.dressings)
    setting = np.array([_number(text) for text in d.setting.tolist()])
    with np.errstate(invalid="ignore", divide="ignore"):
        rate = balance.on_surfaces.value / balance.dressed_area_m2
        opening = setting / d.speed_m_s
    planned, group = site.dressed.planned_m, site.dressed.dressing
    low, high = np.full(size, np.inf), np.full(size, -np.inf)
    np.fmin.at(low, group, planned)
    np.fmax.at(high, group, planned)
    mine = (d.spreader == spreader) & (d.sand == sand) & (d.date <= as_of)
    several = high > low * (1 + 1e-9)
    useless = ~(opening > 0) | ~(rate > 0)
    told = [
        f"{d.id[k]} is not used for the setting: "
        + ("its planned depths differ" if several[k] else _missing(setting[k], d.speed_m_s[k]))
        for k in np.flatnonzero(mine & (several | useless))
    ]
    rows = np.flatnonzero(mine & ~several & ~useless)
    fit = fit_setting(opening[rows], rate[rows])
    return replace(fit, dressings=rows, left_out=tuple(told))


def settings_for(
    fit: SettingFit, rate_kg_m2: Floats, *, speed_m_s: float, beyond: float = BEYOND
) -> Settings:
    """Settings (n,) that give rates (n,) at one speed, with 95 % prediction intervals.

    x = (rate − a)/b; the interval holds the x whose predicted rate, with t·s·√(x²(1 + 1/n) +
    (1 − z̄x)²/Szz), z = 1/x (the last term only with an intercept), holds the rate asked for
    (Fieller 1954, as in inverse regression; from memory). An x beyond the tried ones by more than
    the share ``beyond`` is refused; where more passes over the surface bring it into the range,
    that many are proposed.
    Rates of 0 get no setting. Raises ValueError for a speed that is not above 0.
    """
    if not speed_m_s > 0:
        raise ValueError(f"speed {speed_m_s:g} m/s: it must be above 0 to tell a setting")
    n = len(rate_kg_m2)
    if not len(fit.tried):
        nothing = np.full(n, np.nan)
        why = np.where(rate_kg_m2 > 0, fit.said, "").astype(np.str_)
        zero = np.zeros(n, dtype=np.int64)
        low, high, needed = nothing.copy(), nothing.copy(), nothing.copy()
        return Settings(setting=nothing, low=low, high=high, passes=zero, needed=needed, why=why)
    least, most = fit.tried.min() * (1 - beyond), fit.tried.max() * (1 + beyond)
    times = np.arange(1, MOST_PASSES + 1)
    openings = (rate_kg_m2[:, None] / times - fit.intercept_kg_m2) / fit.slope
    inside = (openings >= least) & (openings <= most) & (rate_kg_m2 > 0)[:, None]
    first = inside.argmax(axis=1)
    able = inside.any(axis=1)
    x = np.where(able, openings[np.arange(n), first], np.nan)
    low, high = _bounds(fit, rate_kg_m2 / times[first], x)
    ends = [f"{x * speed_m_s:.3g}" for x in (fit.tried.min(), fit.tried.max())]
    tried = f"tried was {ends[0]}" if ends[0] == ends[1] else f"tried were {' to '.join(ends)}"
    needed = openings[:, 0] * speed_m_s
    words = [
        f"needs {value:.3g}; {tried} at this speed, and {beyond * 100:.0f} % beyond is allowed"
        for value in needed.tolist()
    ]
    return Settings(
        setting=x * speed_m_s,
        low=low * speed_m_s,
        high=high * speed_m_s,
        passes=np.where(able, times[first], 0),
        needed=np.where(rate_kg_m2 > 0, needed, np.nan),
        why=np.where(able | ~(rate_kg_m2 > 0), "", words).astype(np.str_),
    )


def _bounds(fit: SettingFit, rate: Floats, x: Floats) -> tuple[Floats, Floats]:
    """Roots of (rate − a − b·x)² = t²s²·(x²(1 + 1/n) + (1 − z̄x)²/Szz)."""
    if not fit.degrees_of_freedom:
        return np.full(len(x), np.nan), np.full(len(x), np.nan)
    n, z = len(fit.tried), 1 / fit.tried
    ts2 = (float(student_quantile(0.975, fit.degrees_of_freedom)) * fit.scatter) ** 2
    middle = 0.0 if fit.through_origin else float(z.mean())
    weight = 0.0 if fit.through_origin else 1 / float(((z - middle) ** 2).sum())
    r = rate - fit.intercept_kg_m2
    # c2·x² + c1·x + c0 = 0
    c2 = fit.slope**2 - ts2 * (1 + 1 / n + middle**2 * weight)
    c1 = -2 * r * fit.slope + 2 * ts2 * middle * weight
    c0 = r**2 - ts2 * weight
    root = np.sqrt(np.maximum(c1**2 - 4 * c2 * c0, 0.0))
    if c2 > 0:
        low, high = (-c1 - root) / (2 * c2), (-c1 + root) / (2 * c2)
    else:  # the slope itself is not told from zero: no upper bound
        low, high = 2 * c0 / (-c1 + root), np.full(len(x), np.inf)
    known = np.isfinite(x)
    return np.where(known, np.maximum(low, 0.0), np.nan), np.where(known, high, np.nan)


def _number(text: str) -> float:
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        return math.nan
    return value if math.isfinite(value) else math.nan


def _missing(setting: float, speed: float) -> str:
    if math.isnan(setting):
        return "its setting is no number"
    return "its speed is not said" if math.isnan(speed) else "it has no usable catches"
