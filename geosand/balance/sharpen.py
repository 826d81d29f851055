"""What would sharpen a figure most: its u worked out again as if one more thing were measured.

The effect of a source on a figure is proportional to the source's own u (GUM, JCGM 100:2008,
5.1.3), so that a better known source scales its effects; more catches change the sampling part,
which is worked out again from the variance components of the dressing with the new numbers of
catches. What a careful measurement comes to is common practice, no published source.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from geosand.areas.register import AreaRegister
from geosand.balance.reconciliation.telling import U_EDGE_M, U_EFFICIENCY, U_SCALE, U_TRAY, U_WATER
from geosand.columns import Bools, Floats, Ints, Strings, ratio
from geosand.effects import category
from geosand.errors import listed
from geosand.estimates import Estimates
from geosand.rates.surface_rates import TAPER, Rates, planned_scale
from geosand.site.tables import Site

MORE_CATCHES = 3
U_DENSITY = 0.01  #: relative, of a bulk density from three poured and weighed measures
SMALLEST_GAIN = 0.02  #: a smaller part of u is not worth a measurement
SAMPLING = "sampling"
NAMED = 4  #: surfaces of a sentence


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One thing that could be measured, and what it leaves of the effects of each source."""

    text: str
    leaves: Mapping[str, float]  #: factor by source or category; others stay


@dataclass(frozen=True, slots=True, kw_only=True)
class Sharpening:
    """Changes that would narrow one figure, the best first."""

    u: float
    text: tuple[str, ...]
    u_after: tuple[float, ...]

    def sentence(self, *, unit: str, factor: float = 1.0, digits: int = 0) -> str:
        """The best change in words with figures; the figure times ``factor`` is in ``unit``.

        >>> one = Sharpening(u=3.0, text=("weigh three bags",), u_after=(2.0,))
        >>> one.sentence(unit="kg")
        'weigh three bags would sharpen it most: ± 2 instead of ± 3 kg'
        """
        if not self.text:
            return "no single measurement would sharpen it noticeably"
        now, then = (f"{factor * u:.{digits}f}" for u in (self.u, self.u_after[0]))
        text = f"{self.text[0]} would sharpen it most: ± {then} instead of ± {now} {unit}"
        if len(self.text) > 1:
            text += f"; then: {self.text[1]} (± {factor * self.u_after[1]:.{digits}f} {unit})"
        return text


def sharpen(
    table: Estimates,
    changes: Iterable[Change],
    *,
    row: int = 0,
    smallest_gain: float = SMALLEST_GAIN,
) -> Sharpening:
    """u of one row of ``table`` under each change by itself, the smallest first.

    A change that takes away less than ``smallest_gain`` of u is left out.
    """
    figure = table.rows(np.array([row]))
    now = float(figure.u()[0])
    found = []
    for change in changes:
        after = float(replace(figure, effects=_left(figure, change)).u()[0])
        if after < (1 - smallest_gain) * now:
            found.append((after, change.text))
    found.sort()
    return Sharpening(
        u=now,
        text=tuple(text for _, text in found),
        u_after=tuple(u for u, _ in found),
    )


def sharpest(table: Estimates, changes: Iterable[Change]) -> str | None:
    """The change that narrows the intervals of all rows together most, in words.

    None where all take less than a measurement is worth. By intervals and not by u: with few
    catches t makes sampling weigh more, and the less so is known of the rest.
    """
    least, best = (1 - SMALLEST_GAIN) ** 2 * _squared_widths(table), None
    for change in changes:
        after = _squared_widths(replace(table, effects=_left(table, change)))
        if after < least:
            least, best = after, change.text
    return best


def _squared_widths(table: Estimates) -> float:
    ends = table.interval()
    return float(np.square(ends.high - ends.low).sum())


def _left(table: Estimates, change: Change) -> dict[str, Floats]:
    """The effects that a change leaves of a table's."""
    leaves = change.leaves
    return {
        source: effect * leaves.get(source, leaves.get(category(source), 1.0))
        for source, effect in table.effects.items()
    }


