"""Whole sites worked out a second time, from their files, one row at a time and with SciPy's t.

Areas, lengths of edges and the share of a surface that no catch saw are taken as they are found:
they have their own tests. All else is arithmetic of its own.
"""

from __future__ import annotations

import csv
import math
from collections import defaultdict
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pytest
from scipy import stats

from geosand.formats.site_folder import read_site
from geosand.rates.surface_rates import TAPER
from geosand.results import Results, work_out
from tests.simulation import U, simulate
from tests.test_coverage import DESIGNS

DENSITY, U_DENSITY, WATER = 1550.0, 30.0, 0.03
PRIOR, PRIOR_FREEDOM, MOST_FREEDOM = 0.08, 2.0, 8.0
SHARED = {  # relative effect on every rate: more of it, less sand
    "tray size": -U["tray"],
    "catch efficiency": -U["efficiency"],
    "moisture": -U["moisture"] / (1 + WATER),
}


class Caught(NamedTuple):
    """The catches of one dressing."""

    mean: dict[str, float]  #: by surface, kg/m²
    n: dict[str, int]
    middle: float  #: mean of the means
    variance: float  #: of the means
    within: float  #: sum of squares about them
    freedom: int  #: of it

    @classmethod
    def of(cls, rates: dict[str, list[float]]) -> Caught:
        mean = {s: sum(v) / len(v) for s, v in rates.items()}
        middle = sum(mean.values()) / len(mean)
        square = sum((m - middle) ** 2 for m in mean.values())
        variance = square / (len(mean) - 1) if len(mean) > 1 else 0.0
        freedom = sum(map(len, rates.values())) - len(mean)
        within = sum((y - mean[s]) ** 2 for s, v in rates.items() for y in v)
        if not freedom and len(mean) > 1:  # one catch on each: the two can not be told apart
            within, freedom = 0.75 * square, 0
        return cls(mean, {s: len(v) for s, v in rates.items()}, middle, variance, within, freedom)

    def between(self, error: float) -> float:
        """(m − 1) times the variance of the means beyond what the catches' error explains."""
        if not self.freedom:
            return self.within
        each = sum(1 / n for n in self.n.values()) / len(self.n)
        return (len(self.n) - 1) * max(0.0, self.variance - error * each)

    def tells(self) -> tuple[float, float, float, float]:
        """Relative squares between surfaces and between catches, each with its freedom."""
        error = _variance(self.within, self._freedom(), PRIOR**2 * self.middle**2, PRIOR_FREEDOM)
        square = self.middle**2
        return self.between(error) / square, len(self.n) - 1, self.within / square, self._freedom()

    def _freedom(self) -> float:
        return self.freedom or len(self.n) - 1

    def components(self, others: list[Caught]) -> tuple[float, float]:
        """Variances between surfaces and between catches."""
        told = np.array([o.tells() for o in others]).reshape(-1, 4).sum(axis=0).tolist()
        priors = []
        for square, freedom in (told[:2], told[2:]):
            total = PRIOR_FREEDOM + freedom
            relative = (PRIOR_FREEDOM * PRIOR**2 + square) / total
            priors += [relative * self.middle**2, min(total, MOST_FREEDOM)]
        error = _variance(self.within, self._freedom(), priors[2], priors[3])
        return _variance(self.between(error), len(self.n) - 1, priors[0], priors[1]), error


def _variance(squares: float, freedom: float, prior: float, weight: float) -> float:
    return (weight * prior + squares) / (weight + freedom)


class Rate(NamedTuple):
    """One surface of one dressing, kg/m²: value, and what makes it miss the truth."""

    value: float
    by_surface: np.ndarray  #: for one standard deviation of each surface's own deviation
    by_catches: np.ndarray  #: and of the mean of the catches on each

    def times(self, factor: float) -> Rate:
        return Rate(factor * self.value, factor * self.by_surface, factor * self.by_catches)

    @property
    def stays(self) -> float:
        return math.hypot(*self.by_surface)

    @property
    def new(self) -> float:
        return math.hypot(*self.by_catches)


def rates_of(caught: Caught, others: list[Caught], surfaces: list[str]) -> dict[str, Rate]:
    between, error = caught.components(others)
    total = {s: between + error / n for s, n in caught.n.items()}
    weights = sum(1 / v for v in total.values())
    mu = sum(caught.mean[s] / v for s, v in total.items()) / weights
    in_mean = np.array([1 / total[s] / weights if s in total else 0.0 for s in surfaces])
    out = {}
    for k, s in enumerate(surfaces):
        w = between / total[s] if s in total else 0.0
        value = w * caught.mean[s] + (1 - w) * mu if s in total else mu
        of_means = (1 - w) * in_mean + w * (np.arange(len(surfaces)) == k)
        by_surface = math.sqrt(between) * (of_means - (np.arange(len(surfaces)) == k))
        each = np.array([math.sqrt(error / caught.n.get(one, 1)) for one in surfaces])
        out[s] = Rate(value, by_surface, of_means * each)
    return out


