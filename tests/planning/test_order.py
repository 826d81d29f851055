"""Sand to order: assurance, stock, bags and loads."""

from dataclasses import replace

import numpy as np
import pytest

from geosand.balance.stock import stock_on_hand
from geosand.distributions import student_quantile
from geosand.planning.order import last_unit, split_by_load
from tests.planning.orders import DAY, EXACT, known_strip, ordered, width_of
from tests.sites import CATCHES, DRESSINGS, TOML


def test_overthrow_of_the_one_dressing_comes_back_for_the_same_dressing(worked):
    """D1: 1300 kg spread; the strip that held its overthrow holds it again at another rate."""
    results = worked()
    strip = width_of(results)
    rate, perimeter = results.rates.rate.value, np.array([80.0, 120.0])
    assert strip.width_m * (rate * perimeter).sum() == pytest.approx(
        results.balance.overthrow.value[0], rel=1e-4
    )
    _, order = ordered(results)
    # 0.775 kg/m2 along 80 + 120 m of edge
    assert order.overthrow_dry.value[0] == pytest.approx(strip.width_m * 155.0, rel=1e-4)
    assert order.on_surfaces_dry_kg == pytest.approx(1007.5, rel=1e-4)


def test_what_a_crew_spreads_above_the_plan_is_in_the_assured_mass_only(worked):
    results = worked()
    strip = known_strip(1.0, 0.0)
    _, exact = ordered(results, strip=strip)
    _, more = ordered(results, strip=strip, crew=replace(EXACT, more=0.08))
    assert more.need.value[0] == exact.need.value[0]
    assert more.need_assured_kg == pytest.approx(1.08 * exact.need_assured_kg, rel=1e-9)


def test_the_crew_is_in_the_order(worked):
    results = worked()
    strip = known_strip(1.0, 0.0)
    _, exact = ordered(results, strip=strip)
    _, off = ordered(results, strip=strip, crew=replace(EXACT, u=0.1, degrees_of_freedom=1e9))
    assert off.need.value[0] == exact.need.value[0]
    added = off.need.u()[0] ** 2 - exact.need.u()[0] ** 2
    assert np.sqrt(added) == pytest.approx(0.1 * exact.need.value[0])
    assert off.need_assured_kg > exact.need_assured_kg


def test_assurance_is_a_one_sided_bound(worked):
    """Strip 1.0 +- 0.1 m along 155 kg per metre of strip: sd 15.5 kg beside the areas' own."""
    results = worked()
    _, half = ordered(results, assurance=0.5 + 1e-9, strip=known_strip(1.0, 0.1))
    _, nine = ordered(results, assurance=0.9, strip=known_strip(1.0, 0.1))
    assert half.need_assured_kg == pytest.approx(half.need.value[0], rel=1e-6)
    u = nine.need.u()[0]
    assert u > 15.5
    # z of 90 % one-sided is 1.2816 (normal tables, from memory)
    assert nine.need_assured_kg - nine.need.value[0] == pytest.approx(1.2816 * u, rel=1e-4)
    for wrong in (0.5, 1.0, 90.0):
        with pytest.raises(ValueError, match="allowed is above 0\\.5 and below 1"):
            ordered(results, assurance=wrong)


def test_what_came_back_is_in_stock_again(worked):
    deliveries = "date,mass_kg,sand,ticket\n2026-04-01,1600,dried,A\n"
    loads = "load,dressing,count,unit_mass_kg,returned_kg\nL1,D1,56,25,100\n"
    results = worked(deliveries=deliveries, loads=loads)
    assert stock_on_hand(results.site, 0, DAY).mass_kg == pytest.approx(300.0)  # 1600 − 1400 + 100


def test_stock_is_deliveries_less_loads_and_is_subtracted(worked):
    deliveries = "date,mass_kg,sand,ticket\n2026-04-01,1600,dried,A\n2026-08-01,9000,dried,B\n"
    results = worked(deliveries=deliveries)
    assert stock_on_hand(results.site, 0, DAY).mass_kg == pytest.approx(300.0)  # 1600 − 52 · 25
    _, order = ordered(results)
    assert order.stock.mass_kg == pytest.approx(300.0)
    assert order.order_kg == pytest.approx(order.need_assured_kg - 300.0)
    assert order.unit.mass_kg == 25
    assert order.units == int(np.ceil(order.order_kg / 25))
    _, plenty = ordered(results, stock_kg=5000.0)
    assert (plenty.order_kg, plenty.units) == (0.0, 0)


@pytest.mark.parametrize(
    ("wanted_kg", "units"), [(1000.0, 40), (1000.01, 41), (1024.99, 41), (24.99, 1), (0.0, 0)]
)
def test_units_are_whole_and_hold_the_order(worked, wanted_kg, units):
    results = worked()
    need = ordered(results, strip=known_strip(1.0, 0.0))[1].need_assured_kg
    order = ordered(results, strip=known_strip(1.0, 0.0), stock_kg=need - wanted_kg)[1]
    assert order.order_kg == pytest.approx(wanted_kg, abs=1e-9)
    assert order.units == units