def changes(
    site: Site,
    register: AreaRegister,
    rates: Rates,
    *,
    dressings: Ints,
    surfaces: Ints | None = None,
    season: bool = False,
    called: Strings | None = None,
) -> list[Change]:
    """All changes that could sharpen a figure of ``dressings`` (rows): an overthrow, the sand on
    surfaces, or with ``surfaces`` (``ground`` indices) the depth of these alone; with ``season``
    a figure of the sum of all these dressings. Surfaces go by their id, or as ``called`` names
    them by ``ground`` index."""
    called = site.ids if called is None else called
    ground = site.surfaces.ground[site.dressed.surface]
    mine = np.isin(site.dressed.dressing, dressings)
    alone = mine if surfaces is None else mine & np.isin(ground, surfaces)
    weight = np.where(alone, register.area_m2[site.dressed.surface], 0.0)
    found = [
        _more_catches(site, rates, weight, mine, called, season=season),
        _edge_trays(site, rates, alone, called) or _edge_trays(site, rates, mine, called),
        *_weighed_bags(site, dressings),
        *_tested_trays(site),
        *_densities(site, rates, dressings),
        _surveyed_edges(site),
        *_moistures(site, dressings),
    ]
    return [one for one in found if one is not None]


def _tested_trays(site: Site) -> list[Change | None]:
    settings = site.settings
    relative = settings.u_catch_efficiency / settings.catch_efficiency
    test = "testing the trays' catch efficiency to ± 1 %"
    return [
        _scaled(test, "catch efficiency", U_EFFICIENCY, relative),
        _scaled("measuring the trays to ± 0.2 %", "tray size", U_TRAY, settings.u_tray),
    ]


def _densities(site: Site, rates: Rates, dressings: Ints) -> list[Change | None]:
    found = []
    for k in np.unique(site.dressings.sand[dressings]).tolist():
        name = str(site.sands.name[k])
        source = f"bulk density: {name}"
        effect = rates.density.effects.get(source, np.zeros(len(rates.density)))
        text = f"measuring the bulk density of {name or 'the sand'} three times"
        noise = U_DENSITY * float(rates.density.value[k])
        found.append(_scaled(text, source, noise, float(effect[k])))
    return found


def _surveyed_edges(site: Site) -> Change | None:
    """Of one survey: its bias and each surface's own edge."""
    largest = {
        "edge bias": float(site.surfaces.edge_bias_m.max(initial=0.0)),
        "edge": float(site.surfaces.edge_accuracy_m.max(initial=0.0)),
    }
    leaves = {k: U_EDGE_M / u for k, u in largest.items() if u > U_EDGE_M}
    return Change(text="surveying the mown edges to ± 2 cm", leaves=leaves) if leaves else None


def _scaled(text: str, source: str, noise: float, u: float) -> Change | None:
    return Change(text=text, leaves={source: noise / u}) if u > noise else None


def _moistures(site: Site, dressings: Ints) -> list[Change | None]:
    of_loads = site.loads.moisture[np.isin(site.loads.dressing, dressings)]
    of_catches = site.catches.moisture[np.isin(site.catches.dressing, dressings)]
    both = np.unique(np.concatenate([of_loads, of_catches]))
    found = []
    for k in both[both >= 0].tolist():
        label = str(site.moistures.label[k])
        text = f"weighing, drying and weighing sand ({label})"
        found.append(_scaled(text, label, U_WATER, float(site.moistures.u_ratio[k])))
    return found


def _weighed_bags(site: Site, dressings: Ints) -> list[Change | None]:
    loads = site.loads
    found = []
    for label in np.unique(loads.label[np.isin(loads.dressing, dressings)]).tolist():
        mine = loads.label == label
        each = float((loads.u_unit_mass_kg / loads.unit_mass_kg)[mine].max())
        noise = float(np.hypot(U_SCALE, each / np.sqrt(3)))
        text = f"weighing three bags or units of {label.removeprefix('label: ')}"
        found.append(_scaled(text, label, noise, float(loads.u_label[mine].max())))
    return found


def _edge_trays(site: Site, rates: Rates, mine: Bools, called: Strings) -> Change | None:
    """Trays on the side of the fall that none saw leave nothing of the taper's source."""
    taper = np.nan_to_num(rates.rate.effects.get(TAPER, np.zeros(len(rates.rate))))
    asked = []
    for side, text in ((taper > 0, "near the edge of"), (taper < 0, "farther in on")):
        blind = site.dressed.surface[mine & side & rates.own]
        names = called[np.unique(site.surfaces.ground[blind])].tolist()
        asked += [f"{text} {listed(names, NAMED)}"] if names else []
    if not asked:
        return None
    return Change(text=f"a tray {' and '.join(asked)}", leaves={TAPER: 0.0})


