"""The Monte Carlo witness beside the analytic intervals, on whole sites."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from geosand.balance.witness import monte_carlo
from geosand.estimates import Estimates, category
from geosand.formats.site_folder import read_site
from geosand.results import work_out
from tests.simulation import simulate
from tests.sites import CATCHES, LOADS, TOML, catch, write_site


@pytest.fixture(scope="module")
def results(tmp_path_factory):
    folder = tmp_path_factory.mktemp("sites") / "one"
    simulate(folder, 3, surfaces=8, dressings=3, caught=5, catches_each=3, overthrow=0.05)
    return work_out(read_site(folder))


def witness(found, **options):
    settings = {"seed": 1} | options
    return monte_carlo(found.site, found.areas, found.rates, found.balance, **settings)


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
        return replace(table, effects={k: 0.1 * v for k, v in table.effects.items()})

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
    bare = replace(rate, effects=only)
    known = replace(results.rates.density, effects={"none": np.zeros(1)})
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
            rates=replace(rates, rate=replace(rates.rate, effects=quiet)),
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
    table = replace(results.balance.on_surfaces, effects=lean)
    assert isinstance(table, Estimates)
    balance = replace(results.balance, on_surfaces=table, on_interval=table.interval(floor=0.0))
    one = witness(replace(results, balance=balance), student=False).on_surfaces
    assert (one.u / one.analytic_u > 1.05).all()