def test_the_unit_is_that_of_the_newest_load_of_the_sand(worked):
    """Of two on one day the later row; loads of other sands and of later days tell nothing."""
    sands = "[sands.coarse]\nkiln_dried = true\n\n[catches]"
    results = worked(
        toml=TOML.replace("[catches]", sands),
        dressings="dressing,date,surfaces,sand\nD1,2026-05-10,green,dried\n"
        "D2,2026-04-10,green,dried\nD3,2026-05-20,green,coarse\nD4,2026-05-21,green,dried\n",
        loads="load,dressing,count,unit_mass_kg,u_unit_mass_kg,u_label_percent\n"
        "L1,D1,52,20,0.2,2\nL2,D1,52,25,0.25,1\nL3,D2,52,30,0.3,3\nL4,D3,2,900,9,4\n"
        "L5,D4,2,1000,10,5\n",
    )
    units = [
        last_unit(results.site, sand, np.datetime64(day))
        for sand, day in (
            (0, "2026-05-20"),
            (0, "2026-05-21"),
            (0, "2026-05-09"),
            (1, "2026-12-31"),
        )
    ]
    told = [(unit.mass_kg, unit.u_mass_kg, unit.u_label) for unit in units]
    assert told == [(25, 0.25, 0.01), (1000, 10, 0.05), (30, 0.3, 0.03), (900, 9, 0.04)]
    assert np.isnan(last_unit(results.site, 1, np.datetime64("2026-05-19")).mass_kg)


def test_a_ticket_is_no_unit_where_another_load_was_counted(worked):
    """Hoppers of 8 t, and at last what was left: nobody orders units of 1.4 t."""
    results = worked(
        dressings="dressing,date,surfaces,sand\nD1,2026-05-10,green,dried\n"
        "D2,2026-05-20,green,dried\n",
        loads="load,dressing,count,unit_mass_kg\nL1,D1,3,8000\nL2,D1,1,2310\nL3,D2,1,1400\n",
    )
    assert last_unit(results.site, 0, np.datetime64("2026-05-20")).mass_kg == 8000


def test_bulk_bags_entered_one_a_row_are_units(worked):
    """40 small bags in spring, since then four bulk bags: nobody orders 59 small ones."""
    results = worked(
        dressings="dressing,date,surfaces,sand\nD1,2026-05-10,green,dried\n"
        "D2,2026-05-20,green,dried\n",
        loads="load,dressing,count,unit_mass_kg\nL1,D1,40,25\nL2,D1,1,1000\nL3,D1,1,1000\n"
        "L4,D2,1,1000\nL5,D2,1,1000\nL6,D2,1,730\n",
    )
    assert last_unit(results.site, 0, np.datetime64("2026-05-20")).mass_kg == 1000


def test_without_loads_neither_bags_nor_water_are_known(worked):
    """The sand is ordered dry and in kg, and nothing of bags is in its uncertainty."""
    toml = TOML.replace("moisture_dry_basis_percent = 0.0\nu_moisture_percent = 0.2\n", "")
    loads = "load,dressing,count,unit_mass_kg,moisture_dry_basis_percent\n"
    catches = [{**c, "moisture_dry_basis_percent": 3} for c in CATCHES]
    results = worked(toml=toml, loads=loads, catches=catches)
    plan, order = ordered(results, strip=known_strip(0.0, 0.0))
    assert np.isnan(order.unit.mass_kg)
    assert (order.units, order.moisture) == (None, 0.0)
    assert order.need.value[0] == pytest.approx(plan.mass_kg.sum(), rel=1e-12)
    parts = order.need.by_category()
    assert [parts[name][0] for name in ("bags", "label", "moisture")] == [0.0, 0.0, 0.0]


def test_bags_label_and_water_are_in_the_need(worked):
    """n bags of 25 ± 0.25 kg are off by √n · 0.25 kg, their labels by 1 % of all."""
    results = worked(
        toml=TOML.replace("moisture_dry_basis_percent = 0.0", "moisture_dry_basis_percent = 4.0")
    )
    need = ordered(results, strip=known_strip(1.0, 0.0))[1].need
    mass = need.value[0]
    assert need.effects["bags"][0] == pytest.approx(np.sqrt(mass / 25) * 0.25, rel=1e-12)
    assert need.effects["label"][0] == pytest.approx(0.01 * mass, rel=1e-12)
    # ± 0.2 points about 4 %: the same dry sand is 1.042/1.04 as heavy
    assert need.effects["moisture"][0] == pytest.approx(mass * (1.042 / 1.04 - 1), rel=1e-12)


