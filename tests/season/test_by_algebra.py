"""u of rates, masses, totals, strips and depths so far, against plain linear algebra.

Sites are drawn: trays move or stay, weighed or measured by volume, sands and water differ, rows are
planned apart. Every input is one unit error. A figure is a linear form of them, built here from
the tables as read and the components of variance: BLUPs by a full covariance matrix, sums term by
term. What lasts of a surface's deviation is not known: of a season's figure the larger u of all
and of nothing is wanted.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Hashable, Iterable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from geosand.balance.strip_widths import strip_widths, strips_of
from geosand.balance.throw_shape import changes_of
from geosand.formats.site_folder import read_site
from geosand.results import Results, work_out
from geosand.season.ring_ledger import SHAPE
from geosand.season.totals import season_totals
from tests.sites import LAT, LON, collection, square, surface, table, write_site

TOML = """\
name = "Drawn"
season_start = 2026-03-01
season_end = 2026-11-30
boundary_accuracy_m = 0.05
edge_accuracy_m = {:.3f}
edge_bias_m = {:.3f}
position_accuracy_m = 0.5
[sands.a]
bulk_density_g_cm3 = 1.55
u_bulk_density_g_cm3 = 0.03
moisture_dry_basis_percent = 4.0
u_moisture_percent = 0.5
[sands.b]
moisture_dry_basis_percent = 6.0
u_moisture_percent = 0.7
sand_mass_fraction = 0.8
[catches]
u_tray_percent = 0.5
catch_efficiency_percent = 97
u_catch_efficiency_percent = 3.0
[targets_mm]
green = 9.0
tee = 9.0
"""
SEEDS = range(12)
Form = dict[Hashable, float]


def draw(folder: Path, seed: int) -> Results:
    """A site of 3 to 7 squares, some dressed and some caught on in each of 2 to 6 dressings."""
    rng = np.random.default_rng(seed)
    side = rng.uniform(15, 30, int(rng.integers(3, 8)))
    dressed: list[dict[str, Any]] = []
    catches: list[dict[str, Any]] = []
    loads: list[dict[str, Any]] = []
    for d in range(int(rng.integers(2, 7))):
        mine = sorted(rng.permutation(len(side))[: int(rng.integers(2, len(side) + 1))].tolist())
        plans = rng.uniform(0.4, 0.9, len(side)).round(2) if rng.random() < 0.6 else None
        head = {"dressing": f"D{d}", "date": f"2026-{4 + d:02d}-10", "sand": rng.choice(["a", "b"])}
        head |= {"swath_m": 3, "spreader": ("", "s")[seed % 2]}
        for k in mine:
            plan = "" if plans is None else plans[k]
            dressed.append(head | {"surfaces": f"g{k}", "planned_depth_mm": plan})
        for k in rng.permutation(mine)[: int(rng.integers(1, len(mine) + 1))].tolist():
            for _ in range(int(rng.integers(1, 6))):
                catches.append(_tray(rng, len(catches), f"D{d}", k))
        for unit in (25, 40)[: int(rng.integers(1, 3))]:
            row = {"load": f"L{d}-{unit}", "dressing": f"D{d}", "count": int(rng.integers(50, 90))}
            row |= {"unit_mass_kg": unit, "u_unit_mass_kg": 0.25, "u_label_percent": 1}
            loads.append(row | {"returned_kg": int(rng.integers(0, 20))})
    features = (
        surface(f"g{k}", ("green", "tee")[k % 2], square(LON + 0.002 * k, LAT, length))
        for k, length in enumerate(side)
    )
    write_site(
        folder,
        toml=TOML.format(*rng.uniform(0.05, 0.2, 2)),
        surfaces=collection(features),
        dressings=table(dressed),
        loads=table(loads),
        catches=table(catches),
    )
    return work_out(read_site(folder))


def _tray(rng: np.random.Generator, number: int, dressing: str, k: int) -> dict[str, Any]:
    """Weighed, or measured by volume, or both; some with a water content of their own."""
    east, north = rng.uniform(-6, 6, 2)
    row = {"catch": f"c{number}", "dressing": dressing, "surface": f"g{k}"}
    row |= {"lon": LON + 0.002 * k + 1.3e-5 * east, "lat": LAT + 9e-6 * north}
    row |= {"tray_length_mm": 400, "tray_width_mm": 250}
    gram, way = 90 * np.exp(rng.normal(0, 0.12)), rng.random()
    if way < 0.7:
        row |= {"tare_g": 50, "gross_g": f"{50 + gram:.2f}"}
        if rng.random() < 0.3:
            row |= {"moisture_dry_basis_percent": "2.5", "u_moisture_percent": "0.4"}
    if way > 0.5:
        row |= {"volume_cm3": f"{gram / 1.52:.2f}", "volume_state": "dry"}
    return row


def add(to: Form, form: Form, factor: float = 1.0) -> Form:
    for name, effect in form.items():
        to[name] = to.get(name, 0.0) + factor * effect
    return to


def square_of(forms: Iterable[float]) -> float:
    return float(sum(effect * effect for effect in forms))


def u_of(form: Form) -> float:
    return square_of(form.values()) ** 0.5


def u_of_season(forms: Iterable[Form]) -> float:
    """Deviations (named "z") last wholly or not at all, whichever is more; all else adds up."""
    forms, total = list(forms), Form()
    for form in forms:
        add(total, form)
    apart = square_of(v for k, v in total.items() if k[0] != "z")  # type: ignore[index]
    lasting = square_of(v for k, v in total.items() if k[0] == "z")  # type: ignore[index]
    anew = sum(square_of(v for k, v in f.items() if k[0] == "z") for f in forms)  # type: ignore[index]
    return float(apart + max(lasting, anew)) ** 0.5


class Algebra:
    """Linear forms of a site's figures: rate, depth and mass by dressed row, spread by dressing."""

    def __init__(self, results: Results) -> None:
        self.results, self.site = results, results.site
        self.value: dict[int, float] = {}
        self.rate, self.depth, self.mass = ({} for _ in range(3))
        self.spread: dict[int, Form] = defaultdict(Form)
        for d in range(len(self.site.dressings)):
            self._dressing(d)
        self._loads()

    def water(self, row: int) -> Form:
        """u of a water content by source: a mean of others has theirs."""
        book = self.site.moistures
        parts = book.mixtures.get(row, [(row, 1.0)])
        form = Form()
        for part, weight in parts:
            add(form, {str(book.label[part]): weight * float(book.u_ratio[part])})
        return form

    def _catch(self, c: int, sand: int) -> tuple[float, Form]:
        catches, settings = self.site.catches, self.site.settings
        density = self.results.rates.density
        area = catches.tray_area_m2[c] * settings.catch_efficiency
        if np.isfinite(catches.caught_kg[c]):
            wet = 1 + self.site.moistures.ratio[catches.moisture[c]]
            y = catches.caught_kg[c] / wet / area
            form = add(Form(), self.water(catches.moisture[c]), -y / wet)
        else:
            y = catches.volume_m3[c] / area * density.value[sand]
            form = {k: y * e[sand] / density.value[sand] for k, e in density.effects.items()}
        relative = settings.u_catch_efficiency / settings.catch_efficiency
        add(form, {"tray size": -y * settings.u_tray, "catch efficiency": -y * relative})
        return y, form

    def _dressing(self, d: int) -> None:
        site, rates, register = self.site, self.results.rates, self.results.areas
        rows, sand = np.flatnonzero(site.dressed.dressing == d), site.dressings.sand[d]
        planned = site.dressed.planned_m[rows]
        scale = planned / planned.mean() if np.isfinite(planned).all() else np.ones(len(rows))
        trays = np.flatnonzero((site.catches.dressing == d) & site.catches.used)
        on = np.searchsorted(rows, rates.assignment.dressed[trays])
        seen = [self._catch(c, sand) for c in trays.tolist()]
        y = np.array([one for one, _ in seen]) / scale[on]
        between, within = rates.model.sigma_b[d], rates.model.sigma_e[d]
        lies = np.eye(len(rows))[on]
        inverse = np.linalg.inv(between**2 * lies @ lies.T + within**2 * np.eye(len(y)))
        mean = inverse.sum(axis=0) / inverse.sum()
        gain = between**2 * lies.T @ inverse @ (np.eye(len(y)) - mean[None, :]) + mean
        ground = site.surfaces.ground[site.dressed.surface[rows]].tolist()
        for i, row in enumerate(rows.tolist()):
            own, form = scale[i] * gain[i], Form()
            value = float(own @ y)
            for c, (_, parts) in enumerate(seen):
                add(form, {("e", d, c): own[c] * within, ("z", ground[on[c]]): own[c] * between})
                add(form, parts, own[c] / scale[on[c]])
            add(form, {("z", ground[i]): -scale[i] * between})
            add(form, {"taper": rates.rate.effects["edge taper"][row]})
            density, s = rates.density, site.dressed.surface[row]
            depth = add(Form(), form, 1 / density.value[sand])
            for name, effect in density.effects.items():
                add(depth, {name: -value * effect[sand] / density.value[sand] ** 2})
            mass, edge = add(Form(), form, register.area_m2[s]), value * register.perimeter_m[s]
            add(mass, {("vertices", s): value * register.errors.u_vertices_m2[s]})
            add(mass, {("edge", s): edge * site.surfaces.edge_accuracy_m[s]})
            add(mass, {"bias": edge * site.surfaces.edge_bias_m[s]})
            self.value[row] = value
            self.rate[row], self.depth[row], self.mass[row] = form, depth, mass

    def _loads(self) -> None:
        loads = self.site.loads
        for k in range(len(loads)):
            wet = 1 + self.site.moistures.ratio[loads.moisture[k]]
            full = loads.count[k] * loads.unit_mass_kg[k] / wet
            net = full - (loads.returned_kg[k] + loads.spilled_kg[k]) / wet
            form = self.spread[int(loads.dressing[k])]
            bags = loads.count[k] ** 0.5 * loads.u_unit_mass_kg[k] / wet
            add(form, {("bag", k): bags, str(loads.label[k]): full * loads.u_label[k]})
            add(form, self.water(loads.moisture[k]), -net / wet)

    def over(self, d: int) -> Form:
        return add(add(Form(), self.spread[d]), self.on(d), -1.0)

    def on(self, d: int) -> Form:
        return self._sum(d, self.mass, np.ones(len(self.site.surfaces)))

    def strip(self, d: int) -> Form:
        """Of overthrow/W: both errors at once."""
        perimeter = self.results.areas.perimeter_m
        rows = np.flatnonzero(self.site.dressed.dressing == d).tolist()
        edge = sum(perimeter[self.site.dressed.surface[r]] * self.value[r] for r in rows)
        width = self.results.balance.overthrow.value[d] / edge
        form = add(Form(), self.over(d), 1 / edge)
        return add(form, self._sum(d, self.rate, perimeter), -width / edge)

    def _sum(self, d: int, forms: dict[int, Form], extent: Any) -> Form:
        total = Form()
        for row in np.flatnonzero(self.site.dressed.dressing == d).tolist():
            add(total, forms[row], extent[self.site.dressed.surface[row]])
        return total


