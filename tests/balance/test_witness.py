"""The Monte Carlo witness beside the analytic intervals, on whole sites."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, NamedTuple

import numpy as np
import pytest

from geosand.balance.drawn_sources import numbered
from geosand.balance.witness import monte_carlo
from geosand.effects import category
from geosand.estimates import Estimates, Interval
from geosand.formats.site_folder import read_site
from geosand.results import work_out
from geosand.site.tables import Moistures
from tests.row_by_row import worked as worked_beside
from tests.simulation import simulate
from tests.sites import CATCHES, LOADS, TOML, catch, write_site


@pytest.fixture(scope="module")
def results(tmp_path_factory):
    folder = tmp_path_factory.mktemp("sites") / "one"
    simulate(folder, 3, surfaces=8, dressings=3, caught=5, catches_each=3, overthrow=0.05)
    return work_out(read_site(folder))


class Beside(NamedTuple):
    """Figures from draws beside the analytic ones."""

    mean: Any
    u: Any
    low: Any
    high: Any
    analytic: Any
    analytic_u: Any
    interval: Interval

    def difference(self):
        """The farther of the two bounds from the analytic one, over half the analytic width.

        JCGM 101:2008, 8.2, compares the same two distances with a numerical tolerance.
        """
        low, high, _ = self.interval
        return np.fmax(np.abs(self.low - low), np.abs(self.high - high)) / ((high - low) / 2)


def witness(found, **options):
    balance, depth = found.balance, found.rates.depth
    settings = {"seed": 1} | options
    made_of = {"site": found.site, "areas": found.areas, "rates": found.rates}
    drawn = monte_carlo(replace(balance, **made_of), **settings)
    analytic = {
        "on_surfaces": (balance.on_surfaces, balance.on_interval),
        "overthrow": (balance.overthrow, balance.interval),
        "depth": (depth, depth.interval(floor=0.0)),
    }
    beside = {
        name: Beside(*getattr(drawn, name), table.value, table.u(), interval)
        for name, (table, interval) in analytic.items()
    }
    return replace(drawn, **beside)


def with_effects(table, effects):
    """The table with these effects only."""
    return Estimates(
        value=table.value,
        effects=effects,
        per_row=table.per_row,
        degrees_of_freedom=table.degrees_of_freedom,
    )


def figures(found):
    return found.on_surfaces, found.overthrow, found.depth


def worked(folder, **files):
    return work_out(read_site(write_site(folder, **files)))


def test_u_agrees_with_the_first_order_for_normal_inputs(results):
    """From above: division by 1 + 0.03·z widens by about 0.2 %, and never narrows."""
    for one in figures(witness(results, student=False)):
        assert one.u / one.analytic_u == pytest.approx(np.ones(len(one.u)), abs=0.006)
        assert (one.u / one.analytic_u > 0.998).all()


def test_u_is_the_analytic_one_where_the_model_is_linear(results):
    """With a tenth of every u the divisions are straight: within 0.1 %, both ways."""

    def tenth(table):
        return with_effects(table, {k: 0.1 * v for k, v in table.effects.items()})

    site, rates, balance = results.site, results.rates, results.balance
    names = ("u_vertices_m2", "edge_accuracy_m", "edge_bias_m")
    errors = results.areas.errors
    errors = replace(errors, **{name: 0.1 * getattr(errors, name) for name in names})
    loads, water = site.loads, site.moistures
    loads = replace(loads, u_unit_mass_kg=0.1 * loads.u_unit_mass_kg, u_label=0.1 * loads.u_label)
    small = replace(
        results,
        site=replace(site, loads=loads, moistures=replace(water, u_ratio=0.1 * water.u_ratio)),
        areas=replace(results.areas, errors=errors),
        rates=replace(
            rates, rate=tenth(rates.rate), density=tenth(rates.density), depth=tenth(rates.depth)
        ),
        balance=replace(
            balance,
            on_surfaces=tenth(balance.on_surfaces),
            overthrow=tenth(balance.overthrow),
        ),
    )
    for one in figures(witness(small, student=False)):
        assert one.u / one.analytic_u == pytest.approx(np.ones(len(one.u)), abs=0.001)


def test_the_mean_rises_by_the_curvature_of_the_division(results):
    """E[1/(1 + u·z)] = 1 + u² to the second order, for tray, catch efficiency and density."""
    one = witness(results, student=False)
    settings = results.site.settings
    square = settings.u_tray**2 + settings.u_catch_efficiency**2
    assert one.on_surfaces.mean / one.on_surfaces.analytic - 1 == pytest.approx(
        np.full(3, square), abs=3e-4
    )
    square += (0.03 / 1.55) ** 2
    rise = one.depth.mean / one.depth.analytic - 1
    assert rise.mean() == pytest.approx(square, abs=2e-4)


def test_intervals_agree_with_students_t(results):
    """Within a tenth of the half-width: Welch–Satterthwaite is itself an approximation."""
    for one in figures(witness(results)):
        assert (one.difference() < 0.15).all()


def test_sampling_alone_is_a_scaled_t(results):
    """Without any other source the interval is value ± t·u, and the draws' u is √(ν/(ν − 2))·u."""
    rate = results.rates.rate
    only = {k: v for k, v in rate.effects.items() if category(k) == "sampling"}
    bare = with_effects(rate, only)
    known = with_effects(results.rates.density, {"none": np.zeros(1)})
    depth = bare.scaled(1 / known.value[0])
    rates = replace(results.rates, rate=bare, density=known, depth=depth)
    one = witness(replace(results, rates=rates), draws=20_000).depth
    assert one.difference().max() < 0.01
    freedom = rate.degrees_of_freedom["sampling"]
    assert one.u / one.analytic_u == pytest.approx(np.sqrt(freedom / (freedom - 2)), rel=0.01)