def interval(value: float, sampling: float, freedom: float, other: float) -> tuple[float, float]:
    """Two variances; t of both together, and no narrower than that of sampling alone."""
    both = stats.t.ppf(0.975, (sampling + other) ** 2 * freedom / sampling**2)
    half = max(
        both * math.sqrt(sampling + other), stats.t.ppf(0.975, freedom) * math.sqrt(sampling)
    )
    return value - half, value + half


class Site(NamedTuple):
    """What is read by hand and what is taken as found."""

    dressings: list[str]
    caught: dict[str, Caught]
    rates: dict[str, dict[str, Rate]]
    loads: list[dict[str, str]]
    area: dict[str, float]
    edge: dict[str, float]
    vertices: dict[str, float]
    taper: dict[tuple[str, str], float]


def rows_of(path: Path) -> list[dict[str, str]]:
    return list(csv.DictReader(path.read_text().splitlines()))


def site_of(folder: Path, results: Results) -> Site:
    read: dict[str, dict[str, list[float]]] = defaultdict(lambda: defaultdict(list))
    for row in rows_of(folder / "catches.csv"):
        dry = (float(row["gross_g"]) - float(row["tare_g"])) / 1000 / (1 + WATER)
        area = float(row["tray_length_mm"]) * float(row["tray_width_mm"]) / 1e6
        read[row["dressing"]][row["surface"]].append(dry / area)
    caught = {d: Caught.of(v) for d, v in read.items()}
    dressings = rows_of(folder / "dressings.csv")
    spreader = {row["dressing"]: row.get("spreader") for row in dressings}
    surfaces = results.site.surfaces.id.tolist()
    rates = {}
    for d, mine in caught.items():
        others = [c for k, c in caught.items() if k != d and spreader[d] and spreader[k]]
        rates[d] = rates_of(mine, others, surfaces)
    site, found = results.site, results.rates.rate
    dressing, surface = site.dressings.id, site.surfaces.id
    columns = (dressing[site.dressed.dressing].tolist(), surface[site.dressed.surface].tolist())
    of = zip(*columns, strict=True)
    errors = results.areas.errors
    return Site(
        dressings=list(spreader),
        caught=caught,
        rates=rates,
        loads=rows_of(folder / "loads.csv"),
        area=dict(zip(surfaces, results.areas.area_m2.tolist(), strict=True)),
        edge=dict(zip(surfaces, errors.own_edge_m.tolist(), strict=True)),
        vertices=dict(zip(surfaces, errors.u_vertices_m2.tolist(), strict=True)),
        taper=dict(zip(of, (found.effects[TAPER] / found.value).tolist(), strict=True)),
    )


def sampling(parts: list[Rate]) -> float:
    """Variance of a sum over surfaces of one dressing."""
    by_surface, by_catches = (sum(p[k] for p in parts) for k in (1, 2))
    return float((by_surface**2).sum() + (by_catches**2).sum())


@pytest.fixture(scope="module", params=range(8))
def worked(request: Any, tmp_path_factory: pytest.TempPathFactory) -> tuple[Site, Results]:
    seed = request.param
    folder = tmp_path_factory.mktemp("site") / "one"
    surfaces, caught, each = DESIGNS[seed % 4]
    simulate(
        folder,
        4000 + seed,
        surfaces=surfaces,
        dressings=4,
        caught=caught,
        catches_each=each,
        overthrow=0.1 * (seed % 3),
        same_surfaces=seed < 4,
    )
    if seed % 2:  # one spreader: the dressings tell each other how catches scatter
        path = folder / "dressings.csv"
        head, *lines = path.read_text().splitlines()
        path.write_text("\n".join([f"{head},spreader", *[f"{line},drum" for line in lines]]) + "\n")
    results = work_out(read_site(folder))
    return site_of(folder, results), results


def test_rates_and_depths(worked: tuple[Site, Results]) -> None:
    site, results = worked
    depth, table = results.rates.depth, results.site.dressed
    found = depth.interval()
    shared = {**SHARED, "bulk density": -U_DENSITY / DENSITY}
    for row, (d, s) in enumerate(zip(table.dressing, table.surface, strict=True)):
        name, surface = str(results.site.dressings.id[d]), str(results.site.surfaces.id[s])
        rate = site.rates[name][surface]
        assert results.rates.rate.value[row] == pytest.approx(rate.value, rel=1e-12)
        relative = [*shared.values(), site.taper[name, surface]]
        other = sum((e * rate.value) ** 2 for e in relative) / DENSITY**2
        own = sampling([rate]) / DENSITY**2
        assert depth.u()[row] == pytest.approx(math.sqrt(own + other), rel=1e-10)
        low, high = interval(rate.value / DENSITY, own, len(site.caught[name].n) + 1, other)
        assert (found.low[row], found.high[row]) == pytest.approx((low, high), rel=1e-8)