@pytest.fixture(scope="module", params=SEEDS)
def algebra(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Algebra:
    folder = tmp_path_factory.mktemp("drawn")
    return Algebra(draw(folder / str(request.param), request.param))


def same(found: Any, wanted: Iterable[float]) -> None:
    np.testing.assert_allclose(np.asarray(found), list(wanted), rtol=1e-10)


def test_each_surface_of_each_dressing(algebra: Algebra) -> None:
    rates, balance = algebra.results.rates, algebra.results.balance
    rows = range(len(algebra.site.dressed))
    same(rates.rate.value, (algebra.value[r] for r in rows))
    same(rates.rate.u(), (u_of(algebra.rate[r]) for r in rows))
    same(rates.depth.u(), (u_of(algebra.depth[r]) for r in rows))
    same(balance.surface_mass.u(), (u_of(algebra.mass[r]) for r in rows))


def test_water_and_bulk_density_act_on_the_trays_that_they_were_used_for(algebra: Algebra) -> None:
    """Also of a surface whose trays were weighed beside one whose were measured by volume."""
    depth = algebra.results.rates.depth
    for name in (n for n in depth.sources if n.startswith(("moisture", "bulk density"))):
        wanted = [algebra.depth[r].get(name, 0.0) for r in range(len(depth))]
        np.testing.assert_allclose(depth.effects[name], wanted, rtol=1e-9, atol=1e-15)


def test_each_dressing(algebra: Algebra) -> None:
    balance, days = algebra.results.balance, range(len(algebra.site.dressings))
    same(balance.spread.u(), (u_of(algebra.spread[d]) for d in days))
    same(balance.on_surfaces.u(), (u_of(algebra.on(d)) for d in days))
    same(balance.overthrow.u(), (u_of(algebra.over(d)) for d in days))


def test_strip_of_each_dressing(algebra: Algebra) -> None:
    r, days = algebra.results, range(len(algebra.site.dressings))
    found = strips_of(r.site, r.areas, r.rates, r.balance.overthrow, r.site.dressed.dressing)
    same(found.width.u(), (u_of(algebra.strip(d)) for d in days))


def test_mean_strip_over_the_dressings(algebra: Algebra) -> None:
    """What lasts of the deviations in the weighted mean; the weights are those of the mean."""
    r = algebra.results
    usable = np.flatnonzero(r.balance.verdict != "does not close")
    widths = strip_widths(r.balance).width
    share = _weights(algebra, usable)
    forms = [
        add(Form(), {k: v for k, v in algebra.strip(d).items() if k[0] == "z"}, w)
        for d, w in zip(usable.tolist(), share, strict=True)
    ]
    same(np.abs(widths.effects["sampling: surface"]), [u_of_season(forms)] if forms else [])


def _weights(algebra: Algebra, usable: Any) -> Any:
    """1/(new + between²), found in three steps from equal weights as the docstring says."""
    strip = [algebra.strip(d) for d in usable.tolist()]
    r, perimeter = algebra.results, algebra.results.areas.perimeter_m
    edge = np.bincount(
        r.site.dressed.dressing, r.rates.rate.value * perimeter[r.site.dressed.surface]
    )
    each = (r.balance.overthrow.value / edge)[usable]
    new = np.array([square_of(v for k, v in f.items() if k[0] == "bag") for f in strip])
    new += np.array([_caught(algebra, f) for f in strip])
    mean, weight = each.mean() if len(each) else 0.0, np.zeros(0)
    for _ in range(3):
        known = 2 * ((0.25 * mean) ** 2 + new.mean()) + ((each - mean) ** 2).sum()
        weight = 1 / (new + known / (1 + len(each))) if len(each) else weight
        weight = weight / weight.sum()
        mean = (weight * each).sum()
    return weight


def _caught(algebra: Algebra, form: Form) -> float:
    return square_of(v for k, v in form.items() if k[0] == "e")


def test_rings_over_the_season(algebra: Algebra) -> None:
    """Overthrows of dressings have deviations in common: as much as falls beside each surface."""
    r, site = algebra.results, algebra.site
    balance, rings = r.balance, r.ledger.rings
    thrown = (balance.group_overthrow, balance.group_of_row, balance.throw)
    moved = changes_of(r.rates, *thrown)
    areas = (r.balance.throw.collar_area_m2, r.balance.throw.surrounds_area_m2)
    ground = site.surfaces.ground[site.dressed.surface]
    for k, (zone, g) in enumerate(zip(rings.zone.tolist(), rings.ground.tolist(), strict=True)):
        z = ("collar", "surrounds").index(zone)
        forms = []
        for row in np.flatnonzero((ground == g) & (areas[z] > 0)).tolist():
            d = int(site.dressed.dressing[row])
            sand = site.dressings.sand[d]
            per_kg = (
                site.sands.sand_mass_fraction[sand] / r.rates.density.value[sand] / areas[z][row]
            )
            over = {k: v for k, v in algebra.over(d).items() if k[0] == "z"}
            forms.append(add(Form(), over, moved.by_overthrow[z, row] * per_kg))
        found = rings.depth.effects["sampling: surface"][k]
        assert abs(found) == pytest.approx(u_of_season(forms), rel=1e-9, abs=1e-15)
    assert SHAPE in rings.depth.effects


def test_season_totals(algebra: Algebra) -> None:
    results, days = algebra.results, range(len(algebra.site.dressings))
    sums = season_totals(results.balance, np.ones(len(days), np.bool_))
    same(sums["spread"].u(), [u_of_season(algebra.spread[d] for d in days)])
    same(sums["on_surfaces"].u(), [u_of_season(algebra.on(d) for d in days)])
    same(sums["overthrow"].u(), [u_of_season(algebra.over(d) for d in days)])


def test_depth_so_far(algebra: Algebra) -> None:
    results, site = algebra.results, algebra.site
    ground = site.surfaces.ground[site.dressed.surface]
    fraction = site.sands.sand_mass_fraction[site.dressings.sand[site.dressed.dressing]]
    wanted = [
        u_of_season(
            add(Form(), algebra.depth[r], fraction[r])
            for r in np.flatnonzero(ground == site.surfaces.ground[row]).tolist()
        )
        for row in results.ledger.row
    ]
    same(results.ledger.depth.u(), wanted)