def _more_catches(
    site: Site, rates: Rates, weight: Floats, mine: Bools, called: Strings, *, season: bool
) -> Change | None:
    """Three more catches in each dressing: on the largest surfaces without any, else the scarcest.

    The same surfaces in every dressing, where they were dressed.
    """
    ground = site.surfaces.ground[site.dressed.surface]
    size = len(site.ids)
    wanted = mine & (weight > 0) & np.isfinite(rates.rate.value)
    if not wanted.any():
        return None
    catches = np.bincount(ground[wanted], rates.catches[wanted], size)
    area = np.bincount(ground[wanted], weight[wanted], size)
    bare = (area > 0) & (catches == 0)
    able = bare if bare.any() else area > 0
    order = np.lexsort((-area, ratio(catches, area, empty=np.inf)))
    chosen = order[able[order]][:MORE_CATCHES]
    each = np.zeros(size, dtype=np.int64)
    each[chosen] = MORE_CATCHES // len(chosen)
    each[chosen[: MORE_CATCHES % len(chosen)]] += 1
    extra = np.where(wanted, each[ground], 0)
    before = sampling_variance(site, rates, weight, rates.catches, season=season)
    after = sampling_variance(site, rates, weight, rates.catches + extra, season=season)
    old, new = before[np.isfinite(before)].sum(), after[np.isfinite(after)].sum()
    if not old > new:
        return None
    names = listed(called[chosen].tolist(), NAMED)
    what = f"three more catches on {f'surfaces without any ({names})' if bare.any() else names}"
    many = len(np.unique(site.dressed.dressing[wanted]))
    times = np.bincount(ground[wanted], minlength=size)[chosen]
    when = " in each dressing" if (times == many).all() else ", each time they are dressed,"
    return Change(
        text=what + (when if many > 1 else ""),
        leaves={SAMPLING: float(np.sqrt(new / old))},
    )


def sampling_variance(
    site: Site, rates: Rates, weight: Floats, catches: Ints, *, season: bool = False
) -> Floats:
    """Variance of Σ weight·rate from sampling, with ``catches`` on each dressed row: of each
    dressing (D,), or with ``season`` of the sum of all of them (1,).

    For yᵢ = μ + bᵢ + e and BLUPs with wᵢ = σb²/(σb² + σe²/nᵢ), weights aᵢ and
    var μ = 1/Σ 1/(σb² + σe²/nᵢ) over the surfaces with catches:
    Σ aᵢ²(1 − wᵢ)²σb² + Σ aᵢ²wᵢ²σe²/nᵢ + (Σ aᵢ(1 − wᵢ))²·var μ (the parts of
    :func:`geosand.rates.random_effects.rates_of_rows`); σb and σe stay as they are. Over a season
    what each surface's deviation does adds up, and the catches are new in each dressing
    (:mod:`geosand.rates.over_time`).
    """
    group, size = site.dressed.dressing, len(site.dressings)
    between = rates.model.sigma_b[group] ** 2
    per_catch = ratio(rates.model.sigma_e[group] ** 2, catches)
    caught = catches > 0
    own = np.where(caught, ratio(between, between + per_catch, empty=0.0), 0.0)
    gain = np.where(caught, ratio(1.0, between + per_catch, empty=0.0), 0.0)
    var_mu = ratio(1.0, np.bincount(group, gain, size))
    a = np.nan_to_num(weight * planned_scale(site))
    new = np.where(caught, (a * own) ** 2 * per_catch, 0.0)
    shared = np.bincount(group, a * (1 - own), size)
    if not season:
        lasting = (a * (1 - own)) ** 2 * between
        return np.bincount(group, lasting + new, size) + shared**2 * var_mu
    in_mean = (shared * var_mu)[group] * gain  # T·g
    deviation = np.nan_to_num((in_mean - a * (1 - own)) * np.sqrt(between))
    stays = np.bincount(site.surfaces.ground[site.dressed.surface], deviation) ** 2
    new = np.where(caught, (in_mean + a * own) ** 2 * per_catch, 0.0)
    return np.array([stays.sum() + np.nansum(new)])