def test_areas_of_a_plan_err_as_those_of_a_balance(worked):
    """80 m and 120 m of edge with 0.775 kg/m² on them: 0.2 m farther out everywhere, 0.1 m each."""
    toml = TOML.replace("edge_bias_m = 0.05", "edge_bias_m = 0.2")
    _, order = ordered(worked(toml=toml), strip=known_strip(0.0, 0.0))
    assert abs(order.need.effects["edge bias"][0]) == pytest.approx(0.2 * 200 * 0.775, rel=1e-4)
    own = np.hypot(80, 120) * 0.1 * 0.775
    assert order.need.by_category()["edge"][0] == pytest.approx(own, rel=1e-4)


def test_without_deliveries_stock_is_not_known(worked):
    _, order = ordered(worked())
    assert np.isnan(order.stock.mass_kg)
    assert order.order_kg == order.need_assured_kg


def test_what_is_not_known_of_the_stock_is_in_the_order(worked):
    """A count of 800 ± 400 kg: 1.28·400 kg more on top of what else is not known, in quadrature."""
    rows = "2026-04-01,delivery,9000,0,dried\n2026-04-11,count,800,{},dried\n"
    head = "date,kind,mass_kg,u_mass_kg,sand\n"
    results = [
        worked(f"u{u}", deliveries=head + rows.format(u), dressings=DRESSINGS) for u in ("0", "400")
    ]
    sure, unsure = (ordered(r, strip=known_strip(1.0, 0.0))[1] for r in results)
    assert (unsure.stock.mass_kg, unsure.stock.u_kg) == (800.0, 400.0)
    assert (unsure.stock.counted, unsure.stock.since) == (np.datetime64("2026-04-11"), False)
    k = student_quantile(0.9, np.inf)
    more = np.hypot(sure.need.u()[0], 400.0) * k
    mass = unsure.need.value[0]
    assert unsure.need.u()[0] == pytest.approx(sure.need.u()[0])
    assert unsure.need_assured_kg == pytest.approx(mass + more, rel=1e-3)
    assert unsure.order_kg == pytest.approx(unsure.need_assured_kg - 800.0)
    # loads alone: 52 bags ± 0.25 kg each and 1 % of the label of them all, the ticket exact
    loads = worked("loads", deliveries=head + rows.partition("\n")[0] + "\n")
    u = np.sqrt(52 * 0.25**2 + (0.01 * 52 * 25) ** 2)
    assert stock_on_hand(loads.site, 0, DAY).u_kg == pytest.approx(u)


def test_a_strip_below_zero_leaves_room_for_overthrow(worked):
    """None expected, but a spreader whose strip is −0.1 ± 0.5 m may throw some the next time."""
    results = worked()
    plan, order = ordered(results, strip=known_strip(-0.1, 0.5))
    around = float((plan.rate_kg_m2 * plan.perimeter_m).sum())
    assert order.overthrow_dry.value[0] == 0
    assert order.overthrow_dry.u()[0] == pytest.approx(0.5 * around)
    _, none = ordered(results, strip=known_strip(0.0, 0.0))
    assert order.need_assured_kg > none.need_assured_kg + 0.25 * around


def test_damp_sand_is_ordered_with_its_water(worked):
    toml = TOML.replace("moisture_dry_basis_percent = 0.0", "moisture_dry_basis_percent = 5.0")
    _, dry = ordered(worked(), strip=known_strip(1.0, 0.0))
    _, damp = ordered(worked("damp", toml=toml), strip=known_strip(1.0, 0.0))
    assert damp.need.value[0] == pytest.approx(dry.need.value[0] * 1.05)
    assert damp.on_surfaces_dry_kg == pytest.approx(dry.on_surfaces_dry_kg)


def test_water_is_that_of_the_last_load_up_to_the_day(worked):
    """Loads say how moist they were; one that comes after the day of the plan tells nothing."""
    toml = TOML.replace("moisture_dry_basis_percent = 0.0\nu_moisture_percent = 0.2\n", "")
    results = worked(
        toml=toml,
        dressings=DRESSINGS + "D2,2026-08-10,green,0.6,4\n",
        loads="load,dressing,count,unit_mass_kg,moisture_dry_basis_percent,u_moisture_percent\n"
        "L1,D1,52,25,3,0.3\nL2,D2,52,25,7,0.5\n",
    )
    assert ordered(results)[1].moisture == pytest.approx(0.03)


def test_loads_are_split_in_order_and_nothing_is_lost():
    mass = np.array([0.0, 700.0, 0.0, 800.0, 499.0, 1.0])
    split = split_by_load(mass, 500.0)
    np.testing.assert_allclose(np.bincount(split.surface, split.mass_kg, 6), mass)
    np.testing.assert_allclose(np.bincount(split.load, split.mass_kg), [500, 500, 500, 500])
    assert (np.diff(split.load) >= 0).all()
    assert (np.diff(split.surface) >= 0).all()
    assert len(split_by_load(np.zeros(3), 500.0).load) == 0
