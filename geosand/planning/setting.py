"""Which setting gives a rate: fitted to what was caught at the settings and speeds tried before."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from geosand.columns import Floats, Ints, Strings, columns
from geosand.distributions import student_quantile
from geosand.planning.setting_line import (
    RowErrors,
    left_open,
    levels_of,
    line_of_differences,
    line_of_levels,
    more_closely,
    within,
)

#: How far past the tried settings a rate may be asked for, as a share; our own choice.
BEYOND = 0.25
MOST_PASSES = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class CaughtAt:
    """What a setting that is a word, not a number, gave."""

    setting: str
    speed_m_s: float  #: nan = not said
    rate_kg_m2: float  #: mean of its dressings
    dressings: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Tried:
    """Surfaces of a dressing that were set and driven alike."""

    setting: float
    speed_m_s: float  #: nan = not said
    swath_m: float  #: nan = not said
    rate_kg_m2: float
    u_rate_kg_m2: float  #: of the rate that the setting gives, from catches alone
    surfaces: tuple[str, ...]  #: ids


@dataclass(frozen=True, slots=True, kw_only=True)
class SettingFit:
    """Rate against opening = setting / speed at one swath, for one spreader and one sand.

    Errors of a rate are taken as a share of it, so that the line is fitted to rate / opening.
    """

    intercept_kg_m2: float  #: 0 where the line goes through the origin
    slope: float  #: kg/m² per unit of opening (setting per m/s); nan where nothing was tried
    scatter: float  #: standard deviation of dressings' rate / opening about the line; nan of one
    degrees_of_freedom: float  #: of the scatter; 0 with one dressing
    through_origin: bool
    u_intercept_kg_m2: float  #: what the line may turn by; 0 where the scatter holds that too
    freedom_of_intercept: float
    middle: float  #: mean of the dressings' 1 / opening, about which the line turns
    count: int  #: dressings
    tried: Floats  #: openings; one row a setting of a dressing
    dressings: Ints  #: rows of Dressings, as ``tried``
    left_out: tuple[str, ...] = ()  #: sentences on dressings that could not be used
    words: tuple[str, str] = ("", "")  #: what stands before and after the number on the spreader
    speeds_said: bool = True  #: False: no speed on record, taken as the same each time
    by_word: tuple[CaughtAt, ...] = ()
    at: tuple[Tried, ...] = ()  #: what was tried, as ``tried``; () = only openings are known
    rises: bool = True  #: False: a higher setting did not give more, so that none can be told

    @property
    def said(self) -> str:
        """How the fit was made, in words."""
        n = len(self.tried)
        if n == 0:
            return "no past dressing tells the setting"
        speed = "" if self.speeds_said else "; no speed is on record: taken as the same each time"
        if not self.rises:
            return (
                "higher settings did not give more sand so far: look whether the numbers fall as it"
                " opens, or were noted wrongly"
            )
        if n == 1:
            return f"plain ratio to the one dressing on record; its scatter is not known{speed}"
        line = "a line through the origin" if self.through_origin else "a line with an intercept"
        if self.count == 1:
            return (
                f"{line}, from {n} settings in one dressing; how much dressings differ is not"
                f" known{speed}"
            )
        settings = f"{n} settings in " if n > self.count else ""
        return f"{line}, from {settings}{self.count} dressings{speed}"

    @property
    def scatter_share(self) -> float:
        """95 % of further dressings lie within ± this share of the rate; nan = not known."""
        if not self.degrees_of_freedom or not self.rises:
            return math.nan
        t = float(student_quantile(0.975, self.degrees_of_freedom))
        of_middle = self.slope + self.intercept_kg_m2 * self.middle
        return t * self.scatter * math.sqrt(1 + 1 / self.count) / of_middle


@columns
class Settings:
    """Settings for rates; one row a rate asked for."""

    setting: Floats  #: per pass; nan where refused
    low: Floats  #: 95 % prediction interval; nan with one dressing
    high: Floats  #: inf where the data set no upper bound
    passes: Ints  #: times over the surface at this setting; 0 where refused or not asked for
    needed: Floats  #: in one pass, also where that is refused; nan = not known or not asked for
    why: Strings  #: why refused; "" = not refused


def fit_setting(opening: Floats, rate_kg_m2: Floats, errors: RowErrors | None = None) -> SettingFit:
    """Fit rate = b·x, or a + b·x where the data support an intercept; x = ``opening``, above 0.

    Errors are a share of the rate, so that rate/x = b + a/x is fitted. A dressing has an error of
    its own that all its rows share, the same variance s² for each; the rows of one differ by
    what their catches may be off (``errors``; None: each row is a dressing). So a dressing's level,
    the mean of its rows by 1/variance, is one observation with variance s², and the differences
    within it, with their covariance, are others, of a alone, that do not depend on the levels
    (recovery of inter-block information: Yates 1940; from memory). Levels are fitted by ordinary
    least squares of rate/x, e.g. Draper & Smith, Applied Regression Analysis (from memory).

    The intercept is kept where its |t| exceeds Student's 97.5 % quantile and the slope stays above
    zero; with one row a dressing that takes three dressings at two openings or more. Where it is
    not kept, what the differences leave open of it stays in the interval.
    Where openings differ by more than ``BEYOND`` and that line does not rise, more sand did not
    come from a wider opening, whatever the numbers on the spreader mean.
    """
    rows = len(opening)
    if errors is None:
        errors = RowErrors(np.arange(rows), np.diag(rate_kg_m2**2), np.ones(rows))
    z, q = 1 / opening, rate_kg_m2 / opening
    relative = errors._replace(covariance=errors.covariance * np.outer(z, z))
    level, differences = levels_of(z, q, relative), within(z, q, relative)
    by_levels = line_of_levels(level)
    line = more_closely(by_levels, line_of_differences(level, differences))
    told = abs(line.intercept) > line.half_width
    rises = line.rises or (by_levels.rises and not told)
    rises = rises or float(opening.max()) <= (1 + BEYOND) * float(opening.min())
    kept = told and line.at_origin > 0
    if not kept:
        freedom = max(len(level.q) - 1, 0)
        rest = float(((level.q - line.slope) ** 2).sum())
        scatter = math.sqrt(rest / freedom) if freedom else math.nan
        line = line._replace(
            intercept=0.0,
            u=left_open(level, differences, scatter) if differences.information else 0.0,
            freedom=differences.freedom,
            scatter=scatter,
            freedom_of_scatter=freedom,
        )
    return SettingFit(
        intercept_kg_m2=line.intercept,
        slope=line.at_origin,
        scatter=line.scatter,
        degrees_of_freedom=line.freedom_of_scatter,
        through_origin=not kept,
        u_intercept_kg_m2=line.u,
        freedom_of_intercept=line.freedom,
        middle=line.middle,
        count=len(level.q),
        tried=opening,
        dressings=errors.dressing,
        rises=rises,
    )


def settings_for(
    fit: SettingFit, rate_kg_m2: Floats, *, speed_m_s: float, beyond: float = BEYOND
) -> Settings:
    """Settings (n,) that give rates (n,) at one speed, with 95 % prediction intervals.

    x = (rate − a)/b; the interval holds the x whose predicted rate, with √(t²s²·x²(1 + 1/n) +
    t²u(a)²·(1 − z̄x)²), n dressings with a mean z̄ of 1/x, holds the rate asked for
    (Fieller 1954, as in inverse regression; from memory). An x beyond the tried ones by more than
    the share ``beyond`` is refused, and so is a setting beyond those set so far; where more passes
    over the surface bring both into their range, that many are proposed.
    Rates of 0 get no setting.
    """
    n = len(rate_kg_m2)
    if not len(fit.tried) or not fit.rises:
        return _no_settings(fit, rate_kg_m2)
    least, most = fit.tried.min() * (1 - beyond), fit.tried.max() * (1 + beyond)
    times = np.arange(1, MOST_PASSES + 1)
    openings = (rate_kg_m2[:, None] / times - fit.intercept_kg_m2) / fit.slope
    inside = (openings >= least) & (openings <= most) & (rate_kg_m2 > 0)[:, None]
    of_opening = inside.any(axis=1)
    set_so_far = np.array([one.setting for one in fit.at] or fit.tried * speed_m_s)
    lowest, highest = set_so_far.min() * (1 - beyond), set_so_far.max() * (1 + beyond)
    inside &= (openings * speed_m_s >= lowest) & (openings * speed_m_s <= highest)
    first = inside.argmax(axis=1)
    able = inside.any(axis=1)
    x = np.where(able, openings[np.arange(n), first], np.nan)
    low, high = _bounds(fit, rate_kg_m2 / times[first], x)
    needed = np.maximum(openings[:, 0] * speed_m_s, 0.0)  # 0: too much even where it is shut
    rates, sets = _tried(fit.tried * speed_m_s), _tried(set_so_far)
    words = [
        f"needs {value:.3g}; {f'{sets} at other speeds' if able else f'{rates} at this speed'},"
        f" and {beyond * 100:.0f} % beyond is allowed"
        for value, able in zip(needed.tolist(), of_opening.tolist(), strict=True)
    ]
    return Settings(
        setting=x * speed_m_s,
        low=low * speed_m_s,
        high=high * speed_m_s,
        passes=np.where(able, times[first], 0),
        needed=np.where(rate_kg_m2 > 0, needed, np.nan),
        why=np.where(able | ~(rate_kg_m2 > 0), "", words).astype(np.str_),
    )


def _no_settings(fit: SettingFit, rate_kg_m2: Floats) -> Settings:
    setting, low, high, needed = np.full((4, len(rate_kg_m2)), np.nan)
    return Settings(
        setting=setting,
        low=low,
        high=high,
        passes=np.zeros(len(rate_kg_m2), dtype=np.int64),
        needed=needed,
        why=np.where(rate_kg_m2 > 0, fit.said, "").astype(np.str_),
    )


def _tried(settings: Floats) -> str:
    ends = [f"{x:.3g}" for x in (settings.min(), settings.max())]
    return f"tried was {ends[0]}" if ends[0] == ends[1] else f"tried were {' to '.join(ends)}"


def _half_width(u: float, freedom: float) -> float:
    return float(student_quantile(0.975, freedom)) * u if u else 0.0


def _bounds(fit: SettingFit, rate: Floats, x: Floats) -> tuple[Floats, Floats]:
    """Roots of (rate − a − b·x)² = t²s²·x²(1 + 1/n) + t²u(a)²·(1 − z̄x)²."""
    if not fit.degrees_of_freedom:
        return np.full(len(x), np.nan), np.full(len(x), np.nan)
    scatter = _half_width(fit.scatter, fit.degrees_of_freedom) ** 2
    turn = _half_width(fit.u_intercept_kg_m2, fit.freedom_of_intercept) ** 2
    r = rate - fit.intercept_kg_m2
    known = np.isfinite(x)
    # c2·x² + c1·x + c0 = 0
    c2 = fit.slope**2 - scatter * (1 + 1 / fit.count) - turn * fit.middle**2
    c1 = -2 * r * fit.slope + 2 * turn * fit.middle
    c0 = r**2 - turn
    root = np.sqrt(np.maximum(c1**2 - 4 * c2 * c0, 0.0))
    if c2 > 0:
        low, high = (-c1 - root) / (2 * c2), (-c1 + root) / (2 * c2)
    else:  # the slope itself is not told from zero: no upper bound, nor a lower where 0 fits too
        bounded = known & (c0 > 0)
        low = np.where(bounded, 2 * c0 / np.where(bounded, root - c1, 1.0), 0.0)
        high = np.full(len(x), np.inf)
    return np.where(known, np.maximum(low, 0.0), np.nan), np.where(known, high, np.nan)