def test_balances(worked: tuple[Site, Results]) -> None:
    site, results = worked
    balance = results.balance
    for k, name in enumerate(site.dressings):
        rates, load = site.rates[name], site.loads[k]
        gross = float(load["count"]) * float(load["unit_mass_kg"]) / (1 + WATER)
        bags = math.sqrt(float(load["count"])) * float(load["u_unit_mass_kg"]) / (1 + WATER)
        on = sum(r.value * site.area[s] for s, r in rates.items())
        assert balance.on_surfaces.value[k] == pytest.approx(on, rel=1e-12)
        drawn = sampling([r.times(site.area[s]) for s, r in rates.items()])
        effects = {name: effect * on for name, effect in SHARED.items()}
        effects["taper"] = sum(
            site.taper[name, s] * r.value * site.area[s] for s, r in rates.items()
        )
        effects["edge bias"] = U["bias"] * sum(r.value * site.edge[s] for s, r in rates.items())
        alone = {"edge": (U["edge"], site.edge), "vertices": (1.0, site.vertices)}
        for source, (u, extent) in alone.items():
            effects[source] = math.hypot(*(u * r.value * extent[s] for s, r in rates.items()))
        other = sum(e**2 for e in effects.values())
        assert balance.on_surfaces.u()[k] == pytest.approx(math.sqrt(drawn + other), rel=1e-9)
        # trays and bags hold the same water: of its error what is left acts on the difference
        effects["moisture"] = SHARED["moisture"] * (on - gross)
        effects |= {"bags": bags, "label": gross * float(load["u_label_percent"]) / 100}
        other = sum(e**2 for e in effects.values())
        freedom = len(site.caught[name].n) + 1
        low, high = interval(gross - on, drawn, freedom, other)
        assert balance.overthrow.value[k] == pytest.approx(gross - on, abs=1e-9 * on)
        assert balance.overthrow.u()[k] == pytest.approx(math.sqrt(drawn + other), rel=1e-9)
        bounds = (balance.interval.low[k], balance.interval.high[k])
        assert bounds == pytest.approx((low, high), abs=1e-8 * on)
        narrow = "closed" if (high - low) / 2 <= 0.1 * gross else "undecided"
        verdict = "overthrow" if low > 0 else "does not close" if high < 0 else narrow
        assert balance.verdict[k] == verdict


def test_the_season(worked: tuple[Site, Results]) -> None:
    site, results = worked
    ledger = results.ledger
    passed = (ledger.as_of - results.site.season_start) / np.timedelta64(1, "D")
    target = 0.005 * passed / ((results.site.season_end - results.site.season_start).astype(int))
    shared = [*SHARED.values(), -U_DENSITY / DENSITY]
    for k, row in enumerate(ledger.row):
        name = str(results.site.surfaces.id[row])
        parts = [site.rates[d][name].times(1 / DENSITY) for d in site.dressings]
        depth = sum(p.value for p in parts)
        # the catches are new each time; deviations of surfaces stay, each with what it does in
        # all dressings together, or are new as well, whichever is more
        stays = float((sum(p.by_surface for p in parts) ** 2).sum())
        drawn = max(stays, sum(p.stays**2 for p in parts)) + sum(p.new**2 for p in parts)
        of = list(zip(parts, site.dressings, strict=True))
        each = [(sampling([p]), len(site.caught[d].n) + 1) for p, d in of]
        freedom = sum(v for v, _ in each) / sum(v / nu for v, nu in each)
        taper = sum(site.taper[d, name] * p.value for p, d in of)
        other = sum((e * depth) ** 2 for e in shared) + taper**2
        u = math.sqrt(drawn + other)
        assert ledger.depth.value[k] == pytest.approx(depth, rel=1e-12)
        assert ledger.depth.u()[k] == pytest.approx(u, rel=1e-10)
        found = (ledger.interval.low[k], ledger.interval.high[k])
        assert found == pytest.approx(interval(depth, drawn, freedom, other), rel=1e-8)
        assert ledger.target_so_far_m[k] == pytest.approx(target, rel=1e-12)
        nu = u**4 * freedom / drawn**2
        below, within = (stats.t.cdf((f * target - depth) / u, nu) for f in (0.9, 1.1))
        chance = {
            "under-dressed": below,
            "on target": within - below,
            "over-dressed": 1 - within,
        }
        state = max(chance, key=chance.__getitem__)
        assert ledger.state[k] == state
        assert ledger.probability[k] == pytest.approx(chance[state], rel=1e-8)
