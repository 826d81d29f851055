"""Expected overthrow, assurance, stock, bags and loads."""

import numpy as np
import pytest

from geosand.estimates import Estimates
from geosand.planning.choosing import chosen_surfaces
from geosand.planning.next_rate import next_rates
from geosand.planning.order import sand_order, split_by_load, stock_on_hand
from geosand.planning.overthrow import StripWidth, another, strip_width
from tests.sites import CATCHES, TOML

DAY = np.datetime64("2026-06-30")
SPREADER = "dressing,date,surfaces,planned_depth_mm,spreader,swath_m\n"


def ordered(results, *, assurance=0.9, stock_kg=None, strip=None):
    site = results.site
    row = chosen_surfaces(site, results.ledger, ["green"])
    plan = next_rates(
        site,
        results.areas,
        results.rates,
        results.ledger,
        row=row,
        sand=0,
        depth_m=0.0005,
    )
    strip = strip or width_of(results)
    order = sand_order(
        site,
        results.areas,
        plan,
        strip,
        sand=0,
        assurance=assurance,
        as_of=DAY,
        stock_kg=stock_kg,
    )
    return plan, order


def width_of(results, spreader=""):
    parts = (results.site, results.areas, results.rates, results.balance)
    return strip_width(*parts, spreader=spreader, as_of=DAY)


def known_strip(width, sd):
    one = Estimates(value=np.array([width]), effects={"strip width": np.array([sd])})
    none = np.zeros(0, dtype=np.int64)
    return StripWidth(width_m=width, relative=one, dressings=none, left_out=none)


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


def test_several_dressings_are_weighted_by_rate_and_edge(worked):
    dressings = SPREADER + "D1,2026-04-10,green,0.6,disc,4\nD2,2026-05-10,g1,0.6,disc,4\n"
    loads = "load,dressing,count,unit_mass_kg\nL1,D1,52,25\nL2,D2,17,25\n"
    catches = [
        *CATCHES,
        *[c | {"catch": f"d{k}", "dressing": "D2"} for k, c in enumerate(CATCHES[:3])],
    ]
    results = worked(dressings=dressings, loads=loads, catches=catches)
    strip = width_of(results, "disc")
    rates, over = results.rates.rate.value, results.balance.overthrow.value
    edges = np.array([80.0, 120.0, 80.0])
    assert strip.width_m == pytest.approx(over.sum() / (rates * edges).sum(), rel=1e-4)
    assert strip.dressings.tolist() == [0, 1]
    low, high, freedom = (column[0] for column in strip.interval())
    assert 0 <= low < strip.width_m < high
    assert freedom >= 3
    assert np.isnan(width_of(results, "belt").width_m)


def test_a_balance_that_does_not_close_tells_nothing(worked):
    results = worked(loads="load,dressing,count,unit_mass_kg\nL1,D1,30,25\n")
    assert results.balance.verdict[0] == "does not close"
    strip = width_of(results)
    assert strip.left_out.tolist() == [0]
    _, order = ordered(results)
    assert order.overthrow_dry.value[0] == 0


@pytest.mark.parametrize(("dressings", "least", "most"), [(1, 0.93, 0.995), (12, 0.93, 0.97)])
def test_scatter_between_dressings_holds_the_next_one_as_often_as_it_says(dressings, least, most):
    """Known truth: strips of 1 m with 25 % scatter, dressings of unequal size."""
    random = np.random.default_rng(5)
    held, tried = 0, 2000
    for _ in range(tried):
        weight = random.uniform(0.5, 2.0, dressings)
        each = 1 + 0.25 * random.standard_normal(dressings)
        width = float((weight * each).sum() / weight.sum())
        sd, freedom = another(width, each, weight)
        table = Estimates(
            value=np.array([width]),
            effects={"strip width": np.array([sd])},
            degrees_of_freedom={"strip width": np.array([freedom])},
        )
        low, high, _ = (column[0] for column in table.interval())
        held += bool(low <= 1 + 0.25 * random.standard_normal() <= high)
    assert least <= held / tried <= most


