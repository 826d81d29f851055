"""What was caught at each setting, speed and swath that a spreader was driven with."""

from __future__ import annotations

import math
import re
from collections import Counter
from dataclasses import replace

import numpy as np

from geosand.areas.register import AreaRegister
from geosand.columns import Bools, Floats, Ints, Strings
from geosand.errors import listed, listed_dressings, printable
from geosand.planning.setting import CaughtAt, SettingFit, Tried, fit_setting
from geosand.planning.setting_line import RowErrors
from geosand.rates.catch_rows import counted_on
from geosand.rates.random_effects import SurfaceRates, rates_of_rows
from geosand.rates.surface_rates import Rates, planned_scale
from geosand.site.tables import Site
from geosand.tuples import NamedTuple

MOST_NAMED = 8  #: surfaces, or dressings, of a sentence
_ONE_NUMBER = re.compile(r"([^\d.,+-]*)(\d+(?:[.,]\d+)?)([^\d.,+-]*)", re.ASCII)


class _Rows(NamedTuple):
    """Dressed surfaces of one dressing, setting, speed and swath; in order of dressing."""

    of: Ints  #: row of these of each row of Dressed
    dressing: Ints
    text: Strings  #: the setting as written
    setting: Floats  #: its number; nan = none
    speed_m_s: Floats
    swath_m: Floats
    alone: Bools  #: the only ones of their dressing
    several_depths: Bools  #: planned with different depths


def site_setting(
    site: Site,
    register: AreaRegister,
    rates: Rates,
    *,
    spreader: str,
    sand: int,
    as_of: np.datetime64,
    swath_m: float = math.nan,
) -> SettingFit:
    """The fit of one spreader and sand from a site's dressings up to ``as_of``, for one swath.

    What runs out at a setting is laid on twice the ground at twice the swath: a dressing at another
    swath counts with its opening times ``swath_m`` over its own, where both are known.

    Surfaces of a dressing count together with a setting that is a number, alone or between the same
    words as in the newest ("gate 3"), a speed, catches on them, and one planned depth (of several
    depths at one setting nobody knows how each was reached); the others are told. Where no dressing
    says its speed, it is taken as the same each time.
    """
    d, of = site.dressings, site.dressed.dressing
    mine = (d.spreader == spreader) & (d.sand == sand) & (d.date <= as_of)
    number, words = as_numbers(site.dressed.setting, mine[of])
    rows = _rows(site, number)
    found = _rates_of(site, rates, rows)
    rate = _mean_rate(site, register, rows, found.value * planned_scale(site))
    mine = mine[rows.dressing]
    able = mine & ~rows.several_depths & (rows.setting > 0) & (rate > 0)
    said = bool(np.isfinite(rows.speed_m_s[able]).any()) or not able.any()
    speed = rows.speed_m_s if said else np.ones(len(rate))
    used = able & (speed > 0)
    by_word = mine & ~rows.several_depths & np.isnan(rows.setting) & (rows.text != "") & (rate > 0)
    kept = np.flatnonzero(used)
    wider = np.nan_to_num(swath_m / rows.swath_m, nan=1.0)
    errors = _errors(site, rows, found, kept)
    fit = fit_setting(rows.setting[kept] / speed[kept] * wider[kept], rate[kept], errors)
    return replace(
        fit,
        left_out=_left_out(site, rows, rate, np.flatnonzero(mine & ~used & ~by_word)),
        words=words,
        speeds_said=said,
        by_word=_by_word(rows, rate, np.flatnonzero(by_word)),
        at=tuple(
            Tried(
                setting=float(rows.setting[k]),
                speed_m_s=float(rows.speed_m_s[k]),
                swath_m=float(rows.swath_m[k]),
                rate_kg_m2=float(rate[k]),
                u_rate_kg_m2=math.sqrt(errors.covariance[n, n]),
                surfaces=_surfaces(site, rows, k),
            )
            for n, k in enumerate(kept.tolist())
        ),
    )


def _rows(site: Site, number: Floats) -> _Rows:
    """Rows of dressings set and driven alike, by the ``number`` in each setting, else its text."""
    dressed = site.dressed
    text = np.where(np.isnan(number), dressed.setting, "")
    columns = [dressed.dressing, text, number, dressed.speed_m_s, dressed.swath_m]
    codes = [np.unique(column, return_inverse=True)[1] for column in columns]
    _, first, of = np.unique(np.stack(codes), axis=1, return_index=True, return_inverse=True)
    of, dressing = of.reshape(-1), dressed.dressing[first]
    low, high = np.full(len(first), np.inf), np.full(len(first), -np.inf)
    np.fmin.at(low, of, dressed.planned_m)
    np.fmax.at(high, of, dressed.planned_m)
    return _Rows(
        of=of,
        dressing=dressing,
        text=dressed.setting[first],
        setting=number[first],
        speed_m_s=dressed.speed_m_s[first],
        swath_m=dressed.swath_m[first],
        alone=np.bincount(dressing, minlength=len(site.dressings))[dressing] == 1,
        several_depths=high > low * (1 + 1e-9),
    )