def test_against_the_whole_line_worked_out_again_for_each_draw(results):
    """Another route: settings and tables drawn, the site worked out anew, its values looked at.

    Tray, catch efficiency, density, water and labels only: what the trays sample and where the
    edges lie are taken out of the witness.
    """
    site, rates = results.site, results.rates
    rng = np.random.default_rng(4)
    over, depth = [], []
    for _ in range(250):
        z = rng.normal(size=5)
        settings = replace(
            site.settings,
            catch_efficiency=site.settings.catch_efficiency
            + site.settings.u_catch_efficiency * z[0],
        )
        trays = replace(
            site.catches,
            tray_area_m2=site.catches.tray_area_m2 * (1 + site.settings.u_tray * z[1]),
        )
        sands = replace(
            site.sands,
            bulk_density_kg_m3=site.sands.bulk_density_kg_m3
            + site.sands.u_bulk_density_kg_m3 * z[2],
        )
        water = replace(site.moistures, ratio=site.moistures.ratio + site.moistures.u_ratio * z[3])
        bags = replace(
            site.loads, unit_mass_kg=site.loads.unit_mass_kg * (1 + site.loads.u_label * z[4])
        )
        again = work_out(
            replace(
                site, settings=settings, catches=trays, sands=sands, moistures=water, loads=bags
            )
        )
        over.append(again.balance.overthrow.value)
        depth.append(again.rates.depth.value)
    shared = {k: v for k, v in rates.rate.effects.items() if category(k) != "sampling"}
    shared.pop("edge taper", None)
    quiet = shared | {"sampling": np.zeros(len(rates.rate))}
    loads = replace(site.loads, u_unit_mass_kg=np.zeros(len(site.loads)))
    still = replace(
        results.areas.errors,
        u_vertices_m2=np.zeros(8),
        edge_accuracy_m=np.zeros(8),
        edge_bias_m=np.zeros(8),
    )
    one = witness(
        replace(
            results,
            site=replace(site, loads=loads),
            areas=replace(results.areas, errors=still),
            rates=replace(rates, rate=with_effects(rates.rate, quiet)),
        )
    )
    # an sd from 250 draws is known within 4.5 %
    assert one.overthrow.u == pytest.approx(np.std(over, axis=0), rel=0.12)
    assert one.depth.u == pytest.approx(np.std(depth, axis=0), rel=0.12)


def test_water_shared_by_bags_and_trays_falls_out_of_the_overthrow(tmp_path):
    """Weighed with the same water, 3 ± 1 points, it changes spread and on surfaces alike."""
    shared = TOML.replace("percent = 0.0", "percent = 3.0").replace("percent = 0.2", "percent = 1")
    moist = worked(tmp_path / "moist", toml=shared)
    sure = worked(
        tmp_path / "sure",
        toml=shared.replace("u_moisture_percent = 1", "u_moisture_percent = 0.01"),
    )
    u = [witness(found, student=False).overthrow.u[0] for found in (moist, sure)]
    assert u[0] == pytest.approx(u[1], rel=0.01)
    dried = [row | {"moisture_dry_basis_percent": 0} for row in CATCHES]
    apart = worked(tmp_path / "apart", toml=shared, catches=dried)
    one = witness(apart, student=False).overthrow
    assert one.u[0] > 1.01 * u[1]
    assert one.u == pytest.approx(one.analytic_u, rel=0.01)


def test_loads_by_volume_take_no_water(tmp_path):
    load = "load,dressing,count,unit_volume_m3,loose_bulk_density_kg_m3,u_label_percent\n"
    wet = TOML.replace("percent = 0.0", "percent = 5.0").replace("percent = 0.2", "percent = 2")
    found = worked(tmp_path, toml=wet, loads=load + "L1,D1,1,0.85,1550,1\n")
    one = witness(found, student=False).overthrow
    assert one.u == pytest.approx(one.analytic_u, rel=0.01)


