"""Which setting gives a rate: fitted to what was caught at the settings and speeds tried before."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from geosand.balance.account import Balance
from geosand.columns import Bools, Floats, Ints, Strings, freeze, ratio
from geosand.distributions import student_quantile
from geosand.errors import printable
from geosand.planning.setting_words import as_numbers
from geosand.site.tables import Site

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
class SettingFit:
    """Rate against opening = setting / speed at one swath, for one spreader and one sand.

    Errors of a rate are taken as a share of it, so that the line is fitted to rate / opening.
    """

    intercept_kg_m2: float  #: 0 where the line goes through the origin
    slope: float  #: kg/m² per unit of opening (setting per m/s); nan where nothing was tried
    scatter: float  #: standard deviation of rate / opening about the line; nan with one dressing
    degrees_of_freedom: int
    through_origin: bool
    tried: Floats  #: openings
    dressings: Ints  #: rows of Dressings
    left_out: tuple[str, ...]  #: sentences on dressings that could not be used
    words: tuple[str, str] = ("", "")  #: what stands before and after the number on the spreader
    speeds_said: bool = True  #: False: no speed on record, taken as the same each time
    by_word: tuple[CaughtAt, ...] = ()
    settings: tuple[float, ...] = ()  #: tried, as set on the spreader; () = only openings are known
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
        return f"{line}, from {n} dressings{speed}"

    @property
    def scatter_share(self) -> float:
        """95 % of further dressings lie within ± this share of the rate; nan = not known."""
        n = len(self.tried)
        if not self.degrees_of_freedom or not self.rises:
            return math.nan
        t = float(student_quantile(0.975, self.degrees_of_freedom))
        middle = self.slope + self.intercept_kg_m2 * float((1 / self.tried).mean())
        return t * self.scatter * math.sqrt(1 + 1 / n) / middle


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
    Where openings differ by more than ``BEYOND`` and that line does not rise, more sand did not
    come from a wider opening, whatever the numbers on the spreader mean.
    """
    z, q = 1 / opening, rate_kg_m2 / opening
    n = len(q)
    slope, intercept, freedom = float(q.mean()) if n else math.nan, 0.0, max(n - 1, 0)
    rest = float(((q - slope) ** 2).sum()) if n else 0.0
    spread = float(((z - z.mean()) ** 2).sum()) if n else 0.0
    through = rises = True
    if spread > 1e-12 * float((z**2).sum()):
        a = float(((z - z.mean()) * (q - slope)).sum() / spread)
        b = slope - a * float(z.mean())
        rises = b > 1e-9 * slope or float(opening.max()) <= (1 + BEYOND) * float(opening.min())
    if n >= 3 and spread > 1e-12 * float((z**2).sum()):
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
        dressings=np.arange(n),
        left_out=(),
        rises=rises,
    )


def site_setting(
    site: Site,
    balance: Balance,
    *,
    spreader: str,
    sand: int,
    as_of: np.datetime64,
    swath_m: float = math.nan,
) -> SettingFit:
    """The fit of one spreader and sand from a site's dressings up to ``as_of``, for one swath.

    What runs out at a setting is laid on twice the ground at twice the swath: a dressing at another
    swath counts with its opening times ``swath_m`` over its own, where both are known.

    A dressing counts with a setting that is a number, alone or between the same words as in the
    newest ("gate 3"), a speed, catches, and one planned depth (of several depths at one setting
    nobody knows how each was reached); the others are told. Where no dressing says its speed, it is
    taken as the same each time.
    """
    d = site.dressings
    mine = (d.spreader == spreader) & (d.sand == sand) & (d.date <= as_of)
    setting, words = as_numbers(d.setting, mine)
    rate = ratio(balance.on_surfaces.value, balance.dressed_area_m2)
    several = _several_depths(site)
    able = mine & ~several & (setting > 0) & (rate > 0)
    said = bool(np.isfinite(d.speed_m_s[able]).any()) or not able.any()
    speed = d.speed_m_s if said else np.ones(len(d))
    used = able & (speed > 0)
    by_word = mine & ~several & np.isnan(setting) & (d.setting != "") & (rate > 0)
    told = [
        f"{d.id[k]} is not used for the setting: "
        + (
            "its planned depths differ"
            if several[k]
            else _missing(str(d.setting[k]), setting[k], rate[k])
        )
        for k in np.flatnonzero(mine & ~used & ~by_word)
    ]
    rows = np.flatnonzero(used)
    wider = np.nan_to_num(swath_m / d.swath_m, nan=1.0)
    fit = fit_setting(setting[rows] / speed[rows] * wider[rows], rate[rows])
    return replace(
        fit,
        dressings=rows,
        left_out=tuple(told),
        words=words,
        speeds_said=said,
        by_word=_by_word(site, rate, by_word),
        settings=tuple(setting[rows].tolist()),
    )