def _rates_of(site: Site, rates: Rates, rows: _Rows) -> SurfaceRates:
    """The model of random effects with ``rows`` in place of dressings.

    What another setting gave tells nothing of a surface; where each dressing has one it is the
    rates' own.
    """
    where, planned = rates.assignment.dressed, planned_scale(site)
    counts = rates.each.counts & (where >= 0)
    counted = counted_on(where, site.catches.dressing, rates.each.rate_kg_m2, counts)
    code = np.unique(site.dressings.spreader, return_inverse=True)[1]
    spreader = np.where(site.dressings.spreader == "", -1, code)[rows.dressing]
    y = counted.rate_kg_m2 / planned[counted.row]
    return rates_of_rows(y, counted.row, spreader, rows.of)


def _mean_rate(site: Site, register: AreaRegister, rows: _Rows, rate: Floats) -> Floats:
    """Rate (kg/m²) over the ground of each of ``rows``; nan where nothing was caught."""
    area, size = register.area_m2[site.dressed.surface], len(rows.dressing)
    ground = np.bincount(rows.of, area, size)
    return np.bincount(rows.of, rate * area, size) / np.where(ground > 0, ground, np.nan)


def _errors(site: Site, rows: _Rows, found: SurfaceRates, kept: Ints) -> RowErrors:
    """Errors of the rates of the rows ``kept`` as what their settings give.

    A surface that differs from the others does so each time, and so what it adds to one row it adds
    to its rows in other dressings.
    """
    model, scale = found.dressings, planned_scale(site)
    share = found.in_mean * scale
    persistent = np.zeros((len(rows.dressing), len(site.ids)))
    ground = site.surfaces.ground[site.dressed.surface]
    persistent[rows.of, ground] = share * model.sigma_b[rows.of]
    new = share**2 * model.sigma_e[rows.of] ** 2 / np.maximum(found.n, 1)
    own = np.bincount(rows.of, new, len(rows.dressing))[kept]
    lasting = persistent[kept]
    return RowErrors(
        dressing=rows.dressing[kept],
        covariance=lasting @ lasting.T + np.diag(own),
        freedom=model.degrees_of_freedom[kept],
    )


def _surfaces(site: Site, rows: _Rows, k: int) -> tuple[str, ...]:
    return tuple(site.surfaces.id[site.dressed.surface[rows.of == k]].tolist())


def _by_word(rows: _Rows, rate: Floats, worded: Ints) -> tuple[CaughtAt, ...]:
    """Mean rate at each setting that is a word, and speed."""
    found: dict[tuple[str, float], list[float]] = {}
    for k in worded.tolist():
        speed = float(rows.speed_m_s[k]) if rows.speed_m_s[k] > 0 else 0.0
        found.setdefault((str(rows.text[k]), speed), []).append(float(rate[k]))
    return tuple(
        CaughtAt(
            setting=setting,
            speed_m_s=speed or math.nan,
            rate_kg_m2=sum(each) / len(each),
            dressings=len(each),
        )
        for (setting, speed), each in found.items()
    )


def _left_out(site: Site, rows: _Rows, rate: Floats, left: Ints) -> tuple[str, ...]:
    """A sentence for each reason, with the dressings (or their surfaces) that are not used."""
    told: dict[tuple[str, str], list[str]] = {}
    for k in left.tolist():
        name = str(site.dressings.id[rows.dressing[k]])
        if not rows.alone[k]:
            name += f" on {listed(_surfaces(site, rows, k), MOST_NAMED)}"
        told.setdefault(_reason(rows, rate, k), []).append(name)
    return tuple(
        f"{listed_dressings(names, MOST_NAMED)} {'is' if len(names) == 1 else 'are'} not used:"
        f" {one if len(names) == 1 else several}"
        for (one, several), names in told.items()
    )


def _reason(rows: _Rows, rate: Floats, k: int) -> tuple[str, str]:
    """Why a row is not used, of one and of several."""
    text = str(rows.text[k])
    if rows.several_depths[k]:
        return "its planned depths differ", "their planned depths differ"
    if not text:
        return "its setting is not said", "their settings are not said"
    if not rows.setting[k] > 0:
        no = f"setting {printable(text)!r} is no number above 0"
        return f"its {no}", f"their {no}"
    if rate[k] > 0:
        return "its speed is not said", "their speeds are not said"
    return "it has no usable catches", "they have no usable catches"


def as_numbers(texts: Strings, rows: Bools) -> tuple[Floats, tuple[str, str]]:
    """The number in each text (n,), and the words before and after it that all of them share.

    Among ``rows`` the newest (last) text with a number in it tells the words; a text with other
    words or with several numbers ("2-3") is nan, and so are the other rows.

    >>> as_numbers(np.array(["gate 3", "Gate 4,5", "wide open"]), np.ones(3, dtype=bool))
    (array([3. , 4.5, nan]), ('gate ', ''))
    """
    matches = [_ONE_NUMBER.fullmatch(text.strip()) for text in texts.tolist()]
    out = np.full(len(texts), np.nan)
    family = [(k, m) for k, m in enumerate(matches) if m and rows[k]]
    if not family:
        return out, ("", "")
    newest = family[-1][1]
    same = _plain(newest[1], newest[3])
    first = Counter((m[1], m[3]) for _, m in family if _plain(m[1], m[3]) == same)
    for k, match in family:
        if _plain(match[1], match[3]) == same:
            out[k] = float(match[2].replace(",", "."))
    return out, next(iter(first))


def _plain(before: str, after: str) -> tuple[str, str]:
    return " ".join(before.split()).casefold(), " ".join(after.split()).casefold()