def test_water_that_is_the_mean_of_two_measurements_has_their_errors(results):
    """Half of each, of opposite sign in the trays of the one and the loads of the mean."""
    site = results.site
    water = Moistures(
        label=np.array(["moisture: a", "moisture: b", "moisture: mean"]),
        ratio=np.array([0.03, 0.05, 0.04]),
        u_ratio=np.array([0.02, 0.01, 0.0]),
        mixtures={2: [(0, 0.5), (1, 0.5)]},
    )
    loads = replace(site.loads, moisture=np.full(len(site.loads), 2))
    catches = replace(site.catches, moisture=np.zeros(len(site.catches), dtype=np.int64))
    sands = replace(site.sands, moisture=np.zeros_like(site.sands.moisture))
    found = work_out(replace(site, moistures=water, loads=loads, catches=catches, sands=sands))
    one = witness(found, student=False).overthrow
    assert one.u == pytest.approx(one.analytic_u, rel=0.01)


def test_a_stack_gives_each_site_what_it_gets_alone():
    """To the last digit, whatever the sites beside it are called, lack or have more of."""
    beside = worked_beside()
    together, site = witness(beside.together, draws=2000), beside.together.site
    known = 0
    for k, alone in enumerate(beside.alone):
        one = witness(alone, draws=2000)
        dressings = site.of_dressing == k
        rows = {"depth": dressings[site.dressed.dressing]}
        for name in ("on_surfaces", "overthrow", "depth"):
            mine, theirs = getattr(together, name), getattr(one, name)
            for column in ("mean", "u", "low", "high"):
                found = getattr(mine, column)[rows.get(name, dressings)]
                assert np.array_equal(found, getattr(theirs, column), equal_nan=True), (k, name)
                known += np.isfinite(found).sum()
    assert known > 400


def test_sources_are_numbered_alike_alone_and_in_a_stack():
    alone = numbered(["moisture: washed", "label: b 25 kg", "label: a 25 kg", "sampling"])
    stack = numbered([f"{kind}: {k}" for kind in ("moisture", "label") for k in range(3)])
    assert alone["moisture: washed"] == stack["moisture: 0"]
    assert [alone["label: a 25 kg"], alone["label: b 25 kg"]] == [
        stack["label: 0"],
        stack["label: 1"],
    ]
    several = numbered([*alone, *stack, "bags", "edge", "further", "edge: 2"])
    assert len(set(several.values())) == len(several)


def test_what_was_not_measured_stays_unknown(tmp_path):
    found = worked(
        tmp_path,
        dressings="dressing,date,surfaces\nD1,2026-04-10,green\nD2,2026-05-10,green\n"
        "D3,2026-06-10,green\n",
        loads=LOADS + "L2,D2,52,25,0.25,1\n",
        catches=[*CATCHES, *[catch(k, catch=f"d{k}", dressing="D3") for k in (1, 2, 3)]],
    )
    one = witness(found)
    # D1: both; D2: no catches; D3: no loads
    assert np.isfinite(one.overthrow.u).tolist() == [True, False, False]
    assert np.isfinite(one.on_surfaces.u).tolist() == [True, False, True]
    assert np.isfinite(one.depth.low).tolist() == [True, True, False, False, True, True]


def test_nothing_is_known_without_catches_and_without_loads(tmp_path):
    for name, files in (("catches", {"catches": None}), ("loads", {"loads": None})):
        one = witness(worked(tmp_path / name, **files))
        assert np.isnan(one.overthrow.u).all()
        assert np.isnan(one.on_surfaces.u).all() == (name == "catches")
        assert np.isnan(one.depth.high).all() == (name == "catches")


def test_low_bounds_of_masses_and_depths_stop_at_nothing(tmp_path):
    wild = [catch(k, gross_g=50 + grams) for k, grams in enumerate((1, 180, 5, 2, 150, 9), 1)]
    one = witness(worked(tmp_path, catches=wild))
    assert (one.depth.low == 0).all()
    assert one.overthrow.low[0] < 0


def test_the_witness_is_seeded(results):
    first, again, other = witness(results), witness(results), witness(results, seed=2)
    assert np.array_equal(first.overthrow.low, again.overthrow.low)
    assert not np.array_equal(first.overthrow.low, other.overthrow.low)
    assert other.overthrow.u == pytest.approx(first.overthrow.u, rel=0.02)


def test_a_table_without_a_source_is_found_out(results):
    """The witness can contradict: a balance that forgot what trays catch is told too narrow."""
    lean = {k: v for k, v in results.balance.on_surfaces.effects.items() if k != "catch efficiency"}
    table = with_effects(results.balance.on_surfaces, lean)
    assert isinstance(table, Estimates)
    balance = replace(results.balance, on_surfaces=table)
    one = witness(replace(results, balance=balance), student=False).on_surfaces
    assert (one.u / one.analytic_u > 1.05).all()
