"""Each error's column beside what its equations do when that figure is off by one u."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest

from geosand.balance.account import site_balance
from geosand.balance.reconciliation.candidates import candidates
from geosand.balance.reconciliation.equations import Point, equations
from geosand.balance.reconciliation.evidence import Evidence, evidence
from geosand.balance.reconciliation.second_witnesses import DensityWitness
from geosand.balance.stock import stock_witness
from geosand.rates.surface_rates import site_rates
from geosand.site.sand_tables import Deliveries, StockCounts, WeighedLoads
from geosand.site.tables import Site
from tests.balance.seasons import Plan, Season, season

STRIP_M = 0.8
WEIGHED = [0, 3]
LABEL_20, LABEL_25 = "label: dried 20 kg", "label: dried 25 kg"


@cache
def made() -> Season:
    """Six dressings, two kinds of bags, a bought stock; 105 kg of the third were brought back."""
    with TemporaryDirectory() as folder:
        one = season(Path(folder) / "site", Plan(bags=(20.0, 25.0)), 21)
    tickets = Deliveries(
        date=np.array(["2026-03-02", "2026-03-03"], dtype="datetime64[D]"),
        mass_kg=np.array([9000.0, 7000.0]),
        u_mass_kg=np.array([30.0, 40.0]),
        sand=np.array([0, 0]),
        ticket=np.array(["T1", "T2"]),
    )
    back = np.array([0.0, 0, 105, 0, 0, 0])
    loads = replace(one.site.loads, returned_kg=back)
    return replace(one, site=replace(one.site, deliveries=tickets, loads=loads))


def witnessed(change: Callable[[Site], Site], mass: float = 2500.0) -> Evidence:
    """The season's evidence with a changed site, two weighed loads and a counted stock."""
    one, site = made(), change(made().site)
    rates = site_rates(site, one.areas)
    counts = StockCounts(
        date=np.array(["2026-03-01", "2026-10-01"], dtype="datetime64[D]"),
        mass_kg=np.array([1000.0, mass]),
        u_mass_kg=np.array([12.0, 15.0]),
        sand=np.array([0, 0]),
    )
    held = (made().site.loads.count * made().site.loads.unit_mass_kg)[WEIGHED]
    weighed = WeighedLoads(
        load=np.array(WEIGHED), mass_kg=held * 1.01, u_mass_kg=np.array([4.0, 5.0])
    )
    site = replace(site, weighed=weighed, stock_counts=counts)
    balance = site_balance(site, one.areas, rates)
    return evidence(balance, stock=stock_witness(site))


@cache
def stated() -> tuple[Evidence, Point]:
    """The evidence as it is, and a point at which all that was spread landed."""
    one = witnessed(lambda site: site)
    on = one.spread.value - STRIP_M * one.edge_kg
    point = Point(
        strip_m=np.array([STRIP_M]), between_m=np.array([0.1]), edge_kg=one.edge_kg, on_kg=on
    )
    return one, point


def moved(other: Evidence) -> np.ndarray:
    """What the equations' residuals do (balance, weighed, stock), at the same point."""
    one, point = stated()
    return equations(other, point)[0] - equations(one, point)[0]


def of_loads(factor: np.ndarray) -> Callable[[Site], Site]:
    def change(site: Site) -> Site:
        loads = site.loads
        return replace(site, loads=replace(loads, unit_mass_kg=loads.unit_mass_kg * factor))

    return change


@pytest.mark.parametrize(("label", "kind"), [(LABEL_20, 0), (LABEL_25, 1)])
def test_a_label_acts_on_balances_weighings_and_stock_alike(label: str, kind: int) -> None:
    """All bags of one kind 1 % heavier."""
    here = np.arange(6) % 2 == kind
    change = moved(witnessed(of_loads(np.where(here, 1.01, 1.0))))
    assert equations(*stated())[2][label] == pytest.approx(change, rel=1e-9, abs=1e-9)
    assert np.count_nonzero(change) == 3 + 1 + 1


@pytest.mark.parametrize("load", [0, 1])
def test_bags_of_a_load_are_its_own(load: int) -> None:
    loads = made().site.loads
    # √n bags' worth of one bag's u: per bag u/√n
    share = loads.u_unit_mass_kg[load] / np.sqrt(loads.count[load]) / loads.unit_mass_kg[load]
    change = moved(witnessed(of_loads(np.where(np.arange(6) == load, 1 + share, 1.0))))
    column = equations(*stated())[2][f"bags: {loads.id[load]}"]
    assert column == pytest.approx(change, rel=1e-9, abs=1e-9)
    assert np.count_nonzero(column) == 2 + (load in WEIGHED)


def test_scales_counts_and_tickets_act_on_their_own_equations() -> None:
    one, point = stated()
    columns = equations(one, point)[2]
    balances = np.zeros(len(one.dressing))
    # more on the scale: the count and unit mass say less than it
    assert columns["weighing: L1"].tolist() == [*balances, -4.0, 0.0, 0.0]
    assert columns["weighing: L4"].tolist() == [*balances, 0.0, -5.0, 0.0]
    closing = moved(witnessed(lambda site: site, mass=2515.0))
    assert columns["closing count: dried"] == pytest.approx(closing, abs=1e-9)
    assert columns["opening count: dried"].tolist() == [*balances, 0.0, 0.0, -12.0]
    assert columns["tickets: dried"].tolist() == [*balances, 0.0, 0.0, -50.0]