def test_a_known_pair_of_dressings_by_hand():
    """Widths 0.8 and 1.2 m, alike in size: mean 1; variance (2·0.25² + 2·0.2²)/3, times 1.5."""
    sd, freedom = another(1.0, np.array([0.8, 1.2]), np.ones(2))
    assert sd**2 == pytest.approx((2 * 0.0625 + 2 * 0.04) / 3 * 1.5)
    assert freedom == 3


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


def test_one_that_does_not_close_beside_one_that_does(worked):
    dressings = SPREADER + "D1,2026-04-10,green,0.6,disc,4\nD2,2026-05-10,green,0.6,disc,4\n"
    loads = "load,dressing,count,unit_mass_kg\nL1,D1,52,25\nL2,D2,30,25\n"
    catches = [*CATCHES, *[c | {"catch": f"d{k}", "dressing": "D2"} for k, c in enumerate(CATCHES)]]
    results = worked(dressings=dressings, loads=loads, catches=catches)
    assert results.balance.verdict[1] == "does not close"
    strip = width_of(results, "disc")
    edges = (results.rates.rate.value[:2] * [80.0, 120.0]).sum()
    assert strip.width_m == pytest.approx(results.balance.overthrow.value[0] / edges, rel=1e-4)
    assert (strip.dressings.tolist(), strip.left_out.tolist()) == ([0], [1])


def test_what_came_back_is_in_stock_again(worked):
    deliveries = "date,mass_kg,sand,ticket\n2026-04-01,1600,dried,A\n"
    loads = "load,dressing,count,unit_mass_kg,returned_kg\nL1,D1,56,25,100\n"
    results = worked(deliveries=deliveries, loads=loads)
    assert stock_on_hand(results.site, 0, DAY) == pytest.approx(300.0)  # 1600 − 1400 + 100


def test_stock_is_deliveries_less_loads_and_is_subtracted(worked):
    deliveries = "date,mass_kg,sand,ticket\n2026-04-01,1600,dried,A\n2026-08-01,9000,dried,B\n"
    results = worked(deliveries=deliveries)
    assert stock_on_hand(results.site, 0, DAY) == pytest.approx(300.0)  # 1600 − 52 · 25
    _, order = ordered(results)
    assert order.stock_kg == pytest.approx(300.0)
    assert order.order_kg == pytest.approx(order.need_assured_kg - 300.0)
    assert order.unit.mass_kg == 25
    assert order.units == int(np.ceil(order.order_kg / 25))
    _, plenty = ordered(results, stock_kg=5000.0)
    assert (plenty.order_kg, plenty.units) == (0.0, 0)


def test_without_deliveries_stock_is_not_known(worked):
    _, order = ordered(worked())
    assert np.isnan(order.stock_kg)
    assert order.order_kg == order.need_assured_kg


def test_damp_sand_is_ordered_with_its_water(worked):
    toml = TOML.replace("moisture_dry_basis_percent = 0.0", "moisture_dry_basis_percent = 5.0")
    _, dry = ordered(worked(), strip=known_strip(1.0, 0.0))
    _, damp = ordered(worked("damp", toml=toml), strip=known_strip(1.0, 0.0))
    assert damp.need.value[0] == pytest.approx(dry.need.value[0] * 1.05)
    assert damp.on_surfaces_dry_kg == pytest.approx(dry.on_surfaces_dry_kg)


def test_loads_are_split_in_order_and_nothing_is_lost():
    mass = np.array([0.0, 700.0, 0.0, 800.0, 499.0, 1.0])
    split = split_by_load(mass, 500.0)
    np.testing.assert_allclose(np.bincount(split.surface, split.mass_kg, 6), mass)
    np.testing.assert_allclose(np.bincount(split.load, split.mass_kg), [500, 500, 500, 500])
    assert (np.diff(split.load) >= 0).all()
    assert (np.diff(split.surface) >= 0).all()
    assert len(split_by_load(np.zeros(3), 500.0).load) == 0
    with pytest.raises(ValueError, match="a load of 0 kg"):
        split_by_load(mass, 0.0)