def _several_depths(site: Site) -> Bools:
    """Dressings whose rows were planned with different depths."""
    size, group = len(site.dressings), site.dressed.dressing
    low, high = np.full(size, np.inf), np.full(size, -np.inf)
    np.fmin.at(low, group, site.dressed.planned_m)
    np.fmax.at(high, group, site.dressed.planned_m)
    different: Bools = high > low * (1 + 1e-9)
    return different


def _by_word(site: Site, rate: Floats, rows: Bools) -> tuple[CaughtAt, ...]:
    """Mean rate at each setting that is a word, and speed."""
    d = site.dressings
    found: dict[tuple[str, float], list[float]] = {}
    for k in np.flatnonzero(rows).tolist():
        speed = float(d.speed_m_s[k]) if d.speed_m_s[k] > 0 else 0.0
        found.setdefault((str(d.setting[k]), speed), []).append(float(rate[k]))
    return tuple(
        CaughtAt(
            setting=setting,
            speed_m_s=speed or math.nan,
            rate_kg_m2=sum(rates) / len(rates),
            dressings=len(rates),
        )
        for (setting, speed), rates in found.items()
    )


def settings_for(
    fit: SettingFit, rate_kg_m2: Floats, *, speed_m_s: float, beyond: float = BEYOND
) -> Settings:
    """Settings (n,) that give rates (n,) at one speed, with 95 % prediction intervals.

    x = (rate − a)/b; the interval holds the x whose predicted rate, with t·s·√(x²(1 + 1/n) +
    (1 − z̄x)²/Szz), z = 1/x (the last term only with an intercept), holds the rate asked for
    (Fieller 1954, as in inverse regression; from memory). An x beyond the tried ones by more than
    the share ``beyond`` is refused, and so is a setting beyond those set so far; where more passes
    over the surface bring both into their range, that many are proposed.
    Rates of 0 get no setting. Raises ValueError for a speed that is not above 0.
    """
    if not speed_m_s > 0:
        raise ValueError(f"speed {speed_m_s:g} m/s: it must be above 0 to tell a setting")
    n = len(rate_kg_m2)
    if not len(fit.tried) or not fit.rises:
        return _no_settings(fit, rate_kg_m2)
    least, most = fit.tried.min() * (1 - beyond), fit.tried.max() * (1 + beyond)
    times = np.arange(1, MOST_PASSES + 1)
    openings = (rate_kg_m2[:, None] / times - fit.intercept_kg_m2) / fit.slope
    inside = (openings >= least) & (openings <= most) & (rate_kg_m2 > 0)[:, None]
    of_opening = inside.any(axis=1)
    set_so_far = np.array(fit.settings or fit.tried * speed_m_s)
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
    n = len(rate_kg_m2)
    return Settings(
        setting=np.full(n, np.nan),
        low=np.full(n, np.nan),
        high=np.full(n, np.nan),
        passes=np.zeros(n, dtype=np.int64),
        needed=np.full(n, np.nan),
        why=np.where(rate_kg_m2 > 0, fit.said, "").astype(np.str_),
    )


def _tried(settings: Floats) -> str:
    ends = [f"{x:.3g}" for x in (settings.min(), settings.max())]
    return f"tried was {ends[0]}" if ends[0] == ends[1] else f"tried were {' to '.join(ends)}"


def _bounds(fit: SettingFit, rate: Floats, x: Floats) -> tuple[Floats, Floats]:
    """Roots of (rate − a − b·x)² = t²s²·(x²(1 + 1/n) + (1 − z̄x)²/Szz)."""
    if not fit.degrees_of_freedom:
        return np.full(len(x), np.nan), np.full(len(x), np.nan)
    n, z = len(fit.tried), 1 / fit.tried
    ts2 = (float(student_quantile(0.975, fit.degrees_of_freedom)) * fit.scatter) ** 2
    middle = 0.0 if fit.through_origin else float(z.mean())
    weight = 0.0 if fit.through_origin else 1 / float(((z - middle) ** 2).sum())
    r = rate - fit.intercept_kg_m2
    known = np.isfinite(x)
    # c2·x² + c1·x + c0 = 0
    c2 = fit.slope**2 - ts2 * (1 + 1 / n + middle**2 * weight)
    c1 = -2 * r * fit.slope + 2 * ts2 * middle * weight
    c0 = r**2 - ts2 * weight
    root = np.sqrt(np.maximum(c1**2 - 4 * c2 * c0, 0.0))
    if c2 > 0:
        low, high = (-c1 - root) / (2 * c2), (-c1 + root) / (2 * c2)
    else:  # the slope itself is not told from zero: no upper bound
        below = np.where(known, root - c1, 1.0)  # 0 where no sand is asked for
        low, high = 2 * c0 / below, np.full(len(x), np.inf)
    return np.where(known, np.maximum(low, 0.0), np.nan), np.where(known, high, np.nan)


def _missing(text: str, setting: float, rate: float) -> str:
    if not text:
        return "its setting is not said"
    if not setting > 0:
        return f"its setting {printable(text)!r} is no number above 0"
    return "its speed is not said" if rate > 0 else "it has no usable catches"