def test_the_witnesses_residuals_by_hand() -> None:
    one, point = stated()
    residual, design, _ = equations(one, point)
    loads = one.site.loads
    mass = loads.count * loads.unit_mass_kg
    assert residual[6:8] == pytest.approx(-0.01 * mass[WEIGHED], rel=1e-9)
    # taken out + closing − opening − bought
    assert residual[8] == pytest.approx(mass.sum() - 105 + 2500 - 1000 - 16000, rel=1e-12)
    assert design[:, 0].tolist() == [*one.edge_kg, 0.0, 0.0, 0.0]


def test_errors_of_trays_grow_with_what_the_adjusted_figures_hold() -> None:
    """All trays off by 1 u of their efficiency: on the surfaces and beside them, every time."""
    one, point = stated()
    u = 0.03
    column = equations(one, point)[2]["catch efficiency"]
    landed = one.on_surfaces.value + STRIP_M * one.edge_kg
    # catches that keep u more: less sand landed than they say, on and beside
    assert column[:6] == pytest.approx(u * landed * one.spread.value / landed, rel=1e-9)
    assert not column[6:].any()


def test_each_days_throw_is_its_own() -> None:
    one, point = stated()
    columns = equations(one, point)[2]
    for row, d in enumerate(one.site.dressings.id.tolist()):
        wanted = np.where(np.arange(9) == row, -0.1 * np.append(one.edge_kg, np.zeros(3)), 0.0)
        assert columns[f"overthrow: {d}"] == pytest.approx(wanted)


def test_a_stated_and_a_measured_density_err_against_each_other() -> None:
    one, point = stated()
    column = [np.array([x]) for x in (1550.0, 30.0, 1580.0, 12.0, 0.9)]
    names = ("stated", "u_stated", "measured", "u_measured", "sigmas")
    density = DensityWitness(**dict(zip(names, column, strict=True)))
    with_density = replace(one, density=density, density_sand=np.array([0]))
    residual, _, columns = equations(with_density, point)
    assert residual[-1] == 30.0
    assert columns["bulk density: dried"].tolist() == [0.0] * 9 + [-30.0]
    assert columns["measured density: dried"].tolist() == [0.0] * 9 + [12.0]


def test_a_weighed_load_among_others_of_its_dressing_acts_as_its_mass_does() -> None:
    """L1 and L2 were both spread in D1: 1 kg more in L1 enters its weighing, balance and stock."""

    def change(kg: float) -> Callable[[Site], Site]:
        def together(site: Site) -> Site:
            loads = replace(site.loads, dressing=np.array([0, 0, 2, 3, 4, 5]))
            unit = loads.unit_mass_kg + np.where(np.arange(6) == 0, kg / loads.count, 0.0)
            return replace(site, loads=replace(loads, unit_mass_kg=unit))

        return together

    one, other = witnessed(change(0.0)), witnessed(change(1.0))
    point = Point(
        strip_m=np.array([STRIP_M]),
        between_m=np.array([0.1]),
        edge_kg=one.edge_kg,
        on_kg=one.spread.value - STRIP_M * one.edge_kg,
    )
    found = candidates(one, made().areas, point)
    (row,) = np.flatnonzero(found.name == "load L1")
    acts = equations(other, point)[0] - equations(one, point)[0]
    assert np.count_nonzero(np.abs(acts) > 1e-9) == 3
    assert found.direction[:, row] == pytest.approx(acts, abs=1e-9)
    # it held no less than nothing, and its weighing is 1 % above what its bags make
    held = float((made().site.loads.count * made().site.loads.unit_mass_kg)[0])
    assert (found.stated[row], found.lowest[row]) == pytest.approx((held, -held), rel=1e-12)
    assert found.highest[row] > 0.01 * held
    # in dressings of one load the load is the dressing, and is no input of its own
    assert "load L4" not in found.name.tolist()


def test_an_input_with_one_error_acts_as_that_error_does() -> None:
    """Loads by volume; trays of two greens by their mass too, of the others by volume alone."""

    def by_volume(site: Site) -> Site:
        catches = site.catches
        volume = catches.caught_kg / 1600.0
        kg = np.where(catches.declared < 2, catches.caught_kg, np.nan)
        loads = replace(site.loads, by_volume=np.ones(6, dtype=np.bool_))
        caught = replace(catches, caught_kg=kg, volume_m3=volume)
        return replace(site, catches=caught, loads=loads)

    one, (_, point) = witnessed(by_volume), stated()
    columns, found = equations(one, point)[2], candidates(one, made().areas, point)
    tried = []
    for row, errors in enumerate(found.errors):
        for source, u in errors.items() if len(errors) == 1 else ():
            tried.append(source)
            assert found.direction[:, row] * u == pytest.approx(columns[source], rel=1e-9), source
    assert np.count_nonzero(columns["bulk density: dried"]) == 6 + 1
    assert np.count_nonzero(columns["moisture: dried"]) == 6 + len(WEIGHED) + 1
    assert {"bulk density: dried", "weighing: L1", "moisture: dried"} <= set(tried)
